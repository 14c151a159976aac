"""Labels, signs, badges and the action card as files to print."""

from __future__ import annotations

from flask import Blueprint, Response, request

from msdtrack.services import labelling
from msdtrack.web import who
from msdtrack.web.forms import Form
from msdtrack.web.label_choice import PDF, PNG, carrier_layouts, printed
from msdtrack.web.names import all_people, all_places
from msdtrack.web.site import site

PREVIEW_DPI = 203

pages = Blueprint("labels", __name__)


@pages.post("/carriers/<code>/label")
def carrier(code: str) -> Response:
    """Answer a carrier's label as PDF or PNG; the print goes on the log."""
    form = Form(request.form)
    layout = form.choice("layout", [each.name for each in carrier_layouts()])
    kind = form.choice("as", ("pdf", "a4", "203", "300", "600"))
    both = form.yes("both")
    form.check()
    assert layout is not None
    assert kind is not None
    now, by = site().now(), who.present_code()
    if kind in ("pdf", "a4"):
        pdf = labelling.labels_pdf([code], layout, now, by, both=both, a4=kind == "a4")
        return printed(pdf, PDF, f"{code}-{layout}.pdf")
    png = labelling.label_png(code, layout, int(kind), now, by)
    return printed(png, PNG, f"{code}-{layout}-{kind}dpi.png")


@pages.get("/carriers/<code>/label-preview/<layout>.png")
def preview(code: str, layout: str) -> Response:
    """Answer how a carrier's label will look; nothing goes on the log."""
    png = labelling.label_png(code, layout, PREVIEW_DPI, site().now(), preview=True)
    return printed(png, PNG, f"{code}-{layout}-preview.png")


@pages.post("/places/signs")
def signs() -> Response:
    """Answer the signs of the chosen places, or of all."""
    codes = request.form.getlist("code") or [place.code for place in all_places()]
    return printed(
        labelling.place_labels_pdf(codes, site().now(), who.present_code()), PDF, "places.pdf"
    )


@pages.post("/setup/badges")
def badges() -> Response:
    """Answer the badges of the chosen people, or of all."""
    codes = request.form.getlist("code") or [person.code for person in all_people()]
    return printed(labelling.badges_pdf(codes, site().now(), who.present_code()), PDF, "badges.pdf")


@pages.post("/setup/action-card")
def action_card() -> Response:
    """Answer the action card."""
    return printed(
        labelling.action_card_pdf(site().now(), who.present_code()), PDF, "action-card.pdf"
    )
