"""Shelf life on the calendar, and desiccant by the formula."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from msdtrack.errors import BadInput
from msdtrack.standard import drypack


@pytest.mark.parametrize(
    ("sealed", "months", "ends"),
    [
        (date(2025, 3, 14), 12, date(2026, 3, 14)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 2, 29), 48, date(2028, 2, 29)),
        (date(2025, 8, 31), 6, date(2026, 2, 28)),
        (date(2025, 12, 31), 1, date(2026, 1, 31)),
        (date(2025, 1, 15), 24, date(2027, 1, 15)),
    ],
)
def test_shelf_life_ends_on_the_same_day_or_the_last_of_its_month(
    sealed: date, months: int, ends: date
) -> None:
    assert drypack.shelf_life_end(sealed, months) == ends


def test_shelf_life_is_12_months_unless_told_otherwise() -> None:
    assert drypack.shelf_life_end(date(2025, 5, 1)) == date(2026, 5, 1)


@pytest.mark.parametrize("months", [0, -12, 10**6, 10**30])
def test_a_shelf_life_that_cannot_be_is_refused(months: int) -> None:
    with pytest.raises(BadInput):
        drypack.shelf_life_end(date(2025, 5, 1), months)


@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.integers(1, 120))
def test_a_longer_shelf_life_ends_later(sealed: date, months: int) -> None:
    ends = drypack.shelf_life_end(sealed, months)
    assert sealed < ends < drypack.shelf_life_end(sealed, months + 1)


def test_the_remembered_limits() -> None:
    # From memory: a quick check within the hour, desiccant out for half an hour at most.
    assert drypack.RESEAL_WITHIN_MIN == 60
    assert drypack.DESICCANT_REUSE_MIN == 30
    assert drypack.CABINET_RECOVERS_WITHIN_MIN == 60


def test_desiccant_is_exact_and_counts_each_factor_once() -> None:
    base = drypack.desiccant_units(12, 0.02, 400, 2)
    assert base == Fraction("14.592")
    assert drypack.desiccant_units(24, 0.02, 400, 2) == 2 * base
    assert drypack.desiccant_units(12, 0.04, 400, 2) == 2 * base
    assert drypack.desiccant_units(12, 0.02, 800, 2) == 2 * base
    assert drypack.desiccant_units(12, 0.02, 400, 4) == base / 2


@pytest.mark.oracle
def test_desiccant_in_square_metres_is_the_same_bag() -> None:
    # J-STD-033 B.1 as quoted in public: the factor is 30.4 for g per m2 and day, and m2.
    m2_per_in2 = 0.0254**2
    in_metres = 30.4 * 12 * (0.02 / (100 * m2_per_in2)) * (400 * m2_per_in2) / 2
    assert float(drypack.desiccant_units(12, 0.02, 400, 2)) == pytest.approx(in_metres)


@pytest.mark.parametrize(("area_in2", "units", "use"), [(400, "4.4", "4.5"), (336, "3.696", "4")])
def test_desiccant_by_the_older_rule(area_in2: int, units: str, use: str) -> None:
    # From memory: U = 0.011 per in2, and the next half unit is used.
    found = drypack.desiccant_units_by_area(area_in2)
    assert found == Fraction(units)
    assert drypack.to_half_units(found) == Fraction(use)


@pytest.mark.parametrize(
    ("units", "whole_halves"), [("4.5", "4.5"), ("4.501", "5"), ("0.1", "0.5"), ("3", "3")]
)
def test_desiccant_is_rounded_up_to_half_units(units: str, whole_halves: str) -> None:
    assert drypack.to_half_units(Fraction(units)) == Fraction(whole_halves)


@pytest.mark.parametrize("bad", [0, -1, float("nan"), float("inf")])
def test_desiccant_of_nothing_is_refused(bad: float) -> None:
    good = [12.0, 0.02, 400.0, 2.0]
    for position in range(4):
        arguments = [*good[:position], bad, *good[position + 1 :]]
        with pytest.raises(BadInput, match="above 0"):
            drypack.desiccant_units(*arguments)
    with pytest.raises(BadInput):
        drypack.desiccant_units_by_area(bad)
