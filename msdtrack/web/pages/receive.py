"""Receiving a carrier: a short form, its label, and the next one of the same lot."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import BadInput, Conflict
from msdtrack.exposure.facts import CarrierFacts, PartFacts
from msdtrack.services import catalog, receiving
from msdtrack.services.catalog import Place
from msdtrack.services.labelling import LabelLayout
from msdtrack.services.receiving import KINDS, NewCarrier
from msdtrack.standard.drypack import SHELF_LIFE_MONTHS
from msdtrack.standard.levels import LEVELS
from msdtrack.web import who
from msdtrack.web.forms import Form
from msdtrack.web.label_choice import carrier_layouts
from msdtrack.web.names import ALL, all_places, place_names
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

BAG_STATES = (
    ("sealed", "Sealed dry bag, seal date on its label"),
    ("open", "It came open, or was found open"),
    ("unknown", "No dry bag, or no seal date: history unknown, bake before use"),
)

pages = Blueprint("receive", __name__)


@dataclass(frozen=True, slots=True)
class ReceiveForm:
    """The form of a carrier.

    Args:
        parts: parts on file, to choose from.
        places: places to choose from, ovens left out.
        kinds: kinds of carrier.
        bag_states: what the bag can be like at receipt, with its words.
        levels: the levels, where the label says otherwise than the part.
        shelf_life_months: what counts without an own date.
        like: code of the carrier it follows, "" for none.
        values: what stands in the fields.
        errors: what is wrong, by field.
    """

    parts: tuple[PartFacts, ...]
    places: tuple[Place, ...]
    kinds: tuple[str, ...]
    bag_states: tuple[tuple[str, str], ...]
    levels: tuple[str, ...]
    shelf_life_months: int
    like: str
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ReceivedPage:
    """A carrier that was just received, and its label.

    Args:
        facts: the carrier.
        place: name of its place, "" if not known.
        layouts: label layouts for carriers.
    """

    facts: CarrierFacts
    place: str
    layouts: tuple[LabelLayout, ...]


@pages.get("/receive")
def show() -> Response:
    """Answer the form; `like` fills it in from a carrier, `part` names the part."""
    like = request.args.get("like", "").strip().upper()
    values = {"kind": "reel", "bag_state": "sealed", "request_id": str(uuid.uuid4())}
    if like:
        facts = receiving.carrier_facts(like)
        values |= {
            "part": facts.part.number,
            "lot": facts.lot,
            "quantity": str(facts.quantity),
            "kind": facts.kind,
            "place": facts.place or "",
            "sealed_on": "" if facts.sealed_on is None else facts.sealed_on.isoformat(),
            "bag_state": "unknown" if facts.sealed_on is None else "sealed",
        }
    elif request.args.get("part"):
        values["part"] = request.args["part"]
    return _form(like, values, {})


@pages.post("/receive")
def receive() -> AnyResponse:
    """Receive the carrier and go on to its label."""
    form = Form(request.form)
    new = _new_carrier(form)
    try:
        form.check()
        received, _ = receiving.receive(new, site().now(), form.text("request_id") or None)
    except (BadInput, Conflict) as error:
        form.take_over(error)
        return _form("", form.values, form.errors)
    flash(f"Received: {received.code}. Stick its label on before it moves.", "ok")
    return redirect(url_for("receive.received", code=received.code), 303)


@pages.get("/receive/<code>")
def received(code: str) -> Response:
    """Answer the carrier that was received, its label, and the way to the next one."""
    facts = receiving.carrier_facts(code)
    place = "" if facts.place is None else place_names().get(facts.place, facts.place)
    return render_page("received.html", ReceivedPage(facts, place, carrier_layouts()))


def _new_carrier(form: Form) -> NewCarrier:
    state = form.choice("bag_state", [name for name, _ in BAG_STATES])
    sealed_on, opened_at = form.day("sealed_on"), form.moment("opened_at")
    if state == "sealed" and sealed_on is None:
        form.fault("sealed_on", "Give the seal date from the bag's label.")
    if state == "open" and opened_at is None:
        form.fault("opened_at", "Say since when it may have been open; the earliest that can be.")
    return NewCarrier(
        part=form.text("part", required=True),
        lot=form.text("lot", required=True),
        quantity=form.whole("quantity", required=True, least=1) or 0,
        kind=form.choice("kind", KINDS) or "",
        bag=form.text("bag") or None,
        sealed_on=None if state == "unknown" else sealed_on,
        shelf_life_ends=None if state == "unknown" else form.day("shelf_life_ends"),
        opened_at=opened_at if state == "open" else None,
        place=form.text("place") or None,
        received_at=form.moment("received_at"),
        msl=form.choice("msl", LEVELS, required=False),
        body_mm=form.number("body_mm", least=0),
        label_floor_life_hours=form.number("label_floor_life_hours", least=0),
        person=who.present_code(),
    )


def _form(like: str, values: Mapping[str, str], errors: Mapping[str, str]) -> Response:
    page = ReceiveForm(
        parts=tuple(catalog.parts(limit=ALL)),
        places=tuple(place for place in all_places() if place.kind != "oven"),
        kinds=KINDS,
        bag_states=BAG_STATES,
        levels=LEVELS,
        shelf_life_months=SHELF_LIFE_MONTHS,
        like=like,
        values=values,
        errors=errors,
    )
    response = render_page("receive.html", page)
    response.status_code = 422 if errors else 200
    return response
