"""Receives bags by their suppliers' labels: what was scanned is read, what is missing is asked,
and once all is known and confirmed the carrier is on file.

Nothing is kept between two scans: who asks sends all scans of the label and all answers again, so
a reading can be repeated, and what is received is what was read back.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from msdtrack.errors import Conflict, Refused
from msdtrack.exposure.clock import day
from msdtrack.services import catalog, maker_parts, people, receiving
from msdtrack.services.goods_in_bag import examine
from msdtrack.services.goods_in_draft import Desk, Draft, Told
from msdtrack.services.goods_in_label import SupplierLabel, gather
from msdtrack.services.goods_in_part import identify
from msdtrack.services.goods_in_questions import Answers, Asked, Question
from msdtrack.services.receiving import NewCarrier
from msdtrack.store import goods_in, request_log
from msdtrack.store.canonical import content_hash
from msdtrack.store.connection import read, write
from msdtrack.store.goods_in import GoodsInRecord

__all__ = ["GoodsInRecord", "Label", "Question", "Reading", "ReceivedGoods", "Told", "came_as",
           "read_label", "receive"]  # fmt: skip

# It may be tomorrow already in the farthest time zone.
_FARTHEST_ZONE_S = 14 * 3600
_SCOPE = "goods-in"


@dataclass(frozen=True, slots=True)
class Label:
    """One supplier's label as sent.

    Attributes:
        scans: what the scanner typed of it so far, in order.
        answers: what was answered, by the names of the questions.
        follows: code of the carrier received before, if this may be a bag of the same lot.
    """

    scans: tuple[str, ...]
    answers: Mapping[str, str] = field(default_factory=dict)
    follows: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What a label says and what is still to be done about it.

    Attributes:
        told: what is read back, line by line.
        missing: what is still to be scanned: part, lot, quantity.
        question: what must be answered next; None if nothing is asked now.
        ready: all is known; it can be confirmed.
        at_once: it is one more bag of the same lot, so it needs no confirmation.
        cautions: what must be looked at.
        scans: the scans that count; our own codes are among the answers now.
        answers: the answers that count, those taken over from the bag before among them.
    """

    told: tuple[Told, ...]
    missing: tuple[str, ...]
    question: Question | None
    ready: bool
    at_once: bool
    cautions: tuple[str, ...]
    scans: tuple[str, ...]
    answers: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class ReceivedGoods:
    """What was received.

    Attributes:
        code, bag: the codes of the carrier and its dry bag.
        part, lot, quantity: what it holds.
    """

    code: str
    bag: str
    part: str
    lot: str
    quantity: int


def read_label(label: Label, now: int, again: str | None = None) -> Reading:
    """Return what a label says, and what is missing or asked next. Nothing is written.

    Args:
        label: scans and answers.
        now: the present moment.
        again: name of a question to ask once more.

    Raises:
        BadLabel: the last scan can't be read, or belongs to another label.
        BadInput: an answer can't be.
        Refused: an answer was to stop.
    """
    with read():
        return _read(label, now, again)[0]


def receive(label: Label, now: int, request_id: str) -> tuple[ReceivedGoods, bool]:
    """Receive the carrier of a label; return its codes, and whether this call created it.

    Everything is written or nothing: the carrier, what was read of it, a new part, the link to the
    maker's part, and the corrections that were decided.

    Args:
        label: scans and answers, as last read.
        now: the present moment.
        request_id: UUID made by the client.

    Raises:
        BadLabel, BadInput: as for `read_label`.
        Refused: something is still missing or asked.
        Conflict: the id was used for something else.
    """
    content = content_hash(
        {
            "scans": list(label.scans),
            "answers": dict(label.answers),
            "follows": label.follows,
        }
    )
    with write():
        before = request_log.remembered(request_id)
        if before is not None:
            if before.scope != _SCOPE or before.content_hash != content:
                raise Conflict("This id was used for something else: make a new one.")
            answer: Any = before.answer
            return ReceivedGoods(**answer), False
        reading, draft = _read(label, now, None)
        if not reading.ready:
            what = reading.question.text if reading.question else ", ".join(reading.missing)
            raise Refused(f"Nothing was received, for something is still open: {what}")
        done = _store(reading, draft, now)
        request_log.remember(request_id, _SCOPE, content, 201, asdict(done), now)
    return done, True


