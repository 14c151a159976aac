"""Puts what a person did on the log: all or nothing, never twice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal
from uuid import NAMESPACE_OID, uuid5

from msdtrack.errors import BadInput, Conflict, FieldError
from msdtrack.exposure.events import Event, Kind, effective
from msdtrack.exposure.state import CarrierState
from msdtrack.phrases import counted
from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.services import placements, standings
from msdtrack.services.at_hand import AtHand
from msdtrack.services.new_events import (
    AHEAD_S,
    RECORDED,
    NewEvent,
    check,
    wrong_changes,
)
from msdtrack.store import boards, carriers, event_log
from msdtrack.store.connection import touched, write

__all__ = [
    "AHEAD_S",
    "RECORDED",
    "LogLine",
    "NewEvent",
    "Recorded",
    "correction_events",
    "log_of",
    "record",
]

_Result = Literal["created", "duplicate"]


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of an event.

    Args:
        child: the new carrier of a split, or the new placement.
        brought: the carriers on whose logs it brought other events.
    """

    id: str
    result: _Result
    carrier: str
    child: str | None
    state: CarrierState
    brought: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LogLine:
    """An event of a carrier's log. `stands` is what it says now, None if it was voided."""

    event: Event
    stands: Event | None
    corrections: tuple[Event, ...]


def record(events: Sequence[NewEvent], now: int, hand: AtHand | None = None) -> list[Recorded]:
    """Record events, all or none, and return what became of each, in the order sent.

    Opening a bag also opens the other carriers that share it; what is closed at one moment in one
    call shares a new bag; a correction of an event corrects what it brought with it. What happens
    to one placement on a batch of boards happens to all that were on it by then.

    Args:
        hand: the carriers as the running transaction has read them, None if it has not; it knows
            them as they are now afterwards.

    Raises:
        BadInput: a field is wrong; the fields are named.
        NotFound: no such carrier.
        Conflict: the id is on the log with other content.
        Refused: the boards can't take pieces as they are.
    """
    with write():
        known = event_log.find([event.id for event in events])
        hashes: dict[str, str] = {}
        results: list[tuple[NewEvent, _Result, str | None, tuple[str, ...]]] = []
        bags: dict[int, str] = {}
        hand = hand or AtHand(now)
        hand.read({event.carrier for event in events})
        for n, new in enumerate(events):
            content = new.content()
            before = known[new.id][1] if new.id in known else hashes.get(new.id)
            if before is not None:
                if before != content:
                    raise Conflict(f"Event {new.id} is on the log with other content.")
                child = known[new.id][0].child if new.id in known else None
                results.append((new, "duplicate", child, ()))
                continue
            hashes[new.id] = content
            brought = _events_of(new, hand, bags, f"{n}." if len(events) > 1 else "")
            hand.appended(event_log.append(brought, now, {new.id: content}))
            also = tuple(event.carrier for event in brought[1:])
            results.append((new, "created", brought[0].child, also))
        hand.know(standings.keep(touched(), hand.accounts).values())
        after = hand.states({new.carrier for new in events})
    return [
        Recorded(new.id, result, new.carrier, child, after[new.carrier], also)
        for new, result, child, also in results
    ]


def log_of(code: str) -> list[LogLine]:
    """Return a carrier's log in order of receipt, corrections in place.

    Raises:
        NotFound: no such carrier.
    """
    carriers.carrier(code)
    log = event_log.log(code)
    stands = {event.id: event for event in effective(log)}
    return [
        LogLine(
            event,
            stands.get(event.id),
            tuple(c for c in log if c.kind is Kind.CORRECT and c.corrects == event.id),
        )
        for event in log
    ]


def correction_events(new: NewEvent, now: int) -> list[Event]:
    """Return what a correction would put on the log, itself first; nothing is written.

    Raises:
        BadInput, NotFound: as `record` does.
    """
    if new.kind != Kind.CORRECT:
        raise BadInput(f"A {new.kind} is no correction.")
    return _events_of(new, AtHand(now), {}, "")


