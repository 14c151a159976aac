"""Simulated air for the demo's places. Every value it gives is invented; none was measured."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from zlib import crc32

DAY_S = 86_400
WARMEST_S = 15 * 3600
"""Time of day, seconds after midnight UTC, at which the daily swing is warmest and driest."""

_WOBBLE_PERIODS_S = (4_700, 1_130)
_WOBBLE_WEIGHTS = (0.6, 0.4)


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of time in which the air is drawn to other values.

    Args:
        start: when it begins, seconds UTC.
        end: when it is over.
        ramp_s: how long the air takes to get there and back, inside the stretch.
        temp_c: temperature it is drawn to; None leaves it alone.
        rh_pct: relative humidity it is drawn to; None leaves it alone.
        every_s: it comes again after this long, for ever; None: it comes once.
    """

    start: int
    end: int
    ramp_s: int
    temp_c: float | None = None
    rh_pct: float | None = None
    every_s: int | None = None

    def weight(self, at: int) -> float:
        """Return how far the air is drawn at `at`: 0 not at all, 1 wholly."""
        since = at - self.start
        if self.every_s is not None and since > 0:
            since %= self.every_s
        left = self.end - self.start - since
        if since <= 0 or left <= 0:
            return 0.0
        return min(1.0, since / self.ramp_s, left / self.ramp_s) if self.ramp_s else 1.0


@dataclass(frozen=True, slots=True)
class SimulatedAir:
    """How the air of one place goes on: a mean, a daily swing, a wobble, spells and gaps.

    Args:
        name: gives the place a wobble of its own.
        temp_c, rh_pct: the means; `rh_pct` None: the sensor gives no humidity.
        temp_swing_c, rh_swing_pct: how far the day draws them from the mean.
        temp_wobble_c, rh_wobble_pct: how far they wobble about that.
        gaps: (start, end) in which the sensor sends nothing.
    """

    name: str
    temp_c: float
    rh_pct: float | None = None
    temp_swing_c: float = 0.0
    rh_swing_pct: float = 0.0
    temp_wobble_c: float = 0.15
    rh_wobble_pct: float = 0.0
    spells: tuple[Spell, ...] = ()
    gaps: tuple[tuple[int, int], ...] = ()

    def readings(
        self, start: int, end: int, step_s: int
    ) -> Iterator[tuple[int, float, float | None]]:
        """Yield (moment, °C, % RH) at every whole step after `start` and up to `end`.

        The same moment always has the same values, whatever stretch is asked for.
        """
        for at in range((start // step_s + 1) * step_s, end + 1, step_s):
            if not any(gap_start <= at < gap_end for gap_start, gap_end in self.gaps):
                yield at, *self.at(at)

    def at(self, at: int) -> tuple[float, float | None]:
        """Return °C and % RH at a moment, to a tenth as a sensor sends them."""
        day = math.cos(2 * math.pi * ((at - WARMEST_S) % DAY_S) / DAY_S)
        temp_c = self.temp_c + self.temp_swing_c * day
        # Air that warms up without taking on water gets drier.
        rh_pct = None if self.rh_pct is None else self.rh_pct - self.rh_swing_pct * day
        for spell in self.spells:
            weight = spell.weight(at)
            if spell.temp_c is not None:
                temp_c += weight * (spell.temp_c - temp_c)
            if spell.rh_pct is not None and rh_pct is not None:
                rh_pct += weight * (spell.rh_pct - rh_pct)
        wobble = self._wobble(at)
        if rh_pct is not None:
            rh_pct = round(min(100.0, max(0.1, rh_pct + self.rh_wobble_pct * wobble)), 1)
        return round(temp_c + self.temp_wobble_c * wobble, 1), rh_pct

    def _wobble(self, at: int) -> float:
        phase = crc32(self.name.encode()) % 1000
        return sum(
            weight * math.sin(2 * math.pi * at / period_s + phase * (n + 1))
            for n, (weight, period_s) in enumerate(
                zip(_WOBBLE_WEIGHTS, _WOBBLE_PERIODS_S, strict=True)
            )
        )
