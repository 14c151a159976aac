"""Share of the floor life used per second of exposure.

The label rate is a whole floor life in the label hours. The table rate is one in the life of the
air's cell; where the label is shorter than the level it is faster in proportion. Which one counts:

                       without credit          with credit
    within 30/60       the label rate          the lower of both
    in other air       the higher of both      the table rate; of assumed air the higher of both

Credit is for drier or cooler air, which lengthens the floor life. Level 1 uses nothing, level 6 its
label rate in any air.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from math import lcm

from msdtrack.exposure.facts import HOUR_S, PartFacts, label_hours
from msdtrack.exposure.spans import AirKey
from msdtrack.standard import derating, levels
from msdtrack.standard.package_groups import groups_for


def label_rate(part: PartFacts) -> Fraction:
    """Return 1 / label hours, per second. 0 where no floor life runs (level 1) or none is known
    (level 6 without a label time: the verdict never lets it be used)."""
    return _label_rate(part.msl, part.label_floor_life_hours)


@lru_cache(maxsize=4096)
def _label_rate(msl: str, label_floor_life_hours: float | None) -> Fraction:
    hours = label_hours(msl, label_floor_life_hours)
    return Fraction(0) if hours is None else 1 / (hours * HOUR_S)


def rate(part: PartFacts, key: AirKey, credit: bool) -> Fraction:
    """Return the share of the floor life that a second in this air uses.

    Args:
        credit: the site's policy at that time. It counts only for a part whose compound is
            confirmed to be one Table 7-1 covers.

    Source: J-STD-033, Table 7-1; the choice between table and label is this program's rule.
    """
    return rate_class(part, credit).rate(key)


@dataclass(frozen=True, slots=True)
class RateClass:
    """What of a part decides its rate in any air: parts of one class age alike side by side.

    Args:
        msl: level.
        label_h: label hours, None where there are none.
        groups: thickness groups in question.
        credit: drier or cooler air lengthens the floor life.

    Attributes:
        parts: how many parts a whole floor life has if every rate of this class is to be a whole
            number of them: adding whole numbers takes a tenth of the time that fractions take.
    """

    msl: str
    label_h: Fraction | None
    groups: tuple[str, ...]
    credit: bool
    parts: int = field(init=False, repr=False, compare=False)
    _hash: int = field(init=False, repr=False, compare=False)
    _rates: dict[AirKey, Fraction] = field(default_factory=dict, repr=False, compare=False)
    _whole: dict[AirKey, int] = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "parts", _parts(self.msl, self.label_h, self.groups))
        hashed = hash((self.msl, self.label_h, self.groups, self.credit))
        object.__setattr__(self, "_hash", hashed)

    def __hash__(self) -> int:
        # A fraction takes long to hash.
        return self._hash

    def rate(self, key: AirKey) -> Fraction:
        """Return the share of the floor life that a second in this air uses."""
        found = self._rates.get(key)
        if found is None:
            found = self._rates[key] = _rate(self.msl, self.label_h, self.groups, key, self.credit)
        return found

    def whole(self, key: AirKey) -> int:
        """Return how many of `parts` a second in this air uses."""
        found = self._whole.get(key)
        if found is None:
            exact = self.rate(key) * self.parts
            assert exact.denominator == 1
            found = self._whole[key] = exact.numerator
        return found

    def __str__(self) -> str:
        label = "" if self.label_h is None else str(self.label_h)
        return f"{self.msl}|{label}|{'+'.join(self.groups)}|{int(self.credit)}"


@lru_cache(maxsize=1024)
def class_named(text: str) -> RateClass:
    """Return the class whose text this is."""
    msl, label, groups_, credit = text.split("|")
    label_h = Fraction(label) if label else None
    return RateClass(msl, label_h, tuple(groups_.split("+")), credit == "1")


def rate_class(part: PartFacts, credit: bool) -> RateClass:
    """Return the class of a part; arguments as for `rate`."""
    return _class_of(
        part.msl,
        part.label_floor_life_hours,
        part.family,
        part.pins,
        part.square,
        part.body_mm,
        credit and part.compound_confirmed,
    )


@lru_cache(maxsize=65536)
def _class_of(
    msl: str,
    label_floor_life_hours: float | None,
    family: str | None,
    pins: int | None,
    square: bool | None,
    body_mm: float | None,
    credit: bool,
) -> RateClass:
    label_h = label_hours(msl, label_floor_life_hours)
    return RateClass(msl, label_h, _groups(family, pins, square, body_mm), credit)


@lru_cache(maxsize=1024)
def _parts(msl: str, label_h: Fraction | None, groups_: tuple[str, ...]) -> int:
    keys = [AirKey(cell, True, None) for cell in range(derating.BEYOND + 1)]
    rates = [_rate(msl, label_h, groups_, key, credit) for key in keys for credit in (False, True)]
    rates += [_rate(msl, label_h, groups_, key._replace(within_30_60=False), False) for key in keys]
    return lcm(*(one.denominator for one in rates))


def governing_group(part: PartFacts, key: AirKey) -> str | None:
    """Return the thickness group whose cell governs, None where the level has no table."""
    if part.msl in ("1", "6"):
        return None
    return derating.table_rate_per_h(part.msl, groups(part), key.cell)[1]


def groups(part: PartFacts) -> tuple[str, ...]:
    """Return the thickness groups in question (more than one when the facts do not decide)."""
    return _groups(part.family, part.pins, part.square, part.body_mm)


_groups = lru_cache(maxsize=4096)(groups_for)


def _rate(
    msl: str, label_h: Fraction | None, groups_: tuple[str, ...], key: AirKey, credit: bool
) -> Fraction:
    if label_h is None:
        return Fraction(0)
    label = 1 / label_h
    if levels.is_label_timed(msl):
        return label / HOUR_S
    table = _table_rate(msl, label_h, groups_, key.cell)
    if credit:
        per_h = min(label, table) if key.within_30_60 else table
        if key.missing is not None and not key.within_30_60:
            per_h = max(per_h, label)
    else:
        per_h = label if key.within_30_60 else max(label, table)
    return per_h / HOUR_S


def _table_rate(msl: str, label_h: Fraction, groups_: tuple[str, ...], cell: int) -> Fraction:
    per_h, _ = derating.table_rate_per_h(msl, groups_, cell)
    row_h = levels.floor_life_h(derating.table_level(msl))
    assert row_h is not None
    return per_h * (row_h / label_h) if label_h < row_h else per_h
