"""Shelf life on the calendar, and desiccant by the formula."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest

from msdtrack.errors import BadInput
from msdtrack.standard import drypack


@pytest.mark.parametrize(
    ("sealed", "ends"),
    [
        (date(2025, 3, 14), date(2026, 3, 14)),
        (date(2024, 2, 29), date(2025, 2, 28)),
        (date(2023, 2, 28), date(2024, 2, 28)),
        (date(2025, 12, 31), date(2026, 12, 31)),
    ],
)
def test_shelf_life_ends_on_the_same_day_or_the_last_of_its_month(sealed: date, ends: date) -> None:
    assert drypack.shelf_life_end(sealed) == ends


def test_a_shelf_life_without_an_end_is_refused() -> None:
    with pytest.raises(BadInput, match="9999-05-01"):
        drypack.shelf_life_end(date(9999, 5, 1))


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