def _events_of(new: NewEvent, hand: AtHand, bags: dict[int, str], where: str) -> list[Event]:
    """Return the event as stored, first, and the events it brings with it."""
    kind = hand.account(new.carrier).facts.kind
    check(new, hand.now, where)
    event = Event(
        id=new.id,
        carrier=new.carrier,
        kind=Kind(new.kind),
        at=hand.now if new.at is None else new.at,
        seq=0,
        recorded_at=0,
        person=new.person,
        station=new.station,
        place=new.place,
        hic=new.hic,
        only_this=new.only_this,
        desiccant=new.desiccant,
        new_hic=new.new_hic,
        seal=new.seal,
        temp_c=new.temp_c,
        quantity=new.quantity,
        reason=new.reason,
        into=new.into,
        board=new.board,
        peak_c=new.peak_c,
        last=new.last,
        corrects=new.event,
        void=new.void,
        fields=dict(new.fields),
    )
    if event.kind is Kind.CORRECT:
        return [event, *_corrections_of_brought(event, where)]
    if event.kind is Kind.CLOSE:
        if event.at not in bags:
            bags[event.at] = make_code(CodeKind.BAG, carriers.next_serial("bag"))
        event = event._replace(bag=bags[event.at])
    if kind == placements.BOARD:
        return [event, *(_brought(event, code) for code in placements.others_on(event, where))]
    if event.kind is Kind.REFLOW:
        message = f"{event.carrier} is on no board: place its pieces on a batch of boards first."
        raise BadInput(message, [FieldError(f"{where}kind", "of boards only")])
    if event.kind is Kind.OPEN and not event.only_this:
        return [event, *(_brought(event, code) for code in _sharers(event, hand))]
    if event.kind is Kind.SPLIT:
        event = _split(event, hand, where)
        return [event, *_holds_since(event, hand)]
    if event.kind is Kind.JOIN:
        return _join(event, where)
    if event.kind is Kind.PLACE_ON_BOARD:
        event, *brought = _place(event, where)
        return [event, *brought, *_holds_since(event, hand)]
    return [event]


def _brought(event: Event, code: str, **changes: Any) -> Event:
    return event._replace(id=_brought_id(event.id, code), carrier=code, cause=event.id, **changes)


def _brought_id(cause: str, code: str) -> str:
    return str(uuid5(NAMESPACE_OID, f"{cause} {code}"))


def _sharers(event: Event, hand: AtHand) -> list[str]:
    """Return the other carriers that were in the same closed bag at that moment."""
    opened = hand.state(event.carrier, event.at)
    bag = opened.ledger.bag
    if bag is None or opened.opened_at is not None:
        return []
    return [
        code
        for code in carriers.codes_that_had_bag(bag)
        if code != event.carrier and _was_in(hand.state(code, event.at), bag)
    ]


def _was_in(state: CarrierState, bag: str) -> bool:
    return state.ledger.bag == bag and state.opened_at is None and state.status != "gone"


def _split(event: Event, hand: AtHand, where: str) -> Event:
    left = hand.state(event.carrier, event.at).ledger.quantity
    if event.quantity is None or event.quantity > left:
        raise BadInput(
            f"{event.carrier} holds {counted(left, 'piece')}: no {event.quantity} can be split "
            "off.",
            [FieldError(f"{where}quantity", f"at most {left}")],
        )
    parent = carriers.carrier(event.carrier)
    child = make_code(CodeKind.CARRIER, carriers.next_serial("carrier"))
    carriers.insert_carrier(
        replace(
            parent,
            code=child,
            quantity=event.quantity,
            recorded_at=parent.recorded_at,
            parent=parent.code,
            split_event=event.id,
        )
    )
    return event._replace(child=child)


