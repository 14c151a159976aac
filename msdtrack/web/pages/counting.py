"""Counting a place: scan all that is in it, decide about the rest, record what mends the log."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import BadInput, MsdtrackError, NotFound
from msdtrack.printing.codes import BadCode, CodeKind, read_code
from msdtrack.services import catalog, counting
from msdtrack.services.catalog import Place
from msdtrack.store.counts import CountRecord
from msdtrack.web import who
from msdtrack.web.count_desk import CountDesk
from msdtrack.web.count_rows import (
    DidRow,
    did_rows,
)
from msdtrack.web.desk import refusal, say, typed
from msdtrack.web.errors import status_of
from msdtrack.web.names import all_places, person_names, place_names
from msdtrack.web.rendering import near, render_page
from msdtrack.web.site import site
from msdtrack.web.wording import PLACE_KINDS

pages = Blueprint("counting", __name__)


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """A place that can be counted.

    Args:
        running: since when a count runs there, None if none does.
        last: when and by whom it was last counted, in words.
    """

    place: Place
    kind: str
    running: int | None
    last: str


@dataclass(frozen=True, slots=True)
class CountList:
    """The places, and the counts recorded last, each with its place and who recorded it."""

    places: tuple[PlaceRow, ...]
    recorded: tuple[tuple[CountRecord, str, str], ...]


@dataclass(frozen=True, slots=True)
class CountedPage:
    """A count that was recorded.

    Args:
        count: the count; place: name of its place; by: name of who recorded it.
        did: what it put on the log.
    """

    count: CountRecord
    place: str
    by: str
    did: tuple[DidRow, ...]


@pages.get("/count")
def list_all() -> Response:
    """Answer the places, those that are being counted first."""
    running, recorded = counting.overview()
    since = {count.place: count.begun_at for count in running}
    names, people, now = place_names(), person_names(), site().now()
    last: dict[str, str] = {}
    for count in recorded:
        by = people.signed(count.ended_by, count.ended_at)
        last.setdefault(count.place, f"{near(count.ended_at or now, now)}, {by}")
    places = [
        PlaceRow(one, PLACE_KINDS[one.kind], since.get(one.code), last.get(one.code, ""))
        for one in all_places()
    ]
    places.sort(key=lambda row: row.running is None)
    done = tuple(
        (count, names.get(count.place, count.place), people.signed(count.ended_by, count.ended_at))
        for count in recorded
    )
    return render_page("counts.html", CountList(tuple(places), done))


@pages.post("/count")
def choose() -> AnyResponse:
    """Go to the place that was scanned; a badge says who counts."""
    text = request.form.get("code", "").strip()
    try:
        code = read_code(text)
        if code.kind is CodeKind.PERSON:
            who.remember(who.from_badge(code.text))
            return redirect(url_for("counting.list_all"), 303)
        if code.kind is not CodeKind.PLACE:
            raise BadInput(f"{code.text} is the code of a {code.kind.word}: scan a place.")
        place = catalog.place(code.text)
    except MsdtrackError as error:
        flash(error.message, "stop")
        return redirect(url_for("counting.list_all"), 303)
    return redirect(url_for("counting.show", place=place.code), 303)


@pages.get("/count/<place>")
def show(place: str) -> Response:
    """Answer a place as it is counted."""
    return render_page("counting.html", CountDesk(place, request.args).page())


@pages.get("/count/done/<count_id>")
def done(count_id: str) -> Response:
    """Answer what a count recorded."""
    count = counting.count_of(count_id)
    if count.outcome != "recorded":
        raise NotFound("This count was not recorded.")
    names, by = place_names(), person_names().signed(count.ended_by, count.ended_at)
    page = CountedPage(count, names.get(count.place, count.place), by, did_rows(count, names))
    return render_page("counted.html", page)


@pages.post("/count/<place>/scan")
def scan(place: str) -> AnyResponse:
    """Do what a scan, a number, a time or a tap asks for."""
    desk = CountDesk(place, request.form)
    try:
        desk.answer(typed(request.form.getlist("code")))
    except MsdtrackError as error:
        if status_of(error) >= 500:
            raise
        bad = isinstance(error, BadCode)
        say(desk.name, refusal(error, "Code not valid") if bad else refusal(error))
    return redirect(desk.url, 303)
