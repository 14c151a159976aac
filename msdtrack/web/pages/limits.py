"""The limits of a part: what a sample is measured against, by mounting variant."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import BadInput, FieldError
from msdtrack.services import measurements
from msdtrack.services.people import Person, PersonNames
from msdtrack.store.sample_checks import Channel, LimitsRecord
from msdtrack.web import who
from msdtrack.web.forms import Form
from msdtrack.web.names import all_people, person_names
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

pages = Blueprint("limits", __name__)


@dataclass(frozen=True, slots=True)
class LimitsPage:
    """The limits of a part, by mounting variant.

    Args:
        part: its number.
        variants: limits in force.
        names: person names by code.
        people: who can enter them.
        values, errors: what stands in the form, and what is wrong with it.
        findings: what is wrong with the cells of the table.
    """

    part: str
    variants: tuple[LimitsRecord, ...]
    names: PersonNames
    people: tuple[Person, ...]
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[FieldError, ...] = ()


@pages.get("/checks/limits")
def show() -> Response:
    """Answer the limits of a part."""
    part, name = request.args.get("part", "").strip(), request.args.get("variant", "")
    variants = measurements.variants(part)
    chosen = next((one for one in variants if one.variant == name), None)
    values = {
        "variant": name,
        "table": _table(chosen.channels if chosen is not None else ()),
        "person": who.present_code() or "",
    }
    return _page(part, values, {})


@pages.post("/checks/limits")
def save() -> AnyResponse:
    """Put limits of a variant in force."""
    form = Form(request.form)
    part = form.text("part", required=True)
    try:
        measurements.set_limits(
            part,
            form.text("variant"),
            request.form.get("table", ""),
            form.text("person"),
            form.text("reason"),
            site().now(),
        )
    except BadInput as error:
        form.take_over(error)
        cells = [one for one in error.errors if one.field.startswith("table")]
        if cells:
            form.fault("table", "Cells need another look.")
        shown = form.values | {"table": request.form.get("table", "")}
        return _page(part, shown, form.errors, tuple(cells))
    who.signed(form.text("person"))
    flash("The limits are in force. Checks that are planned already keep theirs.", "ok")
    return redirect(url_for("checks.limits.show", part=part), 303)


def _table(channels: Iterable[Channel]) -> str:
    """Return channels as the table that enters them."""
    rows = ["channel;minimum;maximum;unit"]
    for one in channels:
        low, high = ("" if limit is None else str(limit) for limit in (one.low, one.high))
        rows.append(f"{one.name};{low};{high};{one.unit}")
    return "\n".join(rows)


def _page(
    part: str,
    values: Mapping[str, str],
    errors: Mapping[str, str],
    findings: tuple[FieldError, ...] = (),
) -> Response:
    """Answer the limits of a part; with errors the status is 422."""
    page = LimitsPage(
        part, tuple(measurements.variants(part)), person_names(), tuple(all_people()), values,
        errors, findings,
    )  # fmt: skip
    response = render_page("check_limits.html", page)
    response.status_code = 422 if errors else 200
    return response
