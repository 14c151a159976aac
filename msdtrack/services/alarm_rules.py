"""Raises alarms, returns them to normal, and takes note of who acknowledged them.

Nothing is kept between two looks but the alarms themselves: looking twice, late, or from another
server on the same database changes nothing more.

Source: the states are those of ISA-18.2 / IEC 62682 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping

from msdtrack.services import alarm_causes, carrier_states
from msdtrack.services.alarm_causes import Cause, clock_cause
from msdtrack.services.catalog import person_code, places
from msdtrack.services.policies import policies
from msdtrack.store import alarms, reading_log
from msdtrack.store.connection import read, write
from msdtrack.store.reading_log import Reading
from msdtrack.store.records import AlarmRecord
from msdtrack.times import duration_text

PRIORITIES = ("high", "medium", "low")

_ALL_PLACES = 100_000


def evaluate(now: int, clock_moved_s: int = 0) -> int:
    """Look which causes stand, raise their alarms and return the others to normal.

    Args:
        now: the present moment.
        clock_moved_s: by how much the server's clock has jumped since the last look, seconds;
            0: it has not.

    Returns:
        How many alarms were raised or returned to normal.
    """
    with read():
        active = {alarm.cause: alarm for alarm in alarms.active()}
        standing = {key for key, alarm in active.items() if alarm.returned_at is None}
        causes = _causes(standing, now, clock_moved_s)
    raised = [cause for cause in causes.values() if not _is_raised(cause, active)]
    returned = [key for key in standing - causes.keys() if active[key].kind in alarm_causes.KINDS]
    if not raised and not returned:
        return 0
    changes = 0
    with write():
        for cause in raised:
            changes += _raise(cause, now)
        for key in sorted(returned):
            changes += alarms.return_to_normal(key, now) is not None
    return changes


def report_clock_jump(now: int, clock_moved_s: int) -> None:
    """Raise the alarm for a clock that jumped without looking for anything else.

    Args:
        now: the present moment.
        clock_moved_s: by how much it jumped, seconds; above 0 is forward.
    """
    with write():
        _raise(clock_cause(clock_moved_s, duration_text(clock_moved_s)), now)


def active_alarms() -> list[AlarmRecord]:
    """Return the alarms that have not ended: what nobody acknowledged first, then by priority,
    oldest first."""
    return sorted(
        alarms.active(),
        key=lambda alarm: (
            alarm.acknowledged_at is not None,
            PRIORITIES.index(alarm.priority),
            alarm.id,
        ),
    )


def alarm_history(after: int | None = None, limit: int = 100) -> list[AlarmRecord]:
    """Return alarms newest first, ended ones among them; those with an id below `after` only."""
    return alarms.history(limit, after)


def acknowledge(alarm_id: int, person: str, now: int) -> AlarmRecord:
    """Note who takes care of an alarm. Doing it twice is doing it once.

    Args:
        alarm_id: the alarm.
        person: badge code or name.
        now: the present moment.

    Raises:
        NotFound: there is no such alarm.
        BadInput: nobody is named, or nobody has the badge.
        Refused: somebody else acknowledged it before.
    """
    with write():
        alarm = alarms.alarm(alarm_id)
        who = person_code(person, now)
        if alarm.acknowledged_by == who:
            return alarm
        return alarms.acknowledge(alarm_id, who, now)


def _causes(standing: set[str], now: int, clock_moved_s: int) -> Mapping[str, Cause]:
    chosen = policies(now)
    watched = carrier_states.watch(now)
    everywhere = places(limit=_ALL_PLACES)
    by_kind = {
        kind: {place.code for place in everywhere if place.kind == kind}
        for kind in ("line", "cabinet")
    }
    readings = _newest_readings(now - alarm_causes.reach_s(chosen))
    found = [
        *alarm_causes.carrier_causes(
            watched, chosen, by_kind["line"], by_kind["cabinet"], standing
        ),
        *alarm_causes.place_causes(everywhere, readings, watched, chosen, standing, now),
    ]
    if clock_moved_s:
        found.append(clock_cause(clock_moved_s, duration_text(clock_moved_s)))
    return {cause.key: cause for cause in found}


def _newest_readings(start: int) -> dict[str, list[Reading]]:
    """Return the readings of each place since `start`, at least the newest one."""
    return {
        place: reading_log.readings(place, start)
        if newest.at >= start
        else [(newest.at, newest.temp_c100, newest.rh_c100)]
        for place, newest in reading_log.newest().items()
    }


def _is_raised(cause: Cause, active: Mapping[str, AlarmRecord]) -> bool:
    alarm = active.get(cause.key)
    return (
        alarm is not None
        and alarm.returned_at is None
        and (alarm.priority, alarm.message) == (cause.priority, cause.message)
    )


def _raise(cause: Cause, now: int) -> bool:
    """Raise the alarm of a cause; return whether it is new or active again."""
    _, new = alarms.raise_alarm(
        cause.key,
        cause.kind,
        cause.priority,
        cause.message,
        now,
        carrier=cause.carrier,
        place=cause.place,
    )
    return new
