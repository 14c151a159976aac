"""No fact is corrected without a trace: what it was, what it is, who said so and why."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from msdtrack.errors import BadInput, FieldError
from msdtrack.store import models
from msdtrack.store.canonical import to_json
from msdtrack.store.connection import writing
from msdtrack.store.records import FactChange


def fact_changes(what: str, key: str) -> list[FactChange]:
    """Return the corrections of one part, carrier, place or person, oldest first.

    Args:
        what: part, carrier, place or person.
        key: its number or code.
    """
    table = models.FactChange
    query = table.select().where(table.what == what, table.key == key).order_by(table.id)
    return [
        FactChange(
            row["what"],
            row["key"],
            row["field"],
            json.loads(row["before"]),
            json.loads(row["after"]),
            row["person"],
            row["reason"],
            row["recorded_at"],
        )
        for row in models.dicts(query)
    ]


def trace(
    what: str,
    key: str,
    before: Mapping[str, Any],
    changes: Mapping[str, Any],
    *,
    person: str | None,
    reason: str,
    recorded_at: int,
) -> dict[str, Any]:
    """Record what differs from before, and return those values.

    Args:
        before: the facts that can be corrected, as they are, by name.
        changes: the facts as they shall be, by name.

    Raises:
        BadInput: others are named; each is in `errors`.
    """
    writing()
    unknown = [FieldError(name, "can't be corrected") for name in changes if name not in before]
    if unknown:
        names = ", ".join(error.field for error in unknown)
        raise BadInput(f"{names} can't be corrected; {', '.join(sorted(before))} can.", unknown)
    differing = {name: value for name, value in changes.items() if before[name] != value}
    for name, value in differing.items():
        models.FactChange.insert(
            what=what,
            key=key,
            field=name,
            before=to_json(before[name]),
            after=to_json(value),
            person=person,
            reason=reason,
            recorded_at=recorded_at,
        ).execute()
    return differing
