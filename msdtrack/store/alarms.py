"""Alarms as records: one per cause until it is both acknowledged and back to normal.

What is done with an alarm is kept as a list of steps that nothing changes.

What raises an alarm, and when, is decided by the services.

Source: ISA-18.2 / IEC 62682, alarm states (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import astuple, fields, replace
from typing import Any

from msdtrack.errors import NotFound, Refused
from msdtrack.store.connection import writing
from msdtrack.store.records import AlarmAct, AlarmRecord, AlarmStep
from msdtrack.store.statements import execute, insert_all, rows


def raise_alarm(
    cause: str,
    kind: str,
    priority: str,
    message: str,
    at: int,
    *,
    carrier: str | None = None,
    place: str | None = None,
) -> tuple[AlarmRecord, bool]:
    """Raise the alarm of a cause unless it stands already.

    Raising it again only brings message, priority and place up to date. If it had returned to
    normal and nobody had acknowledged it, the same alarm is active again.

    Returns:
        The alarm, and whether it is new or active again.
    """
    writing()
    standing = _standing(cause)
    if standing is None:
        execute(
            "INSERT INTO alarm (cause, kind, priority, message, raised_at, carrier, place, times) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, 1)",
            (cause, kind, priority, message, at, carrier, place),
        )
        return _records("WHERE cause = ? AND ended_at IS NULL", (cause,))[0], True
    again = standing.returned_at is not None
    changes: dict[str, Any] = {"priority": priority, "message": message, "place": place}
    if again:
        changes |= {"returned_at": None, "times": standing.times + 1, "again_at": at}
    return _changed(standing, changes), again


def return_to_normal(cause: str, at: int) -> AlarmRecord | None:
    """Note that a cause is gone; the alarm ends if it was acknowledged and is not shelved.

    Returns:
        The alarm; None if none of this cause stands.
    """
    writing()
    standing = _standing(cause)
    if standing is None or standing.returned_at is not None:
        return standing
    ends = standing.acknowledged_at is not None and standing.shelved_until is None
    return _changed(standing, {"returned_at": at, "ended_at": at if ends else None})


def acknowledge(alarm_id: int, person: str, at: int) -> AlarmRecord:
    """Note who has taken notice of an alarm; it ends if its cause is gone.

    Args:
        person: code of the person.

    Raises:
        NotFound: there is no such alarm.
        Refused: it was acknowledged before, or is shelved.
    """
    writing()
    found = alarm(alarm_id)
    if found.state == "shelved":
        raise Refused(f"Alarm {alarm_id} is shelved: take it off the shelf first.")
    if found.acknowledged_at is not None:
        raise Refused(f"Alarm {alarm_id} was acknowledged by {found.acknowledged_by} already.")
    ended_at = at if found.returned_at is not None else None
    _note(AlarmStep(alarm_id, "acknowledged", at, person))
    return _changed(found, {"acknowledged_at": at, "acknowledged_by": person, "ended_at": ended_at})


def shelve(alarm_id: int, person: str, reason: str, until: int, at: int) -> AlarmRecord:
    """Put an alarm on the shelf.

    Args:
        person: code of the person.
        until: when it comes back by itself.

    Raises:
        NotFound: there is no such alarm.
        Refused: it has ended or is shelved.
    """
    writing()
    found = alarm(alarm_id)
    if found.state == "ended":
        raise Refused(f"Alarm {alarm_id} has ended: there is nothing to shelve.")
    if found.state == "shelved":
        raise Refused(f"Alarm {alarm_id} is shelved already, by {found.shelved_by}.")
    _note(AlarmStep(alarm_id, "shelved", at, person, until, reason))
    changes: dict[str, Any] = {
        "shelved_at": at,
        "shelved_until": until,
        "shelved_by": person,
        "shelved_reason": reason,
    }
    return _changed(found, changes)


def unshelve(alarm_id: int, person: str | None, at: int) -> AlarmRecord:
    """Take an alarm off the shelf: it ends if its cause is gone, else somebody has to acknowledge
    it again.

    Args:
        person: code of the person; None: its time is over.

    Raises:
        NotFound: there is no such alarm.
        Refused: it is not shelved.
    """
    writing()
    found = alarm(alarm_id)
    if found.state != "shelved":
        raise Refused(f"Alarm {alarm_id} is not shelved.")
    act: AlarmAct = "came_back" if person is None else "unshelved"
    _note(AlarmStep(alarm_id, act, at, person))
    changes: dict[str, Any] = dict.fromkeys(
        ("shelved_at", "shelved_until", "shelved_by", "shelved_reason")
    )
    if found.returned_at is None:
        changes |= {"acknowledged_at": None, "acknowledged_by": None}
    else:
        changes["ended_at"] = at
    return _changed(found, changes)


def steps(alarm_ids: Iterable[int]) -> dict[int, list[AlarmStep]]:
    """Return what was done with alarms, oldest first; every one asked for is a key."""
    found: dict[int, list[AlarmStep]] = {number: [] for number in alarm_ids}
    marks = ", ".join("?" * len(found)) or "NULL"
    sql = f"SELECT alarm, step, at, person, until, reason FROM alarm_step WHERE alarm IN ({marks})"
    for row in rows(f"{sql} ORDER BY id", tuple(found)):
        found[row[0]].append(AlarmStep(*row))
    return found


def newly_active(since: int) -> int:
    """Return how many alarms have come, or come again, from `since` on."""
    sql = "SELECT count(*) FROM alarm WHERE coalesce(again_at, raised_at) >= ?"
    return int(rows(sql, (since,))[0][0])


def alarm(alarm_id: int) -> AlarmRecord:
    """Return an alarm.

    Raises:
        NotFound: there is no such alarm.
    """
    found = _records("WHERE id = ?", (alarm_id,))
    if not found:
        raise NotFound(f"There is no alarm {alarm_id}.")
    return found[0]


def active() -> list[AlarmRecord]:
    """Return the alarms that have not ended, oldest first."""
    return _records("WHERE ended_at IS NULL ORDER BY id")


def history(limit: int = 100, after: int | None = None) -> list[AlarmRecord]:
    """Return alarms newest first, ended ones among them.

    Args:
        after: only alarms with a smaller id, to go on where a page ended.
    """
    if after is None:
        return _records("ORDER BY id DESC LIMIT ?", (limit,))
    return _records("WHERE id < ? ORDER BY id DESC LIMIT ?", (after, limit))


def _standing(cause: str) -> AlarmRecord | None:
    found = _records("WHERE cause = ? AND ended_at IS NULL", (cause,))
    return found[0] if found else None


def _note(step: AlarmStep) -> None:
    insert_all("alarm_step", "alarm, step, at, person, until, reason", [astuple(step)])


def _changed(before: AlarmRecord, changes: dict[str, Any]) -> AlarmRecord:
    differing = {name: value for name, value in changes.items() if getattr(before, name) != value}
    if not differing:
        return before
    named = ", ".join(f"{name} = ?" for name in differing)
    execute(f"UPDATE alarm SET {named} WHERE id = ?", (*differing.values(), before.id))
    return replace(before, **differing)


_COLUMNS = ", ".join(field.name for field in fields(AlarmRecord))


def _records(condition: str, parameters: Sequence[object] = ()) -> list[AlarmRecord]:
    found = rows(f"SELECT {_COLUMNS} FROM alarm {condition}", parameters)
    return [AlarmRecord(*row) for row in found]
