"""The blueprint of the JSON API that others build on."""

from __future__ import annotations

from functools import cache
from typing import Any

from flask import Blueprint

from msdtrack.web.api import (
    board_proof,
    boards,
    carriers,
    catalog,
    goods_in,
    monitoring,
    plan,
    recording,
)
from msdtrack.web.api.calls import Calls, register
from msdtrack.web.api.openapi import PREFIX, document

calls = Calls(
    [
        *catalog.calls,
        *carriers.calls,
        *goods_in.calls,
        *recording.calls,
        *boards.calls,
        *board_proof.calls,
        *monitoring.calls,
        *plan.calls,
    ]
)


def create_blueprint() -> Blueprint:
    """Return the API: every call, and the document that describes them."""
    blueprint = Blueprint("api", __name__, url_prefix=PREFIX)
    for call in calls:
        register(blueprint, call)
    return blueprint


@calls.add("GET", "/openapi.json", dict[str, Any])
def show_document() -> dict[str, Any]:
    """Return this document."""
    return _document()


@cache
def _document() -> dict[str, Any]:
    return document(calls)
