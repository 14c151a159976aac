"""Bake times: the right row, no figure where none exists, and no bake that shrinks wrongly."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise, product
from typing import cast

import pytest

from msdtrack.errors import BadInput
from msdtrack.standard import baking

LEVELS = ("2", "2a", "3", "4", "5", "5a")
BODIES_MM = (1.4, 2.0, 4.5)


def hours(level: str, body_mm: float, temp_c: int, column: baking.Column) -> int:
    found = baking.user_bake_h(level, body_mm, temp_c, column, False)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("body_mm", "row"),
    [
        (0.4, "upto_1_4"),
        (1.4, "upto_1_4"),
        (Decimal("1.4"), "upto_1_4"),
        (1.41, "upto_2_0"),
        (2, "upto_2_0"),
        (2.01, "upto_4_5"),
        (4.5, "upto_4_5"),
        (4.51, None),
        (None, None),
    ],
)
def test_a_thickness_on_the_limit_belongs_to_the_thinner_row(
    body_mm: float | Decimal | None, row: str | None
) -> None:
    assert baking.thickness_row(body_mm) == row


def test_every_condition_of_a_bake_is_given() -> None:
    assert baking.TEMPS_C == (125, 90, 40)
    assert baking.PLUS_C == {125: 10, 90: 8, 40: 5}
    assert baking.MAX_RH_PCT == {125: None, 90: 5, 40: 5}


@pytest.mark.parametrize(("level", "body_mm"), [*product(LEVELS, BODIES_MM)])
def test_a_cooler_bake_is_never_shorter(level: str, body_mm: float) -> None:
    for (hotter, cooler), column in product(pairwise(baking.TEMPS_C), baking.COLUMNS):
        assert hours(level, body_mm, cooler, column) >= hours(level, body_mm, hotter, column)


@pytest.mark.parametrize(("level", "body_mm"), [*product(LEVELS, BODIES_MM)])
def test_more_excess_never_bakes_shorter(level: str, body_mm: float) -> None:
    for temp_c in baking.TEMPS_C:
        longer = hours(level, body_mm, temp_c, "over_72h")
        assert longer >= hours(level, body_mm, temp_c, "up_to_72h")


@pytest.mark.parametrize(("temp_c", "column"), [*product(baking.TEMPS_C, baking.COLUMNS)])
def test_a_thicker_body_or_a_stricter_level_never_bakes_shorter(
    temp_c: int, column: baking.Column
) -> None:
    for level, (thinner, thicker) in product(LEVELS, pairwise(BODIES_MM)):
        assert hours(level, thicker, temp_c, column) >= hours(level, thinner, temp_c, column)
    for (milder, stricter), body_mm in product(pairwise(LEVELS), BODIES_MM):
        assert hours(stricter, body_mm, temp_c, column) >= hours(milder, body_mm, temp_c, column)


@pytest.mark.parametrize(
    ("level", "body_mm"), [("1", 1.0), ("6", 1.0), ("3", None), ("3", 4.6), ("5a", 9)]
)
def test_where_no_figure_exists_there_is_none_and_the_source_says_so(
    level: str, body_mm: float | None
) -> None:
    for temp_c, column, large in product(baking.TEMPS_C, baking.COLUMNS, (False, True)):
        assert baking.user_bake_h(level, body_mm, temp_c, column, large) is None
        assert "ask its maker" in baking.user_bake_source(level, body_mm, column, large)
    for temp_c in baking.SUPPLIER_TEMPS_C:
        assert baking.supplier_bake_h(level, body_mm, temp_c) is None
    assert "ask its maker" in baking.supplier_bake_source(level, body_mm)


@pytest.mark.parametrize(("level", "body_mm"), [*product(LEVELS, BODIES_MM)])
def test_a_large_or_stacked_package_long_past_its_floor_life_bakes_96_h_at_125_c_only(
    level: str, body_mm: float
) -> None:
    # From memory: the last row of Table 4-1.
    found = [
        baking.user_bake_h(level, body_mm, temp_c, "over_72h", True) for temp_c in baking.TEMPS_C
    ]
    assert found == [96, None, None]
    assert "17 mm" in baking.user_bake_source(level, body_mm, "over_72h", True)


@pytest.mark.parametrize(("level", "body_mm"), [*product(LEVELS, BODIES_MM)])
def test_a_large_or_stacked_package_within_72_h_bakes_by_its_thickness(
    level: str, body_mm: float
) -> None:
    for temp_c in baking.TEMPS_C:
        found = baking.user_bake_h(level, body_mm, temp_c, "up_to_72h", True)
        assert found == hours(level, body_mm, temp_c, "up_to_72h")
    large = baking.user_bake_source(level, body_mm, "up_to_72h", True)
    assert large == baking.user_bake_source(level, body_mm, "up_to_72h", False)


@pytest.mark.parametrize(
    ("level", "body_mm", "published"),
    [
        ("2a", 1.4, False),
        ("3", 1.4, True),
        ("2a", 2.0, True),
        ("5a", 2.0, False),
        ("3", 4.5, False),
    ],
)
def test_each_bake_says_whether_it_was_found_in_public(
    level: str, body_mm: float, published: bool
) -> None:
    source = baking.user_bake_source(level, body_mm, "over_72h", False)
    assert source.startswith("J-STD-033 Table 4-1")
    assert ("found in a public source" in source) is published
    assert ("check your own licensed copy" in source) is not published


@pytest.mark.parametrize(("level", "body_mm"), [*product(LEVELS, BODIES_MM)])
def test_the_hotter_supplier_bake_is_the_shorter(level: str, body_mm: float) -> None:
    at_125_c = baking.supplier_bake_h(level, body_mm, 125)
    at_150_c = baking.supplier_bake_h(level, body_mm, 150)
    assert at_125_c is not None
    assert at_150_c is not None
    assert at_150_c < at_125_c


def test_a_bake_that_no_table_has_is_refused() -> None:
    with pytest.raises(BadInput, match="125, 90, 40"):
        baking.user_bake_h("3", 1.4, 60, "over_72h", False)
    with pytest.raises(BadInput, match="125, 150"):
        baking.supplier_bake_h("3", 1.4, 90)
    with pytest.raises(BadInput, match="over_72h"):
        baking.user_bake_h("3", 1.4, 125, cast("baking.Column", "always"), False)
    with pytest.raises(BadInput, match="over_72h"):
        baking.user_bake_source("3", 1.4, cast("baking.Column", "always"), False)
    with pytest.raises(BadInput):
        baking.user_bake_h("8", 1.4, 125, "over_72h", False)
    with pytest.raises(BadInput, match="above 0"):
        baking.user_bake_h("3", 0, 125, "over_72h", False)
