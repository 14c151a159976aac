"""All that a carrier's state is computed from, read in a handful of queries."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from msdtrack.errors import NotFound
from msdtrack.exposure.bake_advice import OvenLimits
from msdtrack.exposure.begun import Begun
from msdtrack.exposure.events import Event, Kind, lineage
from msdtrack.exposure.facts import CarrierFacts, Policies
from msdtrack.exposure.ledger import Joined
from msdtrack.exposure.places import Places
from msdtrack.exposure.state import CarrierState, account_of, state_of
from msdtrack.services.air_cache import all_places
from msdtrack.store import carriers, event_log, policies


@dataclass(frozen=True, slots=True)
class Account:
    """All that a carrier's state is computed from.

    Args:
        provisional: what the logs are taken to hold besides, by carrier.
        begun: the fold so far, where one and the same account is asked again as its log grows.
    """

    facts: CarrierFacts
    events: list[Event]
    places: Places
    policies: Policies
    known_at: int | None = None
    provisional: Mapping[str, Sequence[Event]] = field(default_factory=dict)
    begun: Begun | None = None

    def state(self, at: int, oven: OvenLimits | None = None, working: bool = False) -> CarrierState:
        """Return the state as of `at`, with the intervals of its working if they are wanted."""
        joined = self._joined(at, working)
        # What is joined in later would not be in a fold that was begun before.
        begun = None if working or joined else self.begun
        return state_of(
            self.facts, self.events, self.places, self.policies, at, oven, joined, working, begun
        )

    def _joined(self, at: int, working: bool) -> dict[str, Joined]:
        """Return the account of what was joined into this carrier, by event of the join.

        What was joined may itself have been joined from others, earlier: each step goes back in
        time, so it ends.
        """
        found = {}
        for event in self.events:
            if event.kind is Kind.JOIN and event.joined is not None and event.at <= at:
                giver = account(event.joined, self.known_at, self.provisional)
                before = [e for e in giver.events if (e.at, e.seq) < (event.at, event.seq)]
                earlier = [e for e in before if e.id != event.cause]
                joined = replace(giver, events=earlier)._joined(event.at, working)
                # Its own join must not make it gone, but contradicts a bag that was closed.
                until = [e._replace(joined=e.carrier) if e.id == event.cause else e for e in before]
                found[event.id] = account_of(
                    giver.facts, until, giver.places, giver.policies, event.at, joined, working
                )
        return found


def accounts(
    codes: Iterable[str],
    known_at: int | None = None,
    places: Places | None = None,
    dated: Policies | None = None,
    provisional: Mapping[str, Sequence[Event]] | None = None,
) -> Iterator[Account]:
    """Yield the accounts of carriers, in the order given, from a handful of queries.

    Args:
        codes: the carriers.
        known_at: only what had been received by then; None is everything.
        places, dated: the air and the policies, where they have been read already.
        provisional: events that the logs are taken to hold besides, by carrier: nothing is written.

    Raises:
        NotFound: one of them does not exist.
    """
    wanted = list(codes)
    records = carriers.with_ancestors(wanted)
    for code in wanted:
        if code not in records:
            raise NotFound(f"There is no carrier {code}.")
    parents = carriers.parents_among(records)
    facts = carriers.facts_among(records, wanted)
    logs = event_log.logs(records)
    if known_at is not None:
        logs = {
            code: [event for event in log if event.recorded_at <= known_at]
            for code, log in logs.items()
        }
    extra = provisional or {}
    logs = {code: [*log, *extra.get(code, ())] for code, log in logs.items()}
    air = places or all_places(known_at)
    dated = dated or policies.policies(known_at)
    for code in wanted:
        yield Account(facts[code], lineage(code, logs, parents), air, dated, known_at, extra)


def account(
    code: str,
    known_at: int | None = None,
    provisional: Mapping[str, Sequence[Event]] | None = None,
) -> Account:
    """Return the account of one carrier; arguments as for `accounts`.

    Raises:
        NotFound: no such carrier.
    """
    return next(accounts([code], known_at, provisional=provisional))
