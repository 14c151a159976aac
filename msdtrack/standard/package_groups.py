"""Which thickness groups of J-STD-033 Table 7-1 a package may belong to."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from msdtrack.errors import BadInput
from msdtrack.standard.figures import load
from msdtrack.standard.quantities import Number, exact_body

GROUPS: Final[tuple[str, ...]] = ("thin", "medium", "thick")
"""The thickness groups, from the thinnest."""

_TABLE: Final = load("derating")
_WIDE_SOIC: Final = frozenset({"SOICW", "SOICWIDEBODY", "WIDESOIC", "WIDEBODYSOIC"})


def _family_name(family: str | None) -> str:
    """Returns the letters of a family, upper case: "SOIC-W" and "soic w", "TQFP-64" and "TQFP"."""
    return re.sub(r"[^A-Z]", "", (family or "").upper())


def _thickest(body: Decimal, limit: str) -> str:
    """Returns the thickest group whose limit the body reaches; the thinnest has none."""
    reached = [g for g in GROUPS if body >= Decimal(str(_TABLE[g].get(limit, "Infinity")))]
    return reached[-1] if reached else GROUPS[0]


def _named_groups(name: str, pins: int | None, square: bool | None) -> frozenset[str]:
    """Returns the groups a family may be in by the row headings; none: they do not name it."""
    if name in _WIDE_SOIC:
        name = "SOICWIDE"
    naming = [
        (group, row)
        for group in GROUPS
        for row in _TABLE[group]["families"]
        if _family_name(row["family"]) == name
    ]
    sure = frozenset(group for group, row in naming if _is_named(row, pins, square))
    return sure or frozenset(group for group, _ in naming)


def _is_named(row: Mapping[str, Any], pins: int | None, square: bool | None) -> bool:
    if square is not row.get("square", square):
        return False
    if pins is None:
        return not {"min_pins", "max_pins"} & row.keys()
    return bool(row.get("min_pins", pins) <= pins <= row.get("max_pins", pins))


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
    name = _family_name(family)
    if name.endswith("BGA"):
        return ("thin", "thick") if body is None else (_thickest(body, "min_bga_body_mm"),)
    in_question = _named_groups(name, pins, square)
    if body is not None:
        in_question |= {_thickest(body, "min_body_mm")}
    return tuple(group for group in GROUPS if group in in_question) or GROUPS
