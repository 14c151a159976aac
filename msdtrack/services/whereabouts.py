"""Which carriers are at a place, without folding all that were ever there."""

from __future__ import annotations

from typing import NamedTuple

from msdtrack.services import standings
from msdtrack.store import whereabouts


class There(NamedTuple):
    """Carriers at a place.

    Attributes:
        surely: those that are known to be there and not gone.
        perhaps: others of which only the fold knows.
    """

    surely: frozenset[str]
    perhaps: frozenset[str]


def at_place(place: str, now: int) -> There:
    """Return the carriers at a place as of a moment.

    To be asked inside a transaction. Who asks `standings.answering` for the place before it has
    those drawn of which only the fold knows otherwise.
    """
    stale = standings.answering(now, place).stale
    if stale is None:
        return There(frozenset(), frozenset(whereabouts.ever_at_place(place)))
    unsure = frozenset(stale)
    return There(frozenset(whereabouts.at_place(place)) - unsure, unsure)
