"""What quality holds a carrier for, where that is ended, and what it settles."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from msdtrack.errors import NotFound, Refused
from msdtrack.exposure.contradictions import AGAINST_A_HOLD
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.state import CarrierState
from msdtrack.services import event_recording, lot_holds, sample_checks
from msdtrack.services.accounts import account
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.people import person_code
from msdtrack.store import event_log
from msdtrack.store.connection import read, write


@dataclass(frozen=True, slots=True)
class Hold:
    """One hold that stands.

    Args:
        reason: why.
        at, person: when and by whom; None: it came with a carrier that was joined in.
    """

    reason: str
    at: int | None
    person: str | None


@dataclass(frozen=True, slots=True)
class QualityHold:
    """What quality holds a carrier for.

    Args:
        holds: in the order they were put on; none if only its humidity card is missing.
        card_missing: its humidity card was not read or is missing, which a release settles.
        batch: the boards its pieces are on: all on them are released together. None: on none.
        check: the sample check that alone holds it: its release is decided there. None: none does.
        settles: ids of the events whose contradiction a release settles.
    """

    holds: tuple[Hold, ...]
    card_missing: bool
    batch: str | None
    check: int | None
    settles: frozenset[str]


def hold_of(state: CarrierState) -> QualityHold | None:
    """Return what quality holds a carrier for, None if there is nothing to release or it is gone.

    Args:
        state: as of now.
    """
    ledger = state.ledger
    card_missing = ledger.hic_missing and state.facts.part.msl != "1"
    if state.status == "gone" or not (ledger.held or card_missing):
        return None
    with read():
        events = account(state.facts.code).events
        check = None if card_missing else _check(state)
    own = {event.id for event in events}
    settled = frozenset(
        one.event_id
        for one in state.conflicts
        # What came with a carrier that was joined in stands on that one's log.
        if one.event_id in own and one.message in AGAINST_A_HOLD.values()
    )
    holds = _holds(ledger.held, [event for event in events if event.at <= state.at])
    return QualityHold(holds, card_missing, ledger.board, check, settled)


def release(code: str, request_id: str, person: str, reason: str, now: int) -> CarrierState:
    """Release a carrier by name: every hold ends, and a missing humidity card is settled.

    Args:
        code: the carrier.
        request_id: made by the sender; sent again it changes nothing.
        person: badge code or name.
        reason: why it may be used.
        now: the present moment.

    Raises:
        NotFound: no such carrier.
        BadInput: nobody or no reason is named.
        Refused: there is nothing to release, or it is released with the boards or in its check.
    """
    with write():
        state = account(code).state(now)
        if not event_log.find([request_id]):
            _refuse(state)
        who, why = person_code(person, now), reason.strip() or None
        new = NewEvent(request_id, code, Kind.RELEASE, person=who, reason=why)
        return event_recording.record([new], now)[0].state


def _refuse(state: CarrierState) -> None:
    code, found = state.facts.code, hold_of(state)
    if found is None:
        raise Refused(f"{code} is not on hold any more: nothing was released.")
    if found.batch is not None:
        raise Refused(f"{code} is on boards: open the page of {found.batch} and release them all.")
    if found.check is not None:
        raise Refused(
            f"{code} is held by sample check {found.check}: open the check and release it there."
        )


def _holds(reasons: Iterable[str], events: Iterable[Event]) -> tuple[Hold, ...]:
    told: dict[str, Event] = {}
    for event in events:
        if event.kind is Kind.RELEASE:
            told.clear()
        elif event.kind is Kind.HOLD and event.reason is not None:
            told.setdefault(event.reason, event)
    return tuple(
        Hold(reason, told[reason].at, told[reason].person)
        if reason in told
        else Hold(reason, None, None)
        for reason in dict.fromkeys(reasons)
    )


def _check(state: CarrierState) -> int | None:
    """Return the check that alone holds a carrier and can release it."""
    numbers = {lot_holds.check_of(reason) for reason in state.ledger.held}
    number = numbers.pop() if len(numbers) == 1 else None
    if number is None:
        return None
    try:
        found = sample_checks.progress(number)
    except NotFound:
        return None
    facts, record = state.facts, found.record
    of_lot = (record.part, record.lot) == (facts.part.number, facts.lot)
    return number if of_lot and found.stage == "rejected" else None
