"""The parts: the list, one part, and the form for a new one or a correction."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import Any

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import BadInput, Conflict
from msdtrack.exposure.facts import MakerBake, PartFacts
from msdtrack.services import catalog, whereabouts
from msdtrack.services.people import Person
from msdtrack.standard.levels import LEVELS
from msdtrack.web import who
from msdtrack.web.forms import Form
from msdtrack.web.names import all_people, place_names
from msdtrack.web.rendering import render_page
from msdtrack.web.rows import Row, rows_of
from msdtrack.web.site import site

PAGE_LENGTH = 100
MOST_CARRIERS = 100

_FORM_NAMES = {
    f"maker_bake.{name}": f"bake_{name}" for name in ("temp_c", "hours", "max_rh_pct", "once")
}

pages = Blueprint("parts", __name__)


@dataclass(frozen=True, slots=True)
class PartList:
    """A page of the list of parts.

    Args:
        parts: the parts, by number.
        after: number to go on from, None on the last page.
    """

    parts: tuple[PartFacts, ...]
    after: str | None


@dataclass(frozen=True, slots=True)
class PartPage:
    """One part.

    Args:
        part: its facts.
        rows: its carriers that are not gone, by code.
        more: whether there are others.
    """

    part: PartFacts
    rows: tuple[Row, ...]
    more: bool


@dataclass(frozen=True, slots=True)
class PartForm:
    """The form of a part.

    Args:
        number: the part to correct, "" for a new one.
        then: address to go back to when it is saved, "" for the part's own page.
        levels: the levels to choose from.
        people: who can correct it.
        values: what stands in the fields.
        errors: what is wrong, by field.
    """

    number: str
    then: str
    levels: tuple[str, ...]
    people: tuple[Person, ...]
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@pages.get("/parts")
def list_all() -> Response:
    """Answer a page of parts."""
    found = catalog.parts(request.args.get("after") or None, PAGE_LENGTH + 1)
    shown = tuple(found[:PAGE_LENGTH])
    after = shown[-1].number if len(found) > PAGE_LENGTH else None
    return render_page("parts.html", PartList(shown, after))


@pages.get("/parts/<path:number>")
def show(number: str) -> Response:
    """Answer one part."""
    part = catalog.part(number)
    found, after = whereabouts.present(site().now(), None, MOST_CARRIERS, part=part.number)
    rows = rows_of(found, place_names())
    return render_page("part.html", PartPage(part, rows, after is not None))


@pages.get("/parts/new")
def new() -> Response:
    """Answer the empty form, its number filled in if `number` is given."""
    values = {"number": request.args.get("number", "")}
    return _form("", values, {})


@pages.post("/parts/new")
def create() -> AnyResponse:
    """Put a part on file."""
    form = Form(request.form)
    facts = _facts(form)
    try:
        form.check()
        part, _ = catalog.create_part(facts, site().now())
    except (BadInput, Conflict) as error:
        form.take_over(error, _FORM_NAMES)
        return _form("", form.values, form.errors)
    flash(f"Part {part.number} is on file.", "ok")
    if form.text("then") == "receive":
        return redirect(url_for("receive.show", part=part.number), 303)
    return redirect(url_for("parts.show", number=part.number), 303)


@pages.get("/parts/<path:number>/correct")
def correct(number: str) -> Response:
    """Answer the form with the facts of a part."""
    return _form(number, _values(catalog.part(number)), {})


@pages.post("/parts/<path:number>/correct")
def amend(number: str) -> AnyResponse:
    """Correct a part; who and why go on its trace."""
    before = catalog.part(number)
    form = Form({**request.form.to_dict(), "number": number})
    facts = _facts(form)
    person = form.text("person", required=True)
    reason = form.text("reason", required=True)
    changes = {
        each.name: getattr(facts, each.name)
        for each in fields(PartFacts)
        if each.name != "number" and getattr(facts, each.name) != getattr(before, each.name)
    }
    try:
        form.check()
        catalog.amend_part(number, changes, site().now(), person, reason)
    except BadInput as error:
        form.take_over(error, _FORM_NAMES)
        return _form(number, form.values, form.errors)
    who.signed(person)
    flash(f"Part {number} is corrected; every carrier of it is computed anew.", "ok")
    return redirect(url_for("parts.show", number=number), 303)


def _form(number: str, values: Mapping[str, str], errors: Mapping[str, str]) -> Response:
    then = request.args.get("then", "") or request.form.get("then", "")
    if not values.get("person"):
        values = {**values, "person": who.present_code() or ""}
    page = PartForm(number, then, LEVELS, tuple(all_people()), values, errors)
    response = render_page("part_form.html", page)
    response.status_code = 422 if errors else 200
    return response


def _facts(form: Form) -> PartFacts:
    square = {"": None, "yes": True, "no": False}
    shape = form.choice("square", square, required=False)
    return PartFacts(
        number=form.text("number", required=True),
        msl=form.choice("msl", LEVELS) or "",
        description=form.text("description"),
        body_mm=form.number("body_mm", least=0),
        family=form.text("family") or None,
        pins=form.whole("pins", least=1),
        square=square[shape or ""],
        large_bga=form.yes("large_bga"),
        stacked_die=form.yes("stacked_die"),
        compound_confirmed=form.yes("compound_confirmed"),
        label_floor_life_hours=form.number("label_floor_life_hours", least=0),
        carrier_max_c=form.number("carrier_max_c", least=0),
        max_bake_c=form.number("max_bake_c", least=0),
        peak_body_c=form.number("peak_body_c", least=0),
        maker_bake=_maker_bake(form),
    )


def _maker_bake(form: Form) -> MakerBake | None:
    temp_c = form.number("bake_temp_c", least=0)
    hours = form.number("bake_hours", least=0)
    max_rh_pct = form.number("bake_max_rh_pct", least=0, most=100)
    if temp_c is None and hours is None:
        return None
    if temp_c is None:
        form.fault("bake_temp_c", "A bake needs its temperature.")
        return None
    if hours is None:
        form.fault("bake_hours", "A bake needs its hours.")
        return None
    return MakerBake(temp_c, hours, max_rh_pct, form.yes("bake_once"))


def _values(part: PartFacts) -> dict[str, str]:
    """Return a part's facts as its form shows them."""

    def shown(value: Any) -> str:
        if isinstance(value, bool):
            return "yes" if value else ""
        return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)

    bake = part.maker_bake
    values = {name: shown(value) for name, value in asdict(part).items() if name != "maker_bake"}
    values["square"] = "" if part.square is None else "yes" if part.square else "no"
    if bake is not None:
        values |= {f"bake_{name}": shown(value) for name, value in asdict(bake).items()}
    return values
