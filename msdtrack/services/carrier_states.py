"""State and working of carriers, computed from the log and the readings."""

from __future__ import annotations

from collections.abc import Iterable

from msdtrack.exposure.bake_advice import OvenLimits
from msdtrack.exposure.state import CarrierState
from msdtrack.exposure.urgency import is_watched, urgency
from msdtrack.exposure.working import Working, working_of
from msdtrack.services import standings
from msdtrack.services.accounts import Account, account, accounts
from msdtrack.store import carriers, concerned
from msdtrack.store import places as place_table
from msdtrack.store import standings as table
from msdtrack.store.connection import read

__all__ = [
    "Account",
    "account",
    "accounts",
    "is_watched",
    "oven_limits",
    "state",
    "state_and_working",
    "states",
    "watch",
    "watch_at",
    "watch_by_folding",
]


def state(
    code: str,
    now: int,
    at: int | None = None,
    known_at: int | None = None,
    oven: str | None = None,
) -> CarrierState:
    """Return the state of a carrier.

    Args:
        code: the carrier.
        now: the present moment.
        at: the moment asked about; None is now.
        known_at: only what had been received by then counts; None is everything.
        oven: the oven that bake advice is for; None is any.

    Raises:
        NotFound: no such carrier or oven.
    """
    with read():
        limits = None if oven is None else oven_limits(oven)
        return account(code, known_at).state(now if at is None else at, limits)


def state_and_working(
    code: str, now: int, at: int | None = None, known_at: int | None = None
) -> tuple[CarrierState, Working]:
    """Return the state of a carrier and the working behind it; arguments as for `state`."""
    with read():
        found = account(code, known_at)
        current = found.state(now if at is None else at, working=True)
        return current, working_of(current, found.places)


def states(codes: Iterable[str], now: int) -> dict[str, CarrierState]:
    """Return the states of carriers as of now, by code."""
    with read():
        return {found.facts.code: found.state(now) for found in accounts(codes)}


def watch(now: int, place: str | None = None, limit: int | None = None) -> list[CarrierState]:
    """Return every exposed, drying or baking carrier, most urgent first.

    Drying is dry storage after an exposure. Those that run out first come first; then what waits
    for a bake, a decision or a reset. Which they are the standings know; each is folded to be
    shown. `watch_list.lines` shows them without.

    Args:
        now: the present moment.
        place: only what is at this place; None is everywhere.
        limit: only so many, the most urgent; None is all.
    """
    now, known = standings.answering(now, place)
    if known is None:
        return watch_at(now, place)[:limit]
    with read():
        first = [one.carrier for one in table.urgent(now, place, limit)]
        found = states({*first, *known}, now).values()
    return _listed(found, place)[:limit]


def watch_at(at: int, place: str | None = None, known_at: int | None = None) -> list[CarrierState]:
    """Return what `watch` does, as of any moment: fold every carrier that may be on it.

    Args:
        at, place: as for `watch`.
        known_at: only what had been received by then counts; None is everything.
    """
    with read():
        perhaps = accounts(concerned.perhaps_out_at(at, known_at), known_at)
        return _listed((each.state(at) for each in perhaps), place)


def watch_by_folding(
    now: int, place: str | None = None, known_at: int | None = None
) -> list[CarrierState]:
    """Return what `watch` does, the plain way: fold every carrier there ever was. The others are
    held against it.

    Args:
        now, place: as for `watch`.
        known_at: only what had been received by then counts; None is everything.
    """
    with read():
        every = accounts(carriers.carrier_codes(), known_at)
        return _listed((each.state(now) for each in every), place)


def _listed(found: Iterable[CarrierState], place: str | None) -> list[CarrierState]:
    listed = [
        one for one in found if is_watched(one) and (place is None or one.ledger.place == place)
    ]
    return sorted(listed, key=urgency)


def oven_limits(code: str) -> OvenLimits:
    """Return what an oven can do.

    Raises:
        NotFound: no such place.
    """
    record = place_table.place(code)
    return OvenLimits(record.oven_max_c, record.oven_max_rh_pct)
