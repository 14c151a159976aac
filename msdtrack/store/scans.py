"""What each scan station waits with, and every scan with its answer."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from msdtrack.errors import Conflict
from msdtrack.store import models
from msdtrack.store.canonical import to_json
from msdtrack.store.connection import writing
from msdtrack.store.records import ScanRecord, StationContext
from msdtrack.store.statements import execute

_SCAN = tuple(field.name for field in fields(ScanRecord))


def station_context(station: str) -> StationContext:
    """Return what a station waits with; an empty context if it waits with nothing."""
    table = models.StationContext
    found = models.dicts(table.select().where(table.station == station))
    if not found:
        return StationContext(station)
    return StationContext(**found[0] | {"options": json.loads(found[0]["options"])})


def set_station_context(context: StationContext) -> None:
    """Put the context in the place of the station's old one."""
    writing()
    execute(
        "INSERT INTO station_context (station, at, carrier, action, person, options) "
        "VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (station) DO UPDATE SET at = excluded.at, "
        "carrier = excluded.carrier, action = excluded.action, person = excluded.person, "
        "options = excluded.options",
        (
            context.station,
            context.at,
            context.carrier,
            context.action,
            context.person,
            to_json(context.options),
        ),
    )


def find_scan(scan_id: str) -> ScanRecord | None:
    """Return the scan with the id; None if it is new."""
    found = models.dicts(models.Scan.select().where(models.Scan.id == scan_id))
    return _record(found[0]) if found else None


def log_scan(record: ScanRecord) -> None:
    """Record a scan and its answer.

    Raises:
        Conflict: a scan with this id is on record.
    """
    writing()
    if find_scan(record.id) is not None:
        raise Conflict(f"Scan {record.id} is on record already.")
    row = {name: getattr(record, name) for name in _SCAN}
    row["answer"] = to_json(record.answer)
    row["events"] = to_json(record.events)
    models.Scan.insert(row).execute()


def last_undoable_scan(station: str) -> ScanRecord | None:
    """Return a station's newest scan that made events and was not taken back."""
    table = models.Scan
    query = table.select().where(
        table.station == station, table.events != "[]", table.undone_by.is_null()
    )
    found = models.dicts(query.order_by(table.seq.desc()).limit(1))
    return _record(found[0]) if found else None


def mark_undone(scan_id: str, by: str) -> None:
    """Note which scan took another one back."""
    writing()
    models.Scan.update(undone_by=by).where(models.Scan.id == scan_id).execute()


def recent_scans(station: str | None = None, limit: int = 50) -> list[ScanRecord]:
    """Return the newest scans of one station or of all, newest first."""
    table = models.Scan
    query = table.select().order_by(table.seq.desc()).limit(limit)
    if station is not None:
        query = query.where(table.station == station)
    return [_record(row) for row in models.dicts(query)]


def _record(row: Mapping[str, Any]) -> ScanRecord:
    values = {name: row[name] for name in _SCAN}
    values["answer"] = json.loads(values["answer"])
    values["events"] = tuple(json.loads(values["events"]))
    return ScanRecord(**values)
