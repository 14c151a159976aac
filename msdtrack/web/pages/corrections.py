"""Correcting the log: one entry, what is right instead, and what that changes before it is made."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import BadInput, Conflict, MsdtrackError
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.ledger import Conflict as Contradiction
from msdtrack.exposure.state import CarrierState
from msdtrack.services import corrections
from msdtrack.services.catalog import Place
from msdtrack.services.corrections import ABOUT, Change, Entry, Preview, Side, Why
from msdtrack.services.countdowns import next_step_text
from msdtrack.services.people import Person, PersonNames
from msdtrack.standard import indicator
from msdtrack.times import duration_text
from msdtrack.web import who
from msdtrack.web.errors import status_of
from msdtrack.web.forms import Form
from msdtrack.web.marks import Mark, mark_of
from msdtrack.web.names import all_people, all_places, everybody, person_names, place_names
from msdtrack.web.rendering import day, form_moment, local, percent, render_page
from msdtrack.web.rows import row_of
from msdtrack.web.site import site
from msdtrack.web.wording import STATUSES, act_text, reason_text
from msdtrack.web.working_rows import WorkingLine, working_lines

pages = Blueprint("corrections", __name__)

_FORM_NAMES = {"fields.at": "at", "fields.place": "place", "fields.hic": "hic", "person": "who"}
_WHYS: Mapping[Why, str] = {
    "same_bag": "shared its bag",
    "same_boards": "is on the same boards",
    "split_off": "was split off it",
    "joined": "has it joined in",
}


@dataclass(frozen=True, slots=True)
class SideRow:
    """One thing about a carrier before and after; `changed`: it is not the same."""

    name: str
    before: str
    after: str

    @property
    def changed(self) -> bool:
        """Return whether the correction changes it."""
        return self.before != self.after


@dataclass(frozen=True, slots=True)
class FollowRow:
    """Another carrier that a correction reaches."""

    code: str
    part: str
    why: str
    before: Mark
    after: Mark
    used_before: str
    used_after: str


@dataclass(frozen=True, slots=True)
class WorkingSide:
    """The working on one side of a correction."""

    title: str
    lines: tuple[WorkingLine, ...]
    before_reset: tuple[WorkingLine, ...]
    share: Any


@dataclass(frozen=True, slots=True)
class PreviewPart:
    """What a correction would change.

    Args:
        before, after: the marks of the carrier.
        rows: what there is to know of it, both ways.
        workings: before and after.
        settled, arising: contradictions that it ends, and that it makes.
        followers: other carriers that it reaches.
        seen: goes back with the correction, so that what is made is what was shown.
    """

    before: Mark
    after: Mark
    rows: tuple[SideRow, ...]
    workings: tuple[WorkingSide, ...]
    settled: tuple[Contradiction, ...]
    arising: tuple[Contradiction, ...]
    followers: tuple[FollowRow, ...]
    seen: str


@dataclass(frozen=True, slots=True)
class EarlierCorrection:
    """A correction that the entry has already. `counts`: it was not taken back."""

    event: Event
    text: str
    by: str
    counts: bool


@dataclass(frozen=True, slots=True)
class CorrectionPage:
    """One entry and its correction.

    Args:
        said: what the entry said when it was recorded.
        says: what it says now; "" if that is the same, or it was struck out.
        by: who recorded it.
        earlier: corrections it has already.
        about: what of it can be corrected here; people, places, spots: what to choose from, of
            everybody, those who have left too, who may have done it.
        correctable: it can be corrected here and now.
        told: the correction in words, once it can be shown.
        values, errors: the form, and what is wrong with it.
        preview: what it would change, None until that was asked for.
    """

    entry: Entry
    said: str
    says: str
    by: str
    earlier: tuple[EarlierCorrection, ...]
    about: tuple[str, ...]
    correctable: bool
    people: tuple[Person, ...]
    everybody: tuple[Person, ...]
    places: tuple[Place, ...]
    spots: tuple[str, ...]
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    preview: PreviewPart | None = None
    told: str = ""


@pages.get("/correct/<event_id>")
def show(event_id: str) -> Response:
    """Answer an entry of the log and the form of its correction."""
    of = corrections.entry(event_id)
    return _answer(of, _filled(of))


@pages.post("/correct/<event_id>")
def correct(event_id: str) -> AnyResponse:
    """Answer what a correction would change; or make it, if that was shown."""
    of = corrections.entry(event_id)
    form = Form(request.form)
    change = _change(of, form)
    now = site().now()
    try:
        form.check()
        if form.text("step") == "record":
            corrections.record(change, form.text("seen"), now)
            who.signed(change.person)
            flash("The log is corrected; the entry and its correction stay on it.", "ok")
            return redirect(url_for("carriers.show", code=of.event.carrier, _anchor="log"), 303)
    except Conflict as error:
        form.fault("", error.message)
    except BadInput as error:
        form.take_over(error, _FORM_NAMES)
    shown = None
    if not form.errors or list(form.errors) == [""]:
        try:
            shown = corrections.preview(change, now)
        except BadInput as error:
            form.take_over(error, _FORM_NAMES)
        except MsdtrackError as error:
            if status_of(error) >= 500:
                raise
            form.fault("", error.message)
    return _answer(of, form.values, form.errors, shown, change)


def _answer(
    of: Entry,
    values: Mapping[str, str],
    errors: Mapping[str, str] | None = None,
    shown: Preview | None = None,
    change: Change | None = None,
) -> Response:
    names, people = place_names(), person_names()
    said = act_text(of.event, names)
    says = "" if of.stands is None else act_text(of.stands, names)
    if of.stands is not None and of.stands.at != of.event.at:
        says = f"{says}, {local(of.stands.at)}"
    told = ""
    if change is not None and shown is not None:
        told = _told(of, change, names, people)
    page = CorrectionPage(
        entry=of,
        said=said,
        says="" if says == said else says,
        by=_by(of.event, people),
        earlier=tuple(
            EarlierCorrection(each, act_text(each, names), _by(each, people), counts)
            for each, counts in of.corrections
        ),
        about=ABOUT[of.event.kind],
        correctable=of.stands is not None and not of.only_by_cause,
        people=tuple(all_people()),
        everybody=tuple(everybody()),
        places=tuple(
            each
            for each in all_places()
            if of.event.kind is not Kind.BAKE_START or each.kind == "oven"
        ),
        spots=indicator.SPOTS,
        values=values,
        errors=errors or {},
        preview=None if shown is None else _preview(shown, names),
        told=told,
    )
    response = render_page("correction.html", page)
    response.status_code = 422 if errors else 200
    return response


# -- the form ----------------------------------------------------------------------------------


def _filled(of: Entry) -> dict[str, str]:
    """Return the form with what the entry says now."""
    stands = of.stands or of.event
    values = {
        "id": str(uuid.uuid4()),
        "how": "void" if of.event.kind is Kind.CORRECT else "amend",
        "at": form_moment(stands.at),
        "place": stands.place or "",
        "by": stands.person or "",
        "only_this": "yes" if stands.only_this else "",
        "last": "yes" if stands.last else "",
        "desiccant": stands.desiccant or "",
        "new_hic": stands.new_hic or "",
        "seal": stands.seal or "",
        "temp_c": "" if stands.temp_c is None else f"{stands.temp_c:g}",
        "peak_c": "" if stands.peak_c is None else f"{stands.peak_c:g}",
        "quantity": "" if stands.quantity is None else str(stands.quantity),
        "reason": stands.reason or "",
        "who": who.present_code() or "",
        "why": "",
    }
    return values | {f"hic_{spot}": (stands.hic or {}).get(spot, "") for spot in indicator.SPOTS}


def _change(of: Entry, form: Form) -> Change:
    void = form.text("how") == "void"
    said = {} if void else {name: _said(of, form, name) for name in ABOUT[of.event.kind]}
    return Change(
        id=form.text("id") or str(uuid.uuid4()),
        event=of.event.id,
        void=void,
        reason=form.text("why", required=True),
        person=who.signer(form, "who"),
        fields={} if void or form.errors else corrections.differing(of, said),
    )


def _said(of: Entry, form: Form, name: str) -> Any:
    stands = of.stands or of.event
    if name == "at":
        # The form knows minutes only: what was not touched keeps its second.
        same = form.text("at") == form_moment(stands.at)
        return stands.at if same else form.moment("at")
    if name == "hic":
        shown = {spot: form.text(f"hic_{spot}") for spot in indicator.SPOTS}
        return {spot: state for spot, state in shown.items() if state} or None
    if name in ("only_this", "last"):
        return form.yes(name)
    if name in ("temp_c", "peak_c"):
        return form.number(name, least=0, most=400)
    if name == "quantity":
        return form.whole(name, least=1)
    if name == "person":
        return form.text("by") or None
    return form.text(name) or None


# -- before and after --------------------------------------------------------------------------


def _told(of: Entry, change: Change, names: Mapping[str, str], people: Mapping[str, str]) -> str:
    if of.event.kind is Kind.CORRECT:
        return "The correction is taken back"
    event = Event("", "", Kind.CORRECT, 0, 0, 0, void=change.void, fields=change.fields)
    words = act_text(event, {**names, **people})
    return words[:1].upper() + words[1:]


def _by(event: Event, people: PersonNames) -> str:
    if event.person is not None:
        return people.signed(event.person, event.recorded_at)
    return "" if event.station is None else f"station {event.station}"


def _preview(shown: Preview, names: Mapping[str, str]) -> PreviewPart:
    before = _about(shown.before.state, names)
    after = _about(shown.after.state, names)
    return PreviewPart(
        before=mark_of(shown.before.state),
        after=mark_of(shown.after.state),
        rows=tuple(SideRow(name, said, after[name]) for name, said in before.items()),
        workings=(
            _working("Working before", shown.before, names),
            _working("Working after", shown.after, names),
        ),
        settled=shown.settled,
        arising=shown.arising,
        followers=tuple(
            FollowRow(
                one.code,
                f"{one.after.facts.part.number}, lot {one.after.facts.lot}",
                _WHYS[one.why] + (", corrected with it" if one.corrected else ""),
                mark_of(one.before),
                mark_of(one.after),
                percent(one.before.used_share),
                percent(one.after.used_share),
            )
            for one in shown.followers
        ),
        seen=shown.seen,
    )


def _working(title: str, side: Side, names: Mapping[str, str]) -> WorkingSide:
    return WorkingSide(
        title,
        working_lines(side.working.lines, names),
        working_lines(side.working.before_reset, names),
        side.working.used_share,
    )


def _about(state: CarrierState, names: Mapping[str, str]) -> dict[str, str]:
    ledger = state.ledger
    place = "place not known" if ledger.place is None else names.get(ledger.place, ledger.place)
    return {
        "Verdict": "may be used" if state.verdict == "use" else "do not use",
        "Why not": " ".join(reason_text(reason) for reason in state.reasons) or "–",
        "Next step": next_step_text(state, site().tz),
        "It is": f"{STATUSES[state.status]}, {place}",
        "Floor life used": percent(state.used_share),
        "Time left": row_of(state, names).left,
        "Exposure since the last reset": duration_text(ledger.exposure_s),
        "Opened": local(state.opened_at),
        "Last reset": local(ledger.last_reset_at),
        "Whole again by dry storage": local(state.reset_due_at),
        "Shelf life ends": day(state.shelf_life_ends),
        "Pieces": str(ledger.quantity),
        "Bakes, hours above 90 °C": f"{ledger.bakes}, {ledger.hot_s / HOUR_S:.1f} h",
    }
