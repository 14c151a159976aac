"""The site's choices, each holding from a date: what counts, and when to warn.

A policy is a name with JSON values over time. Those the calculation knows are `credit`,
`pause_levels_4_to_5a` and `cumulative_bake_h`; lead times of alarms are `lead_h:msl:<level>` and
`lead_h:part:<number>`, in hours.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import fields
from typing import Any

from msdtrack.exposure.clock import storage_rate
from msdtrack.exposure.facts import Dated, PartFacts, Policies
from msdtrack.standard.levels import LEVELS
from msdtrack.store import models
from msdtrack.store.canonical import JsonValue, to_json
from msdtrack.store.connection import touched, writing
from msdtrack.store.places import sorted_changes
from msdtrack.store.records import PolicyRecord
from msdtrack.store.seldom import seldom_changed
from msdtrack.store.statements import among, listed, rows

_CALCULATED = tuple(field.name for field in fields(Policies))
_PAUSED = tuple(
    level
    for level in LEVELS
    if storage_rate(PartFacts("", level), True) != storage_rate(PartFacts("", level), False)
)
"""The levels that `pause_levels_4_to_5a` changes anything for."""


def set_policy(
    name: str, value: JsonValue, from_at: int, *, recorded_at: int, person: str | None = None
) -> None:
    """Set a policy from a moment on.

    Of two values from the same moment the one recorded last holds.

    Args:
        value: the choice; None goes back to the default.
    """
    writing()
    models.Policy.insert(
        name=name,
        from_at=from_at,
        value=to_json(value),
        recorded_at=recorded_at,
        person=person,
    ).execute()
    note = touched()
    note.at = max(note.at, recorded_at)
    if name == "credit":
        note.parts |= {row[0] for row in rows("SELECT number FROM part WHERE compound_confirmed")}
    elif name == "pause_levels_4_to_5a":
        condition, given = listed("msl", _PAUSED)
        note.parts |= {row[0] for row in rows(f"SELECT number FROM part WHERE {condition}", given)}
        note.carriers |= _perhaps_labelled()
    else:
        note.everything |= name in _CALCULATED


def _perhaps_labelled() -> set[str]:
    """Return the carriers with a standing that a label of their own, or of what they were split
    off, may give another level than their part's."""
    sql = (
        "SELECT standing.carrier FROM standing JOIN carrier ON carrier.code = standing.carrier "
        "WHERE carrier.msl IS NOT NULL OR carrier.parent IS NOT NULL"
    )
    return {row[0] for row in rows(sql)}


def policies(known_at: int | None = None) -> Policies:
    """Return the policies of the calculation; before its first change each has its default.

    Args:
        known_at: leave out what was recorded later; None: leave out nothing.
    """
    if known_at is None:
        return seldom_changed("policies", lambda: _policies(None))
    return _policies(known_at)


def _policies(known_at: int | None) -> Policies:
    defaults = Policies()
    changes = _changes(_CALCULATED, known_at)
    dated = {
        name: _dated(getattr(defaults, name).first, changes.get(name, {})) for name in _CALCULATED
    }
    return Policies(**dated)


def policy_values(prefix: str, at: int) -> dict[str, JsonValue]:
    """Return the policies in force at a moment whose name begins with the prefix.

    Those never set by then, or taken back, are left out.
    """
    names = {record.name for record in policy_history(prefix)}
    values = {
        name: _dated(None, by_moment).at(at) for name, by_moment in _changes(names, None).items()
    }
    return {name: value for name, value in sorted(values.items()) if value is not None}


def policy_history(prefix: str = "") -> list[PolicyRecord]:
    """Return every choice made for policies whose name begins with the prefix, in order."""
    table = models.Policy
    return [
        PolicyRecord(
            row["name"], row["from_at"], json.loads(row["value"]), row["person"], row["recorded_at"]
        )
        for row in models.dicts(table.select().order_by(table.id))
        # Few rows, and LIKE means different things on the two databases.
        if row["name"].startswith(prefix)
    ]


def _changes(names: Iterable[str], known_at: int | None) -> dict[str, dict[int, JsonValue]]:
    table = models.Policy
    query = table.select().where(among(table.name, names)).order_by(table.id)
    if known_at is not None:
        query = query.where(table.recorded_at <= known_at)
    changes: dict[str, dict[int, JsonValue]] = {}
    for row in models.dicts(query):
        changes.setdefault(row["name"], {})[row["from_at"]] = json.loads(row["value"])
    return changes


def _dated(default: JsonValue, by_moment: dict[int, JsonValue]) -> Dated[Any]:
    return Dated(
        default,
        tuple(
            (moment, default if value is None else value)
            for moment, value in sorted_changes(by_moment)
        ),
    )
