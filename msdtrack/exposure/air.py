"""A place's readings as spans of air, free of any part.

Readings between two moments at most 30 minutes apart give measured air, the worse of the two; what
is further apart, before the first or long after the last is assumed, never guessed better than the
place's assumed air.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from msdtrack.exposure.day_spans import spans_of_steady_day, stretches_of_steady_day
from msdtrack.exposure.facts import FOREVER, HOUR_S, AirSettings, Dated
from msdtrack.exposure.readings import Day, Days, Reading
from msdtrack.exposure.spans import (
    HOLDS_S,
    Air,
    AirKey,
    Missing,
    Span,
    Stretches,
    key_of,
    merged,
    worst_of,
)

SETTLED_S = 10 * 60
"""The forecast follows the air into a new cell after this long."""

_KEPT_SPANS = 256
"""Answers that are kept: those between any two days of a season, and after the newest reading."""

_LOOK_BACK_H = 6
"""The forecast looks back to the beginning of the hour that was this many hours ago."""


class Present(NamedTuple):
    """The air that the forecast assumes: its key, and the worst of it in hundredths."""

    key: AirKey
    raw: Air


@dataclass(slots=True, weakref_slot=True)
class PlaceAir:
    """The air of one place.

    Args:
        code: the place; None when the place is not known.
        readings: strictly by moment, or days of readings that no other air has. None of an oven.
        settings: assumed air and tolerance, dated.
    """

    code: str | None
    readings: Sequence[Reading] | Days = ()
    settings: Dated[AirSettings] = field(default_factory=lambda: Dated(AirSettings()))
    days: Days = field(init=False, repr=False, compare=False)
    _present: tuple[int, Present] | None = field(
        default=None, init=False, repr=False, compare=False
    )
    _now: tuple[int, AirKey] | None = field(default=None, init=False, repr=False, compare=False)
    _spans: dict[tuple[int, int, int], list[Span]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def __post_init__(self) -> None:
        self.days = self.readings if isinstance(self.readings, Days) else Days.of(self.readings)

    def spans(self, start: int, end: int, at: int) -> list[Span]:
        """Return the spans of [start, end) with what was measured up to `at`, merged by key within
        a UTC day.

        `raw` and `guarded` of a span that is cut hold for the whole span it was cut from; ask
        `worst` for the exact air of a stretch.
        """
        newest = self.days.newest(at)
        if newest is None:
            missing: Missing = "place_unknown" if self.code is None else "no_reading_yet"
            return list(self._assumed(start, end, missing, None))
        found: list[Span] = []
        if self.days.begin_after(start):
            found += self.before_readings(start, min(end, self.days.day(0).moments[0]))
        until = min(end, newest[0])
        if start < until:
            found += _cut_to(start, until, self._read_spans(start, until))
        if end > newest[0]:
            found += self.after(newest, max(start, newest[0]), end)
        return found

    def kept_spans(self, start: int, end: int, at: int) -> Sequence[Span]:
        """Return the same as `spans`, which many carriers have in common that were there."""
        asked = (start, end, at)
        found = self._spans.get(asked)
        if found is None:
            not_kept = self.days.not_kept
            found = self.spans(start, end, at)
            if len(self._spans) >= _KEPT_SPANS:
                self._spans.clear()
            if self.days.not_kept == not_kept:
                self._spans[asked] = found
        return found

    def key_at(self, at: int) -> AirKey:
        """Return the key of the air at a moment, with what was measured up to then."""
        if self._now is None or self._now[0] != at:
            self._now = at, self.spans(at, at + 1, at)[0].key
        return self._now[1]

    def present(self, at: int) -> Present:
        """Return the air that the forecast assumes: of the newest span that has lasted 10 minutes,
        or of the moment itself."""
        if self._present is None or self._present[0] != at:
            spans = self._recent(at)
            lasted = (s for s in reversed(spans) if min(s.end, at) - s.start >= SETTLED_S)
            span = next(lasted, spans[-1])
            raw, _ = self.worst(span.start, span.end, at)
            self._present = at, Present(span.key, raw)
        return self._present[1]

    def settles_at(self, at: int) -> int:
        """Return up to when `present` stays as it is at `at`, as far as `steady_until` does not
        say."""
        spans = self._recent(at)
        newest = spans[-1]
        if len(spans) == 1 and newest.key.missing is not None:
            return FOREVER
        look_back_moves = (at // HOUR_S + 1) * HOUR_S
        if at - newest.start < SETTLED_S:
            return min(look_back_moves, newest.start + SETTLED_S)
        return look_back_moves

    @staticmethod
    def looks_back_to(at: int) -> int:
        """Return from when on the air decides about `present` at `at`."""
        return (at // HOUR_S - _LOOK_BACK_H) * HOUR_S

    def _recent(self, at: int) -> list[Span]:
        return merged(self.spans(self.looks_back_to(at), at + 1, at))

    def steady_until(self, at: int) -> int:
        """Return up to when the air at `at` holds if no other reading comes; FOREVER is no end."""
        bends = [moment for moment, _ in self.settings.changes if moment > at][:1]
        newest, following = self.newest(at), self.following(at)
        if newest is not None and at < newest[0] + HOLDS_S:
            bends.append(newest[0] + HOLDS_S)
        if following is not None:
            bends.append(following)
        return min(bends, default=FOREVER)

    def worst(self, start: int, end: int, at: int) -> tuple[Air, Air]:
        """Return the worst raw and guarded air in [start, end), as measured up to `at`."""
        newest = self.days.newest(at)
        known_to = -FOREVER if newest is None else newest[0]
        until = min(end, known_to)
        airs: list[tuple[Air, Air]] = []
        for span in self.spans(start, end, at):
            read = span.end <= known_to and span.key.missing != "no_reading_yet"
            if read and (span.start == start or span.end == until):
                airs += self._exactly(span)
            else:
                airs.append((span.raw, span.guarded))
        return worst_of([raw for raw, _ in airs]), worst_of([guarded for _, guarded in airs])

    def newest(self, at: int) -> Reading | None:
        """Return the last reading at or before `at`."""
        return self.days.newest(at)

    def following(self, at: int) -> int | None:
        """Return the moment of the first reading after `at`."""
        found = self.days.following(at)
        return None if found is None else found[0]

    def known(self, start: int, end: int) -> list[Reading]:
        """Return the readings from `start` to `end`, both included."""
        return self.days.between(start, end)

    # -- where there are readings --------------------------------------------------------------

    def _read_spans(self, start: int, until: int) -> list[Span]:
        """Return the whole spans between readings that reach into [start, until)."""
        days = self.days
        found: list[Span] = []
        for i in range(days.holding(start), len(days)):
            day = days.day(i)
            if day.moments[0] >= until:
                break
            if start < day.moments[-1]:
                starts = self.stretches(day).starts
                first = max(0, bisect_right(starts, start) - 1)
                found += self._spans_of(day)[first : bisect_left(starts, until)]
            if day.moments[-1] < until and i + 1 < len(days):
                found += self.between(day.reading(-1), days.day(i + 1).reading(0))
        return found

    def stretches(self, day: Day) -> Stretches:
        """Return the stretches of one key from the first to the last reading of a day."""
        if day.stretches is None:
            first, last = day.moments[0], day.moments[-1]
            if not self.settings.moments_between(first, last):
                day.stretches = stretches_of_steady_day(day, self.settings.at(first))
            if day.stretches is None:
                pairs = itertools.pairwise(day.between(first, last))
                day.spans = merged([span for pair in pairs for span in self.between(*pair)])
                starts = [span.start for span in day.spans]
                day.stretches = Stretches.of(starts, [span.key for span in day.spans])
        return day.stretches

    def _spans_of(self, day: Day) -> list[Span]:
        """Return the spans from the first to the last reading of a day, merged."""
        stretches = self.stretches(day)
        if day.spans is None:
            now = self.settings.at(day.moments[0])
            day.spans = spans_of_steady_day(day, stretches, now)
        return day.spans

    def _exactly(self, span: Span) -> list[tuple[Air, Air]]:
        """Return raw and guarded air of what may be cut from a whole span between readings."""
        newest, following = self.days.newest(span.start), self.days.following(span.end - 1)
        assert newest is not None
        assert following is not None
        readings = self.days.between(newest[0], following[0])
        if span.key.missing is None and not self.settings.changes:
            _, temps, rhs = zip(*readings, strict=True)
            now, raw = self.settings.first, (max(temps), max(rhs))
            return [(raw, (raw[0] + now.tolerance_temp_c100, raw[1] + now.tolerance_rh_c100))]
        pairs = itertools.pairwise(readings)
        spans = [one for pair in pairs for one in self.between(*pair)]
        return [(s.raw, s.guarded) for s in spans if s.start < span.end and s.end > span.start]

    def between(self, first: Reading, second: Reading) -> Iterator[Span]:
        """Yield the spans between a reading and the one after it."""
        air = (max(first[1], second[1]), max(first[2], second[2]))
        if second[0] - first[0] <= HOLDS_S:
            yield from self._measured(first[0], second[0], air)
        else:
            yield from self._assumed(first[0], second[0], "gap", air)

    # -- where there are none ------------------------------------------------------------------

    def before_readings(self, start: int, end: int) -> Iterator[Span]:
        """Yield the spans of [start, end), before every reading."""
        return self._assumed(start, end, "no_reading_yet", None)

    def after(self, newest: Reading, start: int, end: int) -> Iterator[Span]:
        """Yield the spans of [start, end), after the newest reading that is known."""
        moment, temp, rh = newest
        held_to = moment + HOLDS_S
        if start < held_to:
            yield from self._measured(start, min(end, held_to), (temp, rh))
        yield from self._assumed(max(start, held_to), end, "no_reading_since", (temp, rh))

    def _measured(self, start: int, end: int, air: Air) -> Iterator[Span]:
        for s, e, now in self.settings.pieces(start, end):
            guarded = (air[0] + now.tolerance_temp_c100, air[1] + now.tolerance_rh_c100)
            yield Span(s, e, key_of(air, guarded, None), air, guarded)

    def _assumed(
        self, start: int, end: int, missing: Missing, measured: Air | None
    ) -> Iterator[Span]:
        for s, e, now in self.settings.pieces(start, end):
            assumed = (now.assumed_temp_c100, now.assumed_rh_c100)
            raw = guarded = assumed
            if measured is not None:
                temp, rh = measured
                raw = worst_of([assumed, measured])
                guarded = worst_of(
                    [assumed, (temp + now.tolerance_temp_c100, rh + now.tolerance_rh_c100)]
                )
            yield Span(s, e, key_of(raw, guarded, missing), raw, guarded)


def _cut_to(start: int, end: int, spans: list[Span]) -> list[Span]:
    """Return what of spans in a row lies in [start, end)."""
    while spans and spans[0].end <= start:
        del spans[0]
    while spans and spans[-1].start >= end:
        del spans[-1]
    if spans and spans[0].start < start:
        spans[0] = spans[0]._replace(start=start)
    if spans and spans[-1].end > end:
        spans[-1] = spans[-1]._replace(end=end)
    return spans
