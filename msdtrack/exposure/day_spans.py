"""The spans of a whole day of readings at once: column by column, a tenth of the time that going
from reading to reading takes."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from itertools import compress, count, pairwise
from operator import add, ne, sub

from msdtrack.exposure.facts import AirSettings
from msdtrack.exposure.readings import Day
from msdtrack.exposure.spans import HOLDS_S, MAX_RH_C100, MAX_TEMP_C100, Span, measured_key, span_of
from msdtrack.standard import derating

_ROW = 1 << 8
"""More than the steps of humidity there are: one of each makes one number."""


def spans_of_steady_day(day: Day, now: AirSettings) -> list[Span] | None:
    """Return the spans from the first to the last reading of a day, merged by key.

    Args:
        day: its readings.
        now: the settings, the same all day.

    Returns:
        None where a gap needs assumed air.
    """
    moments = day.moments.tolist()
    if len(moments) == 1:
        return []
    if max(map(sub, moments[1:], moments)) > HOLDS_S:
        return None
    temps, rhs = day.temps.tolist(), day.rhs.tolist()
    temps, rhs = list(map(max, temps, temps[1:])), list(map(max, rhs, rhs[1:]))
    temp_steps, rh_steps = _steps(now.tolerance_temp_c100, now.tolerance_rh_c100)
    steps = list(map(add, map(temp_steps.__getitem__, temps), map(rh_steps.__getitem__, rhs)))
    starts = [0, *compress(count(1), map(ne, steps, steps[1:])), len(steps)]
    guard = now.tolerance_temp_c100, now.tolerance_rh_c100
    spans: list[Span] = []
    for i, j in pairwise(starts):
        temp, rh = temps[i], rhs[i]
        key = measured_key(temp, rh, temp + guard[0], rh + guard[1])
        worst = max(temps[i:j]), max(rhs[i:j])
        start = moments[i]
        if spans and spans[-1].key is key:
            before = spans.pop()
            start = before.start
            worst = max(worst[0], before.raw[0]), max(worst[1], before.raw[1])
        spans.append(span_of(start, moments[j], key, *worst, now))
    return spans


class _Steps(dict[int, int]):
    """The step of the table that a value and its guard fall in, as a number."""

    def __init__(
        self, step_for: Callable[[int], int], tolerance: int, limit: int, factor: int
    ) -> None:
        super().__init__()
        self._of = step_for, tolerance, limit, factor

    def __missing__(self, value: int) -> int:
        step_for, tolerance, limit, factor = self._of
        self[value] = found = factor * (2 * step_for(value + tolerance) + (value <= limit))
        return found


@lru_cache(maxsize=64)
def _steps(tolerance_temp_c100: int, tolerance_rh_c100: int) -> tuple[_Steps, _Steps]:
    return (
        _Steps(derating.row_for, tolerance_temp_c100, MAX_TEMP_C100, _ROW),
        _Steps(derating.column_for, tolerance_rh_c100, MAX_RH_C100, 1),
    )
