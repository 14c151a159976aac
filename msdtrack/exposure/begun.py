"""How far a fold went, so that it is carried on instead of made anew."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple
from weakref import ref

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.clock import Clock
from msdtrack.exposure.events import Event
from msdtrack.exposure.facts import CarrierFacts, Policies
from msdtrack.exposure.ledger import Ledger


class _Stand(NamedTuple):
    """Where a fold stood after some events, and all that it was made of."""

    facts: CarrierFacts
    policies: Policies
    at: int
    events: Sequence[Event]
    airs: dict[str, ref[PlaceAir]]
    cabinets: set[str]
    judged_later: bool
    ledger: Ledger

    def holds_for(self, account: Clock, events: Sequence[Event]) -> bool:
        """Return whether an account would come to the same with the first of its events."""
        if account.at < self.at or (account.at > self.at and self.judged_later):
            return False
        return (
            account.facts == self.facts
            and account.policies == self.policies
            and events[: len(self.events)] == self.events
            and all(self._same_air(account, code) for code in self.airs)
        )

    def _same_air(self, account: Clock, code: str) -> bool:
        air, places = account.places.air(code), account.places
        return (
            self.airs[code]() is air
            and places.is_cabinet(code) == (code in self.cabinets)
            and (account.at == self.at or air.following(self.at) is None)
        )


class Begun:
    """How far the fold of a carrier went with its events so far, to be carried on when more follow.

    It is taken up by what is made of the same: facts, policies, events, and the very same air, none
    of it read after the moment that was asked about. What a cabinet or an oven did is judged by
    what comes after; a fold that knows one is carried on for the same moment only. Air that nobody
    else needs any more is not kept.
    """

    def __init__(self) -> None:
        self._stand: _Stand | None = None

    def take_up(self, account: Clock, events: Sequence[Event]) -> Sequence[Event]:
        """Set an account to where the fold stood if it may go on from there, and return the events
        that are still to happen.

        Args:
            account: at its beginning, with no account joined in.
            events: all of its events, in order.
        """
        stand = self._stand
        if stand is None or not stand.holds_for(account, events):
            return events
        account.ledger = stand.ledger.copy()
        return events[len(stand.events) :]

    def keep(self, account: Clock, events: Sequence[Event]) -> None:
        """Keep where the account stands now that all of these events have happened."""
        places, ledger = account.places, account.ledger.copy()
        codes = {code for code, _, _ in ledger.stays}
        cabinets = {code for code in codes if places.is_cabinet(code)}
        self._stand = _Stand(
            account.facts,
            account.policies,
            account.at,
            events,
            {code: ref(places.air(code)) for code in codes},
            cabinets,
            bool(cabinets) or any(places.is_oven(code) for code in codes),
            ledger,
        )
