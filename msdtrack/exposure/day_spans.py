"""The spans of a whole day of readings at once: column by column, a tenth of the time that going
from reading to reading takes."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import compress, count, islice, pairwise
from operator import add, ne

from msdtrack.exposure.facts import AirSettings
from msdtrack.exposure.readings import Day
from msdtrack.exposure.spans import (
    HOLDS_S,
    MAX_RH_C100,
    MAX_TEMP_C100,
    Air,
    AirKey,
    Span,
    Stretches,
    key_of,
)
from msdtrack.standard import derating

_ROW = 1 << 8
"""More than the steps of humidity there are: one of each makes one number."""


def stretches_of_steady_day(day: Day, now: AirSettings) -> Stretches | None:
    """Return the keys from the first to the last reading of a day, and when each begins.

    Args:
        day: its readings.
        now: the settings, the same all day.

    Returns:
        None where a gap needs assumed air.
    """
    if not _hold(day.moments):
        return None
    temps, rhs = day.temps, day.rhs
    temp_steps, rh_steps, keys_by_steps = _steps(now.tolerance_temp_c100, now.tolerance_rh_c100)
    steps = list(map(add, map(temp_steps.__getitem__, temps), map(rh_steps.__getitem__, rhs)))
    last = len(steps) - 1
    starts: list[int] = []
    keys: list[AirKey] = []
    first = 0
    for end in (*compress(count(), map(ne, steps, islice(steps, 1, None))), last):
        # Up to the last reading in a step of both it is that one, and from there to the next
        # reading the worse of the two.
        for i, j in ((first, end), (end, end + 1)):
            if not i < j <= last:
                continue
            row = max(steps[i] // _ROW, steps[j] // _ROW)
            worst = row * _ROW + max(steps[i] % _ROW, steps[j] % _ROW)
            key = keys_by_steps.get(worst)
            if key is None:
                raw = max(temps[i], temps[j]), max(rhs[i], rhs[j])
                key = keys_by_steps[worst] = key_of(raw, _guarded(raw, now), None)
            if not keys or key is not keys[-1]:
                starts.append(day.moments[i])
                keys.append(key)
        first = end + 1
    return Stretches.of(starts, keys)


def spans_of_steady_day(day: Day, stretches: Stretches, now: AirSettings) -> list[Span]:
    """Return the stretches of a day as spans."""
    last = len(day.moments) - 1
    edges = [*(bisect_left(day.moments, start) for start in stretches.starts), last]
    spans = []
    for (i, j), key in zip(pairwise(edges), stretches.keys, strict=True):
        raw = max(day.temps[i : j + 1]), max(day.rhs[i : j + 1])
        spans.append(Span(day.moments[i], day.moments[j], key, raw, _guarded(raw, now)))
    return spans


def _guarded(raw: Air, now: AirSettings) -> Air:
    return raw[0] + now.tolerance_temp_c100, raw[1] + now.tolerance_rh_c100


def _hold(moments: Sequence[int]) -> bool:
    """Return whether each reading speaks for the air up to the one after it."""
    i, last = 0, len(moments) - 1
    while i < last:
        # All up to j are within that time of i, and so of each other.
        j = bisect_right(moments, moments[i] + HOLDS_S, i) - 1
        if j == i:
            return False
        i = j
    return True


class _Steps(dict[int, int]):
    """The step of the table that a value and its guard fall in, as a number: twice the step, and
    one more where the value itself is beyond its limit of 30 °C or 60 % RH."""

    def __init__(
        self, step_for: Callable[[int], int], tolerance: int, limit: int, factor: int
    ) -> None:
        super().__init__()
        self._of = step_for, tolerance, limit, factor

    def __missing__(self, value: int) -> int:
        step_for, tolerance, limit, factor = self._of
        self[value] = found = factor * (2 * step_for(value + tolerance) + (value > limit))
        return found


@lru_cache(maxsize=64)
def _steps(
    tolerance_temp_c100: int, tolerance_rh_c100: int
) -> tuple[_Steps, _Steps, dict[int, AirKey]]:
    """Return the steps of temperatures and of humidities, and the keys of their sums."""
    return (
        _Steps(derating.row_for, tolerance_temp_c100, MAX_TEMP_C100, _ROW),
        _Steps(derating.column_for, tolerance_rh_c100, MAX_RH_C100, 1),
        {},
    )
