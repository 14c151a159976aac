"""A place's readings in little memory: millions of them stay in a server."""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from typing import overload

Reading = tuple[int, int, int]
"""Moment (seconds UTC), temperature (hundredths of °C), humidity (hundredths of % RH)."""


class Readings(Sequence[Reading]):
    """Readings by moment, 16 bytes each.

    Args:
        readings: strictly by moment.
    """

    __slots__ = ("moments", "rhs", "temps")

    def __init__(self, readings: Iterable[Reading] = ()) -> None:
        self.moments, self.temps, self.rhs = array("q"), array("i"), array("i")
        self._add(readings)

    def with_more(self, later: Iterable[Reading]) -> Readings:
        """Return these readings and later ones."""
        more = Readings()
        more.moments, more.temps, more.rhs = self.moments[:], self.temps[:], self.rhs[:]
        more._add(later)
        return more

    def with_changed(self, first: int, last: int, rows: Iterable[Reading]) -> Readings:
        """Return these readings with `rows` in place of those from `first` to `last`."""
        i, j = bisect_left(self.moments, first), bisect_right(self.moments, last)
        changed = Readings(rows)
        changed.moments = self.moments[:i] + changed.moments + self.moments[j:]
        changed.temps = self.temps[:i] + changed.temps + self.temps[j:]
        changed.rhs = self.rhs[:i] + changed.rhs + self.rhs[j:]
        return changed

    def _add(self, readings: Iterable[Reading]) -> None:
        for column, values in zip(
            (self.moments, self.temps, self.rhs), zip(*readings, strict=True), strict=False
        ):
            column.extend(values)

    def __len__(self) -> int:
        return len(self.moments)

    @overload
    def __getitem__(self, index: int) -> Reading: ...
    @overload
    def __getitem__(self, index: slice) -> list[Reading]: ...
    def __getitem__(self, index: int | slice) -> Reading | list[Reading]:
        if isinstance(index, slice):
            return list(zip(self.moments[index], self.temps[index], self.rhs[index], strict=True))
        return self.moments[index], self.temps[index], self.rhs[index]
