"""Which carriers are at a place, without folding all that were ever there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from msdtrack.exposure.state import CarrierState
from msdtrack.services import carrier_states, standings
from msdtrack.store import carriers, whereabouts
from msdtrack.store.connection import read
from msdtrack.store.records import CarrierRecord


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


def present(
    now: int,
    after: str | None = None,
    limit: int = 100,
    *,
    part: str | None = None,
    place: str | None = None,
    search: str | None = None,
) -> tuple[list[CarrierState], str | None]:
    """Return the carriers that are not gone, by code, as of the present moment.

    Args:
        now: the present moment.
        after: the last code of the page before.
        limit: how many at most; a page may have fewer though others follow.
        part: only of this part.
        place: only those at this place.
        search: only those whose code, part, lot or bag holds this text.

    Returns:
        The page, and the code that the next one comes after; None: there is none.
    """
    standings.answering(now, place)
    with read():
        unsure = standings.answering(now, place).stale
        found = carriers.carriers(
            after, limit + 1, part=part, place=place, text=search, unsure=unsure
        )
        listed, following = _page(found, now, limit, place)
    return [state for state in listed if state.status != "gone"], following


def ever(
    now: int,
    after: str | None = None,
    limit: int = 100,
    *,
    place: str | None = None,
    search: str | None = None,
) -> tuple[list[CarrierState], str | None]:
    """Return what `present` does and those that are gone, where they were at last."""
    with read():
        found = carriers.carriers(after, limit + 1, place=place, text=search)
        return _page(found, now, limit, place)


def _page(
    found: Sequence[CarrierRecord], now: int, limit: int, place: str | None
) -> tuple[list[CarrierState], str | None]:
    codes = [one.code for one in found[:limit]]
    states = carrier_states.states(codes, now)
    there = [states[code] for code in codes if place in (None, states[code].ledger.place)]
    return there, codes[-1] if len(found) > limit else None
