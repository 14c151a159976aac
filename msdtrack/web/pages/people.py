"""A person who marries, whose name was mistyped, or who leaves; and the trace of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import BadInput
from msdtrack.services import people
from msdtrack.services.people import Person
from msdtrack.store.records import FactChange
from msdtrack.web import who
from msdtrack.web.forms import Form
from msdtrack.web.names import all_people, person_names
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

pages = Blueprint("people", __name__)


@dataclass(frozen=True, slots=True)
class PersonPage:
    """One person.

    Args:
        person: as now known.
        changes: what was changed before, in words, with the names of who did it, newest first.
        people: who can change it.
        values, errors: what stands in the form, and what is wrong with it.
    """

    person: Person
    changes: tuple[tuple[FactChange, str, str], ...]
    people: tuple[Person, ...]
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@pages.get("/setup/people/<code>")
def show(code: str) -> Response:
    """Answer the form with what a person is now."""
    found = people.person(code)
    values = {
        "name": found.name,
        "in_use": "yes" if found.retired_at is None else "no",
        "person": who.present_code() or "",
    }
    return _page(found, values, {})


@pages.post("/setup/people/<code>")
def change(code: str) -> AnyResponse:
    """Rename a person, take the badge out of use or back into it; who and why go on the trace."""
    before, form = people.person(code), Form(request.form)
    changes = {
        "name": form.text("name", required=True),
        "in_use": form.choice("in_use", ("yes", "no")) == "yes",
    }
    person, reason = form.text("person", required=True), form.text("reason", required=True)
    try:
        form.check()
        after = people.amend_person(code, changes, site().now(), person, reason)
    except BadInput as error:
        form.take_over(error)
        return _page(before, form.values, form.errors)
    who.signed(person)
    for told in _told(before, after) or ["Nothing was changed."]:
        flash(told, "ok")
    renamed = after.code if after.name != before.name and after.retired_at is None else None
    return redirect(url_for("setup.show", badge=renamed), 303)


def _told(before: Person, after: Person) -> list[str]:
    told = []
    if after.name != before.name:
        told.append(
            f"{before.name} is called {after.name} from now on; what was signed before keeps the "
            "name it was signed with."
        )
        if after.retired_at is None:
            told[0] += " Print the new badge below: it is ticked, and the old one works too."
    if after.retired_at is not None and before.retired_at is None:
        told.append(f"The badge of {after.name} is no longer in use: nobody can sign with it.")
    if after.retired_at is None and before.retired_at is not None:
        told.append(f"The badge of {after.name} is in use again.")
    return told


def _page(person: Person, values: Mapping[str, str], errors: Mapping[str, str]) -> Response:
    names = person_names()
    changes = tuple(
        (one, _words(one), names.signed(one.person, one.recorded_at))
        for one in reversed(people.changes(person.code))
    )
    page = PersonPage(person, changes, tuple(all_people()), values, errors)
    response = render_page("person.html", page)
    response.status_code = 422 if errors else 200
    return response


def _words(change: FactChange) -> str:
    if change.field == "name":
        return f"{change.before} became {change.after}"
    return "back in use" if change.after is None else "no longer in use"
