"""Carriers as one transaction has read them: each is read once, and each of its states computed
once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

from msdtrack.exposure.begun import Begun
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.ledger import Conflict
from msdtrack.exposure.state import CarrierState
from msdtrack.services.accounts import Account, accounts


@lru_cache(maxsize=256)
def _begun(code: str) -> Begun:
    """Return the fold of a carrier that was scanned a short time ago, as far as it went: what is
    scanned first and what is then done with it fold its log but once."""
    return Begun()


class AtHand:
    """What has been read of carriers, until something is put on the log.

    It is for one transaction: what others write meanwhile it does not see.

    Args:
        now: the present moment.
    """

    def __init__(self, now: int) -> None:
        self.now = now
        self._accounts: dict[str, Account] = {}
        self._states: dict[tuple[str, int], CarrierState] = {}

    def read(self, codes: Iterable[str]) -> None:
        """Read the accounts of carriers together, those that are not at hand.

        Raises:
            NotFound: no such carrier.
        """
        unread = [code for code in codes if code not in self._accounts]
        if unread:
            for one in accounts(unread):
                self._accounts[one.facts.code] = replace(one, begun=_begun(one.facts.code))

    def account(self, code: str) -> Account:
        """Return the account of a carrier.

        Raises:
            NotFound: no such carrier.
        """
        self.read([code])
        return self._accounts[code]

    def state(self, code: str, at: int | None = None) -> CarrierState:
        """Return the state of a carrier.

        Args:
            at: the moment asked about; None is now.

        Raises:
            NotFound: no such carrier.
        """
        key = (code, self.now if at is None else at)
        if key not in self._states:
            self._states[key] = self.account(code).state(key[1])
        return self._states[key]

    def states(self, codes: Iterable[str]) -> dict[str, CarrierState]:
        """Return the present states of carriers that exist, by code."""
        wanted = list(codes)
        self.read(code for code in wanted if (code, self.now) not in self._states)
        return {code: self.state(code) for code in wanted}

    def conflicts(self, code: str) -> tuple[Conflict, ...]:
        """Return what contradicts in the log of a carrier by now."""
        newest = max((e.at for e in self.account(code).events if e.at <= self.now), default=0)
        for (of, at), state in self._states.items():
            # Time alone contradicts nothing: only events do.
            if of == code and newest <= at <= self.now:
                return state.conflicts
        return self.state(code).conflicts

    def appended(self, events: Sequence[Event]) -> None:
        """Take in events that were put on the log just now, and forget what they may change."""
        self._states = {}
        before, self._accounts = self._accounts, {}
        for code in {event.carrier for event in events} & before.keys():
            account, new = before[code], [event for event in events if event.carrier == code]
            newest = max((event.at for event in account.events), default=0)
            # What corrects, or happened before something else, does not simply come last.
            if all(e.kind is not Kind.CORRECT and e.at >= newest for e in new):
                ordered = sorted(new, key=lambda event: (event.at, event.seq))
                self._accounts[code] = replace(account, events=[*account.events, *ordered])

    @property
    def accounts(self) -> Mapping[str, Account]:
        """Return the accounts that are at hand."""
        return self._accounts

    def know(self, states: Iterable[CarrierState]) -> None:
        """Take in states that were computed since the log changed last."""
        self._states |= {(state.facts.code, state.at): state for state in states}
