"""Folds a carrier's events over the air of its places.

`fold` makes a `Ledger` at a moment; what it began is carried on when further events follow, which
gives the same ledger as folding anew.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache

from msdtrack.exposure import bake_rules
from msdtrack.exposure.begun import Begun
from msdtrack.exposure.clock import Clock, day
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import CarrierFacts, Policies
from msdtrack.exposure.joining import absorb
from msdtrack.exposure.ledger import Bake, Joined, Ledger, Phase
from msdtrack.exposure.places import Places
from msdtrack.standard import drypack, indicator

DURING_A_BAKE = frozenset({Kind.HOLD, Kind.RELEASE, Kind.SPLIT, Kind.TAKE})
"""Kinds that leave a running bake as it is."""


class Fold(Clock):
    """Lets events happen to one carrier's account."""

    def apply(self, event: Event) -> None:
        """Carry the account on to the event and let it happen."""
        # Which of an oven's readings count is judged over the whole bake: nothing may cut it.
        if self.ledger.phase is not Phase.BAKING or event.kind not in DURING_A_BAKE:
            self.advance(event.at if event.at < self.at else self.at)
        handler = _HANDLERS.get(event.kind)
        if handler is not None:
            handler(self, event)

    def _open(self, event: Event) -> None:
        ledger = self.ledger
        ledger.phase = Phase.OPEN
        ledger.opened_at = event.at
        if event.place is not None:
            ledger.place = event.place
        if not event.id:
            # Nobody saw this opening: what an earlier card said says nothing about it.
            ledger.hic, ledger.hic_good = None, False
            return
        ledger.hic = hic = event.hic
        verdict = _judged(self.part.msl, None if hic is None else tuple(hic.items()))
        ledger.hic_good = verdict == "good"
        ledger.hic_failed |= verdict == "failed"
        ledger.hic_missing |= verdict == "missing"
        ends = ledger.shelf_life_ends
        if ends is not None and day(event.at) > ends:
            ledger.opened_after_shelf_life = True

    def _close(self, event: Event) -> None:
        ledger = self.ledger
        if ledger.opened_at is not None:
            ledger.desiccant_out_s += event.at - ledger.opened_at
        fresh = event.desiccant == "fresh"
        if fresh:
            ledger.desiccant_out_s = 0
        five_dry = ledger.hic is not None and ledger.hic.get("5") == "dry"
        reusable = ledger.desiccant_out_s <= drypack.DESICCANT_REUSE_MIN * 60 and five_dry
        ledger.phase = Phase.BAGGED if fresh or reusable else Phase.TIRED_BAG
        ledger.opened_at = None
        ledger.known_closed_at = event.at
        ledger.bag = event.bag
        if event.place is not None:
            ledger.place = event.place
        if fresh and event.new_hic == "fresh" and event.seal == "heat" and ledger.hic_good:
            ledger.sealed_on = day(event.at)
            ledger.shelf_life_ends = drypack.shelf_life_end(ledger.sealed_on)
            ledger.opened_after_shelf_life &= ledger.hic_missing

    def _move(self, event: Event) -> None:
        if self.ledger.phase is Phase.BAKING:
            self._leave_oven()
        self.ledger.place = event.place

    def _bake_start(self, event: Event) -> None:
        ledger = self.ledger
        if ledger.storage is not None:
            self._break_storage(ledger.storage)
        ledger.beyond_run_s = 0
        temp_c = event.temp_c if event.temp_c is not None else 0.0
        need = bake_rules.need(self.part, ledger, temp_c)
        ledger.bake = Bake(event.at, temp_c, event.place, ledger.place, need)
        ledger.bakes += 1
        ledger.phase, ledger.place = Phase.BAKING, event.place

    def _load_or_bake_end(self, event: Event) -> None:
        if self.ledger.phase is Phase.BAKING:
            self._leave_oven()
        if event.place is not None:
            self.ledger.place = event.place

    def _leave_oven(self) -> None:
        ledger = self.ledger
        if ledger.bake is not None:
            ledger.place = ledger.bake.home
        ledger.bake, ledger.phase = None, Phase.OPEN

    def _split(self, event: Event) -> None:
        ledger = self.ledger
        taken = event.quantity or 0
        if event.child == self.facts.code:
            ledger.quantity = taken
        else:
            ledger.quantity = max(0, ledger.quantity - taken)

    def _place_on_board(self, event: Event) -> None:
        self._split(event)
        if event.child == self.facts.code:
            self.ledger.board = event.board

    def _reflow(self, event: Event) -> None:
        ledger = self.ledger
        ledger.passes += 1
        if event.peak_c is not None:
            ledger.peak_c = max(event.peak_c, ledger.peak_c or event.peak_c)
        if event.last:
            ledger.gone = "soldered"

    def _join(self, event: Event) -> None:
        if event.id in self.joined:
            if self.ledger.storage is not None:
                self._break_storage(self.ledger.storage)
            absorb(self.ledger, self.joined[event.id].ledger)
        elif event.joined is None:
            self.ledger.gone = f"joined into {event.into}"

    def _take(self, event: Event) -> None:
        self.ledger.quantity = max(0, self.ledger.quantity - (event.quantity or 0))

    def _hold(self, event: Event) -> None:
        self.ledger.held += (event.reason or "no reason given",)

    def _release(self, event: Event) -> None:
        self.ledger.held = ()
        self.ledger.hic_missing = False

    def _scrap(self, event: Event) -> None:
        self.ledger.gone = event.reason or "scrapped"


@lru_cache(maxsize=4096)
def _judged(msl: str, spots: tuple[tuple[str, str], ...] | None) -> indicator.Judgement:
    return indicator.judge(msl, None if spots is None else dict(spots))


_HANDLERS: dict[Kind, Callable[[Fold, Event], None]] = {
    Kind.OPEN: Fold._open,
    Kind.CLOSE: Fold._close,
    Kind.MOVE: Fold._move,
    Kind.LOAD: Fold._load_or_bake_end,
    Kind.BAKE_START: Fold._bake_start,
    Kind.BAKE_END: Fold._load_or_bake_end,
    Kind.SPLIT: Fold._split,
    Kind.JOIN: Fold._join,
    Kind.PLACE_ON_BOARD: Fold._place_on_board,
    Kind.REFLOW: Fold._reflow,
    Kind.TAKE: Fold._take,
    Kind.HOLD: Fold._hold,
    Kind.RELEASE: Fold._release,
    Kind.SCRAP: Fold._scrap,
}


def fold(
    facts: CarrierFacts,
    events: Sequence[Event],
    places: Places,
    policies: Policies,
    at: int,
    joined: Mapping[str, Joined] | None = None,
    working: bool = True,
    begun: Begun | None = None,
) -> Ledger:
    """Return the account of a carrier at the moment `at`.

    Args:
        facts: the carrier.
        events: its effective events in order, with no contradictions (`contradictions.settle`).
        places: air of its places, readings up to `at` at least.
        policies: the site's dated choices.
        at: the moment asked about; a future one is a forecast.
        joined: by join event, the account of what was joined into this carrier.
        working: keep the intervals behind the account.
        begun: what an earlier fold of the same began, without a working; it is carried on.
    """
    account = Fold(facts, places, policies, at, joined, working)
    events = [event for event in events if event.at <= at]
    left = events if begun is None else begun.take_up(account, events)
    for event in left:
        account.apply(event)
    if begun is not None and left:
        begun.keep(account, events)
    account.advance(at)
    return account.ledger
