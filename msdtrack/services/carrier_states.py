"""State and working of carriers, computed from the log and the readings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from msdtrack.exposure.bake_advice import OvenLimits
from msdtrack.exposure.events import Event, Kind, lineage
from msdtrack.exposure.facts import CarrierFacts, Policies
from msdtrack.exposure.history import Places
from msdtrack.exposure.ledger import Joined
from msdtrack.exposure.state import CarrierState, account_of, state_of
from msdtrack.exposure.working import Working, working_of
from msdtrack.services.air_cache import all_places
from msdtrack.store import carriers, event_log, places, policies
from msdtrack.store.connection import read


@dataclass(frozen=True, slots=True)
class Account:
    """All that a carrier's state is computed from."""

    facts: CarrierFacts
    events: list[Event]
    places: Places
    policies: Policies
    known_at: int | None = None

    def state(self, at: int, oven: OvenLimits | None = None) -> CarrierState:
        """Return the state as of `at`."""
        joined = self._joined(at)
        return state_of(self.facts, self.events, self.places, self.policies, at, oven, joined)

    def _joined(self, at: int) -> dict[str, Joined]:
        """Return the account of what was joined into this carrier, by event of the join.

        What was joined may itself have been joined from others, earlier: each step goes back in
        time, so it ends.
        """
        found = {}
        for event in self.events:
            if event.kind is Kind.JOIN and event.joined is not None and event.at <= at:
                giver = account(event.joined, self.known_at)
                before = [e for e in giver.events if (e.at, e.seq) < (event.at, event.seq)]
                before = [e for e in before if e.id != event.cause]
                joined = replace(giver, events=before)._joined(event.at)
                found[event.id] = account_of(
                    giver.facts, before, giver.places, giver.policies, event.at, joined
                )
        return found


def accounts(codes: Iterable[str], known_at: int | None = None) -> Iterator[Account]:
    """Yield the accounts of carriers, in the order given, from a handful of queries.

    Args:
        codes: carriers that exist.
        known_at: only what had been received by then; None is everything.
    """
    wanted = list(codes)
    parents = carriers.parents(wanted)
    family = {*wanted, *parents, *(parent for parent, _ in parents.values())}
    facts = carriers.carrier_facts(wanted)
    logs = event_log.logs(family)
    if known_at is not None:
        logs = {
            code: [event for event in log if event.recorded_at <= known_at]
            for code, log in logs.items()
        }
    air, dated = all_places(known_at), policies.policies(known_at)
    for code in wanted:
        yield Account(facts[code], lineage(code, logs, parents), air, dated, known_at)


def account(code: str, known_at: int | None = None) -> Account:
    """Return the account of one carrier.

    Raises:
        NotFound: no such carrier.
    """
    carriers.carrier(code)
    return next(accounts([code], known_at))


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
        current = found.state(now if at is None else at)
        return current, working_of(current, found.places, found.policies)


def states(codes: Iterable[str], now: int) -> dict[str, CarrierState]:
    """Return the states of carriers as of now, by code."""
    with read():
        return {found.facts.code: found.state(now) for found in accounts(codes)}


def watch(now: int, place: str | None = None) -> list[CarrierState]:
    """Return every exposed, drying or baking carrier, most urgent first.

    Drying is dry storage after an exposure. Those that run out first come first; then what waits
    for a bake, a decision or a reset.

    Args:
        now: the present moment.
        place: only what is at this place; None is everywhere.
    """
    found = states(carriers.carrier_codes(), now).values()
    listed = [
        one for one in found if is_watched(one) and (place is None or one.ledger.place == place)
    ]
    return sorted(listed, key=_urgency)


def is_watched(one: CarrierState) -> bool:
    """Return whether a carrier belongs on the watch list."""
    if one.status in ("exposed", "baking"):
        return True
    return one.status in ("in_dry_bag", "dry_storage") and one.used_share > 0


def oven_limits(code: str) -> OvenLimits:
    """Return what an oven can do.

    Raises:
        NotFound: no such place.
    """
    record = places.place(code)
    return OvenLimits(record.oven_max_c, record.oven_max_rh_pct)


def _urgency(one: CarrierState) -> tuple[int, float, str]:
    exposed = one.status == "exposed"
    left_h = one.forecast.remaining_h
    if exposed and one.verdict == "do_not_use":
        rank = 0
    elif exposed:
        rank = 1 if left_h is not None else 3
    else:
        rank = 2
    return rank, float("inf") if left_h is None else float(left_h), one.facts.code
