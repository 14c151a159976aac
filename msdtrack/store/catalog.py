"""Parts and people."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields, replace
from typing import Any

from msdtrack.errors import Conflict, NotFound
from msdtrack.exposure.facts import MakerBake, PartFacts
from msdtrack.store import models
from msdtrack.store.canonical import to_json
from msdtrack.store.connection import snapshot_is_committed, touched, writing
from msdtrack.store.records import PersonRecord
from msdtrack.store.seldom import seldom_changed
from msdtrack.store.traces import fact_changes, trace

__all__ = [
    "fact_changes",
    "former_names",
    "insert_part",
    "insert_person",
    "part",
    "parts",
    "parts_by_number",
    "people",
    "person",
    "update_part",
    "update_person",
]

_PART_FACTS = tuple(field.name for field in fields(PartFacts))


def insert_part(facts: PartFacts, recorded_at: int) -> None:
    """Store a new part.

    Raises:
        Conflict: its number is taken.
    """
    writing()
    table = models.Part
    if table.select(table.number).where(table.number == facts.number).exists():
        raise Conflict(f"Part {facts.number} exists already.")
    table.insert(_part_row(facts) | {"recorded_at": recorded_at}).execute()


def update_part(
    number: str,
    changes: Mapping[str, object],
    *,
    reason: str,
    recorded_at: int,
    person: str | None = None,
) -> PartFacts:
    """Correct facts of a part, for all time, and return it as it is now.

    Args:
        changes: new values by field of `PartFacts`, all but its number.

    Raises:
        NotFound: there is no such part.
        BadInput: a name is none that can be corrected.
    """
    writing()
    before = part(number)
    differing = trace(
        "part",
        number,
        {name: getattr(before, name) for name in _PART_FACTS if name != "number"},
        changes,
        person=person,
        reason=reason,
        recorded_at=recorded_at,
    )
    after = replace(before, **differing)
    if differing:
        row = _part_row(after)
        models.Part.update({name: row[name] for name in differing}).where(
            models.Part.number == number
        ).execute()
        note = touched()
        note.at = max(note.at, recorded_at)
        note.parts.add(number)
    return after


def part(number: str) -> PartFacts:
    """Return a part's facts.

    Raises:
        NotFound: there is no such part.
    """
    found = parts_by_number([number])
    if not found:
        raise NotFound(f"There is no part {number}.")
    return found[number]


def parts(after: str | None = None, limit: int = 100, text: str | None = None) -> list[PartFacts]:
    """Return parts by number.

    Args:
        after: only numbers after this one.
        text: only parts with this in their number or description, in any case.
    """
    table = models.Part
    query = table.select().order_by(table.number).limit(limit)
    if after is not None:
        query = query.where(table.number > after)
    if text:
        query = query.where(models.holding(text, table.number, table.description))
    return [_part_facts(row) for row in models.dicts(query)]


def parts_by_number(numbers: Iterable[str]) -> dict[str, PartFacts]:
    """Return the parts that exist among the numbers, in one query at most."""
    wanted, known = set(numbers), seldom_changed("parts", dict[str, PartFacts])
    found = {number: known[number] for number in wanted & known.keys()}
    if others := wanted - found.keys():
        read = models.having(models.Part, "number", others)
        new = {row["number"]: _part_facts(row) for row in read}
        found |= new
        if snapshot_is_committed():
            # A part that is put on file later is not missed: what is not there is not kept.
            known |= new
    return found


def insert_person(code: str, name: str, recorded_at: int) -> PersonRecord:
    """Store a person and return it.

    Raises:
        Conflict: the code is taken.
    """
    writing()
    table = models.Person
    if table.select(table.code).where(table.code == code).exists():
        raise Conflict(f"{code} is somebody already.")
    table.insert(code=code, name=name, recorded_at=recorded_at).execute()
    return PersonRecord(code, name)


def update_person(
    code: str,
    changes: Mapping[str, object],
    *,
    reason: str,
    recorded_at: int,
    person: str | None = None,
) -> PersonRecord:
    """Change a person's name, or since when the badge is no longer in use, and return the person.

    Args:
        changes: new values of `name` and `retired_at`.
        person: code of who changes it.

    Raises:
        NotFound: nobody has the code.
        BadInput: a name is none that can be changed.
    """
    writing()
    before = _person(code)
    differing = trace(
        "person",
        code,
        {"name": before.name, "retired_at": before.retired_at},
        changes,
        person=person,
        reason=reason,
        recorded_at=recorded_at,
    )
    if differing:
        models.Person.update(differing).where(models.Person.code == code).execute()
    return replace(before, **differing)


def person(code: str) -> PersonRecord:
    """Return the person with the code.

    Raises:
        NotFound: nobody has it.
    """
    return _person(code)


def people(after: str | None = None, limit: int = 100) -> list[PersonRecord]:
    """Return people by code, those after `after` only."""
    table = models.Person
    query = table.select(*_PERSON).order_by(table.code).limit(limit)
    if after is not None:
        query = query.where(table.code > after)
    return [PersonRecord(*row) for row in models.tuples(query)]


def former_names() -> dict[str, list[tuple[int, str]]]:
    """Return the names that people had before: until when, and the name, oldest first, by code."""
    table = models.FactChange
    query = table.select(table.key, table.recorded_at, table.before)
    query = query.where(table.what == "person", table.field == "name").order_by(table.id)
    found: dict[str, list[tuple[int, str]]] = {}
    for code, until, name in models.tuples(query):
        found.setdefault(code, []).append((until, json.loads(name)))
    return found


_PERSON = tuple(getattr(models.Person, field.name) for field in fields(PersonRecord))


def _person(code: str) -> PersonRecord:
    known = seldom_changed("people", dict[str, PersonRecord])
    if code in known:
        return known[code]
    found = models.tuples(models.Person.select(*_PERSON).where(models.Person.code == code))
    if not found:
        raise NotFound(f"Nobody has the code {code}.")
    record = PersonRecord(*found[0])
    if snapshot_is_committed():
        # Somebody who is put on file later is not missed: who is not there is not kept.
        known[code] = record
    return record


def _part_row(facts: PartFacts) -> dict[str, Any]:
    row = {name: getattr(facts, name) for name in _PART_FACTS}
    bake = facts.maker_bake
    row["maker_bake"] = None if bake is None else to_json(asdict(bake))
    return row


def _part_facts(row: Mapping[str, Any]) -> PartFacts:
    values = {name: row[name] for name in _PART_FACTS}
    if values["maker_bake"] is not None:
        values["maker_bake"] = MakerBake(**json.loads(values["maker_bake"]))
    return PartFacts(**values)
