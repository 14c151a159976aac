"""The alarms: what is active, who takes care of it, what is put aside, and what has been."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.config import notice_urls
from msdtrack.errors import BadInput, MsdtrackError
from msdtrack.exposure.facts import HOUR_S
from msdtrack.services import alarm_causes, alarm_notices, alarm_rules, catalog, policies
from msdtrack.services.alarm_notices import NoticeTrouble
from msdtrack.services.catalog import Person
from msdtrack.store.records import AlarmRecord, AlarmStep, NoticeRecord
from msdtrack.times import local_text
from msdtrack.web import who
from msdtrack.web.forms import Form
from msdtrack.web.marks import Mark, alarm_mark
from msdtrack.web.names import all_people, person_names, place_names
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

HISTORY_LENGTH = 50

pages = Blueprint("alarms", __name__)


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
    def boards(self) -> str | None:
        """Return the code of the batch of boards it is about, None if it is about none."""
        return alarm_causes.boards_of(self.alarm.cause)


@dataclass(frozen=True, slots=True)
class AlarmPage:
    """The alarms.

    Args:
        active: those that have not ended and are not shelved, what nobody acknowledged first.
        shelved: those that are, what comes back first at the top.
        past: ended ones, newest first.
        after: id to go on from in the past, None at its end.
        people: who can acknowledge.
        person: who is at the browser, None if nobody said so lately.
        flood: how many alarms came in ten minutes if that is a flood, else 0.
        most_h: for how long an alarm may be shelved, hours.
        receivers: how many get notices.
        trouble: what of the notices has not gone out.
        open_id: the alarm whose form was just sent and is wrong, None if none is.
        values, errors: what stands in it, and what is wrong, by field.
    """

    active: tuple[AlarmRow, ...]
    shelved: tuple[AlarmRow, ...]
    past: tuple[AlarmRow, ...]
    after: int | None
    people: tuple[Person, ...]
    person: Person | None
    flood: int
    most_h: float
    receivers: int
    trouble: NoticeTrouble
    open_id: int | None = None
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@pages.get("/alarms")
def show() -> Response:
    """Answer the alarms."""
    return render_page("alarms.html", _page())


@pages.post("/alarms/who")
def say_who() -> AnyResponse:
    """Take note of who is at the browser, by badge or by name."""
    form = Form(request.form)
    badge, person = form.text("badge"), form.text("person")
    try:
        if badge:
            who.remember(who.from_badge(badge))
        elif person:
            who.remember(catalog.person(person))
        else:
            who.forget()
    except MsdtrackError as error:
        flash(error.message, "stop")
    return redirect(url_for("alarms.show"), 303)


@pages.post("/alarms/<int:alarm_id>/acknowledge")
def acknowledge(alarm_id: int) -> AnyResponse:
    """Acknowledge an alarm by name."""
    person = _present()
    if person is not None:
        alarm_rules.acknowledge(alarm_id, person.code, site().now())
        flash(f"Acknowledged by {person.name}.", "ok")
    return redirect(url_for("alarms.show"), 303)


@pages.post("/alarms/<int:alarm_id>/shelve")
def shelve(alarm_id: int) -> AnyResponse:
    """Put an alarm aside by name, for some hours, with a reason."""
    now, form = site().now(), Form(request.form)
    person = _present()
    if person is None:
        return redirect(url_for("alarms.show"), 303)
    most_h = policies.policies(now)["shelve_most_h"]
    reason = form.text("reason", required=True)
    hours = form.number("hours", required=True, least=1, most=float(most_h))
    try:
        form.check()
        until = now + round((hours or 0) * HOUR_S)
        alarm = alarm_rules.shelve(alarm_id, person.code, reason, until, now)
    except BadInput as error:
        form.take_over(error, {"until": "hours"})
        response = render_page("alarms.html", _page(alarm_id, form.values, form.errors))
        response.status_code = 422
        return response
    back = local_text(alarm.shelved_until or until, site().tz)
    flash(f"Shelved by {person.name}. It comes back by itself {back}.", "ok")
    return redirect(url_for("alarms.show"), 303)


@pages.post("/alarms/<int:alarm_id>/unshelve")
def unshelve(alarm_id: int) -> AnyResponse:
    """Take an alarm off the shelf by name."""
    person = _present()
    if person is not None:
        alarm = alarm_rules.unshelve(alarm_id, person.code, site().now())
        told = "its cause is gone, so it has ended" if alarm.ended_at else "it stands"
        flash(f"Taken off the shelf by {person.name}: {told}.", "ok")
    return redirect(url_for("alarms.show"), 303)


def _present() -> Person | None:
    """Return who is at the browser, remembered anew; else say that a name is needed."""
    person = who.present()
    if person is None:
        flash("Say who you are first: scan your badge or choose your name.", "soon")
    else:
        who.remember(person)
    return person


def _page(
    open_id: int | None = None,
    values: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> AlarmPage:
    now, asked = site().now(), request.args.get("after", "")
    after = int(asked) if asked.isascii() and asked.isdecimal() else None
    history = alarm_rules.alarm_history(after, HISTORY_LENGTH + 1)
    shown = history[:HISTORY_LENGTH]
    active, shelved = alarm_rules.active_alarms(), alarm_rules.shelved_alarms()
    rows = _rows([*active, *shelved, *shown], now)
    return AlarmPage(
        active=tuple(rows[alarm.id] for alarm in active),
        shelved=tuple(rows[alarm.id] for alarm in shelved),
        past=tuple(rows[alarm.id] for alarm in shown if alarm.ended_at is not None),
        after=shown[-1].id if len(history) > HISTORY_LENGTH else None,
        people=tuple(all_people()),
        person=who.present(),
        flood=alarm_rules.flood(now),
        most_h=float(policies.policies(now)["shelve_most_h"]),
        receivers=len(notice_urls(site().settings.notice_urls)),
        trouble=alarm_notices.trouble(active),
        open_id=open_id,
        values=values or {},
        errors=errors or {},
    )


def _rows(alarms: Sequence[AlarmRecord], now: int) -> dict[int, AlarmRow]:
    places, people = place_names(), person_names()
    steps, notices = alarm_rules.alarm_steps(alarms), alarm_notices.notices_of(alarms)
    return {
        alarm.id: AlarmRow(
            alarm,
            alarm_mark(alarm),
            "" if alarm.place is None else places.get(alarm.place, alarm.place),
            people.get(alarm.acknowledged_by or "", alarm.acknowledged_by or ""),
            people.get(alarm.shelved_by or "", alarm.shelved_by or ""),
            alarm_rules.is_stale(alarm, now),
            tuple(_step_text(step, people) for step in steps[alarm.id]),
            tuple(one for one in notices[alarm.id] if one.state in ("waiting", "failed", "unsure")),
        )
        for alarm in alarms
    }


def _step_text(step: AlarmStep, people: Mapping[str, str]) -> str:
    at = local_text(step.at, site().tz)
    by = people.get(step.person or "", step.person or "")
    if step.step == "acknowledged":
        return f"{at}: acknowledged by {by}"
    if step.step == "shelved":
        until = "" if step.until is None else f" until {local_text(step.until, site().tz)}"
        return f"{at}: shelved by {by}{until}: {step.reason}"
    if step.step == "unshelved":
        return f"{at}: taken off the shelf by {by}"
    return f"{at}: back from the shelf, its time was over"
