"""Counts of places: what was scanned and decided in each. They are notes, no part of the log."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from msdtrack.errors import NotFound
from msdtrack.store.canonical import JsonValue, to_json
from msdtrack.store.connection import writing
from msdtrack.store.statements import execute, listed, rows

_COLUMNS = "id, place, begun_at, ended_at, ended_by, outcome, summary"


@dataclass(frozen=True, slots=True)
class CountRecord:
    """A count of one place.

    Args:
        begun_at: when the first thing was scanned or decided, seconds UTC.
        ended_at, ended_by: when and by whom; None while it runs.
        outcome: recorded or dropped; None while it runs.
        summary: what was found and recorded, as the service put it.
    """

    id: str
    place: str
    begun_at: int
    ended_at: int | None
    ended_by: str | None
    outcome: str | None
    summary: Any


@dataclass(frozen=True, slots=True)
class CountLine:
    """What a count holds of one code.

    Args:
        found_at: when it was scanned; None: only something was decided about it.
        decision: what was decided, as the service put it; None: nothing.
    """

    code: str
    found_at: int | None
    decision: JsonValue = None


def begin(id_: str, place: str, begun_at: int) -> CountRecord:
    """Begin a count.

    Raises:
        Conflict: one is running there, or there is no such place.
    """
    writing()
    sql = "INSERT INTO place_count (id, place, begun_at, summary) VALUES (?, ?, ?, 'null')"
    execute(sql, (id_, place, begun_at))
    return count(id_)


def end(id_: str, ended_at: int, person: str | None, outcome: str, summary: JsonValue) -> None:
    """End a count."""
    writing()
    execute(
        "UPDATE place_count SET ended_at = ?, ended_by = ?, outcome = ?, summary = ? WHERE id = ?",
        (ended_at, person, outcome, to_json(summary), id_),
    )


def put_line(id_: str, line: CountLine) -> None:
    """Store what a count holds of a code, in place of what it held before."""
    writing()
    execute(
        "INSERT INTO place_count_line (place_count, code, found_at, decision) VALUES (?, ?, ?, ?) "
        "ON CONFLICT (place_count, code) DO UPDATE "
        "SET found_at = excluded.found_at, decision = excluded.decision",
        (id_, line.code, line.found_at, to_json(line.decision)),
    )


def drop_line(id_: str, code: str) -> None:
    """Forget what a count holds of a code."""
    writing()
    execute("DELETE FROM place_count_line WHERE place_count = ? AND code = ?", (id_, code))


def count(id_: str) -> CountRecord:
    """Return a count.

    Raises:
        NotFound: there is no such count.
    """
    found = rows(f"SELECT {_COLUMNS} FROM place_count WHERE id = ?", (id_,))
    if not found:
        raise NotFound("There is no such count.")
    return _record(found[0])


def running(place: str | None = None) -> list[CountRecord]:
    """Return the counts that run, of one place or of all, the oldest first."""
    where, given = ("AND place = ?", (place,)) if place is not None else ("", ())
    sql = f"SELECT {_COLUMNS} FROM place_count WHERE ended_at IS NULL {where} ORDER BY begun_at, id"
    return [_record(row) for row in rows(sql, given)]


def recorded(limit: int) -> list[CountRecord]:
    """Return the counts that were recorded last, newest first."""
    sql = (
        f"SELECT {_COLUMNS} FROM place_count WHERE outcome = 'recorded' "
        "ORDER BY ended_at DESC, id LIMIT ?"
    )
    return [_record(row) for row in rows(sql, (limit,))]


def lines(id_: str) -> dict[str, CountLine]:
    """Return what a count holds, by code."""
    sql = (
        "SELECT code, found_at, decision FROM place_count_line WHERE place_count = ? ORDER BY code"
    )
    return {row[0]: CountLine(row[0], row[1], json.loads(row[2])) for row in rows(sql, (id_,))}


def line(id_: str, code: str) -> CountLine | None:
    """Return what a count holds of a code; None: nothing."""
    sql = "SELECT found_at, decision FROM place_count_line WHERE place_count = ? AND code = ?"
    found = rows(sql, (id_, code))
    return CountLine(code, found[0][0], json.loads(found[0][1])) if found else None


def last_found(codes: Iterable[str], place: str) -> dict[str, int]:
    """Return when each code was last found at a place by a count that was recorded."""
    among, given = listed("line.code", codes)
    sql = (
        "SELECT line.code, max(line.found_at) FROM place_count_line line "
        "JOIN place_count ON place_count.id = line.place_count "
        f"WHERE {among} AND place_count.place = ? AND outcome = 'recorded' "
        "AND line.found_at IS NOT NULL GROUP BY line.code"
    )
    return {row[0]: int(row[1]) for row in rows(sql, (*given, place))}


def _record(row: tuple[Any, ...]) -> CountRecord:
    id_, place, begun_at, ended_at, ended_by, outcome, summary = row
    return CountRecord(id_, place, begun_at, ended_at, ended_by, outcome, json.loads(summary))
