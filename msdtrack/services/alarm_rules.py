"""Raises alarms, returns them to normal, and takes note of who acknowledged them.

Nothing is kept between two looks but the alarms themselves: looking twice, late, or from another
server on the same database changes nothing more.

Source: the states are those of ISA-18.2 / IEC 62682 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from msdtrack.errors import BadInput, FieldError
from msdtrack.services import (
    alarm_causes,
    board_causes,
    board_glances,
    refused_loads,
    standings,
    storage_causes,
)
from msdtrack.services.alarm_candidates import watched_and_resting
from msdtrack.services.alarm_causes import Cause, clock_cause
from msdtrack.services.catalog import places
from msdtrack.services.people import person_code
from msdtrack.services.policies import policies
from msdtrack.store import alarm_lists, alarms, reading_log
from msdtrack.store.connection import read, write
from msdtrack.store.reading_log import Reading
from msdtrack.store.records import AlarmRecord, AlarmStep
from msdtrack.times import duration_text

PRIORITIES = ("high", "medium", "low")

STALE_AFTER_S = 24 * 3600
FLOOD_S = 10 * 60
FLOOD_ABOVE = 10

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
    # Not inside read(): there they could not be brought up to date.
    now = standings.answering(now).at
    with read():
        active = {alarm.cause: alarm for alarm in alarms.active()}
        standing = {key for key, alarm in active.items() if alarm.returned_at is None}
        causes = _causes(active, standing, now, clock_moved_s)
    back = [alarm for alarm in active.values() if (alarm.shelved_until or now + 1) <= now]
    raised = [cause for cause in causes.values() if not _is_raised(cause, active)]
    returned = [key for key in standing - causes.keys() if active[key].kind in alarm_causes.KINDS]
    if not raised and not returned and not back:
        return 0
    changes = 0
    with write():
        for cause in raised:
            changes += _raise(cause, now)
        for key in sorted(returned):
            changes += alarms.return_to_normal(key, now) is not None
        # Last, so that what is normal by now ends instead of calling for somebody.
        for alarm in back:
            changes += _back_from_shelf(alarm, now)
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
    """Return the alarms that have not ended and are not shelved: what nobody acknowledged first,
    then by priority, oldest first."""
    return sorted(
        (alarm for alarm in alarms.active() if alarm.state != "shelved"),
        key=lambda alarm: (
            alarm.acknowledged_at is not None,
            PRIORITIES.index(alarm.priority),
            alarm.id,
        ),
    )


def most_pressing_alarms(
    limit: int, place: str | None = None
) -> tuple[list[AlarmRecord], int, int]:
    """Return so many of the same alarms in the same order, how many there are in all, and how many
    of them nobody has acknowledged.

    Args:
        place: only those about this place or about a carrier watched there; None is all.
    """
    with read():
        return alarm_lists.most_pressing(PRIORITIES, limit, place)


def shelved_alarms() -> list[AlarmRecord]:
    """Return the shelved alarms; what comes back first comes first."""
    found = [alarm for alarm in alarms.active() if alarm.state == "shelved"]
    return sorted(found, key=lambda alarm: (alarm.shelved_until or 0, alarm.id))


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
        Refused: somebody else acknowledged it before, or it is shelved.
    """
    with write():
        alarm = alarms.alarm(alarm_id)
        who = person_code(person, now)
        if alarm.acknowledged_by == who:
            return alarm
        return alarms.acknowledge(alarm_id, who, now)


def shelve(alarm_id: int, person: str, reason: str, until: int, now: int) -> AlarmRecord:
    """Put an alarm aside for a while; it comes back by itself.

    Only the alarm is put aside: what it is about stays as it is, and stays refused where it is.

    Args:
        alarm_id: the alarm.
        person: badge code or name.
        reason: why.
        until: when it comes back.
        now: the present moment.

    Raises:
        NotFound: there is no such alarm.
        BadInput: nobody or no reason is named, or the time is none the site allows.
        Refused: it has ended or is shelved already.
    """
    most_h = policies(now)["shelve_most_h"]
    errors = []
    if not reason.strip():
        errors.append(FieldError("reason", "say why, for those who read the log later"))
    if not now < until <= now + most_h * 3600:
        errors.append(FieldError("until", f"an alarm is shelved for {most_h:g} h at most"))
    with write():
        alarm = alarms.alarm(alarm_id)
        if errors:
            listed = "; ".join(f"{error.field}: {error.message}" for error in errors)
            raise BadInput(f"{listed}.", errors)
        return alarms.shelve(alarm.id, person_code(person, now), reason.strip(), until, now)


def unshelve(alarm_id: int, person: str, now: int) -> AlarmRecord:
    """Take an alarm off the shelf before its time; if its cause stands, it is unacknowledged.

    Args:
        alarm_id: the alarm.
        person: badge code or name.
        now: the present moment.

    Raises:
        NotFound: there is no such alarm.
        BadInput: nobody is named, or nobody has the badge.
        Refused: it is not shelved.
    """
    with write():
        return alarms.unshelve(alarm_id, person_code(person, now), now)


def alarm_steps(shown: Iterable[AlarmRecord]) -> dict[int, list[AlarmStep]]:
    """Return what was done with alarms, by id, oldest first."""
    return alarms.steps(alarm.id for alarm in shown)


def is_stale(alarm: AlarmRecord, now: int) -> bool:
    """Return whether an alarm has stood for so long that it says nothing new any more.

    Source: ISA-18.2 / IEC 62682, stale alarms, 24 h (from memory).
    """
    stands = alarm.state in ("unacknowledged", "acknowledged")
    return stands and now - alarm.active_since >= STALE_AFTER_S


def flood(now: int) -> int:
    """Return how many alarms came in the last ten minutes if that is a flood, else 0.

    Source: ISA-18.2 / IEC 62682, alarm floods, more than 10 in 10 minutes (from memory).
    """
    came = alarms.newly_active(now - FLOOD_S)
    return came if came > FLOOD_ABOVE else 0


def _causes(
    active: Mapping[str, AlarmRecord], standing: set[str], now: int, clock_moved_s: int
) -> Mapping[str, Cause]:
    chosen = policies(now)
    boards = board_glances.unfinished(now)
    watched, resting = watched_and_resting(
        now, float(chosen["shelf_life_lead_d"]), boards.placements
    )
    components = [one for batch in boards.glances for one in batch.on_it]
    all_watched, everything = [*watched, *boards.glances], [*watched, *resting, *boards.glances]
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
        *board_causes.board_causes(boards.glances, chosen, standing),
        *alarm_causes.place_causes(
            everywhere, readings, [*watched, *components], chosen, standing, now
        ),
        *storage_causes.shelf_life_causes(everything, chosen),
        *storage_causes.bake_causes(all_watched, everywhere, chosen, now),
        *storage_causes.reset_causes(everything, now),
        *refused_loads.standing_causes(active.values(), now),
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


def _back_from_shelf(alarm: AlarmRecord, now: int) -> bool:
    """Take an alarm whose time is over off the shelf; return whether nobody else did before."""
    present = alarms.alarm(alarm.id)
    if present.shelved_until is None or present.shelved_until > now:
        return False
    alarms.unshelve(alarm.id, None, now)
    return True


def _is_raised(cause: Cause, active: Mapping[str, AlarmRecord]) -> bool:
    alarm = active.get(cause.key)
    return (
        alarm is not None
        and alarm.returned_at is None
        and (alarm.priority, alarm.message, alarm.place)
        == (cause.priority, cause.message, cause.place)
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
