"""Acknowledging together what somebody has before him, so that a flood is answered page by page.

Source: acknowledging the alarms of a page at once, and those only, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from msdtrack.services.people import person_code
from msdtrack.store import alarms
from msdtrack.store.connection import write
from msdtrack.store.records import AlarmRecord

Change = Literal[
    "acknowledged", "ended", "shelved", "came_again", "returned_to_normal", "priority_changed"
]
"""What has become of an alarm since somebody saw it, and why it is left alone."""


@dataclass(frozen=True, slots=True)
class SeenAlarm:
    """An unacknowledged alarm as somebody saw it.

    Its message is not compared: it follows the air from reading to reading, and says the same.

    Args:
        id: the alarm.
        state: unacknowledged or returned_to_normal.
        priority: high, medium or low.
        times: how often its cause had come.
    """

    id: int
    state: str
    priority: str
    times: int


@dataclass(frozen=True, slots=True)
class LeftAlarm:
    """An alarm that was left as it is.

    Args:
        alarm: as it is now.
        change: what differs from what was seen.
    """

    alarm: AlarmRecord
    change: Change


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """What came of acknowledging alarms together, each list in the order they were seen.

    Args:
        alarms: those that the person has acknowledged, now or a moment ago.
        left: those that changed meanwhile.
    """

    alarms: tuple[AlarmRecord, ...]
    left: tuple[LeftAlarm, ...]


def acknowledge_seen(seen: Iterable[SeenAlarm], person: str, now: int) -> Acknowledged:
    """Note who takes care of alarms, in one transaction; what changed since it was seen is left.

    Doing it twice is doing it once.

    Args:
        seen: the alarms as the person saw them.
        person: badge code or name.
        now: the present moment.

    Raises:
        NotFound: one of them does not exist; none is acknowledged.
        BadInput: nobody is named, or nobody has the badge.
    """
    done, left = list[AlarmRecord](), list[LeftAlarm]()
    with write():
        who = person_code(person, now)
        for each in {one.id: one for one in seen}.values():
            alarm = alarms.alarm(each.id)
            if alarm.acknowledged_by == who:
                done.append(alarm)
            elif (change := _change(each, alarm)) is not None:
                left.append(LeftAlarm(alarm, change))
            else:
                done.append(alarms.acknowledge(alarm.id, who, now))
    return Acknowledged(tuple(done), tuple(left))


def _change(seen: SeenAlarm, alarm: AlarmRecord) -> Change | None:
    if alarm.acknowledged_at is not None:
        return "acknowledged"
    if alarm.state == "ended" or alarm.state == "shelved":
        return alarm.state
    if alarm.times != seen.times:
        return "came_again"
    if alarm.priority != seen.priority:
        return "priority_changed"
    if alarm.state != seen.state:
        return "returned_to_normal"
    return None
