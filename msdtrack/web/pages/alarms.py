"""The alarms: what is active, who takes care of it, what is put aside, and what has been."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from flask import Blueprint, Response, flash, redirect, request
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.config import notice_urls
from msdtrack.errors import BadInput, MsdtrackError
from msdtrack.exposure.facts import HOUR_S
from msdtrack.printing.codes import BadCode, CodeKind, read_code
from msdtrack.services import (
    alarm_acknowledging,
    alarm_lists,
    alarm_notices,
    alarm_rules,
    catalog,
    policies,
)
from msdtrack.services.alarm_lists import AlarmGroup, AlarmsListed, AlarmSums, ListName
from msdtrack.services.alarm_notices import NoticeTrouble
from msdtrack.services.people import Person
from msdtrack.times import local_text
from msdtrack.web import who
from msdtrack.web.alarm_address import NO_PLACE, AlarmAddress, asked_for
from msdtrack.web.alarm_rows import KINDS, AlarmRow, alarm_rows
from msdtrack.web.alarm_together import Together, left_text, seen_in, together
from msdtrack.web.forms import Form
from msdtrack.web.names import all_people, person_names, place_names
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

PAGE_LENGTH = 50
SHELF_LENGTH = 20

pages = Blueprint("alarms", __name__)


@dataclass(frozen=True, slots=True)
class AlarmPart:
    """A page of one list.

    Args:
        rows: its alarms.
        count: how many the whole list holds.
        first: the number of the first of these in it, 1 being the top.
        first_url, previous_url, next_url: where its other pages are, "" if there is none.
    """

    rows: tuple[AlarmRow, ...]
    count: int
    first: int
    first_url: str
    previous_url: str
    next_url: str


@dataclass(frozen=True, slots=True)
class AlarmChoice:
    """What the active alarms can be narrowed to.

    Args:
        name: what they have in common, in words.
        url: where only they are; where all are again if they are chosen.
        chosen: whether only they are shown.
        group: how many they are, None if there is none left.
    """

    name: str
    url: str
    chosen: bool
    group: AlarmGroup | None


@dataclass(frozen=True, slots=True)
class AlarmPage:
    """The alarms.

    Args:
        address: what is looked for.
        sums: how many active ones there are of that.
        kinds, places: what they can be narrowed to, the worst first.
        active: those that have not ended and are not shelved, what nobody acknowledged first.
        together: what of this page of them can be acknowledged together, None if no two can.
        shelved: those that are, what comes back first at the top.
        ended: ended ones, newest first.
        people: who can acknowledge.
        person: who is at the browser, None if nobody said so lately.
        flood: how many alarms came in ten minutes if that is a flood, else 0.
        most_h: for how long an alarm may be shelved, hours.
        receivers: how many get notices.
        trouble: what of the notices has not gone out.
        open_id: the alarm whose form was just sent and is wrong, None if none is.
        values, errors: what stands in it, and what is wrong, by field.
    """

    address: AlarmAddress
    sums: AlarmSums
    kinds: tuple[AlarmChoice, ...]
    places: tuple[AlarmChoice, ...]
    active: AlarmPart
    together: Together | None
    shelved: AlarmPart
    ended: AlarmPart
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
    """Answer the alarms; 304 to whoever has the page as it would be made now."""
    response = render_page("alarms.html", _page())
    response.add_etag()
    response.make_conditional(request)
    return response


@pages.post("/alarms/find")
def find() -> AnyResponse:
    """Show the alarms of what was scanned, or those with the words that were typed.

    A badge says who is at the browser, as scanners send it to the field that has the focus.
    """
    text, asked = Form(request.form).text("find"), asked_for()
    try:
        code = read_code(text)
    except BadCode:
        return redirect(asked.looking_for(find=text).url(), 303)
    try:
        if code.kind is CodeKind.PERSON:
            who.remember(who.from_badge(code.text))
        elif code.kind is CodeKind.PLACE:
            asked = AlarmAddress(place=catalog.place(code.text).code)
        elif code.kind in (CodeKind.CARRIER, CodeKind.JOB):
            asked = AlarmAddress(find=code.text)
        else:
            message = f"{code.text} is the code of a {code.kind.word}: scan a carrier, boards, a "
            flash(f"{message}place or a badge.", "stop")
    except MsdtrackError as error:
        flash(error.message, "stop")
    return redirect(asked.url(), 303)


@pages.post("/alarms/who")
def say_who() -> AnyResponse:
    """Take note of who is at the browser, by badge or by name."""
    try:
        who.say(Form(request.form))
    except MsdtrackError as error:
        flash(error.message, "stop")
    return redirect(asked_for().url(), 303)


@pages.post("/alarms/acknowledge")
def acknowledge() -> AnyResponse:
    """Acknowledge by name alarms that a page showed, but for those that changed since."""
    person = _present()
    if person is None:
        return redirect(asked_for().url(), 303)
    try:
        seen = seen_in(request.form.getlist("seen"))
    except BadInput as error:
        flash(error.message, "stop")
        return redirect(asked_for().url(), 303)
    found = alarm_acknowledging.acknowledge_seen(seen, person.code, site().now())
    done = len(found.alarms)
    if done:
        told = f"{done} alarm{'s' * (done > 1)} acknowledged" if len(seen) > 1 else "Acknowledged"
        flash(f"{told} by {person.name}.", "ok")
    else:
        flash("Nothing was acknowledged.", "soon")
    if found.left:
        flash(left_text(found.left, person_names()), "soon")
    return redirect(asked_for().url(), 303)


@pages.post("/alarms/<int:alarm_id>/shelve")
def shelve(alarm_id: int) -> AnyResponse:
    """Put an alarm aside by name, for some hours, with a reason."""
    now, form = site().now(), Form(request.form)
    person = _present()
    if person is None:
        return redirect(asked_for().url(), 303)
    most_h = policies.policies(now)["shelve_most_h"]
    reason = form.text("reason", required=True)
    hours = form.number("hours", required=True, least=1, most=float(most_h))
    try:
        form.check()
        until = now + round((hours or 0) * HOUR_S)
        alarm = alarm_rules.shelve(alarm_id, person.code, reason, until, now)
    except BadInput as error:
        form.take_over(error, {"until": "hours"})
        page = _page(alarm_id, form.values, form.errors)
        if all(row.alarm.id != alarm_id for row in page.active.rows):
            flash(f"Alarm {alarm_id} was not shelved. {error.message}", "stop")
        response = render_page("alarms.html", page)
        response.status_code = 422
        return response
    back = local_text(alarm.shelved_until or until, site().tz)
    flash(f"Shelved by {person.name}. It comes back by itself {back}.", "ok")
    return redirect(asked_for().url(), 303)


@pages.post("/alarms/<int:alarm_id>/unshelve")
def unshelve(alarm_id: int) -> AnyResponse:
    """Take an alarm off the shelf by name."""
    person = _present()
    if person is not None:
        alarm = alarm_rules.unshelve(alarm_id, person.code, site().now())
        told = "its cause is gone, so it has ended" if alarm.ended_at else "it stands"
        flash(f"Taken off the shelf by {person.name}: {told}.", "ok")
    return redirect(asked_for().url(), 303)


def _present() -> Person | None:
    """Return who is at the browser; else say that a name is needed. A button that was made for
    somebody else does nothing."""
    person = who.present()
    shown = request.form.get("by")
    if person is None:
        flash("Say who you are first: scan your badge or choose your name.", "soon")
    elif shown is not None and shown != person.code:
        flash(f"{person.name} is at work here now, so nothing was done. Press again.", "soon")
        return None
    return person


def _page(
    open_id: int | None = None,
    values: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> AlarmPage:
    now, address = site().now(), asked_for()
    lengths: dict[ListName, int] = {
        "active": PAGE_LENGTH,
        "shelved": SHELF_LENGTH,
        "ended": PAGE_LENGTH,
    }
    lists = {
        name: alarm_lists.listed(name, address.narrowed, length, address.after(name))
        for name, length in lengths.items()
    }
    places, people = place_names(), tuple(all_people())
    alarms = [alarm for each in lists.values() for alarm in each.alarms]
    rows = alarm_rows(alarms, now, places, person_names())
    parts = {name: _part(address, name, each, rows) for name, each in lists.items()}
    sums = alarm_lists.sums(address.narrowed)
    return AlarmPage(
        address=address,
        sums=sums,
        kinds=_kinds(address, sums.kinds),
        places=_places(address, sums.places, places),
        active=parts["active"],
        together=together(parts["active"].rows),
        shelved=parts["shelved"],
        ended=parts["ended"],
        people=people,
        person=who.present(),
        flood=alarm_rules.flood(now),
        most_h=float(policies.policies(now)["shelve_most_h"]),
        receivers=len(notice_urls(site().settings.notice_urls)),
        trouble=alarm_notices.trouble(),
        open_id=open_id,
        values=values or {},
        errors=errors or {},
    )


def _part(
    address: AlarmAddress, name: ListName, listed: AlarmsListed, rows: Mapping[int, AlarmRow]
) -> AlarmPart:
    # The active ones are at the top, where the field for the scanner has the focus.
    anchor = {} if name == "active" else {"_anchor": name}
    begin = address.going_on(name, None).url(**anchor)
    back = address.going_on(name, listed.previous).url(**anchor)
    further = address.going_on(name, listed.next).url(**anchor)
    begun = address.after(name) is not None
    return AlarmPart(
        rows=tuple(rows[alarm.id] for alarm in listed.alarms),
        count=listed.count,
        first=listed.before + 1,
        first_url=begin if begun else "",
        previous_url=back if begun and listed.before else "",
        next_url="" if listed.next is None else further,
    )


def _kinds(address: AlarmAddress, groups: Sequence[AlarmGroup]) -> tuple[AlarmChoice, ...]:
    found = {group.key or "": group for group in groups}
    return tuple(
        AlarmChoice(
            KINDS.get(kind, kind),
            address.looking_for(kind="" if kind == address.kind else kind).url(),
            kind == address.kind,
            found.get(kind),
        )
        for kind in _with_chosen(found, address.kind)
    )


def _places(
    address: AlarmAddress, groups: Sequence[AlarmGroup], names: Mapping[str, str]
) -> tuple[AlarmChoice, ...]:
    found = {group.key or NO_PLACE: group for group in groups}
    return tuple(
        AlarmChoice(
            "No place" if place == NO_PLACE else names.get(place, place),
            address.looking_for(place="" if place == address.place else place).url(),
            place == address.place,
            found.get(place),
        )
        for place in _with_chosen(found, address.place)
    )


def _with_chosen(found: Mapping[str, AlarmGroup], chosen: str) -> list[str]:
    """Return what can be chosen, with what is chosen although none of it is left."""
    return [*found] if not chosen or chosen in found else [chosen, *found]
