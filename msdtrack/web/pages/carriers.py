"""The carriers: the list, and one carrier with its verdict, its working and its log."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import MsdtrackError
from msdtrack.exposure.events import Kind
from msdtrack.exposure.facts import CarrierFacts
from msdtrack.exposure.state import CarrierState
from msdtrack.exposure.working import Working
from msdtrack.services import carrier_states, event_recording, quality_holds, whereabouts
from msdtrack.services.catalog import Place
from msdtrack.services.countdowns import next_step_text
from msdtrack.services.event_recording import LogLine
from msdtrack.services.labelling import LabelLayout
from msdtrack.services.people import Person, PersonNames
from msdtrack.services.quality_holds import QualityHold
from msdtrack.standard.drypack import DESICCANT_REUSE_MIN, RESEAL_WITHIN_MIN
from msdtrack.times import local_to_utc
from msdtrack.web import who
from msdtrack.web.charts import Chart, share_chart
from msdtrack.web.errors import status_of
from msdtrack.web.forms import Form
from msdtrack.web.label_choice import carrier_layouts
from msdtrack.web.marks import Mark, mark_of
from msdtrack.web.names import all_people, all_places, person_names, place_names
from msdtrack.web.rendering import form_moment, render_page
from msdtrack.web.rows import Row, row_of, rows_of
from msdtrack.web.site import site
from msdtrack.web.wording import (
    STATUSES,
    UNKNOWNS,
    act_text,
    assumed_air_text,
    reason_text,
)
from msdtrack.web.working_rows import WorkingLine, working_lines

PAGE_LENGTH = 50

pages = Blueprint("carriers", __name__)


@dataclass(frozen=True, slots=True)
class CarrierList:
    """A page of the list of carriers.

    Args:
        rows: the carriers, by code.
        after: code to go on from, None on the last page.
        search: words searched for in code, part and lot.
        place: code of the place it is limited to, or "".
        gone: whether those that are gone are listed, too.
        places: the places to choose from.
    """

    rows: tuple[Row, ...]
    after: str | None
    search: str
    place: str
    gone: bool
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One line of the log.

    Args:
        line: the entry with its corrections.
        text: what it said when it was recorded.
        now_says: what it says now, if a correction changed that; "" if it did not.
        who: name of the person, or of the station.
        correctable: whether it can be corrected, or a correction taken back.
    """

    line: LogLine
    text: str
    now_says: str
    who: str
    correctable: bool


@dataclass(frozen=True, slots=True)
class QualityPart:
    """What quality holds the carrier for, and how that ends.

    Args:
        hold: what stands.
        names: of the people who put it on hold, by code.
        url: where it is released.
        people: who can release it.
        request_id: id of the release.
        values, errors: what stands in the form, and what is wrong with it.
    """

    hold: QualityHold
    names: PersonNames
    url: str
    people: tuple[Person, ...]
    request_id: str
    values: Mapping[str, str]
    errors: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class CarrierPage:
    """All about one carrier, as of a moment.

    Args:
        facts: as received.
        state: as of `state.at`.
        mark: its mark.
        row: its time left and countdowns, as on the lists.
        status: where it is, in words.
        place: name of its place, "" if not known.
        next_step: what to do.
        reasons: why it must not be used, in sentences.
        unknowns: what is not known, in sentences.
        air: the air that the time left assumes.
        quality: what quality can release it from, None for nothing, or another moment than now.
        working: lines since the last reset.
        before_reset: lines before it.
        working_share: sum of the lines, which is the used share.
        chart: used share over time.
        log: the log, newest first.
        layouts: label layouts for carriers.
        as_of: the moment asked for as the form shows it, "" for now.
        known_at: what had been received by then, as the form shows it, "" for everything.
        desiccant_min, reseal_min: limits of the open bag, minutes.
    """

    facts: CarrierFacts
    state: CarrierState
    mark: Mark
    row: Row
    status: str
    place: str
    next_step: str
    reasons: tuple[str, ...]
    unknowns: tuple[str, ...]
    air: str
    quality: QualityPart | None
    working: tuple[WorkingLine, ...]
    before_reset: tuple[WorkingLine, ...]
    working_share: Fraction
    chart: Chart | None
    log: tuple[LogEntry, ...]
    layouts: tuple[LabelLayout, ...]
    as_of: str
    known_at: str
    desiccant_min: int = DESICCANT_REUSE_MIN
    reseal_min: int = RESEAL_WITHIN_MIN


