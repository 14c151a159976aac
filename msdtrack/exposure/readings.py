"""A place's readings day by day, each day read when it is first asked about.

A carrier's account needs the days that it was out, not the years that a sensor has sent.
"""

from __future__ import annotations

import itertools
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import cast

from msdtrack.exposure.rates import RateClass
from msdtrack.exposure.spans import Span, Stretches

Reading = tuple[int, int, int]
"""Moment (seconds UTC), temperature (hundredths of °C), humidity (hundredths of % RH)."""

Columns = tuple[Sequence[int], Sequence[int], Sequence[int | None]]
"""The moments, the temperatures and the humidities of readings."""

DAY_S = 86400

KEPT_DAYS = 128
"""Days that stay in memory of one place."""


class Day:
    """The readings of one UTC day, 12 bytes each.

    Args:
        readings: strictly by moment, at least one. A missing humidity becomes 0.

    Attributes:
        first, last: moments of its first and its last reading.
        stretches: from the first to the last; filled by the air they belong to, as are the others.
        uses: how many parts of a class its stretches before each one use, and altogether.
        spans: its stretches as spans.
        dry_runs: their (start, end, dry) runs by limit of humidity.
    """

    __slots__ = (
        "dry_runs", "first", "last", "moments", "rhs", "spans", "stretches", "temps", "uses",
    )  # fmt: skip

    def __init__(self, readings: Iterable[tuple[int, int, int | None]]) -> None:
        self._fill(*zip(*readings, strict=True))

    @classmethod
    def of_columns(cls, columns: Columns) -> Day:
        """Return the day of readings that are given column by column."""
        day = cls.__new__(cls)
        day._fill(*columns)
        return day

    def _fill(
        self, moments: Sequence[int], temps: Sequence[int], rhs: Sequence[int | None]
    ) -> None:
        self.moments = array("q", moments)
        self.first, self.last = moments[0], moments[-1]
        self.temps = array("h", temps)
        # Only an oven's readings may lack humidity, and an oven's are never floor air.
        known = [rh or 0 for rh in rhs] if None in rhs else cast(Sequence[int], rhs)
        self.rhs = array("h", known)
        self.spans: list[Span] | None = None
        self.stretches: Stretches | None = None
        self.uses: dict[RateClass, Sequence[int]] = {}
        self.dry_runs: dict[int, list[tuple[int, int, bool]]] = {}

    def reading(self, i: int) -> Reading:
        """Return the reading at an index."""
        return self.moments[i], self.temps[i], self.rhs[i]

    def between(self, start: int, end: int) -> list[Reading]:
        """Return the readings from `start` to `end`, both included."""
        i, j = bisect_left(self.moments, start), bisect_right(self.moments, end)
        return list(zip(self.moments[i:j], self.temps[i:j], self.rhs[i:j], strict=True))


class Days:
    """The days of a place that have readings.

    Args:
        numbers: their numbers (moment // 86400), ascending.
        read: returns a day's readings, and whether they are to be kept: not where the asker sees
            others than the rest of the days go by.

    Attributes:
        not_kept: how many days were read that were not to be kept: nor is what is made of them.
    """

    __slots__ = ("_kept", "_read", "not_kept", "numbers")

    def __init__(
        self, numbers: Sequence[int] = (), read: Callable[[int], tuple[Day, bool]] | None = None
    ) -> None:
        self.numbers = numbers
        self._read = read
        self._kept: dict[int, Day] = {}
        self.not_kept = 0

    @classmethod
    def of(cls, readings: Iterable[Reading]) -> Days:
        """Return the days of readings that are all at hand, strictly by moment."""
        by_day = itertools.groupby(readings, key=lambda reading: reading[0] // DAY_S)
        found = {number: Day(group) for number, group in by_day}
        return cls(list(found), lambda number: (found[number], True))

    def __len__(self) -> int:
        return len(self.numbers)

    def day(self, i: int) -> Day:
        """Return the readings of the day at an index of `numbers`."""
        number = self.numbers[i]
        found = self._kept.get(number)
        if found is None:
            assert self._read is not None
            found, keep = self._read(number)
            if keep:
                if len(self._kept) >= KEPT_DAYS:
                    self._kept.pop(min(list(self._kept)), None)
                self._kept[number] = found
            else:
                self.not_kept += 1
        return found

    def renewed(
        self,
        numbers: Sequence[int],
        read: Callable[[int], tuple[Day, bool]],
        first: int,
        last: int,
    ) -> Days:
        """Return these days after something was written between two moments, both included.

        Args:
            numbers, read: as the days are now.
        """
        days = Days(numbers, read)
        written = range(first // DAY_S, last // DAY_S + 1)
        days._kept = {
            number: day for number, day in list(self._kept.items()) if number not in written
        }
        return days

    def newest(self, at: int) -> Reading | None:
        """Return the last reading at or before `at`."""
        i = bisect_right(self.numbers, at // DAY_S) - 1
        if i < 0:
            return None
        day = self.day(i)
        j = bisect_right(day.moments, at)
        if j:
            return day.reading(j - 1)
        return self.day(i - 1).reading(-1) if i else None

    def following(self, at: int) -> Reading | None:
        """Return the first reading after `at`."""
        i = bisect_left(self.numbers, at // DAY_S)
        if i < len(self.numbers) and self.numbers[i] == at // DAY_S:
            day = self.day(i)
            j = bisect_right(day.moments, at)
            if j < len(day.moments):
                return day.reading(j)
            i += 1
        return self.day(i).reading(0) if i < len(self.numbers) else None

    def begin_after(self, start: int) -> bool:
        """Return whether there are readings and all are after `start`."""
        if not self.numbers or start // DAY_S > self.numbers[0]:
            return False
        return bool(start < self.day(0).moments[0])

    def between(self, start: int, end: int) -> list[Reading]:
        """Return the readings from `start` to `end`, both included."""
        i = bisect_left(self.numbers, start // DAY_S)
        j = bisect_right(self.numbers, end // DAY_S)
        return [one for n in range(i, j) for one in self.day(n).between(start, end)]

    def holding(self, at: int) -> int:
        """Return the index of the day whose readings, or the time after them, hold `at`.

        It is 0 for a moment before every reading.
        """
        i = bisect_right(self.numbers, at // DAY_S) - 1
        if i > 0 and self.day(i).moments[0] > at:
            i -= 1
        return max(0, i)

    def numbered(self, number: int) -> Day | None:
        """Return the day of a number (moment // 86400), None if it has no readings."""
        day = self._kept.get(number)
        if day is None:
            i = bisect_left(self.numbers, number)
            if i < len(self.numbers) and self.numbers[i] == number:
                day = self.day(i)
        return day

    def backwards(self, at: int) -> Iterator[Reading]:
        """Yield the readings at or before `at`, newest first."""
        for i in range(bisect_right(self.numbers, at // DAY_S) - 1, -1, -1):
            day = self.day(i)
            for j in range(bisect_right(day.moments, at) - 1, -1, -1):
                yield day.reading(j)

    def forwards(self, at: int) -> Iterator[Reading]:
        """Yield the readings at or after `at`, oldest first."""
        for i in range(bisect_left(self.numbers, at // DAY_S), len(self.numbers)):
            day = self.day(i)
            for j in range(bisect_left(day.moments, at), len(day.moments)):
                yield day.reading(j)
