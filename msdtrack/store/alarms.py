"""Alarms as records: one per cause until it is both acknowledged and back to normal.

What raises an alarm, and when, is decided by the services.

Source: ISA-18.2 / IEC 62682, alarm states (from memory).
"""

from __future__ import annotations

from typing import Any

import peewee

from msdtrack.errors import NotFound, Refused
from msdtrack.store import models
from msdtrack.store.connection import writing
from msdtrack.store.records import AlarmRecord


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

    Raising it again only brings message and priority up to date. If it had returned to normal and
    nobody had acknowledged it, the same alarm is active again.

    Returns:
        The alarm, and whether it is new or active again.
    """
    writing()
    standing = _standing(cause)
    if standing is None:
        number = models.Alarm.insert(
            cause=cause,
            kind=kind,
            priority=priority,
            message=message,
            raised_at=at,
            carrier=carrier,
            place=place,
            times=1,
        ).execute()
        return alarm(number), True
    again = standing.returned_at is not None
    changes: dict[str, object] = {"priority": priority, "message": message}
    if again:
        changes |= {"returned_at": None, "times": standing.times + 1}
    return _changed(standing, changes), again


def return_to_normal(cause: str, at: int) -> AlarmRecord | None:
    """Note that a cause is gone; the alarm ends if it was acknowledged.

    Returns:
        The alarm; None if none of this cause stands.
    """
    writing()
    standing = _standing(cause)
    if standing is None or standing.returned_at is not None:
        return standing
    ended_at = at if standing.acknowledged_at is not None else None
    return _changed(standing, {"returned_at": at, "ended_at": ended_at})


def acknowledge(alarm_id: int, person: str, at: int) -> AlarmRecord:
    """Note who has taken notice of an alarm; it ends if its cause is gone.

    Args:
        person: code of the person.

    Raises:
        NotFound: there is no such alarm.
        Refused: it was acknowledged before.
    """
    writing()
    found = alarm(alarm_id)
    if found.acknowledged_at is not None:
        raise Refused(f"Alarm {alarm_id} was acknowledged by {found.acknowledged_by} already.")
    ended_at = at if found.returned_at is not None else None
    return _changed(found, {"acknowledged_at": at, "acknowledged_by": person, "ended_at": ended_at})


def alarm(alarm_id: int) -> AlarmRecord:
    """Return an alarm.

    Raises:
        NotFound: there is no such alarm.
    """
    found = _records(models.Alarm.select().where(models.Alarm.id == alarm_id))
    if not found:
        raise NotFound(f"There is no alarm {alarm_id}.")
    return found[0]


def active() -> list[AlarmRecord]:
    """Return the alarms that have not ended, oldest first."""
    table = models.Alarm
    return _records(table.select().where(table.ended_at.is_null()).order_by(table.id))


def history(limit: int = 100, after: int | None = None) -> list[AlarmRecord]:
    """Return alarms newest first, ended ones among them.

    Args:
        after: only alarms with a smaller id, to go on where a page ended.
    """
    table = models.Alarm
    query = table.select().order_by(table.id.desc()).limit(limit)
    return _records(query if after is None else query.where(table.id < after))


def _standing(cause: str) -> AlarmRecord | None:
    table = models.Alarm
    found = _records(table.select().where(table.cause == cause, table.ended_at.is_null()))
    return found[0] if found else None


def _changed(before: AlarmRecord, changes: dict[str, object]) -> AlarmRecord:
    differing = {name: value for name, value in changes.items() if getattr(before, name) != value}
    if not differing:
        return before
    models.Alarm.update(differing).where(models.Alarm.id == before.id).execute()
    return alarm(before.id)


def _records(query: peewee.ModelSelect[Any]) -> list[AlarmRecord]:
    return [AlarmRecord(**row) for row in models.dicts(query)]
