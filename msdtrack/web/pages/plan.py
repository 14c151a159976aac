"""Plan a run: what is opened for it, what is baked before, and what is short."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from flask import Blueprint, Response, request, url_for

from msdtrack.errors import BadInput
from msdtrack.exposure.bake_advice import CAUTIONS
from msdtrack.printing.codes import BadCode, read_code
from msdtrack.services import run_plan
from msdtrack.services.catalog import Place
from msdtrack.services.run_needs import MOST_LINES, Needs, read_needs
from msdtrack.services.run_plan import RUN_PLACES, RunPlan
from msdtrack.web.forms import Form
from msdtrack.web.names import all_places, codes_called, place_names
from msdtrack.web.pages.ovens import MORE_CAUTIONS
from msdtrack.web.plan_rows import LoadRow, PartRow, load_rows, part_rows
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

pages = Blueprint("plan", __name__)

BEGINS_H, ENDS_H = 6, 14
"""An early shift, to start from (common practice, no source)."""

EXAMPLE_PARTS = 5

_FIELDS = ("place", "begins", "ends", "needs")
_NAMES = {"begins_at": "begins", "ends_at": "ends"}


@dataclass(frozen=True, slots=True)
class PlanPage:
    """The plan of a run, made of what its address says.

    Args:
        values: what stands in the fields.
        errors: what is wrong, by field.
        lines: places to choose from.
        most_lines: how many lines of needs there may be.
        findings: what is wrong with lines of needs.
        notes: what was taken to be meant by them.
        plan: the plan, None until it is asked for.
        parts: its parts in rows.
        loads: what is baked before, in rows.
        open_word, bake_word: when that is, in words.
        again_url: the address of this plan, to make it anew.
        example_url: a plan of parts on hand to begin with, "" if nothing is on hand.
        cautions: what can hurt or ruin goods in a bake.
    """

    values: Mapping[str, str]
    errors: Mapping[str, str]
    lines: tuple[Place, ...]
    most_lines: int
    findings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    plan: RunPlan | None = None
    parts: tuple[PartRow, ...] = ()
    loads: tuple[LoadRow, ...] = ()
    open_word: str = ""
    bake_word: str = ""
    again_url: str = ""
    example_url: str = ""
    cautions: tuple[str, ...] = field(default=(*CAUTIONS, *MORE_CAUTIONS))


@pages.get("/plan")
def show() -> Response:
    """Answer the form, and the plan if the address says what is needed."""
    lines = [place for place in all_places() if place.kind in RUN_PLACES]
    lines.sort(key=lambda place: RUN_PLACES.index(place.kind))
    sent = {name: request.args.get(name, "") for name in _FIELDS}
    if not any(name in request.args for name in _FIELDS):
        return _page(_first_values(lines), {}, lines)
    form = Form(sent)
    needs, plan = Needs((), (), ()), None
    try:
        needs, plan = _asked(form, lines)
    except BadInput as error:
        form.take_over(error, _NAMES)
    if needs.findings:
        form.fault("needs", "Some lines can't be read: nothing is planned yet.")
    return _page(sent, form.errors, lines, needs, None if form.errors else plan)


def _asked(form: Form, lines: list[Place]) -> tuple[Needs, RunPlan | None]:
    place = _place(form, lines)
    begins_at, ends_at = form.moment("begins"), form.moment("ends")
    for name, moment in (("begins", begins_at), ("ends", ends_at)):
        if moment is None:
            form.fault(name, "Fill this in.")
    needs = read_needs(form.values["needs"])
    if form.errors or needs.findings or begins_at is None or ends_at is None:
        return needs, None
    return needs, run_plan.plan(place, begins_at, ends_at, needs.needs, site().now())


def _place(form: Form, lines: list[Place]) -> str:
    """Return the code of the place that was scanned, or typed by its name."""
    text = form.text("place", required=True)
    called = codes_called(text, lines)
    if len(called) == 1:
        return called[0]
    if called:
        form.fault("place", f"{len(called)} places are called that: scan its code.")
    elif text[:1] not in "Pp" or not any(each.isdigit() for each in text):
        form.fault("place", "No line or floor area is called that: choose one, or scan its code.")
    else:
        try:
            code = read_code(text)
        except BadCode as error:
            form.fault("place", error.message)
        else:
            return code.text
    return ""


def _first_values(lines: list[Place]) -> dict[str, str]:
    """Return what the form starts with: an early shift tomorrow, on the line if there is one."""
    here = site()
    today = datetime.fromtimestamp(here.now(), UTC).astimezone(here.tz)
    tomorrow = (today + timedelta(days=1)).date().isoformat()
    only = [place.name for place in lines if place.kind == "line"]
    return {
        "place": only[0] if len(only) == 1 else "",
        "begins": f"{tomorrow}T{BEGINS_H:02}:00",
        "ends": f"{tomorrow}T{ENDS_H:02}:00",
        "needs": "",
    }


def _page(
    values: Mapping[str, str],
    errors: Mapping[str, str],
    lines: list[Place],
    needs: Needs | None = None,
    plan: RunPlan | None = None,
) -> Response:
    names = place_names()
    example = "" if plan or values["needs"] or not lines else _example(values, lines)
    page = PlanPage(
        values=values,
        errors=errors,
        lines=tuple(lines),
        most_lines=MOST_LINES,
        findings=needs.findings if needs else (),
        notes=needs.notes if needs else (),
        plan=plan,
        parts=part_rows(plan, names) if plan else (),
        loads=load_rows(plan, names) if plan else (),
        open_word=_day_word(plan.run.begins_at) if plan else "",
        bake_word=_night_word(plan.run.begins_at) if plan else "",
        again_url=_address(values) if plan else "",
        example_url=example,
    )
    response = render_page("plan.html", page)
    response.status_code = 422 if errors else 200
    return response


def _example(values: Mapping[str, str], lines: list[Place]) -> str:
    """Return the address of a plan of half of what is on hand of a few parts."""
    needs = run_plan.most_on_hand(EXAMPLE_PARTS, site().now())
    if not needs:
        return ""
    text = "\n".join(f"{need.part}; {need.pieces}" for need in needs)
    place = values["place"] or lines[0].name
    return _address({**values, "place": place, "needs": text})


def _address(values: Mapping[str, str]) -> str:
    place, begins, ends, needs = (values[name] for name in _FIELDS)
    return url_for("plan.show", place=place, begins=begins, ends=ends, needs=needs)


def _day_word(moment: int) -> str:
    days = _days_ahead(moment)
    if days in (0, 1):
        return ("today", "tomorrow")[days]
    return f"{datetime.fromtimestamp(moment, UTC).astimezone(site().tz):%a %d %b}"


def _night_word(moment: int) -> str:
    return "tonight" if _days_ahead(moment) == 1 else "before"


def _days_ahead(moment: int) -> int:
    here = site()
    then, today = (
        datetime.fromtimestamp(each, UTC).astimezone(here.tz).date()
        for each in (moment, here.now())
    )
    return (then - today).days
