"""Floor life in air other than 30 °C and 60 % RH: the cells of J-STD-033 Table 7-1.

A cell is one of the table's 4 x 10 conditions, as a small whole number that can be stored:
10 x row + column, rows by rising temperature, columns by rising humidity.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from typing import Final

from msdtrack.errors import BadInput
from msdtrack.standard.figures import load
from msdtrack.standard.levels import known_level
from msdtrack.standard.package_groups import GROUPS

TEMPS_C: Final[tuple[int, ...]] = tuple(sorted(load("derating")["temp_c"]))
"""Tabulated temperatures in °C, rising; the row of a cell indexes them."""

RHS_PCT: Final[tuple[int, ...]] = tuple(load("derating")["rh_pct"])
"""Tabulated relative humidities in %, rising; the column of a cell indexes them."""

BEYOND: Final = 10 * len(TEMPS_C)
"""The cell of air hotter or more humid than the table goes."""

WORST_CELL: Final = BEYOND - 1
"""The hottest and most humid published cell (35 °C, 90 % RH)."""

_TEMPS_C100 = tuple(100 * temp_c for temp_c in TEMPS_C)
_RHS_C100 = tuple(100 * rh_pct for rh_pct in RHS_PCT)

Life = Fraction | None
"""Days; None: no limit."""


def _read_lives() -> Mapping[tuple[str, str], tuple[Life, ...]]:
    """Returns the lives of every cell, in cell order, by group and level."""
    data = load("derating")
    row_order = sorted(range(len(TEMPS_C)), key=data["temp_c"].__getitem__)
    return {
        (group, level): tuple(
            None if days == float("inf") else Fraction(days)
            for row in row_order
            for days in rows[row]
        )
        for group in GROUPS
        for level, rows in data[group]["life_days"].items()
    }


_LIVES = _read_lives()


def cell_for(temp_c100: int, rh_c100: int) -> int:
    """Returns the cell that answers for this air, never a milder one.

    Row and column are the smallest tabulated values at or above the air's own; air below the
    lowest takes the lowest. Above the highest temperature or humidity it is `BEYOND`.

    Args:
        temp_c100: Temperature in hundredths of a °C.
        rh_c100: Relative humidity in hundredths of a %.

    Source: J-STD-033 (B.1 to D) Table 7-1 for the steps; rounding up is this program's rule.
    """
    row, column = row_for(temp_c100), column_for(rh_c100)
    if row == len(TEMPS_C) or column == len(RHS_PCT):
        return BEYOND
    return 10 * row + column


def row_for(temp_c100: int) -> int:
    """Returns the row of the smallest tabulated temperature at or above this one."""
    return bisect_left(_TEMPS_C100, temp_c100)


def column_for(rh_c100: int) -> int:
    """Returns the column of the smallest tabulated humidity at or above this one."""
    return bisect_left(_RHS_C100, rh_c100)


def cell_air(cell: int) -> tuple[int, int]:
    """Returns the tabulated air of a cell: temperature in °C and relative humidity in %.

    Args:
        cell: 0 to `WORST_CELL`.

    Raises:
        BadInput: No published cell; `BEYOND` has no air of its own.
    """
    if not 0 <= cell <= WORST_CELL:
        raise BadInput(f"Cell {cell} is not in the table; cells go from 0 to {WORST_CELL}.")
    row, column = divmod(cell, 10)
    return TEMPS_C[row], RHS_PCT[column]


def table_level(level: str) -> str:
    """Returns the level whose rows answer: no row is published for level 2, and level 2a's, the
    next more sensitive, stand in for it.

    Raises:
        BadInput: Levels 1 and 6, which the table leaves out, and unknown ones.
    """
    if known_level(level) in ("1", "6"):
        raise BadInput(f"Level {level} is not in the derating table; it has levels 2 to 5a.")
    return "2a" if level == "2" else level


def answering_cell(cell: int) -> int:
    """Returns the cell whose figure answers: beyond the table it is the worst one published."""
    return WORST_CELL if cell == BEYOND else cell


def life_days(group: str, level: str, cell: int) -> Fraction | None:
    """Returns the total floor life in a cell's air, in days.

    The answer for `BEYOND` is the shortest published life, which says nothing about such air
    itself.

    Args:
        group: One of `GROUPS`.
        level: "2" to "5a".
        cell: 0 to `BEYOND`.

    Returns:
        Days, exact; None: no limit in this air.

    Raises:
        BadInput: Unknown group, level or cell; levels 1 and 6, which the table leaves out.

    Source: J-STD-033 (B.1 to D) Table 7-1, for mold compounds of novolac, biphenyl or
        multifunctional epoxy.
    """
    if group not in GROUPS:
        raise BadInput(f"{group!r} is no thickness group; give one of {', '.join(GROUPS)}.")
    answering = answering_cell(cell)
    cell_air(answering)
    return _LIVES[group, table_level(level)][answering]


@cache
def table_rate_per_h(level: str, groups: tuple[str, ...], cell: int) -> tuple[Fraction, str]:
    """Returns the highest share of the floor life used per hour, and the group that governs.

    Args:
        level: "2" to "5a".
        groups: The groups in question, as from `groups_for`; at least one.
        cell: 0 to `BEYOND`.

    Returns:
        The rate per hour, exact, 0 where the table has no limit; and the first group in `GROUPS`
        order that has it.

    Raises:
        BadInput: No groups; unknown group, level or cell; levels 1 and 6.

    Source: J-STD-033 (B.1 to D) Table 7-1; taking the highest is this program's rule.
    """
    if not groups:
        raise BadInput("At least one thickness group is needed; groups_for names them.")
    rates = []
    for group in groups:
        days = life_days(group, level, cell)
        rates.append((Fraction(0) if days is None else 1 / (24 * days), -GROUPS.index(group)))
    rate, order = max(rates)
    return rate, GROUPS[-order]
