"""Set-up: badges, signs and cards, the scanner test, the site's choices, how the server is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import Blueprint, Response, flash, jsonify, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import BadInput
from msdtrack.printing.code128 import QUIET_MODULES, bar_runs, module_count
from msdtrack.printing.codes import keyboard_fault, make_action_code
from msdtrack.services import people, policies
from msdtrack.services.catalog import Place
from msdtrack.services.health import health
from msdtrack.services.people import Person, PersonNames
from msdtrack.services.policies import POLICIES, Policy, Value
from msdtrack.store.records import FactChange
from msdtrack.web import who
from msdtrack.web.forms import Form
from msdtrack.web.names import all_places, everybody, person_names
from msdtrack.web.pages import people as people_pages
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

pages = Blueprint("setup", __name__)
pages.register_blueprint(people_pages.pages)


@dataclass(frozen=True, slots=True)
class Bars:
    """A bar code for the screen.

    Args:
        text: what a scanner types.
        width: in modules, white margins included.
        runs: first module and width of each bar.
    """

    text: str
    width: int
    runs: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class PolicyRow:
    """One choice of the site.

    Args:
        policy: what it is for.
        shown: its value in words.
        value: its value as the form has it.
        changes: its changes with the names of who made them, newest first.
    """

    policy: Policy
    shown: str
    value: str
    changes: tuple[tuple[FactChange, str], ...]


@dataclass(frozen=True, slots=True)
class SetupPage:
    """Set-up.

    Args:
        people: everybody with a badge that is in use.
        retired: those whose badge is no longer in use.
        badge: the one badge to be printed, "" for all.
        places: every place.
        person: who is at the browser.
        test_code: the bar code of the scanner test.
        policies: the site's choices.
        health: how the server is, as the API says it.
        database: the database without any password.
        values: what stands in the form that was just sent.
        errors: what is wrong with it, by field.
    """

    people: tuple[Person, ...]
    retired: tuple[Person, ...]
    badge: str
    places: tuple[Place, ...]
    person: Person | None
    test_code: Bars
    policies: tuple[PolicyRow, ...]
    health: Mapping[str, Any]
    database: str
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@pages.get("/setup")
def show() -> Response:
    """Answer the set-up page."""
    return render_page("setup.html", _page({}, {}))


@pages.post("/setup/people")
def add_person() -> AnyResponse:
    """Put a person on file."""
    form = Form(request.form)
    name = form.text("name", required=True)
    try:
        form.check()
        person = people.add_person(name, site().now(), only_one=True)
    except BadInput as error:
        form.take_over(error)
        return _refused(form)
    flash(f"{person.name} has the badge {person.code}. Print it below.", "ok")
    return redirect(url_for("setup.show", _anchor="people"), 303)


@pages.post("/setup/policies/<path:name>")
def set_policy(name: str) -> AnyResponse:
    """Set one choice from now on; who and why go on its trace."""
    form = Form(request.form)
    chosen = policies.policy(name)
    value = _value(form, chosen)
    person = form.text("person", required=True)
    reason = form.text("reason", required=True)
    try:
        form.check()
        policies.set_policy(name, value, site().now(), person, reason)
        who.signed(person)
    except BadInput as error:
        form.take_over(error)
        listed = "; ".join(form.errors.values())
        flash(f"{chosen.name} was not changed. {listed}", "stop")
    else:
        flash(f"{chosen.name} is set; it holds from now on.", "ok")
    return redirect(url_for("setup.show", _anchor="policies"), 303)


@pages.post("/setup/scanner-test")
def scanner_test() -> Response:
    """Answer what is wrong with the keyboard layout of the scanner that typed `typed`."""
    fault = keyboard_fault(request.form.get("typed", ""))
    return jsonify(good=fault is None, message=fault or "The scanner types every character right.")


def _value(form: Form, chosen: Policy) -> Value | None:
    if isinstance(chosen.default, bool):
        return form.choice("value", ("on", "off")) == "on"
    if isinstance(chosen.default, int):
        number = form.number("value", required=True)
        return int(number) if number is not None and number == int(number) else number
    return form.number("value", required=True)


def _refused(form: Form) -> Response:
    response = render_page("setup.html", _page(form.values, form.errors))
    response.status_code = 422
    return response


def _page(values: Mapping[str, str], errors: Mapping[str, str]) -> SetupPage:
    now, names, known = site().now(), person_names(), everybody()
    return SetupPage(
        people=tuple(one for one in known if one.retired_at is None),
        retired=tuple(one for one in known if one.retired_at is not None),
        badge=request.args.get("badge", ""),
        places=tuple(all_places()),
        person=who.present(),
        test_code=bars(make_action_code("TEST")),
        policies=_policies(now, names),
        health=health(now),
        database=_without_password(site().settings.database),
        values=values,
        errors=errors,
    )


def bars(text: str) -> Bars:
    """Return a bar code for the screen, white margins included."""
    runs = tuple((first + QUIET_MODULES, width) for first, width in bar_runs(text))
    return Bars(text, module_count(text) + 2 * QUIET_MODULES, runs)


def _policies(now: int, names: PersonNames) -> tuple[PolicyRow, ...]:
    present = policies.policies(now)
    known = {policy.name for policy in POLICIES}
    all_policies = [*POLICIES, *(policies.policy(name) for name in present if name not in known)]
    rows = []
    for policy in all_policies:
        value = present[policy.name]
        if isinstance(value, bool):
            shown = word = "on" if value else "off"
        else:
            word = f"{value:g}"
            shown = f"{word} {policy.unit}"
        changes = tuple(
            (change, names.signed(change.person, change.recorded_at))
            for change in reversed(policies.changes(policy.name))
        )
        rows.append(PolicyRow(policy, shown, word, changes))
    return tuple(rows)


def _without_password(url: str) -> str:
    before, at, after = url.rpartition("@")
    return f"{before.split('://')[0]}://…@{after}" if at else url
