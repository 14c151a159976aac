"""The places and their air: settings, charts, readings by hand and from files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import BadInput, FieldError
from msdtrack.exposure.spans import HOLDS_S, MAX_RH_C100, MAX_TEMP_C100
from msdtrack.services import board_glances, catalog, climate, readings_file, watch_list
from msdtrack.services.catalog import KINDS, NewPlace, Place
from msdtrack.services.climate import AirNow, NewReading, ReadingsResult
from msdtrack.services.people import Person
from msdtrack.standard.recovery import storage_limit_rh_pct
from msdtrack.web import who
from msdtrack.web.charts import Chart, air_chart
from msdtrack.web.forms import Form
from msdtrack.web.marks import Mark, air_mark
from msdtrack.web.names import all_people, all_places, codes_called
from msdtrack.web.rendering import form_moment, render_page
from msdtrack.web.rows import Row, rows_of
from msdtrack.web.site import site
from msdtrack.web.wording import PLACE_KINDS

SHOWN_S = 48 * 3600
STEP_S = 10 * 60
MOST_ROWS = 100
"""Beside the air and its forms a page has room for the most urgent only; the watch list has all."""

pages = Blueprint("places", __name__)


@dataclass(frozen=True, slots=True)
class PlaceList:
    """The places.

    Args:
        places: each with its newest reading and what that means.
        kinds: the words of their kinds.
    """

    places: tuple[tuple[Place, AirNow, Mark], ...]
    kinds: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class PlacePage:
    """One place.

    Args:
        place: the place.
        kind: its kind in words.
        air: its newest reading.
        air_mark: what that reading means.
        temp_chart: temperature of the last 48 h, None without a reading.
        rh_chart: humidity of the last 48 h, None without a reading.
        rows: watched carriers and boards there, most urgent first, as many as a page can hold.
        beyond: how many more there are.
        values: what stands in the form of a reading.
        errors: what is wrong with it, by field.
        result: what became of a file that was just sent, None if none was.
    """

    place: Place
    kind: str
    air: AirNow
    air_mark: Mark
    temp_chart: Chart | None
    rh_chart: Chart | None
    rows: tuple[Row, ...]
    beyond: int
    values: Mapping[str, str]
    errors: Mapping[str, str]
    result: ReadingsResult | None = None


@dataclass(frozen=True, slots=True)
class PlaceForm:
    """The form of a place.

    Args:
        code: the place to change, "" for a new one.
        kinds: kinds with their words.
        people: who can change it.
        values: what stands in the fields.
        errors: what is wrong, by field.
    """

    code: str
    kinds: tuple[tuple[str, str], ...]
    people: tuple[Person, ...]
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@pages.get("/places")
def list_all() -> Response:
    """Answer the places."""
    now = site().now()
    found = []
    for place in all_places():
        air = climate.air_now(place.code, now)
        found.append((place, air, air_mark(place.kind, air)))
    return render_page("places.html", PlaceList(tuple(found), PLACE_KINDS))


@pages.get("/places/<code>")
def show(code: str) -> Response:
    """Answer one place."""
    return render_page("place.html", _page(code))


@pages.get("/places/new")
def new() -> Response:
    """Answer the empty form of a place."""
    return _form("", {"kind": "floor"}, {})


@pages.post("/places/new")
def create() -> AnyResponse:
    """Put a place on file."""
    form = Form(request.form)
    given = _given(form)
    # In lists and files places go by their names; a form sent twice is caught too.
    for code in codes_called(given.name, all_places()):
        form.fault("name", f"{code} is called so already: give this one another name.")
    try:
        form.check()
        place, _ = catalog.create_place(given, site().now())
    except BadInput as error:
        form.take_over(error)
        return _form("", form.values, form.errors)
    flash(f"{place.name} is on file. Print its sign so that carriers can be moved by scan.", "ok")
    return redirect(url_for("places.show", code=place.code), 303)


@pages.get("/places/<code>/change")
def change(code: str) -> Response:
    """Answer the form with what a place is now."""
    return _form(code, _values(catalog.place(code)), {})


@pages.post("/places/<code>/change")
def amend(code: str) -> AnyResponse:
    """Change a place; assumed air and tolerances hold from now on."""
    form = Form(request.form)
    given = _given(form)
    person = form.text("person", required=True)
    reason = form.text("reason", required=True)
    changes = {each.name: getattr(given, each.name) for each in fields(NewPlace)}
    try:
        form.check()
        place = catalog.amend_place(code, changes, site().now(), person, reason)
    except BadInput as error:
        form.take_over(error)
        return _form(code, form.values, form.errors)
    who.signed(person)
    flash(f"{place.name} is changed. Assumed air and tolerances hold from now on.", "ok")
    return redirect(url_for("places.show", code=code), 303)


@pages.post("/places/<code>/reading")
def add_reading(code: str) -> AnyResponse:
    """Take a reading by hand."""
    catalog.place(code)
    form = Form(request.form)
    now = site().now()
    at = form.moment("at")
    temp_c = form.number("temp_c", required=True)
    rh_pct = form.number("rh_pct")
    try:
        form.check()
        assert temp_c is not None
        reading = NewReading(code, now if at is None else at, temp_c, rh_pct)
        result = climate.add_readings([reading], now)
        if result.refused:
            message = result.refused[0].message
            name, found, rest = message.partition(": ")
            known = found and name in ("temp_c", "rh_pct", "at")
            raise BadInput(message, [FieldError(name, rest)] if known else [])
    except BadInput as error:
        form.take_over(error)
        response = render_page("place.html", _page(code, form.values, form.errors))
        response.status_code = 422
        return response
    told = "The same reading was on record already." if result.duplicates else "Reading taken."
    flash(told, "ok")
    return redirect(url_for("places.show", code=code), 303)


@pages.post("/places/<code>/file")
def add_file(code: str) -> Response:
    """Take a file of readings; rows that can't be taken are listed with their reasons."""
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        return _file_refused(code, "Choose a file first.")
    try:
        text = sent.read().decode("utf-8-sig")
    except UnicodeDecodeError:
        return _file_refused(code, "The file is no UTF-8 text. Save it as CSV in UTF-8.")
    try:
        result = readings_file.add_csv(
            text, site().tz, site().now(), replaces=bool(request.form.get("replaces"))
        )
    except BadInput as error:
        return _file_refused(code, error.message)
    return render_page("place.html", _page(code, result=result))


