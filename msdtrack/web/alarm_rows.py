"""Alarms as rows of a page, and their kinds in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from msdtrack.services import alarm_causes, alarm_notices, alarm_rules
from msdtrack.services.people import PersonNames
from msdtrack.store.records import AlarmRecord, AlarmStep, NoticeRecord
from msdtrack.times import local_text
from msdtrack.web.marks import Mark, alarm_mark
from msdtrack.web.site import site

KINDS: Mapping[str, str] = {
    alarm_causes.FLOOR_LIFE_EXPIRED: "Floor life over",
    alarm_causes.FLOOR_LIFE_LOW: "Floor life runs out",
    alarm_causes.BAG_OPEN: "Bag open too long",
    alarm_causes.AIR_BEYOND: "Air beyond limits",
    alarm_causes.READINGS_MISSING: "No readings",
    alarm_causes.CLOCK_JUMPED: "Clock jumped",
    alarm_causes.SHELF_LIFE_LOW: "Shelf life runs out",
    alarm_causes.SHELF_LIFE_OVER: "Shelf life over",
    alarm_causes.BAKE_DONE: "Bake done",
    alarm_causes.BAKE_OVERDUE: "Bake overdue",
    alarm_causes.RESET_REACHED: "Dried in dry storage",
    alarm_causes.LOAD_REFUSED: "Refused at the line",
}
"""The kinds of alarm in words."""


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """One alarm.

    Args:
        alarm: the alarm.
        mark: its mark with the word of its state.
        place: name of its place, "" if it has none.
        by: name of who acknowledged it, "" if nobody did.
        shelved_by: name of who shelved it, "" if it is not shelved.
        stale: it has stood for a day and says nothing new.
        steps: what was done with it, in words.
        unsent: notices of it that have not gone out as they should.
    """

    alarm: AlarmRecord
    mark: Mark
    place: str
    by: str
    shelved_by: str
    stale: bool
    steps: tuple[str, ...]
    unsent: tuple[NoticeRecord, ...]

    @property
    def seen(self) -> str:
        """Return the alarm as it is shown, for a form that acknowledges it."""
        alarm = self.alarm
        return f"{alarm.id}-{alarm.times}-{alarm.priority}-{alarm.state}"

    @property
    def boards(self) -> str | None:
        """Return the code of the batch of boards it is about, None if it is about none."""
        return alarm_causes.boards_of(self.alarm.cause)


def alarm_rows(
    alarms: Sequence[AlarmRecord], now: int, places: Mapping[str, str], people: PersonNames
) -> dict[int, AlarmRow]:
    """Return the rows of alarms, by id.

    Args:
        alarms: the alarms.
        now: the present moment.
        places, people: names by code, of people as they signed.
    """
    steps, notices = alarm_rules.alarm_steps(alarms), alarm_notices.notices_of(alarms)
    return {
        alarm.id: AlarmRow(
            alarm,
            alarm_mark(alarm),
            "" if alarm.place is None else places.get(alarm.place, alarm.place),
            people.signed(alarm.acknowledged_by, alarm.acknowledged_at),
            people.signed(alarm.shelved_by, alarm.shelved_at),
            alarm_rules.is_stale(alarm, now),
            tuple(_step_text(step, people) for step in steps[alarm.id]),
            tuple(one for one in notices[alarm.id] if one.state in ("waiting", "failed", "unsure")),
        )
        for alarm in alarms
    }


def _step_text(step: AlarmStep, people: PersonNames) -> str:
    at = local_text(step.at, site().tz)
    by = people.signed(step.person, step.at)
    if step.step == "acknowledged":
        return f"{at}: acknowledged by {by}"
    if step.step == "shelved":
        until = "" if step.until is None else f" until {local_text(step.until, site().tz)}"
        return f"{at}: shelved by {by}{until}: {step.reason}"
    if step.step == "unshelved":
        return f"{at}: taken off the shelf by {by}"
    return f"{at}: back from the shelf, its time was over"
