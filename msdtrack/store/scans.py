"""What each scan station waits with, and every scan with its answer."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from msdtrack.errors import Conflict
from msdtrack.store.canonical import to_json
from msdtrack.store.connection import writing
from msdtrack.store.records import ScanBrief, ScanRecord, StationContext
from msdtrack.store.statements import execute, json_text, one_row, rows

_CONTEXT = ", ".join(field.name for field in fields(StationContext))
_SCAN = ", ".join(field.name for field in fields(ScanRecord))
_SCAN_LENGTH = len(fields(ScanRecord))
_SCAN_AND_CONTEXT = ", ".join(
    [f"s.{field.name}" for field in fields(ScanRecord)]
    + [f"c.{field.name}" for field in fields(StationContext)]
)


def station_context(station: str) -> StationContext:
    """Return what a station waits with; an empty context if it waits with nothing."""
    sql = f"SELECT {_CONTEXT} FROM station_context WHERE station = ?"
    found = rows(sql, (station,))
    return _context(found[0]) if found else StationContext(station)


def before(scan_id: str, station: str) -> tuple[ScanRecord | None, StationContext]:
    """Return the scan with the id, None if it is new, and what `station_context` does: asked in
    one."""
    sql = (
        f"SELECT {_SCAN_AND_CONTEXT} FROM (SELECT 1) one LEFT JOIN scan s ON s.id = ? "
        "LEFT JOIN station_context c ON c.station = ?"
    )
    row = one_row(sql, (scan_id, station))
    scan, context = row[:_SCAN_LENGTH], row[_SCAN_LENGTH:]
    return (
        None if scan[0] is None else _record(scan),
        StationContext(station) if context[0] is None else _context(context),
    )


def set_station_context(context: StationContext) -> None:
    """Put the context in the place of the station's old one."""
    writing(widely=False)
    execute(
        f"INSERT INTO station_context ({_CONTEXT}) VALUES (?, ?, ?, ?, ?, ?) "
        "ON CONFLICT (station) DO UPDATE SET at = excluded.at, carrier = excluded.carrier, "
        "action = excluded.action, person = excluded.person, options = excluded.options",
        (
            context.station,
            context.at,
            context.carrier,
            context.action,
            context.person,
            to_json(context.options),
        ),
    )


def forget_badge(person: str) -> None:
    """Let every station that works in a person's name forget it."""
    writing(widely=False)
    execute("UPDATE station_context SET person = NULL WHERE person = ?", (person,))


def log_scan(record: ScanRecord) -> None:
    """Record a scan and its answer.

    Raises:
        Conflict: a scan with this id is on record.
    """
    writing(widely=False)
    new = execute(
        f"INSERT INTO scan ({_SCAN}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) "
        "ON CONFLICT (id) DO NOTHING",
        (
            record.id,
            record.station,
            record.code,
            record.at,
            record.recorded_at,
            record.content_hash,
            record.tone,
            to_json(record.answer),
            to_json(record.events),
            record.undone_by,
        ),
    )
    if not new:
        raise Conflict(f"Scan {record.id} is on record already.")


def last_undoable_scan(station: str) -> ScanRecord | None:
    """Return a station's newest scan that made events and was not taken back."""
    sql = (
        f"SELECT {_SCAN} FROM scan WHERE station = ? AND events <> '[]' AND undone_by IS NULL "
        "ORDER BY seq DESC LIMIT 1"
    )
    found = rows(sql, (station,))
    return _record(found[0]) if found else None


def mark_undone(scan_id: str, by: str) -> None:
    """Note which scan took another one back."""
    writing(widely=False)
    execute("UPDATE scan SET undone_by = ? WHERE id = ?", (by, scan_id))


def recent_scans(station: str) -> list[ScanRecord]:
    """Return the newest scans of a station, newest first."""
    sql = f"SELECT {_SCAN} FROM scan WHERE station = ? ORDER BY seq DESC LIMIT 50"
    return [_record(row) for row in rows(sql, (station,))]


def briefly(station: str, limit: int) -> list[ScanBrief]:
    """Return the newest scans of a station, newest first, without their answers."""
    sql = (
        f"SELECT id, code, at, tone, {json_text('answer', 'title')}, "
        f"coalesce({json_text('answer', 'carrier')}, {json_text('answer', 'boards')}), "
        "events <> '[]', undone_by IS NOT NULL "
        "FROM scan WHERE station = ? ORDER BY seq DESC LIMIT ?"
    )
    found = rows(sql, (station, limit))
    return [ScanBrief._make((*row[:-2], bool(row[-2]), bool(row[-1]))) for row in found]


def _context(row: Sequence[Any]) -> StationContext:
    station, at, carrier, action, person, options = row
    return StationContext(station, at, carrier, action, person, json.loads(options))


def _record(row: Sequence[Any]) -> ScanRecord:
    id_, station, code, at, recorded_at, content, tone, answer, events, undone_by = row
    return ScanRecord(
        id_,
        station,
        code,
        at,
        recorded_at,
        content,
        tone,
        json.loads(answer),
        tuple(json.loads(events)),
        undone_by,
    )
