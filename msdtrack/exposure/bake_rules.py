"""When a bake is due and how long it must last."""

from __future__ import annotations

from fractions import Fraction

from msdtrack.exposure.facts import HOUR_S, PartFacts
from msdtrack.exposure.ledger import Ledger, Need
from msdtrack.exposure.oven import Band
from msdtrack.standard import baking
from msdtrack.standard.baking import LONG_EXCESS_H

MAKERS_PLUS_C = min(baking.PLUS_C.values())
"""Tolerance above the temperature of a maker's own bake, where the maker states none (the
narrowest of Table 4-1)."""


def reasons(part: PartFacts, ledger: Ledger) -> tuple[str, ...]:
    """Return why only a bake makes this carrier usable again; empty where none is needed.

    Source: J-STD-033, Tables 4-1 and 5-1; what counts as bake-only is this program's rule.
    """
    if part.msl == "1":
        return ()
    found = []
    if ledger.is_full:
        found.append("floor_life_exceeded")
    if ledger.beyond_table:
        found.append("beyond_table")
    if ledger.hic_failed:
        found.append("hic_failed")
    if ledger.history_unknown:
        found.append("history_unknown")
    if part.msl == "6" and not ledger.baked_once:
        found.append("bake_before_use")
    if ledger.opened_after_shelf_life and ledger.hic_missing:
        found.append("shelf_life_over")
    return tuple(found)


def column(part: PartFacts, ledger: Ledger) -> baking.Column:
    """Return the column of Table 4-1: floor life exceeded by over or by up to 72 hours.

    What is not known counts as the longer one.
    """
    unbounded = (
        ledger.outside_30_60
        or ledger.beyond_table
        or ledger.hic_failed
        or ledger.history_unknown
        or (ledger.opened_after_shelf_life and ledger.hic_missing)
    )
    return "over_72h" if unbounded or _excess_h(part, ledger) > LONG_EXCESS_H else "up_to_72h"


def _excess_h(part: PartFacts, ledger: Ledger) -> Fraction:
    if not ledger.is_full or ledger.full_since is None or part.label_hours is None:
        return Fraction(0)
    by_share = (ledger.used - 1) * part.label_hours
    return max(by_share, Fraction(ledger.now - ledger.full_since, HOUR_S))


def need(part: PartFacts, ledger: Ledger, temp_c: float) -> Need:
    """Return what a bake at `temp_c`, started now, must reach.

    Args:
        temp_c: stated oven temperature, °C. A temperature the table does not have gives a need
            without hours: the bake is recorded and resets nothing.
    """
    own = part.maker_bake
    if own is not None:
        band = _band(own.temp_c, MAKERS_PLUS_C)
        fits = own.temp_c <= temp_c <= own.temp_c + MAKERS_PLUS_C
        spent = own.once and ledger.maker_bakes > 0
        hours = Fraction(own.hours) if fits and not spent else None
        return Need(band, hours, "maker's own bake", makers=True)
    for tabulated in baking.TEMPS_C:
        plus_c = baking.PLUS_C[tabulated]
        if tabulated <= temp_c <= tabulated + plus_c:
            which = column(part, ledger)
            table_h = table_hours(part, which, tabulated)
            hours = None if table_h is None else Fraction(table_h)
            return Need(_band(tabulated, plus_c), hours, table_source(part, which))
    return Need(_band(temp_c, 0), None, "no such temperature in Table 4-1")


def _band(low_c: float, plus_c: int) -> Band:
    low = round(low_c * 100)
    return Band(low, low + plus_c * 100)


def table_hours(part: PartFacts, which: baking.Column, temp_c: int) -> int | None:
    """Return the hours of Table 4-1, None where it has no figure for this part."""
    large = part.large_bga or part.stacked_die
    return baking.user_bake_h(part.msl, part.body_mm, temp_c, which, large)


def table_source(part: PartFacts, which: baking.Column) -> str:
    """Return the table and row the hours come from, and how far they are corroborated."""
    large = part.large_bga or part.stacked_die
    return baking.user_bake_source(part.msl, part.body_mm, which, large)
