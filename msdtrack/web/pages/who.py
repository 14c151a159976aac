"""Who is at this browser: said by badge or by name, and ended."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlsplit

from flask import Blueprint, Response, flash, jsonify, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import MsdtrackError
from msdtrack.services.people import Person
from msdtrack.services.station_memory import IN_BROWSER_S
from msdtrack.web import who
from msdtrack.web.errors import status_of
from msdtrack.web.forms import Form
from msdtrack.web.names import all_people
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

pages = Blueprint("who", __name__)


@dataclass(frozen=True, slots=True)
class WhoPage:
    """Who is at this browser.

    Args:
        people: who can be chosen.
        person: who is there, None for nobody.
        minutes: for how long that holds after the last entry.
        back: where to go on.
    """

    people: tuple[Person, ...]
    person: Person | None
    minutes: int
    back: str


@pages.get("/who")
def show() -> Response:
    """Answer where a browser is told who is there."""
    page = WhoPage(tuple(all_people()), who.present(), IN_BROWSER_S // 60, _back(request.args))
    return render_page("who.html", page)


@pages.post("/who")
def say() -> AnyResponse:
    """Take note of who is at the browser, by badge or by name; neither is nobody."""
    form = Form(request.form)
    try:
        who.say(form)
    except MsdtrackError as error:
        if status_of(error) >= 500:
            raise
        flash(error.message, "stop")
        return redirect(url_for("who.show", back=_back(form.values)), 303)
    return redirect(_back(form.values), 303)


@pages.get("/who/now")
def now() -> Response:
    """Answer who is at the browser, for a page that has stood open."""
    found = who.here()
    person = found.person
    return jsonify(
        code="" if person is None else person.code,
        name="" if person is None else person.name,
        until=found.until,
        now=site().now(),
    )


def _back(given: dict[str, str]) -> str:
    """Return the page to go on with: one of ours, or the start."""
    asked = given.get("back", "")
    parts = urlsplit(asked)
    own = asked.startswith("/") and not asked.startswith(("//", "/\\")) and asked.isprintable()
    return asked if own and not parts.netloc and not parts.scheme else url_for("start.show")
