"""Joining and splicing: the worst of the joined counts."""

from __future__ import annotations

from datetime import date

from msdtrack.exposure.ledger import Ledger


def absorb(ledger: Ledger, other: Ledger) -> None:
    """Let another carrier's account go into this one, field by field the worse of the two.

    The working becomes the one of the carrier that had used more. Storage of both is over: joining
    is done in the open.
    """
    if other.share > ledger.used:
        ledger.used, ledger.assumed = other.share, other.assumed
        ledger.intervals = list(other.intervals)
    ledger.stays += other.stays
    ledger.quantity += other.quantity
    other_s = other.storage.counted_s if other.storage is not None else 0
    ledger.exposure_s = max(ledger.exposure_s, other.exposure_s + other_s)
    ledger.beyond_run_s = max(ledger.beyond_run_s, other.beyond_run_s)
    ledger.desiccant_out_s = max(ledger.desiccant_out_s, other.desiccant_out_s)
    ledger.outside_30_60 |= other.outside_30_60
    ledger.beyond_table |= other.beyond_table
    ledger.hic_failed |= other.hic_failed
    ledger.hic_missing |= other.hic_missing
    ledger.hic_good &= other.hic_good
    ledger.opened_after_shelf_life |= other.opened_after_shelf_life
    ledger.history_unknown |= other.history_unknown
    ledger.baked_once &= other.baked_once
    both_baked = ledger.baked_at is not None and other.baked_at is not None
    ledger.baked_at = _earlier(ledger.baked_at, other.baked_at) if both_baked else None
    ledger.bakes = max(ledger.bakes, other.bakes)
    ledger.maker_bakes = max(ledger.maker_bakes, other.maker_bakes)
    ledger.hot_s = max(ledger.hot_s, other.hot_s)
    ledger.passes = max(ledger.passes, other.passes)
    ledger.unknowns |= other.unknowns
    ledger.held += tuple(reason for reason in other.held if reason not in ledger.held)
    ledger.full_since = _earlier(ledger.full_since, other.full_since)
    ledger.sealed_on = _sooner(ledger.sealed_on, other.sealed_on)
    ledger.shelf_life_ends = _sooner(ledger.shelf_life_ends, other.shelf_life_ends)


def _sooner(first: date | None, second: date | None) -> date | None:
    return min((day for day in (first, second) if day is not None), default=None)


def _earlier(first: int | None, second: int | None) -> int | None:
    known = [moment for moment in (first, second) if moment is not None]
    return min(known, default=None)
