"""Every published table as it is used, with where each figure comes from."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response

from msdtrack.standard.tables import CHECK_YOUR_COPY, Table, fingerprint, published_tables
from msdtrack.web.marks import Mark
from msdtrack.web.rendering import render_page

MARKS = {
    "published": Mark("ok", "found in a public source"),
    "memory": Mark("soon", "from memory"),
    "mixed": Mark("soon", "in part from memory"),
}

pages = Blueprint("tables", __name__)


@dataclass(frozen=True, slots=True)
class TablesPage:
    """The tables.

    Args:
        tables: each with the mark of its provenance.
        check_your_copy: the sentence that stands above them.
        fingerprint: of all figures; what is stored was computed with the tables that have it.
    """

    tables: tuple[tuple[Mark, Table], ...]
    check_your_copy: str
    fingerprint: str


@pages.get("/tables")
def show() -> Response:
    """Answer the tables."""
    tables = tuple((MARKS[table.status], table) for table in published_tables())
    return render_page("tables.html", TablesPage(tables, CHECK_YOUR_COPY, fingerprint()))
