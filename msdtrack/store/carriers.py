"""Carriers as received or split off, what they came from, and the numbers of codes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, fields, replace
from datetime import date
from typing import Any

from msdtrack.errors import Conflict, NotFound
from msdtrack.exposure.facts import CarrierFacts
from msdtrack.store import models, whereabouts
from msdtrack.store.catalog import parts_by_number
from msdtrack.store.connection import touched, writing
from msdtrack.store.records import CarrierRecord
from msdtrack.store.statements import among, listed, one_row, rows
from msdtrack.store.traces import trace

_NAMES = tuple(field.name for field in fields(CarrierRecord))
_DATES = ("sealed_on", "shelf_life_ends")
_SEALED_ON, _PLACE = _NAMES.index("sealed_on"), _NAMES.index("place")
_LABEL_FACTS = ("msl", "body_mm", "label_floor_life_hours")
_CORRECTABLE = (
    "part",
    "lot",
    "quantity",
    "kind",
    "received_at",
    "bag",
    *_DATES,
    "place",
    *_LABEL_FACTS,
)


def next_serial(kind: str) -> int:
    """Return the next number for codes of a kind: 1, 2, 3 and so on, each once."""
    writing()
    sql = (
        "INSERT INTO counter (kind, value) VALUES (?, 1) "
        "ON CONFLICT (kind) DO UPDATE SET value = counter.value + 1 RETURNING value"
    )
    return int(one_row(sql, (kind,))[0])


def insert_carrier(record: CarrierRecord) -> None:
    """Store a new carrier.

    Raises:
        Conflict: its code is taken, or its part, place, parent or person does not exist.
    """
    writing()
    if carriers_by_code([record.code]):
        raise Conflict(f"{record.code} is a carrier already.")
    models.Carrier.insert(_row(asdict(record))).execute()


def update_carrier(
    code: str,
    changes: Mapping[str, object],
    *,
    reason: str,
    recorded_at: int,
    person: str | None = None,
) -> CarrierRecord:
    """Correct what is stated of a carrier, for all time, and return it as it is now.

    Args:
        changes: new values by field of `CarrierRecord`; not its code, parent or split.

    Raises:
        NotFound: there is no such carrier.
        BadInput: a name is none that can be corrected.
    """
    writing()
    before = carrier(code)
    differing = trace(
        "carrier",
        code,
        {name: getattr(before, name) for name in _CORRECTABLE},
        changes,
        person=person,
        reason=reason,
        recorded_at=recorded_at,
    )
    if differing:
        models.Carrier.update(_row(differing)).where(models.Carrier.code == code).execute()
        note = touched()
        note.at = max(note.at, recorded_at)
        note.carriers.add(code)
    return replace(before, **differing)


def carrier(code: str) -> CarrierRecord:
    """Return a carrier.

    Raises:
        NotFound: there is no such carrier.
    """
    found = carriers_by_code([code])
    if not found:
        raise NotFound(f"There is no carrier {code}.")
    return found[code]


def carriers(
    after: str | None = None,
    limit: int = 100,
    *,
    part: str | None = None,
    lot: str | None = None,
    place: str | None = None,
    text: str | None = None,
    unsure: Iterable[str] | None = None,
) -> list[CarrierRecord]:
    """Return carriers by code.

    Args:
        after: only codes after this one.
        part, lot: only carriers of this part number, of this lot.
        place: only those received at this place or named with it by an event or a correction, and
            what was split off them. These are candidates; where a carrier is now is the fold's
            answer.
        text: only those with this in code, part, lot or bag, in any case.
        unsure: only those that are not gone, and these, of which that is not known; if a place is
            asked for, those that are there now, and these. The standings must be built.
    """
    table = models.Carrier
    query = table.select().order_by(table.code).limit(limit)
    if after is not None:
        query = query.where(table.code > after)
    if part is not None:
        query = query.where(table.part == part)
    if lot is not None:
        query = query.where(table.lot == lot)
    if unsure is not None:
        query = query.where(whereabouts.is_there(table.code, place) | among(table.code, unsure))
    elif place is not None:
        query = query.where(whereabouts.was_there(table.code, place))
    if text:
        columns = (table.code, table.part, table.lot, table.bag)
        query = query.where(models.holding(text, *columns))
    return [_record([row[name] for name in _NAMES]) for row in models.dicts(query)]


def carriers_by_code(codes: Iterable[str]) -> dict[str, CarrierRecord]:
    """Return the carriers that exist among the codes, in one query."""
    condition, given = listed("code", codes)
    found = rows(f"SELECT {', '.join(_NAMES)} FROM carrier WHERE {condition}", given)
    return {row[0]: _record(row) for row in found}


def with_ancestors(codes: Iterable[str]) -> dict[str, CarrierRecord]:
    """Return the carriers that exist among the codes, with all that they were split off from.

    One query for each generation.
    """
    found: dict[str, CarrierRecord] = {}
    ask = set(codes)
    while ask:
        new = carriers_by_code(ask)
        found |= new
        ask = {one.parent for one in new.values() if one.parent is not None} - found.keys()
    return found


def carrier_codes() -> list[str]:
    """Return the code of every carrier, sorted."""
    return [row[0] for row in rows("SELECT code FROM carrier ORDER BY code")]


def carrier_facts(codes: Iterable[str]) -> dict[str, CarrierFacts]:
    """Return what the calculation needs to know of the carriers that exist among the codes."""
    asked = set(codes)
    records = with_ancestors(asked)
    return facts_among(records, asked & records.keys())


def facts_among(
    records: Mapping[str, CarrierRecord], codes: Iterable[str]
) -> dict[str, CarrierFacts]:
    """Return what the calculation needs to know of carriers.

    A split-off carrier was its topmost ancestor until the split: what was stated at receipt is that
    one's, so that a correction there reaches it. What its own label says otherwise than the part is
    put into the part, for a split-off carrier the nearest ancestor's word.

    Args:
        records: the carriers and their ancestors.
    """
    parts = parts_by_number({record.part for record in records.values()})
    facts = {}
    for code in codes:
        own = root = records[code]
        said = _label_facts(own)
        while root.parent is not None:
            root = records[root.parent]
            said = _label_facts(root) | said
        part = parts[root.part]
        facts[code] = CarrierFacts(
            code=code,
            part=replace(part, **said) if said else part,
            lot=root.lot,
            kind=own.kind,
            quantity=own.quantity,
            received_at=root.received_at,
            sealed_on=root.sealed_on,
            shelf_life_ends=root.shelf_life_ends,
            bag=root.bag,
            place=root.place,
        )
    return facts


def _label_facts(record: CarrierRecord) -> dict[str, Any]:
    words = {name: getattr(record, name) for name in _LABEL_FACTS}
    return {name: value for name, value in words.items() if value is not None}


def parents(codes: Iterable[str]) -> dict[str, tuple[str, str]]:
    """Return child to (parent, id of the split event) for the codes and all their ancestors."""
    return parents_among(with_ancestors(codes))


def parents_among(records: Mapping[str, CarrierRecord]) -> dict[str, tuple[str, str]]:
    """Return child to (parent, id of the split event) for those that were split off."""
    return {
        code: (record.parent, record.split_event)
        for code, record in records.items()
        if record.parent is not None and record.split_event is not None
    }


def children_of(codes: Iterable[str]) -> set[str]:
    """Return the codes of the carriers split off any of these."""
    condition, given = listed("parent", codes)
    return {row[0] for row in rows(f"SELECT code FROM carrier WHERE {condition}", given)}


def codes_of_lot(part: str, lot: str) -> dict[str, bool]:
    """Return the codes of the carriers whose own record has this part and lot, and whether each
    was split off another."""
    sql = "SELECT code, parent FROM carrier WHERE part = ? AND lot = ?"
    return {code: parent is not None for code, parent in rows(sql, (part, lot))}


def untouched(codes: Iterable[str]) -> dict[str, int]:
    """Return those of the carriers that nothing has happened to since their receipt, with their
    pieces: they are as they came."""
    condition, given = listed("code", codes)
    sql = (
        f"SELECT code, quantity FROM carrier WHERE {condition} AND parent IS NULL "
        "AND NOT EXISTS (SELECT 1 FROM event WHERE event.carrier = carrier.code)"
    )
    return dict(rows(sql, given))


def touched_since(seq: int) -> set[str]:
    """Return the codes of the carriers that events after this one are of."""
    return {row[0] for row in rows("SELECT carrier FROM event WHERE seq > ?", (seq,))}


def codes_that_had_bag(bag: str) -> list[str]:
    """Return the codes of carriers received in this bag or put into it by an event, in order."""
    sql = "SELECT code FROM carrier WHERE bag = ? UNION SELECT carrier FROM event WHERE bag = ?"
    return [row[0] for row in rows(f"{sql} ORDER BY 1", (bag, bag))]


def _row(values: Mapping[str, Any]) -> dict[str, Any]:
    row = dict(values)
    for name in _DATES:
        if isinstance(row.get(name), date):
            row[name] = row[name].isoformat()
    return row


def _record(row: Sequence[Any]) -> CarrierRecord:
    """Return what a row of the columns `_NAMES` says."""
    return CarrierRecord(*row[:_SEALED_ON], *map(_day, row[_SEALED_ON:_PLACE]), *row[_PLACE:])


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
