"""Puts what a person did on the log: all or nothing, never twice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal
from uuid import NAMESPACE_OID, uuid5

from msdtrack.errors import BadInput, Conflict, FieldError, NotFound
from msdtrack.exposure.events import CORRECTABLE, Event, Kind, effective
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.services import placements, standings
from msdtrack.services.carrier_states import account, states
from msdtrack.standard import indicator
from msdtrack.store import boards, carriers, event_log, places
from msdtrack.store.canonical import content_hash
from msdtrack.store.connection import touched, write
from msdtrack.store.records import CarrierRecord

AHEAD_S = 120
"""A client's clock may be ahead by this much."""

RECORDED = frozenset(Kind)


@dataclass(frozen=True, slots=True)
class NewEvent:
    """An event as sent. None is not sent, and the server fills in what it can.

    Args:
        id: UUID made by the client.
        at: when it happened; None is now.
        new_hic: of a closing, whether the indicator card is fresh or was kept.
        into: of a join, the carrier that its pieces go to.
        board: of a placing, the batch of boards.
        peak_c, last: of a reflow of boards, the highest body temperature, °C, and whether no other
            reflow follows.
        event: of a correction, the id of the event it corrects.
        fields: of a correction, what it changes, by the names of `exposure.events.Event`.
    """

    id: str
    carrier: str
    kind: str
    at: int | None = None
    person: str | None = None
    station: str | None = None
    place: str | None = None
    hic: Mapping[str, str] | None = None
    only_this: bool = False
    desiccant: str | None = None
    new_hic: str | None = None
    seal: str | None = None
    temp_c: float | None = None
    quantity: int | None = None
    reason: str | None = None
    into: str | None = None
    board: str | None = None
    peak_c: float | None = None
    last: bool = False
    event: str | None = None
    void: bool = False
    fields: Mapping[str, Any] = field(default_factory=dict)

    def content(self) -> str:
        """Return the hash of what was sent."""
        sent = {name: getattr(self, name) for name in self.__dataclass_fields__}
        kept = {k: v for k, v in sent.items() if v is not None and v is not False and v != {}}
        return content_hash({k: dict(v) if isinstance(v, Mapping) else v for k, v in kept.items()})


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of an event. `child` is the new carrier of a split, or the new placement."""

    id: str
    result: Literal["created", "duplicate"]
    carrier: str
    child: str | None
    state: CarrierState


@dataclass(frozen=True, slots=True)
class LogLine:
    """An event of a carrier's log. `stands` is what it says now, None if it was voided."""

    event: Event
    stands: Event | None
    corrections: tuple[Event, ...]


