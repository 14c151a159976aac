"""How much of a bake counts: the oven's own readings, within the tolerance of the table."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Literal

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.spans import HOLDS_S
from msdtrack.standard.drypack import BAKE_INTERRUPTION_MIN


@dataclass(frozen=True, slots=True)
class Band:
    """Temperatures at which bake time counts, hundredths of °C, both ends included."""

    low_c100: int
    high_c100: int


@dataclass(frozen=True, slots=True)
class Progress:
    """What of a bake has counted.

    Args:
        done_s: seconds that count.
        reached_at: moment the seconds asked for were complete, None if not yet.
        basis: `assumed` where the oven has no reading near and the stated temperature counts.
        interrupted: stretches of over 15 minutes out of the band, which are added.
    """

    done_s: int
    reached_at: int | None
    basis: Literal["measured", "assumed"]
    interrupted: tuple[tuple[int, int], ...] = ()


def progress(
    oven: PlaceAir, band: Band, start: int, end: int, at: int, needed_s: int | None
) -> Progress:
    """Return what of [start, end) counts as bake, with what was measured up to `at`.

    Time before the oven first reaches the band does not count; an interruption of at most 15
    minutes does once the band is reached again.

    Source: J-STD-033 (interruptions over 15 minutes are added, published; the band from memory).
    """
    runs = _runs(oven, band, start, end, at)
    if runs is None:
        done = end - start
        reached = start + needed_s if needed_s is not None and done >= needed_s else None
        return Progress(done, reached, "assumed")
    hot = [i for i, run in enumerate(runs) if run[2]]
    done, reached_at = 0, None
    interrupted = []
    if hot:
        for s, e, in_band in runs[hot[0] : hot[-1] + 1]:
            if not in_band and e - s > BAKE_INTERRUPTION_MIN * 60:
                interrupted.append((s, e))
                continue
            done += e - s
            if needed_s is not None and reached_at is None and done >= needed_s:
                reached_at = e - (done - needed_s) if in_band else e
    return Progress(done, reached_at, "measured", tuple(interrupted))


def _runs(
    oven: PlaceAir, band: Band, start: int, end: int, at: int
) -> list[tuple[int, int, bool]] | None:
    known = oven.known(start - HOLDS_S, at)
    if not known or known[0][0] >= end:
        return None
    points = [(moment, band.low_c100 <= temp <= band.high_c100) for moment, temp, _ in known]
    runs: list[tuple[int, int, bool]] = []

    def add(s: int, e: int, in_band: bool) -> None:
        s, e = max(s, start), min(e, end)
        if s >= e:
            return
        if runs and runs[-1][2] == in_band:
            runs[-1] = (runs[-1][0], e, in_band)
        else:
            runs.append((s, e, in_band))

    add(start, points[0][0], False)
    for (moment, hot), (after, hot_after) in itertools.pairwise(points):
        add(moment, after, hot and hot_after and after - moment <= HOLDS_S)
    last, hot = points[-1]
    add(last, min(end, last + HOLDS_S), hot)
    add(last + HOLDS_S, end, False)
    return runs
