"""Goods-in: one field that takes a supplier's label, what was read, and one question at a time."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response

from msdtrack.exposure.facts import PartFacts
from msdtrack.printing.codes import make_action_code
from msdtrack.services import catalog
from msdtrack.services.labelling import LabelLayout
from msdtrack.standard.levels import LEVELS
from msdtrack.web.label_choice import carrier_layouts
from msdtrack.web.names import ALL
from msdtrack.web.rendering import render_page

pages = Blueprint("goods_in", __name__)


@dataclass(frozen=True, slots=True)
class GoodsInPage:
    """The screen at which bags are received by their suppliers' labels.

    Args:
        layouts: label layouts for carriers.
        parts: parts on file, to choose from where a label names none of ours.
        levels: the levels of a new part.
        confirm, drop: the action codes that confirm a label and that drop it.
    """

    layouts: tuple[LabelLayout, ...]
    parts: tuple[PartFacts, ...]
    levels: tuple[str, ...]
    confirm: str
    drop: str


@pages.get("/goods-in")
def show() -> Response:
    """Answer the screen; its script asks the API."""
    page = GoodsInPage(
        layouts=carrier_layouts(),
        parts=tuple(catalog.parts(limit=ALL)),
        levels=LEVELS,
        confirm=make_action_code("DONE"),
        drop=make_action_code("UNDO"),
    )
    return render_page("goods_in.html", page)
