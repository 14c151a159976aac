"""Receives carriers in their dry bags and gives them their codes."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from msdtrack.errors import BadInput, Conflict, FieldError, NotFound
from msdtrack.exposure.clock import day
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import CarrierFacts
from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.services.event_recording import AHEAD_S
from msdtrack.services.fact_checks import SHORTEST_LIFE_H
from msdtrack.services.lot_holds import hold_on_arrival
from msdtrack.standard import levels
from msdtrack.store import carriers as carrier_store
from msdtrack.store import catalog, event_log, places, request_log, whereabouts
from msdtrack.store.canonical import content_hash
from msdtrack.store.connection import write
from msdtrack.store.records import CarrierRecord

KINDS = ("reel", "tray", "tube", "strip")


@dataclass(frozen=True, slots=True)
class NewCarrier:
    """A carrier as received.

    Args:
        part: number of a part on file.
        quantity: pieces.
        kind: reel, tray, tube or strip.
        bag: code or name of the dry bag, for carriers that share one; None makes a new one.
        sealed_on: seal date; without it the history counts as unknown.
        shelf_life_ends: last day of the shelf life, where the label says other than 12 months.
        opened_at: when the bag was opened, if it came or was found open.
        place: code of the place; None is unknown.
        received_at: None is now.
        msl, body_mm, label_floor_life_hours: what its own label says otherwise than the part.
    """

    part: str
    lot: str
    quantity: int
    kind: str
    bag: str | None = None
    sealed_on: date | None = None
    shelf_life_ends: date | None = None
    opened_at: int | None = None
    place: str | None = None
    received_at: int | None = None
    msl: str | None = None
    body_mm: float | None = None
    label_floor_life_hours: float | None = None
    person: str | None = None


@dataclass(frozen=True, slots=True)
class Received:
    """The codes of a carrier and of the dry bag it is in."""

    code: str
    bag: str


def receive(new: NewCarrier, now: int, request_id: str | None = None) -> tuple[Received, bool]:
    """Put a carrier on file and return its codes, and whether it was created by this call.

    Args:
        new: the carrier.
        now: the present moment.
        request_id: UUID made by the client; the same one with the same content creates nothing.

    Raises:
        BadInput: a field is wrong; the fields are named.
        Conflict: the request id was used for something else.
    """
    content = content_hash(_sent(new))
    with write():
        if request_id is not None:
            before = request_log.remembered(request_id)
            if before is not None:
                return _same(before.scope, before.content_hash, content, before.answer), False
        _check(new, now)
        code = make_code(CodeKind.CARRIER, carrier_store.next_serial("carrier"))
        bag = new.bag or make_code(CodeKind.BAG, carrier_store.next_serial("bag"))
        received_at = now if new.received_at is None else new.received_at
        given = {f.name: getattr(new, f.name) for f in fields(new) if f.name != "opened_at"}
        given |= {"bag": bag, "received_at": received_at}
        if new.msl is not None:
            given["msl"] = levels.parse_level(new.msl)
        carrier_store.insert_carrier(CarrierRecord(code=code, recorded_at=now, **given))
        whereabouts.put_resting({code: new.place})
        if new.opened_at is not None:
            id_ = str(uuid5(NAMESPACE_OID, f"received open {code}"))
            opening = Event(id_, code, Kind.OPEN, new.opened_at, 0, 0, person=new.person)
            event_log.append([opening], now)
        hold_on_arrival([code], new.part, new.lot, now)
        answer = {"code": code, "bag": bag}
        if request_id is not None:
            request_log.remember(request_id, "carrier", content, 201, dict(answer), now)
    return Received(**answer), True


def carrier_facts(code: str) -> CarrierFacts:
    """Return what was stated of a carrier at its receipt.

    Raises:
        NotFound: no such carrier.
    """
    carrier_store.carrier(code)
    return carrier_store.carrier_facts([code])[code]


def carriers(
    after: str | None = None,
    limit: int = 100,
    *,
    part: str | None = None,
    lot: str | None = None,
    place: str | None = None,
    search: str | None = None,
) -> list[CarrierRecord]:
    """Return carriers on file by code.

    Args:
        after: last code of the page before.
        limit: how many at most.
        part, lot: only of this part or lot.
        place: only those that were ever at this place; where one is now is its state's answer.
        search: only those whose code, part or lot holds this text.
    """
    return carrier_store.carriers(after, limit, part=part, lot=lot, place=place, text=search)


def _same(scope: str, before: str, content: str, answer: Any) -> Received:
    if scope != "carrier" or before != content:
        raise Conflict("This id was used for something else: make a new one.")
    return Received(**answer)


def _sent(new: NewCarrier) -> dict[str, Any]:
    sent = {name: value for name, value in asdict(new).items() if value is not None}
    return {k: v.isoformat() if isinstance(v, date) else v for k, v in sent.items()}


def _check(new: NewCarrier, now: int) -> None:
    errors: list[FieldError] = []

    def wrong(name: str, message: str) -> None:
        errors.append(FieldError(name, message))

    try:
        catalog.part(new.part)
    except NotFound:
        wrong("part", f"no part {new.part}: put it on file first")
    if not new.lot.strip():
        wrong("lot", "give the lot from the label")
    if new.quantity < 1:
        wrong("quantity", "at least 1")
    if new.kind not in KINDS:
        wrong("kind", f"one of {', '.join(KINDS)}")
    if new.place is not None:
        try:
            places.place(new.place)
        except NotFound:
            wrong("place", f"no place {new.place}")
    for name, at in (("received_at", new.received_at), ("opened_at", new.opened_at)):
        if at is not None and at > now + AHEAD_S:
            wrong(name, "more than 2 minutes ahead of the server's clock")
    if new.sealed_on is not None and new.sealed_on > day(now + 14 * 3600):
        wrong("sealed_on", "a seal date can't lie ahead")
    ends = new.shelf_life_ends
    if ends is not None and new.sealed_on is not None and ends < new.sealed_on:
        wrong("shelf_life_ends", "the shelf life can't end before the seal date")
    if new.msl is not None:
        try:
            levels.parse_level(new.msl)
        except BadInput as error:
            wrong("msl", error.message)
    for name, above in (("body_mm", 0), ("label_floor_life_hours", SHORTEST_LIFE_H)):
        value = getattr(new, name)
        if value is not None and value <= above:
            wrong(name, f"more than {above:g}")
    if new.bag is not None and not new.bag.strip():
        wrong("bag", "leave it out, or name the bag")
    if errors:
        raise BadInput(f"{errors[0].field}: {errors[0].message}.", errors)
