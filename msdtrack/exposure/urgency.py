"""What belongs on the watch list, and what comes first there."""

from __future__ import annotations

from msdtrack.exposure.state import CarrierState


def is_watched(one: CarrierState) -> bool:
    """Return whether a carrier belongs on the watch list."""
    if one.status in ("exposed", "baking"):
        return True
    return one.status in ("in_dry_bag", "dry_storage") and one.used_share > 0


def urgency(one: CarrierState) -> tuple[int, float, str]:
    """Return what watched carriers are sorted by."""
    exposed = one.status == "exposed"
    left_h = one.forecast.remaining_h
    if exposed and one.verdict == "do_not_use":
        rank = 0
    elif exposed:
        rank = 1 if left_h is not None else 3
    else:
        rank = 2
    return rank, float("inf") if left_h is None else float(left_h), one.facts.code
