"""Which carriers may be at a place, without folding all that were ever there."""

from __future__ import annotations

from msdtrack.services import standings
from msdtrack.store import whereabouts


def perhaps_at(place: str, now: int) -> list[str]:
    """Return every carrier that is at a place as of a moment, and perhaps others, sorted.

    Whether one is there the fold says. To be asked inside a transaction; who asks
    `standings.answering` before it has what is stale drawn, which is one more here otherwise.

    Args:
        place: the place.
        now: the moment.
    """
    stale = standings.answering(now, place).stale
    if stale is None:
        return sorted(whereabouts.ever_at_place(place))
    return sorted({*whereabouts.at_place(place), *stale})
