"""Sample checks of lots: limits, checks, what was done in them, values and decisions.

Every table is append-only: what counts is the newest row, and the rows before it stay.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

from msdtrack.errors import NotFound
from msdtrack.store.canonical import to_json
from msdtrack.store.connection import writing
from msdtrack.store.statements import insert_all, rows

_LIMITS = "part, variant, channels, reason, person, recorded_at"
_CHECK = (
    "number, part, lot, variant, channels, lot_size, level, aql_pct, letter, sample_size, accept, "
    "bags, deviation, person, recorded_at"
)
_STEP_GIVEN = (
    "check_number, kind, carrier, child, quantity, events, undoes, person, at, recorded_at"
)
_STEP = f"id, {_STEP_GIVEN}"
_VALUE = "check_number, piece, channel, value, reason, person, recorded_at"
_DECISION = "check_number, decision, reason, carriers, person, recorded_at"


@dataclass(frozen=True, slots=True)
class Channel:
    """A quantity that is measured on each piece, and its limits.

    Args:
        low, high: smallest and largest good value; None is no limit on that side.
    """

    name: str
    low: Decimal | None
    high: Decimal | None
    unit: str


@dataclass(frozen=True, slots=True)
class LimitsRecord:
    """The limits of a part in one mounting variant, as of a moment; no channels: withdrawn."""

    part: str
    variant: str
    channels: tuple[Channel, ...]
    reason: str
    person: str
    recorded_at: int


@dataclass(frozen=True, slots=True)
class CheckRecord:
    """A sample check as it was planned.

    Args:
        number: counts from 1.
        variant, channels: the limits in force when it was planned.
        lot_size: pieces.
        level, aql_pct, letter: of the sampling plan.
        sample_size: pieces to check.
        accept: most failing pieces it is accepted with.
        bags: from how many bags the pieces are to come.
        deviation: why it is not the plan of the table; "" if it is.
    """

    number: int
    part: str
    lot: str
    variant: str
    channels: tuple[Channel, ...]
    lot_size: int
    level: str
    aql_pct: str
    letter: str
    sample_size: int
    accept: int
    bags: int
    deviation: str
    person: str
    recorded_at: int


@dataclass(frozen=True, slots=True)
class StepRecord:
    """One thing done in a check.

    Args:
        id: number that the database gives; 0 before it is stored.
        kind: pick, open, with (opened with another, for they share a bag), card, ago, take, more,
            move, close, back, scrap or undo.
        carrier: what it was done with.
        child: of a take, the carrier of the pieces.
        events: ids of the events it put on the log.
        undoes: of an undo, the step it took back.
    """

    id: int
    check: int
    kind: str
    carrier: str
    child: str | None
    quantity: int | None
    events: tuple[str, ...]
    undoes: int | None
    person: str | None
    at: int
    recorded_at: int


@dataclass(frozen=True, slots=True)
class ValueRecord:
    """One value. `reason`: why it replaces an earlier one; "" for the first."""

    check: int
    piece: str
    channel: str
    value: Decimal
    reason: str
    person: str
    recorded_at: int


@dataclass(frozen=True, slots=True)
class DecisionRecord:
    """What was decided of a check's lot: accepted, rejected, released or released_part.

    Args:
        carriers: those that were put on hold or released by it.
    """

    check: int
    decision: str
    reason: str
    carriers: tuple[str, ...]
    person: str
    recorded_at: int


def insert_limits(record: LimitsRecord) -> None:
    """Store limits; they are in force from now on.

    Raises:
        Conflict: there is no such part or person.
    """
    writing()
    insert_all("sample_limits", _LIMITS, [_with(record, channels=_channels_text(record.channels))])


def limits(part: str) -> list[LimitsRecord]:
    """Return every limit a part ever had, oldest first."""
    sql = f"SELECT {_LIMITS} FROM sample_limits WHERE part = ? ORDER BY id"
    return [LimitsRecord(row[0], row[1], _channels(row[2]), *row[3:]) for row in rows(sql, (part,))]


def insert_check(record: CheckRecord) -> None:
    """Store a planned check.

    Raises:
        Conflict: its number is taken, or there is no such part or person.
    """
    writing()
    insert_all("sample_check", _CHECK, [_with(record, channels=_channels_text(record.channels))])


def check(number: int) -> CheckRecord:
    """Return a check.

    Raises:
        NotFound: there is no such check.
    """
    found = rows(f"SELECT {_CHECK} FROM sample_check WHERE number = ?", (number,))
    if not found:
        raise NotFound(f"There is no sample check {number}.")
    return _check_of(found[0])


def checks(
    part: str | None = None, lot: str | None = None, before: int | None = None, limit: int = 100
) -> list[CheckRecord]:
    """Return checks, newest first.

    Args:
        part, lot: only of this part, of this lot.
        before: only those with a smaller number.
    """
    wanted = {"part = ?": part, "lot = ?": lot, "number < ?": before}
    given = {words: value for words, value in wanted.items() if value is not None}
    where = f"WHERE {' AND '.join(given)} " if given else ""
    sql = f"SELECT {_CHECK} FROM sample_check {where}ORDER BY number DESC LIMIT ?"
    return [_check_of(row) for row in rows(sql, (*given.values(), limit))]


def insert_step(record: StepRecord) -> None:
    """Store a step; its id is given by the database."""
    writing()
    _, *given = _with(record, events=to_json(record.events))
    insert_all("sample_step", _STEP_GIVEN, [given])


def steps(numbers: Iterable[int]) -> dict[int, list[StepRecord]]:
    """Return the steps of checks in order, by the number of the check."""
    found: dict[int, list[StepRecord]] = {number: [] for number in numbers}
    for row in _of_checks(_STEP, "sample_step", found):
        step = StepRecord(*(*row[:6], tuple(json.loads(row[6])), *row[7:]))
        found[step.check].append(step)
    return found


def check_of_child(carrier: str) -> int | None:
    """Return the number of the check whose pieces a carrier holds; None for every other."""
    sql = "SELECT check_number FROM sample_step WHERE child = ? ORDER BY id DESC LIMIT 1"
    found = rows(sql, (carrier,))
    return int(found[0][0]) if found else None


def insert_values(records: Iterable[ValueRecord]) -> None:
    """Store values; a value of the same piece and channel stands back from now on."""
    writing()
    insert_all("sample_value", _VALUE, [_with(each, value=str(each.value)) for each in records])


def values(numbers: Iterable[int]) -> dict[int, list[ValueRecord]]:
    """Return every value of checks, replaced ones too, in order, by the number of the check."""
    found: dict[int, list[ValueRecord]] = {number: [] for number in numbers}
    for row in _of_checks(_VALUE, "sample_value", found):
        record = ValueRecord(*(*row[:3], Decimal(row[3]), *row[4:]))
        found[record.check].append(record)
    return found


def insert_decision(record: DecisionRecord) -> None:
    """Store a decision."""
    writing()
    insert_all("sample_decision", _DECISION, [_with(record, carriers=to_json(record.carriers))])


def decisions(numbers: Iterable[int]) -> dict[int, list[DecisionRecord]]:
    """Return the decisions of checks in order, by the number of the check."""
    found: dict[int, list[DecisionRecord]] = {number: [] for number in numbers}
    for row in _of_checks(_DECISION, "sample_decision", found):
        record = DecisionRecord(*(*row[:3], tuple(json.loads(row[3])), *row[4:]))
        found[record.check].append(record)
    return found


def _of_checks(columns: str, table: str, numbers: Iterable[int]) -> list[tuple[Any, ...]]:
    wanted = ", ".join(str(int(number)) for number in numbers)
    sql = f"SELECT {columns} FROM {table} WHERE check_number IN ({wanted}) ORDER BY id"
    return rows(sql) if wanted else []


def _check_of(row: tuple[Any, ...]) -> CheckRecord:
    return CheckRecord(*(*row[:4], _channels(row[4]), *row[5:]))


def _with(record: Any, **texts: str) -> list[object]:
    """Return the values of a record, some of them as the texts that are stored."""
    return [texts.get(field.name, getattr(record, field.name)) for field in fields(record)]


def _channels_text(channels: Iterable[Channel]) -> str:
    def text(value: Decimal | None) -> str | None:
        return None if value is None else str(value)

    return to_json([[one.name, text(one.low), text(one.high), one.unit] for one in channels])


def _channels(text: str) -> tuple[Channel, ...]:
    def number(value: str | None) -> Decimal | None:
        return None if value is None else Decimal(value)

    return tuple(
        Channel(name, number(low), number(high), unit) for name, low, high, unit in json.loads(text)
    )
