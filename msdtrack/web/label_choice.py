"""Which label, for which printer: the choice that several pages offer, and the file it gives."""

from __future__ import annotations

from flask import Response

from msdtrack.services import dry_packing, labelling
from msdtrack.services.labelling import LabelLayout

PDF, PNG = "application/pdf", "image/png"


def carrier_layouts() -> tuple[LabelLayout, ...]:
    """Return the label layouts for carriers, the largest first; a closing label needs more said."""
    found = [
        layout
        for layout in labelling.layouts()
        if layout.draws == "carrier" and layout.name != dry_packing.LAYOUT
    ]
    return tuple(sorted(found, key=lambda each: -each.width_mm * each.height_mm))


def printed(content: bytes, mimetype: str, name: str) -> Response:
    """Return a file that the browser shows, to be printed from there."""
    response = Response(content, mimetype=mimetype)
    response.headers["Content-Disposition"] = f'inline; filename="{name}"'
    return response
