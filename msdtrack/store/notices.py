"""Which alarm went out to which receiver: each pair once, whichever server sends it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import astuple, fields

from msdtrack.store.connection import writing
from msdtrack.store.records import NoticeRecord
from msdtrack.store.statements import execute, rows

_COLUMNS = ", ".join(field.name for field in fields(NoticeRecord))
_FEW = 500
"""Up to this many alarms are named in a query; of more, all from the oldest on are read."""


def notices(alarms: Collection[int] | None = None) -> list[NoticeRecord]:
    """Return notices, by alarm: of these alarms, or all that are being sent or wait for it."""
    if alarms is None:
        found = rows(
            f"SELECT {_COLUMNS} FROM alarm_notice WHERE state IN ('sending', 'waiting') "
            "ORDER BY alarm, target"
        )
    elif not alarms:
        return []
    elif len(alarms) <= _FEW:
        marks = ", ".join("?" * len(alarms))
        found = rows(
            f"SELECT {_COLUMNS} FROM alarm_notice WHERE alarm IN ({marks}) ORDER BY alarm, target",
            tuple(alarms),
        )
    else:
        found = rows(
            f"SELECT {_COLUMNS} FROM alarm_notice WHERE alarm >= ? ORDER BY alarm, target",
            (min(alarms),),
        )
    records = [NoticeRecord(*row) for row in found]
    return [one for one in records if alarms is None or one.alarm in alarms]


def held_up() -> tuple[dict[str, int], NoticeRecord | None]:
    """Return how many notices of active alarms wait, failed or broke off, by their state, and the
    newest of these; alarms that are shelved or have ended are left out."""
    condition = (
        "FROM alarm_notice n JOIN alarm a ON a.id = n.alarm WHERE a.ended_at IS NULL "
        "AND a.shelved_until IS NULL AND n.state IN ('waiting', 'failed', 'unsure')"
    )
    counts = dict(rows(f"SELECT n.state, count(*) {condition} GROUP BY n.state"))
    if not counts:
        return {}, None
    columns = ", ".join(f"n.{field.name}" for field in fields(NoticeRecord))
    newest = rows(f"SELECT {columns} {condition} ORDER BY n.claimed_at DESC, n.alarm LIMIT 1")
    return counts, NoticeRecord(*newest[0])


def put_notice(notice: NoticeRecord) -> None:
    """Store a notice as it is now, whether it was there before or not."""
    writing(shows=False)
    marks = ", ".join("?" * len(fields(NoticeRecord)))
    execute(
        f"INSERT INTO alarm_notice ({_COLUMNS}) VALUES ({marks}) "
        "ON CONFLICT (alarm, target) DO UPDATE SET label = excluded.label, "
        "state = excluded.state, attempts = excluded.attempts, claimed_at = excluded.claimed_at, "
        "next_at = excluded.next_at, error = excluded.error",
        astuple(notice),
    )