def _file_refused(code: str, message: str) -> Response:
    response = render_page("place.html", _page(code, errors={"file": message}))
    response.status_code = 422
    return response


def _page(
    code: str,
    values: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    result: ReadingsResult | None = None,
) -> PlacePage:
    now, place = site().now(), catalog.place(code)
    boards = board_glances.unfinished(now, code)
    air = climate.air_now(code, now)
    start, tz = now - SHOWN_S, site().tz
    history = climate.history(code, start, now, STEP_S)
    temps = [(at, temp_c) for at, temp_c, _ in history]
    rhs = [(at, rh_pct) for at, _, rh_pct in history if rh_pct is not None]
    temp_limit, rh_limit = _limits(place.kind)
    gap_s = HOLDS_S + STEP_S
    watched = list(boards.among(watch_list.glances(now, code)))
    return PlacePage(
        place=place,
        kind=PLACE_KINDS[place.kind],
        air=air,
        air_mark=air_mark(place.kind, air),
        temp_chart=air_chart(temps, start, now, "°C", temp_limit, gap_s, tz),
        rh_chart=air_chart(rhs, start, now, "% RH", rh_limit, gap_s, tz),
        rows=rows_of(board_glances.as_on_their_pages(watched[:MOST_ROWS], now), {code: place.name}),
        beyond=len(watched[MOST_ROWS:]),
        values={"at": form_moment(now)} if values is None else values,
        errors=errors or {},
        result=result,
    )


def _limits(kind: str) -> tuple[tuple[float, str] | None, tuple[float, str] | None]:
    """Return what temperature and humidity should not pass, with the words of the chart."""
    if kind == "oven":
        return None, None
    if kind == "cabinet":
        limit = storage_limit_rh_pct("3")
        return None, (limit, f"dry storage up to {limit} %")
    temp_c, rh_pct = MAX_TEMP_C100 / 100, MAX_RH_C100 / 100
    return (temp_c, f"{temp_c:g} °C"), (rh_pct, f"{rh_pct:g} %")


def _form(code: str, values: Mapping[str, str], errors: Mapping[str, str]) -> Response:
    if not values.get("person"):
        values = {**values, "person": who.present_code() or ""}
    page = PlaceForm(
        code=code,
        kinds=tuple((kind, PLACE_KINDS[kind]) for kind in KINDS),
        people=tuple(all_people()),
        values=values,
        errors=errors,
    )
    response = render_page("place_form.html", page)
    response.status_code = 422 if errors else 200
    return response


def _given(form: Form) -> NewPlace:
    kind = form.choice("kind", KINDS) or ""
    oven = kind == "oven"
    return NewPlace(
        name=form.text("name", required=True),
        kind=kind,
        assumed_temp_c=form.number("assumed_temp_c"),
        assumed_rh_pct=form.number("assumed_rh_pct"),
        tolerance_c=form.number("tolerance_c"),
        tolerance_rh_pct=form.number("tolerance_rh_pct"),
        max_temp_c=form.number("max_temp_c") if oven else None,
        max_rh_pct=form.number("max_rh_pct") if oven else None,
    )


def _values(place: Place) -> dict[str, str]:
    def shown(value: object) -> str:
        return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)

    return {each.name: shown(getattr(place, each.name)) for each in fields(NewPlace)}