@pages.get("/carriers")
def list_all() -> Response:
    """Answer a page of carriers, found by words and place, with those that are gone or without."""
    search = request.args.get("search", "").strip()
    place, gone = request.args.get("place", ""), bool(request.args.get("gone"))
    find = whereabouts.ever if gone else whereabouts.present
    listed, after = find(
        site().now(),
        request.args.get("after") or None,
        PAGE_LENGTH,
        place=place or None,
        search=search or None,
    )
    places = tuple(all_places())
    return render_page(
        "carriers.html",
        CarrierList(
            rows=rows_of(listed, {each.code: each.name for each in places}),
            after=after,
            search=search,
            place=place,
            gone=gone,
            places=places,
        ),
    )


@pages.get("/carriers/<code>")
def show(code: str) -> Response:
    """Answer one carrier, as of `at` and as known at `known_at` if they are given."""
    return _page(code.upper(), _asked("at"), _asked("known_at"))


@pages.post("/carriers/<code>/release")
def release(code: str) -> AnyResponse:
    """End what quality holds the carrier for, by name and with a reason."""
    code, form = code.upper(), Form(request.form)
    person, reason = form.text("person", required=True), form.text("reason", required=True)
    request_id = form.request_id()
    try:
        form.check()
        quality_holds.release(code, request_id, person, reason, site().now())
    except MsdtrackError as error:
        form.take_over(error)
        page = _page(code, form=form)
        page.status_code = status_of(error)
        return page
    who.signed(person)
    flash("Released: quality holds it no longer.", "ok")
    return redirect(url_for("carriers.show", code=code), 303)


def _page(
    code: str, at: int | None = None, known_at: int | None = None, form: Form | None = None
) -> Response:
    now = site().now()
    state, working = carrier_states.state_and_working(code, now, at, known_at)
    names, people = place_names(), person_names()
    since = working_lines(working.lines, names)
    before = working_lines(working.before_reset, names)
    place = state.ledger.place
    quality = _quality(state, people, form) if at is None and known_at is None else None
    if form is not None and quality is None:
        flash(form.errors.get("", "Nothing was released."), "stop")
    return render_page(
        "carrier.html",
        CarrierPage(
            facts=state.facts,
            state=state,
            mark=mark_of(state),
            row=row_of(state, names),
            status=STATUSES[state.status],
            place="" if place is None else names.get(place, place),
            next_step=next_step_text(state, site().tz),
            reasons=tuple(reason_text(reason) for reason in state.reasons),
            unknowns=tuple(UNKNOWNS.get(each, each) for each in state.unknowns),
            air=assumed_air_text(state),
            quality=quality,
            working=since,
            before_reset=before,
            working_share=working.used_share,
            chart=_chart(working),
            log=_log(state.facts.code, names, people),
            layouts=carrier_layouts(),
            as_of="" if at is None else form_moment(at),
            known_at="" if known_at is None else form_moment(known_at),
        ),
    )


def _quality(state: CarrierState, names: PersonNames, form: Form | None) -> QualityPart | None:
    hold = quality_holds.hold_of(state)
    if hold is None:
        return None
    if hold.batch is not None:
        url = url_for("boards.show", code=hold.batch, _anchor="quality")
    elif hold.check is not None:
        url = url_for("checks.show", number=hold.check, _anchor="release")
    else:
        url = "#quality"
    values = {"person": who.present_code() or ""}
    return QualityPart(
        hold,
        names,
        url,
        tuple(all_people()),
        str(uuid.uuid4()),
        values if form is None else form.values,
        {} if form is None else form.errors,
    )


def _asked(name: str) -> int | None:
    text = request.args.get(name, "").strip()
    return local_to_utc(text, site().tz) if text else None


def _chart(working: Working) -> Chart | None:
    """The curve since the last reset; the one before it while nothing has happened since."""
    return share_chart(working.lines or working.before_reset, site().tz)


def _log(code: str, names: dict[str, str], people: PersonNames) -> tuple[LogEntry, ...]:
    entries = []
    for line in event_recording.log_of(code):
        event = line.event
        said = act_text(event, names)
        correction = event.kind is Kind.CORRECT
        changed = line.stands is not None and line.corrections and not correction
        says = act_text(line.stands, names) if changed and line.stands is not None else ""
        if event.person is not None:
            by = people.signed(event.person, event.recorded_at)
        else:
            by = "" if event.station is None else f"station {event.station}"
        taken_back = any(each.void for each in line.corrections)
        correctable = not taken_back if correction else line.stands is not None
        entries.append(LogEntry(line, said, says, by, correctable))
    return tuple(reversed(entries))
