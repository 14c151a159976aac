"""Which thickness groups of J-STD-033 Table 7-1 a package may belong to."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Final

from msdtrack.errors import BadInput
from msdtrack.standard.quantities import Number, exact_body

GROUPS: Final[tuple[str, ...]] = ("thin", "medium", "thick")
"""The thickness groups, from the thinnest."""

_MEDIUM_FROM_MM = Decimal("2.1")
_THICK_FROM_MM = Decimal("3.1")
_THICK_BGA_FROM_MM = Decimal("1")

_WIDE_SOIC = frozenset({"SOICW", "SOICWIDE", "SOICWIDEBODY", "WIDESOIC", "WIDEBODYSOIC"})


def _family_name(family: str | None) -> str:
    """Returns the letters of a family, upper case: "SOIC-W" and "soic w", "TQFP-64" and "TQFP"."""
    return re.sub(r"[^A-Z]", "", (family or "").upper())


def is_bga(family: str | None) -> bool:
    """Returns whether the family is a ball grid array, of whatever kind ("BGA", "FBGA")."""
    return _family_name(family).endswith("BGA")


def _thickness_group(body: Decimal) -> str:
    if body >= _THICK_FROM_MM:
        return "thick"
    return "medium" if body >= _MEDIUM_FROM_MM else "thin"


def _named_groups(name: str, pins: int | None, square: bool | None) -> frozenset[str] | None:
    """Returns the groups a named family may be in; None: the table does not name it."""
    if name in _WIDE_SOIC:
        return frozenset({"medium"})
    match name:
        case "MQFP":
            return frozenset({"thick"})
        case "TQFP" | "TSOP":
            return frozenset({"thin"})
        case "PQFP" if pins is not None and pins > 84:
            return frozenset({"thick"})
        case "PQFP" if pins is not None and pins <= 80:
            return frozenset({"medium"})
        case "PLCC" if square:
            return frozenset({"thick"})
        case "PLCC" if square is False and pins is not None and 18 <= pins <= 32:
            return frozenset({"medium"})
        case "PQFP" | "PLCC":
            return frozenset({"medium", "thick"})
        case "SOIC" if pins is not None and pins < 18:
            return frozenset({"thin"})
        case "SOIC" if pins is not None and pins >= 20:
            return frozenset({"medium"})
        case "SOIC":
            return frozenset({"thin", "medium"})
    return None


def _bga_groups(body: Decimal | None) -> tuple[str, ...]:
    if body is None:
        return ("thin", "thick")
    return ("thick",) if body >= _THICK_BGA_FROM_MM else ("thin",)


def groups_for(
    family: str | None,
    pins: int | None,
    square: bool | None,
    body_mm: Number | None,
) -> tuple[str, ...]:
    """Returns the groups in question for a package: every one that its known facts allow.

    A family that the table names and a known thickness are both heard; where they disagree, both
    groups are in question. A BGA goes by its own limit of 1 mm. Pins in no group, pins or
    squareness not known: every group of that family. A family that the table does not name goes
    by thickness alone; with nothing known all three are in question.

    Args:
        family: Package family as written ("PQFP", "SOIC wide", "TQFP-64"); None: not known.
            Case, blanks, hyphens and digits do not matter; the pin count comes from `pins` alone.
        pins: Number of pins, 1 or more; None: not known.
        square: Whether a PLCC is square (False: rectangular); None: not known.
        body_mm: Thickness of the body in mm, above 0; None: not known.

    Returns:
        One to three of `GROUPS`, in that order.

    Raises:
        BadInput: Pins below 1, or a thickness that is no number above 0.

    Source: J-STD-033 (B.1 to D) Table 7-1, row headings.
    """
    if pins is not None and pins < 1:
        raise BadInput(f"The number of pins must be 1 or more, not {pins}.")
    body = None if body_mm is None else exact_body(body_mm)
    if is_bga(family):
        return _bga_groups(body)
    by_thickness = frozenset() if body is None else frozenset({_thickness_group(body)})
    by_family = _named_groups(_family_name(family), pins, square) or frozenset()
    in_question = by_family | by_thickness
    return tuple(group for group in GROUPS if group in in_question) or GROUPS
