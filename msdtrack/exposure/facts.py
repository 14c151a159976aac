"""What is known of a part, a carrier, a place and the site's policies: values, no behaviour
beyond looking themselves up."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import Generic, TypeVar

from msdtrack.standard import drypack, levels

T = TypeVar("T")

HOUR_S = 3600
FOREVER = 1 << 40
"""A moment later than any other, in seconds."""


@dataclass(frozen=True, slots=True)
class Dated(Generic[T]):
    """A value that changes at known moments.

    Args:
        first: the value before the first change.
        changes: (moment, value from then on), by moment.
    """

    first: T
    changes: tuple[tuple[int, T], ...] = ()

    def at(self, moment: int) -> T:
        """Return the value in force at `moment`."""
        i = bisect_right(self.changes, moment, key=lambda change: change[0])
        return self.changes[i - 1][1] if i else self.first

    def moments_between(self, start: int, end: int) -> list[int]:
        """Return the moments of change strictly inside (start, end)."""
        return [at for at, _ in self.changes if start < at < end]

    def pieces(self, start: int, end: int) -> Iterator[tuple[int, int, T]]:
        """Yield (start, end, value) over [start, end), cut where the value changes."""
        if start >= end:
            return
        if not self.changes:
            yield start, end, self.first
            return
        for s, e in pairwise([start, *self.moments_between(start, end), end]):
            yield s, e, self.at(s)


@dataclass(frozen=True, slots=True)
class MakerBake:
    """The component maker's own bake, which replaces Table 4-1 for that part."""

    temp_c: float
    hours: float
    max_rh_pct: float | None = None
    once: bool = False


@dataclass(frozen=True, slots=True)
class PartFacts:
    """A component type.

    Args:
        number: internal part number.
        msl: moisture sensitivity level, one of `standard.levels.LEVELS`.
        body_mm: body thickness, mm; None is unknown.
        label_floor_life_hours: floor life printed on the maker's label, hours.
        carrier_max_c: highest temperature its trays or reels stand, °C (None: by carrier kind).
        max_bake_c: highest bake temperature the component stands, °C.
        peak_body_c: classification temperature of J-STD-020, °C.
        compound_confirmed: the mold compound is one that Table 7-1 covers.
    """

    number: str
    msl: str
    description: str = ""
    body_mm: float | None = None
    family: str | None = None
    pins: int | None = None
    square: bool | None = None
    large_bga: bool = False
    stacked_die: bool = False
    compound_confirmed: bool = False
    label_floor_life_hours: float | None = None
    carrier_max_c: float | None = None
    max_bake_c: float | None = None
    peak_body_c: float | None = None
    maker_bake: MakerBake | None = None

    @property
    def label_hours(self) -> Fraction | None:
        """Return the floor life that counts, see `label_hours`."""
        return label_hours(self.msl, self.label_floor_life_hours)


@lru_cache(maxsize=4096)
def label_hours(msl: str, label_h: float | None) -> Fraction | None:
    """Return the floor life that counts, in hours: the level's, or the label's if shorter.

    None for level 1 (no limit) and for level 6 without a time on its label.
    """
    level_h = levels.floor_life_h(msl)
    if levels.is_unlimited(msl):
        return None
    if level_h is None:
        return None if label_h is None else Fraction(label_h)
    if label_h is None:
        return Fraction(level_h)
    return min(Fraction(level_h), Fraction(label_h))


@dataclass(frozen=True, slots=True)
class CarrierFacts:
    """A carrier as received. What is stated here holds for all earlier time.

    Args:
        part: the part's facts, with what this carrier's own label says otherwise put in.
        kind: reel, tray, tube or strip.
        sealed_on: seal date of the dry bag; None makes the history unknown.
        shelf_life_ends: last day of shelf life where the label says it.
        received_at: moment of receipt.
        bag: code of the dry bag it came in.
        place: code of the place it was received at; None is unknown.
    """

    code: str
    part: PartFacts
    lot: str
    kind: str
    quantity: int
    received_at: int
    sealed_on: date | None = None
    shelf_life_ends: date | None = None
    bag: str | None = None
    place: str | None = None


@dataclass(frozen=True, slots=True)
class AirSettings:
    """A place's assumed air and sensor tolerance, in hundredths of °C and % RH."""

    assumed_temp_c100: int = 3000
    assumed_rh_c100: int = 6000
    tolerance_temp_c100: int = 50
    tolerance_rh_c100: int = 300


@dataclass(frozen=True, slots=True)
class Policies:
    """The site's dated choices.

    Args:
        credit: drier or cooler air lengthens the floor life of parts whose compound is confirmed.
        pause_levels_4_to_5a: storage at <= 5 % RH pauses levels 4, 5 and 5a too.
        cumulative_bake_h: limit of hours above 90 °C per carrier.
    """

    credit: Dated[bool] = field(default_factory=lambda: Dated(False))
    pause_levels_4_to_5a: Dated[bool] = field(default_factory=lambda: Dated(False))
    cumulative_bake_h: Dated[int] = field(default_factory=lambda: Dated(drypack.CUMULATIVE_BAKE_H))
