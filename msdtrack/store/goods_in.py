"""Makers' parts behind an internal number, and what was read of carriers at goods-in."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, astuple, dataclass, field, fields, replace
from datetime import date
from typing import Any

from msdtrack.errors import Conflict, NotFound
from msdtrack.store.canonical import to_json
from msdtrack.store.connection import writing
from msdtrack.store.statements import execute, insert_all, one_row, rows
from msdtrack.store.traces import trace

MAKER_FACTS = ("msl", "body_mm", "label_floor_life_hours")
"""What a maker's part can have otherwise than its internal number."""

_MAKER_COLUMNS = "id, part, maker_number, supplier, msl, body_mm, label_floor_life_hours"


@dataclass(frozen=True, slots=True)
class MakerPartRecord:
    """A maker's part that is bought under an internal number.

    Args:
        id: number that the database gives; 0 before it is stored.
        part: internal number.
        maker_number: the maker's own number.
        supplier: whose number it is, as the label codes it; "" is not known.
        msl, body_mm, label_floor_life_hours: what it has otherwise than the part; None is as it.
    """

    id: int
    part: str
    maker_number: str
    supplier: str = ""
    msl: str | None = None
    body_mm: float | None = None
    label_floor_life_hours: float | None = None


@dataclass(frozen=True, slots=True)
class GoodsInRecord:
    """What was read of a carrier and said of its bag when it came.

    Args:
        bag_condition: sealed, damaged, clip_sealed or rebagged.
        maker_part: id of the maker's part.
        date_code: as on the label, with its data identifier; it is no seal date.
        label_sealed_on: the seal date the bag states, whatever is believed of it.
        scans: what was scanned.
        answers: what was answered, by the name of the question.
    """

    carrier: str
    bag_condition: str
    recorded_at: int
    maker_part: int | None = None
    date_code: str | None = None
    serial: str | None = None
    package: str | None = None
    label_sealed_on: date | None = None
    scans: tuple[str, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    person: str | None = None


_GOODS_COLUMNS = ", ".join(field.name for field in fields(GoodsInRecord))


def insert_maker_part(record: MakerPartRecord, recorded_at: int) -> MakerPartRecord:
    """Store a maker's part and return it with its id.

    Raises:
        Conflict: it is on file for the internal number, or that number does not exist.
    """
    writing()
    same = [
        one
        for one in maker_parts(part=record.part, maker_number=record.maker_number)
        if one.supplier == record.supplier
    ]
    if same:
        raise Conflict(f"{record.maker_number} is on file for {record.part} already.")
    _, *values = astuple(record)
    columns = f"{_MAKER_COLUMNS.removeprefix('id, ')}, recorded_at"
    insert_all("maker_part", columns, [(*values, recorded_at)])
    sql = "SELECT id FROM maker_part WHERE part = ? AND maker_number = ? AND supplier = ?"
    (found,) = one_row(sql, (record.part, record.maker_number, record.supplier))
    return replace(record, id=int(found))


def update_maker_part(
    id_: int,
    changes: Mapping[str, object],
    *,
    reason: str,
    recorded_at: int,
    person: str | None = None,
) -> MakerPartRecord:
    """Correct facts of a maker's part, for all time, and return it as it is now.

    Args:
        changes: new values by name of `MAKER_FACTS`.

    Raises:
        NotFound: there is no such maker's part.
        BadInput: a name is none that can be corrected.
    """
    writing()
    before = maker_part(id_)
    values = {name: getattr(before, name) for name in MAKER_FACTS}
    trace(
        "maker_part",
        str(id_),
        values,
        changes,
        person=person,
        reason=reason,
        recorded_at=recorded_at,
    )
    values |= changes
    execute(
        "UPDATE maker_part SET msl = ?, body_mm = ?, label_floor_life_hours = ? WHERE id = ?",
        (*(values[name] for name in MAKER_FACTS), id_),
    )
    return maker_part(id_)


def maker_part(id_: int) -> MakerPartRecord:
    """Return a maker's part.

    Raises:
        NotFound: there is none with the id.
    """
    found = rows(f"SELECT {_MAKER_COLUMNS} FROM maker_part WHERE id = ?", (id_,))
    if not found:
        raise NotFound(f"There is no maker's part {id_}.")
    return MakerPartRecord(*found[0])


def maker_parts(
    *, part: str | None = None, maker_number: str | None = None
) -> list[MakerPartRecord]:
    """Return makers' parts by their number.

    Args:
        part: only those of this internal number.
        maker_number: only those the maker calls so.
    """
    wanted = {"part = ?": part, "maker_number = ?": maker_number}
    given = {words: value for words, value in wanted.items() if value is not None}
    where = f"WHERE {' AND '.join(given)} " if given else ""
    sql = f"SELECT {_MAKER_COLUMNS} FROM maker_part {where}ORDER BY maker_number, supplier, part"
    found = rows(sql, tuple(given.values()))
    return [MakerPartRecord(*row) for row in found]


def insert_goods_in(record: GoodsInRecord) -> None:
    """Store what was read of a carrier.

    Raises:
        Conflict: it is stored already, or the carrier, maker's part or person does not exist.
    """
    writing()
    sealed_on = record.label_sealed_on
    values = asdict(record) | {
        "label_sealed_on": None if sealed_on is None else sealed_on.isoformat(),
        "scans": to_json(record.scans),
        "answers": to_json(record.answers),
    }
    insert_all("goods_in", _GOODS_COLUMNS, [list(values.values())])


def goods_in(carrier: str) -> GoodsInRecord | None:
    """Return what was read of a carrier; None if it came another way."""
    found = rows(f"SELECT {_GOODS_COLUMNS} FROM goods_in WHERE carrier = ?", (carrier,))
    return _record(found[0]) if found else None


def goods_in_with(*, serial: str | None = None, package: str | None = None) -> list[GoodsInRecord]:
    """Return what came with this serial number or package identification, by carrier."""
    found = rows(
        f"SELECT {_GOODS_COLUMNS} FROM goods_in WHERE serial = ? OR package = ? ORDER BY carrier",
        (serial, package),
    )
    return [_record(row) for row in found]


def carriers_of_maker_part(id_: int) -> list[str]:
    """Return the codes of the carriers received as this maker's part."""
    sql = "SELECT carrier FROM goods_in WHERE maker_part = ? ORDER BY carrier"
    return [row[0] for row in rows(sql, (id_,))]


def _record(row: tuple[Any, ...]) -> GoodsInRecord:
    values = dict(zip(_GOODS_COLUMNS.split(", "), row, strict=True))
    sealed_on = values["label_sealed_on"]
    values["label_sealed_on"] = None if sealed_on is None else date.fromisoformat(sealed_on)
    values["scans"] = tuple(json.loads(values["scans"]))
    values["answers"] = json.loads(values["answers"])
    return GoodsInRecord(**values)
