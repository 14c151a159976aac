"""The log of printed labels."""

from __future__ import annotations

from msdtrack.store import models
from msdtrack.store.connection import writing
from msdtrack.store.records import PrintRecord


def log_print(
    code: str, layout: str, stuck_on: str, at: int, person: str | None = None
) -> PrintRecord:
    """Record that a label was printed, and return the record.

    Args:
        code: what the label shows.
        layout: name of the label layout.
        stuck_on: what it is for: carrier, bag, place, person or card. A second label of the code
            for the same use is a reprint.
    """
    writing(widely=False)
    table = models.PrintLog
    before = table.select(table.id).where(table.code == code, table.stuck_on == stuck_on)
    record = PrintRecord(code, layout, stuck_on, at, person, before.exists())
    table.insert(
        code=code,
        layout=layout,
        stuck_on=stuck_on,
        at=at,
        person=person,
        reprint=record.reprint,
    ).execute()
    return record


def prints(code: str) -> list[PrintRecord]:
    """Return the labels printed of a code, newest first."""
    table = models.PrintLog
    columns = (
        table.code,
        table.layout,
        table.stuck_on,
        table.at,
        table.person,
        table.reprint,
    )
    query = table.select(*columns).where(table.code == code).order_by(table.id.desc())
    return [PrintRecord(*row) for row in models.tuples(query)]
