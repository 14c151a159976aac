"""Closing a dry bag: the desiccant it needs, the shelf life it gets, and its closing label."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Blueprint, Response, request

from msdtrack.errors import BadInput, MsdtrackError
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import CodeKind, read_code
from msdtrack.services import carrier_states, dry_packing
from msdtrack.services.countdowns import desiccant_ends_at, desiccant_is_good
from msdtrack.services.dry_packing import BAG_SIZES, BagSize, NewPacking, Packing, ShelfLife
from msdtrack.standard import drypack
from msdtrack.web import who
from msdtrack.web.errors import status_of
from msdtrack.web.forms import Form
from msdtrack.web.label_choice import PDF, printed
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

pages = Blueprint("closing", __name__)

OTHER = "other"
_FIELDS: Mapping[str, str] = {
    "width_mm": "width_mm",
    "length_mm": "length_mm",
    "wvtr_g_per_100in2_day": "wvtr",
    "unit_g": "unit_g",
    "months": "months",
}


@dataclass(frozen=True, slots=True)
class ClosingPage:
    """The calculator of a dry bag.

    Args:
        sizes: bag sizes to choose from, by value.
        carrier: what is closed, None if no carrier was named.
        closed: its bag is closed already.
        reuse: its old desiccant may go back in.
        reuse_until: until when, None if not at all.
        shelf_life: what the shelf life will be, None without a carrier.
        packing: what the bag needs, None if that was not asked.
        values: what stands in the form.
        errors: what is wrong with it.
        reuse_min, months: limits the page names.
    """

    sizes: tuple[tuple[str, str], ...]
    carrier: CarrierState | None
    closed: bool
    reuse: bool
    reuse_until: int | None
    shelf_life: ShelfLife | None
    packing: Packing | None
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    reuse_min: int = drypack.DESICCANT_REUSE_MIN
    months: int = drypack.SHELF_LIFE_MONTHS


@pages.get("/closing")
def show() -> Response:
    """Answer the calculator, with its result if it was asked."""
    form = Form(request.args)
    asked = "unit_g" in form.values
    packing = None
    try:
        found = _carrier(form)
        if asked:
            packing = _packing(form)
    except BadInput as error:
        if not form.errors:
            form.take_over(error, _FIELDS)
        found = None if "carrier" in form.errors else _carrier(form)
    response = render_page("closing.html", _page(form, found, packing))
    response.status_code = 422 if form.errors else 200
    return response


@pages.post("/closing/label")
def label() -> Response:
    """Answer the closing label of a carrier's bag; the print goes on the log."""
    form = Form(request.form)
    state = _carrier(form)
    if state is None:
        raise BadInput("Name the carrier that is closed.")
    packing = _packing(form)
    code = state.facts.code
    pdf = dry_packing.closing_labels_pdf([code], packing, site().now(), who.present_code())
    return printed(pdf, PDF, f"{code}-closing.pdf")


def _carrier(form: Form) -> CarrierState | None:
    """Return the carrier that was named, None for none; what is wrong is beside its field."""
    text = form.text("carrier")
    if not text:
        return None
    try:
        code = read_code(text)
        if code.kind is not CodeKind.CARRIER:
            raise BadInput(f"{code.text} is the code of a {code.kind.word}: scan a carrier.")
        return carrier_states.state(code.text, site().now())
    except MsdtrackError as error:
        if status_of(error) >= 500:
            raise
        form.fault("carrier", error.message)
        raise BadInput(error.message) from error


def _packing(form: Form) -> Packing:
    size = form.choice("size", [value for value, _ in _sizes()])
    if size == OTHER:
        width, length = (form.number(n, required=True, least=1) for n in ("width_mm", "length_mm"))
    else:
        chosen = next((one for one in BAG_SIZES if _value(one) == size), None)
        width = None if chosen is None else float(chosen.width_mm)
        length = None if chosen is None else float(chosen.length_mm)
    wvtr = form.number("wvtr", required=True)
    unit_g = form.number("unit_g", required=True)
    months = form.whole("months", required=True, least=1)
    form.check()
    assert None not in (width, length, wvtr, unit_g, months)
    return dry_packing.packing(NewPacking(width, length, wvtr, unit_g, months))  # type: ignore[arg-type]


def _page(form: Form, state: CarrierState | None, packing: Packing | None) -> ClosingPage:
    values = {"months": str(drypack.SHELF_LIFE_MONTHS), "size": _value(BAG_SIZES[0])} | form.values
    return ClosingPage(
        sizes=tuple(_sizes()),
        carrier=state,
        closed=state is not None and state.opened_at is None,
        reuse=state is not None and desiccant_is_good(state),
        reuse_until=None if state is None else desiccant_ends_at(state),
        shelf_life=None if state is None else dry_packing.shelf_life(state),
        packing=packing,
        values=values,
        errors=form.errors,
    )


def _value(size: BagSize) -> str:
    return f"{size.width_mm}x{size.length_mm}"


def _sizes() -> list[tuple[str, str]]:
    known = [(_value(one), f"{one.width_mm} x {one.length_mm} mm, {one.name}") for one in BAG_SIZES]
    return [*known, (OTHER, "another: measure it inside")]
