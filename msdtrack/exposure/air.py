"""A place's readings as spans of air, free of any part (design 4.1), and its dry-storage spells.

Readings between two moments at most 30 minutes apart give measured air, the worse of the two; what
is further apart, before the first or long after the last is assumed, never guessed better than the
place's assumed air.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

from msdtrack.exposure.facts import FOREVER, AirSettings, Dated
from msdtrack.exposure.readings import Reading, Readings
from msdtrack.exposure.spans import (
    Air,
    AirKey,
    Missing,
    Span,
    cut,
    joined,
    key_of,
    measured_key,
    merged,
    span_of,
    worst_of,
)
from msdtrack.standard.drypack import CABINET_RECOVERS_WITHIN_MIN

HOLDS_S = 30 * 60
"""A reading speaks for the air for this long."""

SETTLED_S = 10 * 60
"""The forecast follows the air into a new cell after this long."""

_PRESENT_S = 6 * 3600
"""The forecast looks back no further."""

Spell = Literal["dry", "brief", "out"]


@dataclass(slots=True)
class PlaceAir:
    """The air of one place.

    Args:
        code: the place; None when the place is not known.
        readings: strictly by moment. None of an oven.
        settings: assumed air and tolerance, dated.
    """

    code: str | None
    readings: Sequence[Reading] = ()
    settings: Dated[AirSettings] = field(default_factory=lambda: Dated(AirSettings()))
    _moments: Sequence[int] = field(init=False, repr=False)
    _body: list[Span] | None = field(default=None, init=False, repr=False)
    _spells: dict[int, list[tuple[int, int, bool]]] = field(
        default_factory=dict, init=False, repr=False
    )

    def __post_init__(self) -> None:
        known = self.readings if isinstance(self.readings, Readings) else Readings(self.readings)
        self.readings, self._moments = known, known.moments

    def spans(self, start: int, end: int, at: int) -> Iterator[Span]:
        """Yield the spans of [start, end) with what was measured up to `at`, merged by key.

        `raw` and `guarded` of a span that is cut hold for the whole span it was cut from; ask
        `worst` for the exact air of a stretch.
        """
        last = bisect_right(self._moments, at) - 1
        known_to = self._moments[last] if last >= 0 else None
        if self._moments and known_to is not None:
            if start < self._moments[0]:
                yield from self._assumed(start, min(end, self._moments[0]), "no_reading_yet", None)
            body = self._merged_body()
            i = max(0, bisect_right(body, start, key=lambda span: span.start) - 1)
            while i < len(body) and body[i].start < min(end, known_to):
                span = cut(body[i], start, min(end, known_to))
                if span is not None:
                    yield span
                i += 1
            yield from self._tail(max(start, known_to), end, last)
        else:
            missing: Missing = "place_unknown" if self.code is None else "no_reading_yet"
            yield from self._assumed(start, end, missing, None)

    def present(self, at: int) -> Span:
        """Return the span whose air the forecast assumes: the newest one that has lasted
        10 minutes, or the one of the moment itself."""
        spans = merged(list(self.spans(at - _PRESENT_S, at + 1, at)))
        for span in reversed(spans):
            if min(span.end, at) - span.start >= SETTLED_S:
                return self._as_known(span, at)
        return self._as_known(spans[-1], at)

    def _as_known(self, span: Span, at: int) -> Span:
        """Return the span with the worst air of what was known at `at`: merged spans hold more."""
        newest = self.newest(at)
        if newest is None or span.start >= newest[0] or self.following(at) is None:
            return span
        body = self._merged_body()
        whole = body[bisect_right(body, span.start, key=lambda one: one.start) - 1]
        known = self._exactly(whole, whole.start, newest[0])
        if span.start < whole.start or known is None:
            return span
        return Span(span.start, span.end, span.key, known.raw, known.guarded)

    def steady_until(self, at: int) -> int:
        """Return up to when the air at `at` holds if no other reading comes; FOREVER is no end."""
        bends = [moment for moment, _ in self.settings.changes if moment > at][:1]
        newest, following = self.newest(at), self.following(at)
        if newest is not None and at < newest[0] + HOLDS_S:
            bends.append(newest[0] + HOLDS_S)
        if following is not None:
            bends.append(following)
        return min(bends, default=FOREVER)

    def settles_at(self, at: int) -> int:
        """Return up to when `present` stays as it is at `at`, as far as `steady_until` does not
        say."""
        newest = merged(list(self.spans(at - _PRESENT_S, at + 1, at)))[-1]
        present = self.present(at)
        bends = []
        if at - newest.start < SETTLED_S:
            bends.append(newest.start + SETTLED_S)
        if present.end < newest.end:
            bends.append(present.end - SETTLED_S + _PRESENT_S)
        return min(bends, default=FOREVER)

    def spells(
        self, start: int, end: int, at: int, limit_rh_c100: int
    ) -> Iterator[tuple[int, int, Spell]]:
        """Yield (start, end, spell) over [start, end) of a dry cabinet.

        `dry` is within the limit, `brief` an excursion that was back within 60 minutes, `out` a
        longer one or one that is not back yet at `at`.

        Source: J-STD-033, clause 5.3.3.2 (recovery of a cabinet after a door opening).
        """
        last = bisect_right(self._moments, at) - 1
        # What holds at `at` itself says whether an excursion is back.
        until = max(end, at + 1)
        if last >= 0:
            known_to = self._moments[last]
            runs = [(s, min(e, known_to), dry) for s, e, dry in self._dry_runs(limit_rh_c100)]
            runs = [run for run in runs if run[0] < known_to]
            tail = self._tail(known_to, until, last)
        else:
            runs = []
            tail = self._assumed(-FOREVER, until, "no_reading_yet", None)
        runs = joined(runs + [(s.start, s.end, s.raw[1] <= limit_rh_c100) for s in tail])
        for i in range(bisect_right(runs, start, key=lambda run: run[1]), len(runs)):
            s, e, dry = runs[i]
            if s >= end:
                return
            back = i + 1 < len(runs) and runs[i + 1][0] <= at
            brief = back and e - s <= CABINET_RECOVERS_WITHIN_MIN * 60
            yield max(s, start), min(e, end), "dry" if dry else "brief" if brief else "out"

    def wet_from(self, at: int, limit_rh_c100: int) -> int:
        """Return where the unbroken humid or unknown stretch begins that ends at the reading at
        `at`; `at` if it was dry before it."""
        i = bisect_right(self._moments, at) - 1
        while i > 0 and not self._dry_after(i - 1, limit_rh_c100):
            i -= 1
        return self._moments[i] if i > 0 else -FOREVER

    def wet_to(self, at: int, limit_rh_c100: int) -> int:
        """Return where the unbroken humid or unknown stretch ends that begins at the reading at
        `at`; `at` if it is dry after it."""
        i = bisect_left(self._moments, at)
        while i < len(self._moments) - 1 and not self._dry_after(i, limit_rh_c100):
            i += 1
        return self._moments[i] if i < len(self._moments) - 1 else FOREVER + 1

    def _dry_after(self, i: int, limit_rh_c100: int) -> bool:
        first, second = self.readings[i], self.readings[i + 1]
        return second[0] - first[0] <= HOLDS_S and max(first[2], second[2]) <= limit_rh_c100

    def worst(self, start: int, end: int, at: int) -> tuple[Air, Air]:
        """Return the worst raw and guarded air in [start, end), as measured up to `at`."""
        spans = list(self._raw_spans(start, end, at))
        return worst_of([s.raw for s in spans]), worst_of([s.guarded for s in spans])

    def newest(self, at: int) -> Reading | None:
        """Return the last reading at or before `at`."""
        i = bisect_right(self._moments, at)
        return self.readings[i - 1] if i else None

    def following(self, at: int) -> int | None:
        """Return the moment of the first reading after `at`."""
        i = bisect_right(self._moments, at)
        return self._moments[i] if i < len(self._moments) else None

    def known(self, start: int, end: int) -> list[Reading]:
        """Return the readings from `start` to `end`, both included."""
        first = bisect_left(self._moments, start)
        return list(self.readings[first : bisect_right(self._moments, end)])

    def extended(self, later: Sequence[Reading]) -> PlaceAir:
        """Return this air with readings later than all it has, without merging anew."""
        assert isinstance(self.readings, Readings)
        air = PlaceAir(self.code, self.readings.with_more(later), self.settings)
        if self._body is not None and self.readings:
            spans = air._spans_between(len(self.readings) - 1)
            kept = len(self._body) - 1
            air._body = self._body[:kept] + merged(self._body[kept:] + spans)
        return air

    def changed(self, first: int, last: int, rows: Sequence[Reading]) -> PlaceAir:
        """Return this air with `rows` in place of the readings from `first` to `last`, merging
        anew only what lies around them."""
        assert isinstance(self.readings, Readings)
        air = PlaceAir(self.code, self.readings.with_changed(first, last, rows), self.settings)
        if self._body is None or len(air.readings) < 2:
            return air
        i = max(0, bisect_left(air._moments, first) - 1)
        j = min(len(air._moments) - 1, bisect_right(air._moments, last))
        start, end = air._moments[i], air._moments[j]
        between = PlaceAir(self.code, air.readings[i : j + 1], self.settings)._spans_between(0)
        before = bisect_left(self._body, start, key=lambda span: span.start)
        after = bisect_right(self._body, end, key=lambda span: span.end)
        parts = [self._exactly(span, -FOREVER, start) for span in self._body[:before][-1:]]
        parts += between
        parts += [self._exactly(span, end, FOREVER) for span in self._body[after:][:1]]
        seams = merged([span for span in parts if span is not None])
        air._body = [*self._body[: max(0, before - 1)], *seams, *self._body[after + 1 :]]
        return air

    def _exactly(self, span: Span, start: int, end: int) -> Span | None:
        """Return the part of a span of the body in [start, end), with the worst air in it."""
        part = cut(span, start, end)
        if part is None or part is span:
            return part
        assert isinstance(self.readings, Readings)
        if span.key.missing is not None or self.settings.changes:
            raw, guarded = self.worst(part.start, part.end, FOREVER)
            return Span(part.start, part.end, span.key, raw, guarded)
        i = bisect_right(self._moments, part.start) - 1
        j = bisect_left(self._moments, part.end) + 1
        temp, rh = max(self.readings.temps[i:j]), max(self.readings.rhs[i:j])
        return span_of(part.start, part.end, span.key, temp, rh, self.settings.first)

    # -- spans before merging ------------------------------------------------------------------

    def _raw_spans(self, start: int, end: int, at: int) -> Iterator[Span]:
        last = bisect_right(self._moments, at) - 1
        if last < 0:
            missing: Missing = "place_unknown" if self.code is None else "no_reading_yet"
            yield from self._assumed(start, end, missing, None)
            return
        if start < self._moments[0]:
            yield from self._assumed(start, min(end, self._moments[0]), "no_reading_yet", None)
        for i in range(max(0, bisect_right(self._moments, start) - 1), last):
            if self._moments[i] >= end:
                return
            for span in self._between(i):
                part = cut(span, start, end)
                if part is not None:
                    yield part
        yield from self._tail(max(start, self._moments[last]), end, last)

    def _between(self, i: int) -> Iterator[Span]:
        first, second = self.readings[i], self.readings[i + 1]
        air = (max(first[1], second[1]), max(first[2], second[2]))
        if second[0] - first[0] <= HOLDS_S:
            yield from self._measured(first[0], second[0], air)
        else:
            yield from self._assumed(first[0], second[0], "gap", air)

    def _tail(self, start: int, end: int, last: int) -> Iterator[Span]:
        moment, temp, rh = self.readings[last]
        held_to = moment + HOLDS_S
        if start < held_to:
            yield from self._measured(start, min(end, held_to), (temp, rh))
        yield from self._assumed(max(start, held_to), end, "no_reading_since", (temp, rh))

    def _measured(self, start: int, end: int, air: Air) -> Iterator[Span]:
        for s, e, now in self._by_settings(start, end):
            guarded = (air[0] + now.tolerance_temp_c100, air[1] + now.tolerance_rh_c100)
            yield Span(s, e, key_of(air, guarded, None), air, guarded)

    def _assumed(
        self, start: int, end: int, missing: Missing, measured: Air | None
    ) -> Iterator[Span]:
        for s, e, now in self._by_settings(start, end):
            assumed = (now.assumed_temp_c100, now.assumed_rh_c100)
            raw = guarded = assumed
            if measured is not None:
                temp, rh = measured
                raw = worst_of([assumed, measured])
                guarded = worst_of(
                    [assumed, (temp + now.tolerance_temp_c100, rh + now.tolerance_rh_c100)]
                )
            yield Span(s, e, key_of(raw, guarded, missing), raw, guarded)

    def _by_settings(self, start: int, end: int) -> Iterator[tuple[int, int, AirSettings]]:
        if start >= end:
            return
        edges = [start, *self.settings.moments_between(start, end), end]
        for s, e in itertools.pairwise(edges):
            yield s, e, self.settings.at(s)

    # -- merged, once per place ----------------------------------------------------------------

    def _merged_body(self) -> list[Span]:
        if self._body is None:
            self._body = self._spans_between(0)
        return self._body

    def _spans_between(self, first: int) -> list[Span]:
        """Return what `_between` gives from the reading `first` on, merged, in one go."""
        readings = self.readings
        assert isinstance(readings, Readings)
        changes = [at for at, _ in self.settings.changes]
        spans: list[Span] = []
        i, last = first, len(readings) - 1
        while i < last:
            moment = readings.moments[i]
            change = bisect_right(changes, moment)
            until = changes[change] if change < len(changes) else FOREVER
            i = self._steady_spans(i, until, self.settings.at(moment), spans)
            if i < last:
                spans += self._between(i)
                i += 1
        return merged(spans)

    def _steady_spans(self, i: int, until: int, now: AirSettings, into: list[Span]) -> int:
        """Add the spans from the reading `i` up to the first gap or to `until`, when the settings
        change, and return the reading they end at.

        It goes over every reading of a place, so it works on plain numbers.
        """
        assert isinstance(self.readings, Readings)
        moments, temps, rhs = self.readings.moments, self.readings.temps, self.readings.rhs
        more_temp, more_rh = now.tolerance_temp_c100, now.tolerance_rh_c100
        last = len(moments) - 1
        start = end = moments[i]
        key: AirKey | None = None
        worst_temp = worst_rh = 0
        temp_before, rh_before = temps[i], rhs[i]
        while i < last:
            moment, temp_after, rh_after = moments[i + 1], temps[i + 1], rhs[i + 1]
            if moment - end > HOLDS_S or moment > until or end == until:
                break
            temp = temp_after if temp_after > temp_before else temp_before
            rh = rh_after if rh_after > rh_before else rh_before
            found = measured_key(temp, rh, temp + more_temp, rh + more_rh)
            if found is not key:
                if key is not None:
                    into.append(span_of(start, end, key, worst_temp, worst_rh, now))
                start, key, worst_temp, worst_rh = end, found, temp, rh
            else:
                if temp > worst_temp:
                    worst_temp = temp
                if rh > worst_rh:
                    worst_rh = rh
            end, temp_before, rh_before = moment, temp_after, rh_after
            i += 1
        if key is not None:
            into.append(span_of(start, end, key, worst_temp, worst_rh, now))
        return i

    def _dry_runs(self, limit_rh_c100: int) -> list[tuple[int, int, bool]]:
        if limit_rh_c100 not in self._spells:
            runs: list[tuple[int, int, bool]] = []
            if self._moments:
                before = self._assumed(-FOREVER, self._moments[0], "no_reading_yet", None)
                runs += [(s.start, s.end, s.raw[1] <= limit_rh_c100) for s in before]
            runs += self._body_runs(limit_rh_c100)
            self._spells[limit_rh_c100] = joined(runs)
        return self._spells[limit_rh_c100]

    def _body_runs(self, limit_rh_c100: int) -> list[tuple[int, int, bool]]:
        readings = self.readings
        assert isinstance(readings, Readings)
        moments, rhs = readings.moments, readings.rhs
        runs: list[tuple[int, int, bool]] = []
        start, dry = (moments[0] if moments else 0), None
        for i in range(len(moments) - 1):
            if moments[i + 1] - moments[i] <= HOLDS_S:
                is_dry = rhs[i] <= limit_rh_c100 and rhs[i + 1] <= limit_rh_c100
                if is_dry is not dry:
                    if dry is not None:
                        runs.append((start, moments[i], dry))
                    start, dry = moments[i], is_dry
                continue
            if dry is not None:
                runs.append((start, moments[i], dry))
            runs += [(s.start, s.end, s.raw[1] <= limit_rh_c100) for s in self._between(i)]
            start, dry = moments[i + 1], None
        if dry is not None:
            runs.append((start, moments[-1], dry))
        return runs
