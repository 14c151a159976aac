"""The proof of a batch of boards: what of its floor life each component had used at each reflow.

It is computed from the log and the readings as they are known now, corrections and what came late
among them; nothing is kept of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import CarrierFacts
from msdtrack.exposure.state import CarrierState
from msdtrack.services import placements
from msdtrack.services.accounts import Account, accounts
from msdtrack.services.placements import Placed
from msdtrack.store import boards, carriers, event_log
from msdtrack.store.boards import BatchRecord
from msdtrack.store.connection import read

Finding = Literal["nothing_placed", "not_soldered", "within_so_far", "within", "outside"]


@dataclass(frozen=True, slots=True)
class AtReflow:
    """A component as a reflow met it.

    Args:
        reflow: the reflow.
        state: its state at that moment.
        reasons: why it should not have been soldered then; none: it was within its floor life.
    """

    reflow: Event
    state: CarrierState
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ComponentProof:
    """One component of a batch at every reflow that it went through."""

    placed: Placed
    facts: CarrierFacts
    reflows: tuple[AtReflow, ...]

    @property
    def is_within(self) -> bool:
        """Return whether it was soldered within its floor life each time."""
        return not any(one.reasons for one in self.reflows)

    @property
    def worst_share(self) -> Fraction:
        """Return the largest share that it had used at a reflow."""
        return max((one.state.used_share for one in self.reflows), default=Fraction(0))


@dataclass(frozen=True, slots=True)
class BatchProof:
    """What can be proved of a batch.

    Args:
        at: as of when.
        reflows: its reflows, in order.
        components: those outside first, then those that had used most.
        decisions: holds and releases of its components and of what they were split off, by time.
        corrected: how many entries of these logs are corrections.
    """

    batch: BatchRecord
    at: int
    reflows: tuple[Event, ...]
    components: tuple[ComponentProof, ...]
    decisions: tuple[Event, ...]
    corrected: int

    @property
    def outside(self) -> int:
        """Return how many components were soldered outside the rules."""
        return sum(not one.is_within for one in self.components)

    @property
    def unsoldered(self) -> int:
        """Return how many components were placed after the reflows."""
        return sum(not one.reflows for one in self.components)

    @property
    def finding(self) -> Finding:
        """Return what it comes to."""
        if not self.components:
            return "nothing_placed"
        if self.unsoldered == len(self.components):
            return "not_soldered"
        if self.outside:
            return "outside"
        return "within" if self.reflows[-1].last and not self.unsoldered else "within_so_far"


def proof_of(code: str, at: int) -> BatchProof:
    """Return the proof of a batch.

    Args:
        code: the batch.
        at: the moment asked about.

    Raises:
        NotFound: no such batch.
    """
    with read():
        batch = boards.batch(code)
        placed = [one for one in placements.placed_on(code) if one.event.at <= at]
        found = list(accounts(one.code for one in placed))
        standing = placements.standing_roots(code).values()
        reflows = [one for one in standing if one.kind is Kind.REFLOW and one.at <= at]
        reflows.sort(key=lambda one: (one.at, one.seq))
        logs = event_log.logs(carriers.with_ancestors([one.code for one in placed]))
        components = [
            ComponentProof(one, each.facts, _met(each, reflows))
            for one, each in zip(placed, found, strict=True)
        ]
    components.sort(key=lambda one: (one.is_within, -one.worst_share, one.placed.code))
    return BatchProof(
        batch=batch,
        at=at,
        reflows=tuple(reflows),
        components=tuple(components),
        decisions=_decisions(found, at),
        corrected=sum(
            one.kind is Kind.CORRECT and one.cause is None for log in logs.values() for one in log
        ),
    )


def _met(account: Account, reflows: list[Event]) -> tuple[AtReflow, ...]:
    """Return those reflows that are on the log of a component, as it met them."""
    own = {event.cause or event.id for event in account.events if event.kind is Kind.REFLOW}
    met = []
    for reflow in reflows:
        if reflow.id in own:
            state = account.state(reflow.at)
            # To the floor life account a part is gone with its last reflow.
            reasons = tuple(reason for reason in state.reasons if reason != "gone")
            met.append(AtReflow(reflow, state, reasons))
    return tuple(met)


def _decisions(found: list[Account], at: int) -> tuple[Event, ...]:
    """Return the decisions of quality, each once, however many components it is on the log of."""
    each = {
        event.cause or event.id: event
        for account in found
        for event in account.events
        if event.kind in (Kind.HOLD, Kind.RELEASE) and event.at <= at
    }
    return tuple(sorted(each.values(), key=lambda event: (event.at, event.seq)))