def record(events: Sequence[NewEvent], now: int) -> list[Recorded]:
    """Record events, all or none, and return what became of each, in the order sent.

    Opening a bag also opens the other carriers that share it; what is closed at one moment in one
    call shares a new bag; a correction of an event corrects what it brought with it. What happens
    to one placement on a batch of boards happens to all that were on it by then.

    Raises:
        BadInput: a field is wrong; the fields are named.
        NotFound: no such carrier.
        Conflict: the id is on the log with other content.
        Refused: the boards can't take pieces as they are.
    """
    with write():
        known = event_log.find([event.id for event in events])
        hashes: dict[str, str] = {}
        results: list[tuple[NewEvent, Literal["created", "duplicate"], str | None]] = []
        bags: dict[int, str] = {}
        for n, new in enumerate(events):
            content = new.content()
            before = known[new.id][1] if new.id in known else hashes.get(new.id)
            if before is not None:
                if before != content:
                    raise Conflict(f"Event {new.id} is on the log with other content.")
                child = known[new.id][0].child if new.id in known else None
                results.append((new, "duplicate", child))
                continue
            hashes[new.id] = content
            brought = _events_of(new, now, bags, f"{n}." if len(events) > 1 else "")
            event_log.append(brought, now, {new.id: content})
            results.append((new, "created", brought[0].child))
        kept = standings.keep(touched())
        after = {code: state for code, state in kept.items() if state.at == now}
        after |= states({new.carrier for new in events} - after.keys(), now)
    return [
        Recorded(new.id, result, new.carrier, child, after[new.carrier])
        for new, result, child in results
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
    return _events_of(new, now, {}, "")


def _events_of(new: NewEvent, now: int, bags: dict[int, str], where: str) -> list[Event]:
    """Return the event as stored, first, and the events it brings with it."""
    carrier = carriers.carrier(new.carrier)
    _check(new, now, where)
    event = Event(
        id=new.id,
        carrier=new.carrier,
        kind=Kind(new.kind),
        at=now if new.at is None else new.at,
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
        event = replace(event, bag=bags[event.at])
    if carrier.kind == placements.BOARD:
        return [event, *(_brought(event, code) for code in placements.others_on(event, where))]
    if event.kind is Kind.REFLOW:
        message = f"{event.carrier} is on no board: place its pieces on a batch of boards first."
        raise BadInput(message, [FieldError(f"{where}kind", "of boards only")])
    if event.kind is Kind.OPEN and not event.only_this:
        return [event, *(_brought(event, code) for code in _sharers(event))]
    if event.kind is Kind.SPLIT:
        return [_split(event, carrier, where)]
    if event.kind is Kind.JOIN:
        return _join(event, where)
    if event.kind is Kind.PLACE_ON_BOARD:
        return _place(event, carrier, where)
    return [event]


def _brought(event: Event, code: str, **changes: Any) -> Event:
    return replace(event, id=_brought_id(event.id, code), carrier=code, cause=event.id, **changes)


def _brought_id(cause: str, code: str) -> str:
    return str(uuid5(NAMESPACE_OID, f"{cause} {code}"))


def _sharers(event: Event) -> list[str]:
    """Return the other carriers that were in the same closed bag at that moment."""
    opened = account(event.carrier).state(event.at)
    bag = opened.ledger.bag
    if bag is None or opened.opened_at is not None:
        return []
    return [
        code
        for code in carriers.codes_that_had_bag(bag)
        if code != event.carrier and _was_in(code, bag, event.at)
    ]


def _was_in(code: str, bag: str, at: int) -> bool:
    state = account(code).state(at)
    return state.ledger.bag == bag and state.opened_at is None and state.status != "gone"


def _split(event: Event, parent: CarrierRecord, where: str) -> Event:
    left = account(event.carrier).state(event.at).ledger.quantity
    if event.quantity is None or event.quantity > left:
        raise BadInput(
            f"{event.carrier} holds {left} pieces: no {event.quantity} can be split off.",
            [FieldError(f"{where}quantity", f"at most {left}")],
        )
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
    return replace(event, child=child)


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


def _place(event: Event, giver: CarrierRecord, where: str) -> list[Event]:
    """Return the giver's event, and what the new placement sees with it and after it."""
    made = placements.new_placement(event, giver, where)
    event = replace(event, child=made.code)
    brought = []
    if made.move_to is not None:
        move = replace(event, quantity=None, child=None, board=None, kind=Kind.MOVE)
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


def _check(new: NewEvent, now: int, where: str) -> None:
    errors: list[FieldError] = []

    def wrong(name: str, message: str) -> None:
        errors.append(FieldError(f"{where}{name}", message))

    if new.kind not in set(RECORDED):
        wrong("kind", f"one of {', '.join(sorted(RECORDED))}")
    moments = [("at", new.at), ("fields.at", new.fields.get("at"))]
    for name, at in moments:
        if at is not None and at > now + AHEAD_S:
            wrong(name, "more than 2 minutes ahead of the server's clock: check the sender's clock")
    for name, code in (("place", new.place), ("fields.place", new.fields.get("place"))):
        kind = _place_kind(code)
        if code is not None and kind is None:
            wrong(name, f"no place {code}")
        elif new.kind == Kind.BAKE_START and kind is not None and kind != "oven":
            wrong(name, f"{code} is no oven")
    for name, hic in (("hic", new.hic), ("fields.hic", new.fields.get("hic"))):
        if hic is not None and not _is_hic(hic):
            wrong(name, 'spots "5", "10" and "60", each dry, humid or missing')
    for name in REQUIRED.get(new.kind, ()):
        if getattr(new, name) is None:
            wrong(name, f"a {new.kind.replace('_', ' ')} needs it")
    if new.quantity is not None and new.quantity < 1:
        wrong("quantity", "at least 1")
    if new.kind == Kind.CORRECT:
        if new.person is None and new.station is None:
            wrong("person", "say who corrects")
        for name in sorted(set(new.fields) - set(CORRECTABLE)):
            wrong(f"fields.{name}", f"can't be corrected; what can: {', '.join(CORRECTABLE)}")
        if new.void == bool(new.fields):
            wrong("fields", "either the fields to change, or void")
    if errors:
        first = errors[0]
        raise BadInput(f"{first.field}: {first.message}.", errors)


REQUIRED: Mapping[str, tuple[str, ...]] = {
    Kind.CLOSE: ("desiccant", "new_hic", "seal"),
    Kind.MOVE: ("place",),
    Kind.BAKE_START: ("place", "temp_c"),
    Kind.SPLIT: ("quantity",),
    Kind.TAKE: ("quantity",),
    Kind.JOIN: ("into",),
    Kind.PLACE_ON_BOARD: ("quantity", "board"),
    Kind.HOLD: ("reason",),
    Kind.RELEASE: ("reason",),
    Kind.CORRECT: ("event", "reason"),
}


def _place_kind(code: str | None) -> str | None:
    try:
        return None if code is None else places.place(code).kind
    except NotFound:
        return None


def _is_hic(hic: Mapping[str, str]) -> bool:
    return all(
        spot in indicator.SPOTS and shown in indicator.SPOT_STATES for spot, shown in hic.items()
    )
