"""When the air of a dry cabinet was within its limit.

An excursion that is back within 60 minutes neither breaks the dry storage nor counts as drying; a
longer one is exposure from its start.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Literal

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.facts import FOREVER
from msdtrack.exposure.readings import DAY_S, Day, Reading
from msdtrack.exposure.spans import HOLDS_S, Span
from msdtrack.standard.drypack import CABINET_RECOVERS_WITHIN_MIN

Spell = Literal["dry", "brief", "out"]
Run = tuple[int, int, bool]
"""Start, end, and whether it was within the limit."""

_BRIEF_S = CABINET_RECOVERS_WITHIN_MIN * 60


def spells(
    air: PlaceAir, start: int, end: int, at: int, limit_rh_c100: int
) -> Iterator[tuple[int, int, Spell]]:
    """Yield (start, end, spell) over [start, end) of a dry cabinet, with what was measured up to
    `at`.

    `dry` is within the limit, `brief` an excursion that was back within 60 minutes, `out` a longer
    one or one that is not back yet at `at`.

    Source: J-STD-033 (recovery of a cabinet after a door opening, published).
    """
    # An excursion that goes on beyond what is looked at is longer than a brief one.
    around = _BRIEF_S + 1
    runs = _runs(air, start - around, min(end + around, max(end, at + 1)), at, limit_rh_c100)
    for i in range(bisect_right(runs, start, key=lambda run: run[1]), len(runs)):
        s, e, dry = runs[i]
        if s >= end:
            return
        back = i + 1 < len(runs) and runs[i + 1][0] <= at
        brief = back and e - s <= _BRIEF_S
        yield max(s, start), min(e, end), "dry" if dry else "brief" if brief else "out"


def spell_at(air: PlaceAir, at: int, limit_rh_c100: int) -> tuple[int, Spell]:
    """Return when the spell began that holds at `at`, and which it is; -FOREVER is before every
    reading."""
    since = at - DAY_S
    while True:
        *_, (start, _, spell) = spells(air, since, at + 1, at, limit_rh_c100)
        if start > since or since == -FOREVER:
            return start, spell
        no_more = air.newest(at) is None or air.days.begin_after(since)
        since = -FOREVER if no_more else at - 4 * (at - since)


def wet_from(air: PlaceAir, at: int, limit_rh_c100: int) -> int:
    """Return where the unbroken humid or unknown stretch begins that ends at the reading at `at`;
    `at` if it was dry before it."""
    return _up_to_dry(air.days.backwards(at), limit_rh_c100, -FOREVER)


def wet_to(air: PlaceAir, at: int, limit_rh_c100: int) -> int:
    """Return where the unbroken humid or unknown stretch ends that begins at the reading at `at`;
    `at` if it is dry after it."""
    return _up_to_dry(air.days.forwards(at), limit_rh_c100, FOREVER + 1)


def _up_to_dry(readings: Iterable[Reading], limit_rh_c100: int, otherwise: int) -> int:
    """Return the last reading before two neighbours between which it was dry."""
    last: Reading | None = None
    for reading in readings:
        near = last is not None and abs(reading[0] - last[0]) <= HOLDS_S
        if last is not None and near and max(reading[2], last[2]) <= limit_rh_c100:
            return last[0]
        last = reading
    return otherwise


def _runs(air: PlaceAir, start: int, end: int, at: int, limit_rh_c100: int) -> list[Run]:
    """Return the dry and humid runs of [start, end), like neighbours made one."""
    days, newest = air.days, air.newest(at)
    if newest is None:
        return joined(_dryness(air.spans(start, end, at), limit_rh_c100))
    found: list[Run] = []
    if days.begin_after(start):
        before = air.before_readings(start, min(end, days.day(0).moments[0]))
        found += _dryness(before, limit_rh_c100)
    until = min(end, newest[0])
    for i in range(days.holding(start), len(days)):
        day = days.day(i)
        if day.moments[0] >= until:
            break
        if limit_rh_c100 not in day.dry_runs:
            day.dry_runs[limit_rh_c100] = _runs_of(air, day, limit_rh_c100)
        found += day.dry_runs[limit_rh_c100]
        if day.moments[-1] < until and i + 1 < len(days):
            link = air.between(day.reading(-1), days.day(i + 1).reading(0))
            found += _dryness(link, limit_rh_c100)
    found = [(max(s, start), min(e, until), dry) for s, e, dry in found if s < until and e > start]
    if end > newest[0]:
        found += _dryness(air.after(newest, max(start, newest[0]), end), limit_rh_c100)
    return joined(found)


def _runs_of(air: PlaceAir, day: Day, limit_rh_c100: int) -> list[Run]:
    readings = day.between(day.moments[0], day.moments[-1])
    runs: list[Run] = []
    for first, second in pairwise(readings):
        if second[0] - first[0] <= HOLDS_S:
            dry = first[2] <= limit_rh_c100 and second[2] <= limit_rh_c100
            runs.append((first[0], second[0], dry))
        else:
            runs += _dryness(air.between(first, second), limit_rh_c100)
    return joined(runs)


def _dryness(spans: Iterable[Span], limit_rh_c100: int) -> list[Run]:
    return [(span.start, span.end, span.raw[1] <= limit_rh_c100) for span in spans]


def joined(runs: Iterable[Run]) -> list[Run]:
    """Return runs with like neighbours made one."""
    found: list[Run] = []
    for start, end, dry in runs:
        if found and found[-1][2] == dry:
            found[-1] = (found[-1][0], end, dry)
        else:
            found.append((start, end, dry))
    return found
