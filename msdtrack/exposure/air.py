"""A place's readings as spans of air, free of any part (design 4.1), and its dry-storage spells.

Readings between two moments at most 30 minutes apart give measured air, the worse of the two; what
is further apart, before the first or long after the last is assumed, never guessed better than the
place's assumed air.
"""

from __future__ import annotations

import itertools
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

from msdtrack.exposure.facts import FOREVER, AirSettings, Dated
from msdtrack.standard import derating
from msdtrack.standard.drypack import CABINET_RECOVERS_WITHIN_MIN

HOLDS_S = 30 * 60
"""A reading speaks for the air for this long."""

SETTLED_S = 10 * 60
"""The forecast follows the air into a new cell after this long."""

MAX_TEMP_C100, MAX_RH_C100 = 3000, 6000
"""The condition of the floor life: <= 30 °C / 60 % RH (J-STD-033, clause 5)."""

Missing = Literal["no_reading_yet", "gap", "no_reading_since", "place_unknown"]
Air = tuple[int, int]


@dataclass(frozen=True, slots=True)
class AirKey:
    """What of a span decides its rate.

    Args:
        cell: cell of Table 7-1 of the guarded air, or `derating.BEYOND`.
        within_30_60: the raw air is within 30 °C / 60 % RH.
        missing: why the air is assumed; None is measured.
    """

    cell: int
    within_30_60: bool
    missing: Missing | None


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time in one key. `raw` and `guarded` are the worst in it, in hundredths."""

    start: int
    end: int
    key: AirKey
    raw: Air
    guarded: Air


Spell = Literal["dry", "brief", "out"]


@dataclass(slots=True)
class PlaceAir:
    """The air of one place.

    Args:
        code: the place; None when the place is not known.
        readings: (moment, temp_c100, rh_c100), strictly by moment. None of an oven.
        settings: assumed air and tolerance, dated.
    """

    code: str | None
    readings: Sequence[tuple[int, int, int]] = ()
    settings: Dated[AirSettings] = field(default_factory=lambda: Dated(AirSettings()))
    _moments: list[int] = field(init=False, repr=False)
    _body: list[Span] | None = field(default=None, init=False, repr=False)
    _spells: dict[int, list[tuple[int, int, bool]]] = field(
        default_factory=dict, init=False, repr=False
    )

    def __post_init__(self) -> None:
        self._moments = [reading[0] for reading in self.readings]

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
                span = _cut(body[i], start, min(end, known_to))
                if span is not None:
                    yield span
                i += 1
            yield from self._tail(max(start, known_to), end, last)
        else:
            missing: Missing = "place_unknown" if self.code is None else "no_reading_yet"
            yield from self._assumed(start, end, missing, None)

    def present(self, at: int) -> Span:
        """Return the span whose air the forecast assumes: the newest one that has lasted
        10 minutes, or the newest at all."""
        newest: Span | None = None
        for span in reversed(self._merge(list(self.spans(at - 6 * 3600, at, at)))):
            if span.end - span.start >= SETTLED_S:
                return span
            newest = newest or span
        if newest is None:
            return next(self.spans(at, at + 1, at))
        return newest

    def spells(
        self, start: int, end: int, at: int, limit_rh_c100: int
    ) -> Iterator[tuple[int, int, Spell]]:
        """Yield (start, end, spell) over [start, end) of a dry cabinet.

        `dry` is within the limit, `brief` an excursion that was back within 60 minutes, `out` a
        longer one or one that is not back yet at `at`.

        Source: J-STD-033, clause 5.3.3.2 (recovery of a cabinet after a door opening).
        """
        last = bisect_right(self._moments, at) - 1
        until = max(end, at)
        if last >= 0:
            known_to = self._moments[last]
            runs = [(s, min(e, known_to), dry) for s, e, dry in self._dry_runs(limit_rh_c100)]
            runs = [run for run in runs if run[0] < known_to]
            tail = self._tail(known_to, until, last)
        else:
            runs = []
            tail = self._assumed(-FOREVER, until, "no_reading_yet", None)
        runs = _joined(runs + [(s.start, s.end, s.raw[1] <= limit_rh_c100) for s in tail])
        for i in range(bisect_right(runs, start, key=lambda run: run[1]), len(runs)):
            s, e, dry = runs[i]
            if s >= end:
                return
            back = i + 1 < len(runs) and runs[i + 1][0] <= at
            brief = back and e - s <= CABINET_RECOVERS_WITHIN_MIN * 60
            yield max(s, start), min(e, end), "dry" if dry else "brief" if brief else "out"

    def worst(self, start: int, end: int, at: int) -> tuple[Air, Air]:
        """Return the worst raw and guarded air in [start, end), as measured up to `at`."""
        spans = list(self._raw_spans(start, end, at))
        return _worst([s.raw for s in spans]), _worst([s.guarded for s in spans])

    def newest(self, at: int) -> tuple[int, int, int] | None:
        """Return the last reading at or before `at`."""
        i = bisect_right(self._moments, at)
        return self.readings[i - 1] if i else None

    def extended(self, later: Sequence[tuple[int, int, int]]) -> PlaceAir:
        """Return this air with readings later than all it has, without merging anew."""
        air = PlaceAir(self.code, [*self.readings, *later], self.settings)
        if self._body is not None and self.readings:
            new = range(len(self.readings) - 1, len(air.readings) - 1)
            spans = [span for i in new for span in air._between(i)]
            kept = len(self._body) - 1
            air._body = self._body[:kept] + self._merge(self._body[kept:] + spans)
        return air

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
                cut = _cut(span, start, end)
                if cut is not None:
                    yield cut
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
            yield Span(s, e, _key(air, guarded, None), air, guarded)

    def _assumed(
        self, start: int, end: int, missing: Missing, measured: Air | None
    ) -> Iterator[Span]:
        for s, e, now in self._by_settings(start, end):
            assumed = (now.assumed_temp_c100, now.assumed_rh_c100)
            raw = guarded = assumed
            if measured is not None:
                temp, rh = measured
                raw = _worst([assumed, measured])
                guarded = _worst(
                    [assumed, (temp + now.tolerance_temp_c100, rh + now.tolerance_rh_c100)]
                )
            yield Span(s, e, _key(raw, guarded, missing), raw, guarded)

    def _by_settings(self, start: int, end: int) -> Iterator[tuple[int, int, AirSettings]]:
        if start >= end:
            return
        edges = [start, *self.settings.moments_between(start, end), end]
        for s, e in itertools.pairwise(edges):
            yield s, e, self.settings.at(s)

    # -- merged, once per place ----------------------------------------------------------------

    def _merged_body(self) -> list[Span]:
        if self._body is None:
            spans = [s for i in range(len(self.readings) - 1) for s in self._between(i)]
            self._body = self._merge(spans)
        return self._body

    @staticmethod
    def _merge(spans: list[Span]) -> list[Span]:
        merged: list[Span] = []
        for span in spans:
            if merged and merged[-1].key == span.key and merged[-1].end == span.start:
                before = merged[-1]
                merged[-1] = Span(
                    before.start,
                    span.end,
                    span.key,
                    _worst([before.raw, span.raw]),
                    _worst([before.guarded, span.guarded]),
                )
            else:
                merged.append(span)
        return merged

    def _dry_runs(self, limit_rh_c100: int) -> list[tuple[int, int, bool]]:
        if limit_rh_c100 not in self._spells:
            runs: list[tuple[int, int, bool]] = []
            if self._moments:
                before = self._assumed(-FOREVER, self._moments[0], "no_reading_yet", None)
                runs += [(s.start, s.end, s.raw[1] <= limit_rh_c100) for s in before]
            for i in range(len(self.readings) - 1):
                runs += [(s.start, s.end, s.raw[1] <= limit_rh_c100) for s in self._between(i)]
            self._spells[limit_rh_c100] = _joined(runs)
        return self._spells[limit_rh_c100]


def _key(raw: Air, guarded: Air, missing: Missing | None) -> AirKey:
    within = raw[0] <= MAX_TEMP_C100 and raw[1] <= MAX_RH_C100
    return AirKey(derating.cell_for(*guarded), within, missing)


def _worst(airs: Sequence[Air]) -> Air:
    return max(air[0] for air in airs), max(air[1] for air in airs)


def _cut(span: Span, start: int, end: int) -> Span | None:
    s, e = max(span.start, start), min(span.end, end)
    return None if s >= e else Span(s, e, span.key, span.raw, span.guarded)


def _joined(runs: list[tuple[int, int, bool]]) -> list[tuple[int, int, bool]]:
    joined: list[tuple[int, int, bool]] = []
    for start, end, dry in runs:
        if joined and joined[-1][2] == dry:
            joined[-1] = (joined[-1][0], end, dry)
        else:
            joined.append((start, end, dry))
    return joined
