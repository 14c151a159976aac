"""The thickness groups of a package: every one its known facts allow, none they rule out."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from msdtrack.errors import BadInput
from msdtrack.standard.package_groups import GROUPS, groups_for

ALL = ("thin", "medium", "thick")


@pytest.mark.parametrize(
    ("family", "pins", "square", "groups"),
    [
        # Row headings of J-STD-033 Table 7-1, from memory.
        ("PQFP", 85, None, ("thick",)),
        ("PQFP", 80, None, ("medium",)),
        ("PLCC", None, True, ("thick",)),
        ("PLCC", 18, False, ("medium",)),
        ("PLCC", 32, False, ("medium",)),
        ("MQFP", None, None, ("thick",)),
        ("SOIC", 17, None, ("thin",)),
        ("SOIC", 20, None, ("medium",)),
        ("SOIC wide", 16, None, ("medium",)),
        ("TQFP", 144, None, ("thin",)),
        ("TSOP", None, None, ("thin",)),
        # Pins in no group, pins or squareness not known: every group of the family.
        ("PQFP", 81, None, ("medium", "thick")),
        ("PQFP", 84, None, ("medium", "thick")),
        ("PQFP", None, None, ("medium", "thick")),
        ("PLCC", 28, None, ("medium", "thick")),
        ("PLCC", 44, False, ("medium", "thick")),
        ("PLCC", 17, False, ("medium", "thick")),
        ("PLCC", None, False, ("medium", "thick")),
        ("SOIC", 18, None, ("thin", "medium")),
        ("SOIC", 19, None, ("thin", "medium")),
        ("SOIC", None, None, ("thin", "medium")),
        ("BGA", 256, None, ("thin", "thick")),
        # A family that the table does not name, with no thickness: anything.
        ("QFN", 32, True, ALL),
        ("", None, None, ALL),
        (None, None, None, ALL),
    ],
)
def test_groups_without_a_thickness(
    family: str | None, pins: int | None, square: bool | None, groups: tuple[str, ...]
) -> None:
    assert groups_for(family, pins, square, None) == groups


@pytest.mark.parametrize(
    ("body_mm", "group"),
    [
        (0.5, "thin"),
        (2.09, "thin"),
        (2.1, "medium"),
        (3.09, "medium"),
        (3.1, "thick"),
        (Decimal("3.1"), "thick"),
        (Decimal("3.0999"), "medium"),
        (2, "thin"),
        (4, "thick"),
    ],
)
@pytest.mark.parametrize("family", ["QFN", "LGA", None])
def test_a_family_that_is_not_named_goes_by_thickness(
    family: str | None, body_mm: float | Decimal, group: str
) -> None:
    assert groups_for(family, None, None, body_mm) == (group,)


@pytest.mark.parametrize(
    ("family", "pins", "square", "body_mm", "groups"),
    [
        ("TQFP", 64, None, 1.4, ("thin",)),
        ("TQFP", 64, None, 2.7, ("thin", "medium")),
        ("MQFP", 64, None, 2.0, ("thin", "thick")),
        ("MQFP", 64, None, 3.4, ("thick",)),
        ("PQFP", 100, None, 2.7, ("medium", "thick")),
        ("PQFP", 82, None, 1.4, ALL),
        ("PLCC", 44, None, 3.7, ("medium", "thick")),
        ("SOIC", None, None, 1.5, ("thin", "medium")),
        ("SOIC", 18, None, 3.5, ALL),
        ("SOIC", 8, None, 1.5, ("thin",)),
        ("SOICW", 16, None, 2.3, ("medium",)),
        ("SOICW", 16, None, 2.0, ("thin", "medium")),
    ],
)
def test_family_and_thickness_that_disagree_are_both_in_question(
    family: str, pins: int | None, square: bool | None, body_mm: float, groups: tuple[str, ...]
) -> None:
    assert groups_for(family, pins, square, body_mm) == groups


@pytest.mark.parametrize(
    ("body_mm", "group"), [(0.99, "thin"), (1.0, "thick"), (1.7, "thick"), (3.5, "thick")]
)
@pytest.mark.parametrize("family", ["BGA", "FBGA", "PBGA-256", "tfbga"])
def test_a_bga_goes_by_its_own_limit_of_1_mm(family: str, body_mm: float, group: str) -> None:
    assert groups_for(family, None, None, body_mm) == (group,)


@pytest.mark.parametrize(
    "family", ["SOIC wide", "soic-w", "SOICW", "Wide SOIC", "SOIC wide body", "SOIC-16W"]
)
def test_a_wide_soic_is_medium_however_it_is_written(family: str) -> None:
    assert groups_for(family, 16, None, None) == ("medium",)


def test_a_pin_count_in_the_name_does_not_hide_the_family_nor_count_as_pins() -> None:
    assert groups_for("TQFP-64", None, None, None) == ("thin",)
    assert groups_for("SOIC-16", None, None, None) == ("thin", "medium")


@given(
    st.sampled_from(["PQFP", "PLCC", "MQFP", "BGA", "SOIC", "SOICW", "TQFP", "TSOP", "QFN"]),
    st.integers(1, 2000),
    st.booleans(),
    st.decimals("0.1", "6", places=2),
)
def test_knowing_less_never_rules_a_group_out(
    family: str, pins: int, square: bool, body_mm: Decimal
) -> None:
    known = set(groups_for(family, pins, square, body_mm))
    assert known <= set(groups_for(family, None, square, body_mm))
    assert known <= set(groups_for(family, pins, None, body_mm))
    assert known <= set(groups_for(None, None, None, None))
    assert groups_for(family, pins, square, body_mm) == tuple(g for g in GROUPS if g in known)


@pytest.mark.parametrize("body_mm", [0, -1.0, float("nan"), float("inf"), Decimal("0")])
def test_a_thickness_that_cannot_be_is_refused(body_mm: float | Decimal) -> None:
    for family in ("BGA", "QFN"):
        with pytest.raises(BadInput, match="above 0"):
            groups_for(family, None, None, body_mm)


def test_pins_that_cannot_be_are_refused() -> None:
    with pytest.raises(BadInput, match="pins"):
        groups_for("PQFP", 0, None, None)
