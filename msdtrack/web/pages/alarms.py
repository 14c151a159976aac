"""The alarms: what is active, who takes care of it, and what has been."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import MsdtrackError
from msdtrack.services import alarm_rules, catalog
from msdtrack.services.catalog import Person
from msdtrack.store.records import AlarmRecord
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
    """

    alarm: AlarmRecord
    mark: Mark
    place: str
    by: str


@dataclass(frozen=True, slots=True)
class AlarmPage:
    """The alarms.

    Args:
        active: those that have not ended, what nobody acknowledged first.
        past: ended ones, newest first.
        after: id to go on from in the past, None at its end.
        people: who can acknowledge.
        person: who is at the browser, None if nobody said so lately.
    """

    active: tuple[AlarmRow, ...]
    past: tuple[AlarmRow, ...]
    after: int | None
    people: tuple[Person, ...]
    person: Person | None


@pages.get("/alarms")
def show() -> Response:
    """Answer the alarms."""
    asked = request.args.get("after", "")
    after = int(asked) if asked.isascii() and asked.isdecimal() else None
    history = alarm_rules.alarm_history(after, HISTORY_LENGTH + 1)
    shown = history[:HISTORY_LENGTH]
    places, people = place_names(), person_names()

    def row(alarm: AlarmRecord) -> AlarmRow:
        by = alarm.acknowledged_by
        return AlarmRow(
            alarm,
            alarm_mark(alarm),
            "" if alarm.place is None else places.get(alarm.place, alarm.place),
            "" if by is None else people.get(by, by),
        )

    return render_page(
        "alarms.html",
        AlarmPage(
            active=tuple(row(alarm) for alarm in alarm_rules.active_alarms()),
            past=tuple(row(alarm) for alarm in shown if alarm.ended_at is not None),
            after=shown[-1].id if len(history) > HISTORY_LENGTH else None,
            people=tuple(all_people()),
            person=who.present(),
        ),
    )


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
    person = who.present()
    if person is None:
        flash("Say who you are first: scan your badge or choose your name.", "soon")
    else:
        alarm_rules.acknowledge(alarm_id, person.code, site().now())
        who.remember(person)
        flash(f"Acknowledged by {person.name}.", "ok")
    return redirect(url_for("alarms.show"), 303)