def _holds_since(event: Event, hand: AtHand) -> list[Event]:
    """Return the holds that a part taken out earlier than it is told of shares with the rest: it
    left before they were put on, so it does not have them from there."""
    held_then = hand.state(event.carrier, event.at).ledger.held
    held_now = hand.state(event.carrier).ledger.held
    return [
        Event(
            id=_brought_id(event.id, f"{event.child} {n}"),
            carrier=str(event.child),
            kind=Kind.HOLD,
            at=hand.now,
            seq=0,
            recorded_at=0,
            person=event.person,
            station=event.station,
            cause=event.id,
            reason=reason,
        )
        for n, reason in enumerate(held_now)
        if reason not in held_then
    ]


def _join(event: Event, where: str) -> list[Event]:
    """Return the giver's event and the taker's.

    Whether both were open is the fold's to say: it holds a join out of a closed bag as a conflict.
    """
    into = event.into or ""

    def refused(message: str, found: str) -> BadInput:
        return BadInput(message, [FieldError(f"{where}into", found)])

    taker = carriers.carriers_by_code([into]).get(into)
    if taker is None:
        raise refused(f"There is no carrier {into}.", "no such carrier")
    if into == event.carrier:
        raise refused(f"{into} can't be joined into itself.", "name the carrier that takes it")
    if taker.kind == placements.BOARD:
        raise refused(f"{into} is on boards: nothing is joined into it.", "is on boards")
    facts = carriers.carrier_facts([event.carrier, into])
    given, taken = facts[event.carrier].part, facts[into].part
    if given.number != taken.number:
        raise refused(
            f"{event.carrier} holds {given.number} and {into} holds {taken.number}: only carriers "
            "of the same part number are joined.",
            f"holds {taken.number}, not {given.number}",
        )
    if given != taken:
        raise refused(
            f"The labels of {event.carrier} and {into} differ in level, thickness or floor life: "
            "keep them apart.",
            "its label says otherwise",
        )
    return [event, _brought(event, into, joined=event.carrier)]


def _place(event: Event, where: str) -> list[Event]:
    """Return the giver's event, and what the new placement sees with it and after it."""
    made = placements.new_placement(event, carriers.carrier(event.carrier), where)
    event = event._replace(child=made.code)
    brought = []
    if made.move_to is not None:
        move = event._replace(quantity=None, child=None, board=None, kind=Kind.MOVE)
        brought.append(_brought(move, made.code, place=made.move_to))
    for later in made.later:
        corrects = None if later.corrects is None else _brought_id(later.corrects, made.code)
        brought.append(_brought(later, made.code, corrects=corrects))
    return [event, *brought]


def _corrections_of_brought(correction: Event, where: str) -> list[Event]:
    assert correction.corrects is not None
    found = event_log.find([correction.corrects])
    target = found[correction.corrects][0] if correction.corrects in found else None
    if target is None or target.carrier != correction.carrier:
        message = f"Carrier {correction.carrier} has no event {correction.corrects}."
        raise BadInput(message, [FieldError(f"{where}event", "not on this carrier's log")])
    if target.cause is not None and _goes_with_its_cause(target):
        root = event_log.find([target.cause])[target.cause][0]
        message = f"This entry came with one of {root.carrier}: correct that one, {root.id}."
        raise BadInput(message, [FieldError(f"{where}event", f"correct {root.id}")])
    wrong = wrong_changes(target.kind, correction.fields)
    if wrong:
        errors = [FieldError(f"{where}fields.{one.field}", one.message) for one in wrong]
        raise BadInput(f"{errors[0].field}: {errors[0].message}.", errors)
    if "at" in correction.fields:
        placements.check_order_stays(target, correction.fields["at"], where)
    void = correction.void or bool(correction.fields.get("only_this"))
    return [
        _brought(correction, brought.carrier, corrects=brought.id, void=void)
        for brought in event_log.caused_by(target.id)
    ]


def _goes_with_its_cause(event: Event) -> bool:
    """Return whether an entry that another brought can't be corrected on its own: both sides of a
    join are one, and so are the placements on a board."""
    return event.kind is Kind.JOIN or boards.batch_of(event.carrier) is not None