def came_as(carrier: str) -> GoodsInRecord | None:
    """Return what was read of a carrier at goods-in; None if it came another way."""
    return goods_in.goods_in(carrier)


def _read(label: Label, now: int, again: str | None) -> tuple[Reading, Draft]:
    scanned = gather(label.scans, label.answers)
    before = None if label.follows is None else goods_in.goods_in(label.follows)
    same_lot = before is not None and _is_of_lot(scanned, before)
    given = dict(label.answers)
    if before is not None and same_lot:
        given = _inherited(before.answers) | given
    for name, code in (("place", scanned.place), ("person", scanned.person)):
        if code is not None:
            given[name] = code
    answers = Answers(given, again)
    draft = Draft(scanned, cautions=list(scanned.cautions))
    question = _question(Desk(draft, answers, now, day(now + _FARTHEST_ZONE_S)))
    ready = question is None and not draft.missing
    return (
        Reading(
            told=tuple(draft.told),
            missing=tuple(draft.missing),
            question=question,
            ready=ready,
            at_once=ready and same_lot and _speaks_for_itself(draft),
            cautions=tuple(dict.fromkeys(draft.cautions)),
            scans=tuple(scanned.scans),
            answers=answers.given,
        ),
        draft,
    )


def _question(desk: Desk) -> Question | None:
    try:
        identify(desk)
        if not desk.draft.missing:
            examine(desk)
    except Asked as asked:
        return asked.question
    return None


_IDENTITY = ("customer_part", "maker_part", "supplier", "msl")


def _is_of_lot(label: SupplierLabel, before: GoodsInRecord) -> bool:
    """Return whether a label says the same as the one before, its own numbers excepted."""
    other = gather(before.scans, before.answers)
    return (
        label.lot is not None
        and label.lot == other.lot
        and label.date_code == other.date_code
        and label.expiry == other.expiry
        and all(label.values.get(name) == other.values.get(name) for name in _IDENTITY)
    )


def _inherited(answers: Mapping[str, str]) -> dict[str, str]:
    """Return the answers about one bag that hold for the next bag of its lot as well."""
    own = ("what:", "twice:", "outer:", "lot", "quantity", "person")
    return {name: value for name, value in answers.items() if not name.startswith(own)}


def _speaks_for_itself(draft: Draft) -> bool:
    """Return whether nothing about a bag needs a look before it is received."""
    return (
        draft.bag_condition == "sealed"
        and draft.sealed_on is not None
        and not (
            draft.label.doubtful or draft.part_changes or draft.maker_changes or draft.new_part
        )
    )


def _store(reading: Reading, draft: Draft, now: int) -> ReceivedGoods:
    part, lot, quantity, kind = draft.part, draft.lot, draft.quantity, draft.kind
    assert part is not None
    assert lot is not None
    assert quantity is not None
    assert kind is not None
    assert draft.bag_condition is not None
    person = None if draft.person is None else people.person_code(draft.person, now)
    reason = f"label of lot {lot} at goods-in"
    if draft.new_part:
        catalog.create_part(part, now)
    elif draft.part_changes:
        catalog.amend_part(part.number, draft.part_changes, now, person, reason)
    maker_id = None
    if draft.maker is not None:
        linked = draft.maker
        if not linked.id:
            linked = maker_parts.link(replace(linked, **draft.maker_changes), now)
        elif draft.maker_changes:
            maker_parts.correct(linked.id, draft.maker_changes, now, person, reason)
        maker_id = linked.id
    differing = {n: v for n, v in draft.facts.items() if v != getattr(part, n) or maker_id}
    received, _ = receiving.receive(
        NewCarrier(
            part=part.number,
            lot=lot,
            quantity=quantity,
            kind=kind,
            sealed_on=draft.sealed_on,
            shelf_life_ends=draft.shelf_life_ends,
            opened_at=now if draft.is_open else None,
            place=draft.place,
            person=person,
            **differing,
        ),
        now,
    )
    goods_in.insert_goods_in(
        GoodsInRecord(
            carrier=received.code,
            bag_condition=draft.bag_condition,
            recorded_at=now,
            maker_part=maker_id,
            date_code=draft.label.date_code,
            serial=draft.label.values.get("serial"),
            package=draft.label.values.get("package"),
            label_sealed_on=draft.label_sealed_on,
            scans=tuple(draft.label.scans),
            answers=reading.answers,
            person=person,
        )
    )
    return ReceivedGoods(received.code, received.bag, part.number, lot, quantity)
