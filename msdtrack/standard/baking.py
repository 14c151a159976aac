"""Bake times of J-STD-033: Table 4-1 after exposure, Table 4-2 before dry packing."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import Any, Final, Literal

from msdtrack.errors import BadInput
from msdtrack.standard.figures import MEMORY_WORDS, PUBLISHED_WORDS, load
from msdtrack.standard.levels import known_level
from msdtrack.standard.quantities import Number, exact_body

Column = Literal["over_72h", "up_to_72h"]
"""How far the floor life was exceeded: by more than 72 h, or by 72 h or less."""

COLUMNS: Final[tuple[Column, ...]] = ("over_72h", "up_to_72h")

_USER: Final = load("user_bake")
_SUPPLIER: Final = load("supplier_bake")
_LARGE: Final = _USER["large_or_stacked"]

TEMPS_C: Final[tuple[int, ...]] = tuple(_USER["temp_c"])
"""Bake temperatures of Table 4-1 in °C, hottest first."""

PLUS_C: Final[dict[int, int]] = dict(zip(TEMPS_C, _USER["plus_c"], strict=True))
"""How far above each temperature the oven may run, in °C; below it, not at all. From memory."""

MAX_RH_PCT: Final[dict[int, int | None]] = {
    temp_c: None if rh_pct == float("inf") else int(rh_pct)
    for temp_c, rh_pct in zip(TEMPS_C, _USER["max_rh_pct"], strict=True)
}
"""Highest relative humidity in the oven at each temperature, in %; None: no limit."""

SUPPLIER_TEMPS_C: Final[tuple[int, ...]] = tuple(_SUPPLIER["temp_c"])
"""Bake temperatures of Table 4-2 in °C."""

THICKNESS_ROWS: Final[tuple[str, ...]] = ("upto_1_4", "upto_2_0", "upto_4_5")
"""The thickness rows of both tables, from the thinnest."""

LONG_EXCESS_H: Final[int] = _USER["long_excess_h"]
"""A floor life exceeded by more hours than this has the longer bake."""


def thickness_row(body_mm: Number | None) -> str | None:
    """Returns the thickness row of a body.

    Args:
        body_mm: Thickness of the body in mm, above 0; None: not known.

    Returns:
        One of `THICKNESS_ROWS`; None: not known, or thicker than the tables go (4.5 mm).

    Raises:
        BadInput: A thickness that is no number above 0.

    Source: J-STD-033 (B.1 to D) Tables 4-1 and 4-2, row headings.
    """
    if body_mm is None:
        return None
    body = exact_body(body_mm)
    for row in THICKNESS_ROWS:
        if body <= Decimal(str(_USER[row]["max_body_mm"])):
            return row
    return None


def _position(value: Any, allowed: tuple[Any, ...], what: str) -> int:
    if value not in allowed:
        choices = ", ".join(str(choice) for choice in allowed)
        raise BadInput(f"{value!r} is no {what}; give one of {choices}.")
    return allowed.index(value)


def _block(data: dict[str, Any], level: str, body_mm: Number | None) -> dict[str, Any] | None:
    """Returns the block that has a row for the part; None: no row."""
    known_level(level)
    row = thickness_row(body_mm)
    if row is None or level not in data[row]["hours"]:
        return None
    block: dict[str, Any] = data[row]
    return block


@lru_cache(maxsize=4096)
def user_bake_h(
    level: str,
    body_mm: Number | None,
    temp_c: int,
    column: Column,
    large_or_stacked: bool,
) -> int | None:
    """Returns the hours of a bake that dry a component after exposure.

    Args:
        level: One of `LEVELS`.
        body_mm: Thickness of the body in mm, above 0; None: not known.
        temp_c: One of `TEMPS_C`.
        column: How far the floor life was exceeded.
        large_or_stacked: A BGA over 17 mm x 17 mm, or any package with stacked die.

    Returns:
        Hours; None where no figure exists and the maker decides: levels 1 and 6, thickness
        unknown or over 4.5 mm, and at 90 and 40 °C in the column "over_72h" a large or stacked
        package.

    Raises:
        BadInput: Unknown level, temperature or column; a thickness that is no number above 0.

    Source: J-STD-033 (B.1 to D) Table 4-1.
    """
    at = _position(temp_c, TEMPS_C, "bake temperature in °C of Table 4-1")
    in_pair = _position(column, COLUMNS, "column of Table 4-1")
    block = _block(_USER, level, body_mm)
    if block is None:
        return None
    if large_or_stacked and column == "over_72h":
        return int(_LARGE["hours"]) if temp_c == _LARGE["temp_c"] else None
    return int(block["hours"][level][at][in_pair])


@lru_cache(maxsize=4096)
def user_bake_source(
    level: str,
    body_mm: Number | None,
    column: Column,
    large_or_stacked: bool,
) -> str:
    """Returns where the figure of `user_bake_h` stands and how far it was found in public.

    It is the same for all three temperatures. Where no figure exists it says so.

    Args and Raises: as `user_bake_h`.
    """
    _position(column, COLUMNS, "column of Table 4-1")
    block = _block(_USER, level, body_mm)
    if block is not None and large_or_stacked and column == "over_72h":
        return f"{_USER['clause']}, {_LARGE['heading']} ({MEMORY_WORDS})"
    return _source(_USER, level, block)


def supplier_bake_h(level: str, body_mm: Number | None, temp_c: int) -> int | None:
    """Returns the hours of a bake before dry packing.

    Args:
        level: One of `LEVELS`.
        body_mm: Thickness of the body in mm, above 0; None: not known.
        temp_c: One of `SUPPLIER_TEMPS_C` (125 or 150).

    Returns:
        Hours; None where no figure exists: levels 1 and 6, thickness unknown or over 4.5 mm.

    Raises:
        BadInput: Unknown level or temperature; a thickness that is no number above 0.

    Source: J-STD-033 (D) Table 4-2.
    """
    at = _position(temp_c, SUPPLIER_TEMPS_C, "bake temperature in °C of Table 4-2")
    block = _block(_SUPPLIER, level, body_mm)
    return None if block is None else int(block["hours"][level][at])


def supplier_bake_source(level: str, body_mm: Number | None) -> str:
    """Returns where the figure of `supplier_bake_h` stands and how far it was found in public.

    Args and Raises: as `supplier_bake_h`.
    """
    return _source(_SUPPLIER, level, _block(_SUPPLIER, level, body_mm))


def _source(data: dict[str, Any], level: str, block: dict[str, Any] | None) -> str:
    if block is None:
        return f"{data['clause']} has no figure for this part; ask its maker"
    words = PUBLISHED_WORDS if level in block["published_levels"] else MEMORY_WORDS
    return f"{data['clause']}, {block['heading']}, level {level} ({words})"
