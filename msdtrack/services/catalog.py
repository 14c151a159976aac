"""Parts and places: put on file, corrected, looked up.

Facts of a part are corrections and hold for all time. A place's assumed air and tolerances hold
from the moment they are changed. Nothing changes without a trace.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any
from uuid import UUID

from msdtrack.errors import BadInput, Conflict, FieldError
from msdtrack.exposure.facts import AirSettings, MakerBake, PartFacts
from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.services.climate import hundredths_up
from msdtrack.services.fact_checks import (
    KINDS,
    NewPlace,
    check_names,
    check_place,
    checked_part,
)
from msdtrack.services.people import person_code
from msdtrack.store import carriers, request_log, traces
from msdtrack.store import catalog as catalog_table
from msdtrack.store import places as place_table
from msdtrack.store.canonical import JsonValue, content_hash
from msdtrack.store.connection import write
from msdtrack.store.records import PlaceRecord

__all__ = [
    "KINDS", "NewPlace", "Place", "amend_part", "amend_place", "create_part", "create_place",
    "part", "parts", "place", "places",
]  # fmt: skip

NO_REASON = "no reason given"

_PART_FIELDS = tuple(field.name for field in fields(PartFacts))
_AIR = {
    "assumed_temp_c": "assumed_temp_c100",
    "assumed_rh_pct": "assumed_rh_c100",
    "tolerance_c": "tolerance_temp_c100",
    "tolerance_rh_pct": "tolerance_rh_c100",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place as it is now; attributes as of `NewPlace`, defaults filled in."""

    code: str
    name: str
    kind: str
    assumed_temp_c: float
    assumed_rh_pct: float
    tolerance_c: float
    tolerance_rh_pct: float
    max_temp_c: float | None = None
    max_rh_pct: float | None = None


# -- parts -------------------------------------------------------------------------------------


def create_part(new: PartFacts, now: int, request_id: str | None = None) -> tuple[PartFacts, bool]:
    """Put a part on file; return it, and whether this call did so.

    Args:
        new: its facts; the level may be written as people write it ("MSL 2A").
        now: the present moment.
        request_id: UUID made by the client.

    Raises:
        BadInput: facts are wrong; each is named.
        Conflict: the number is on file with other facts, or the id was used for something else.
    """
    facts = checked_part(new)
    content = {"part": asdict(facts)}
    with write():
        first = _first_answer(request_id, content)
        if first is not None:
            return _part_from(first), False
        known = catalog_table.parts_by_number([facts.number]).get(facts.number)
        if known is None:
            catalog_table.insert_part(facts, now)
        elif known != facts:
            raise Conflict(
                f"Part {facts.number} is on file with other facts. Use PATCH to correct it."
            )
        _remember(request_id, content, asdict(facts), now)
    return facts, known is None


def amend_part(
    number: str,
    changes: Mapping[str, Any],
    now: int,
    person: str | None = None,
    reason: str | None = None,
) -> PartFacts:
    """Correct facts of a part, for all time; return it as it is now.

    Args:
        changes: new values by field of `PartFacts`, all but its number.
        now: the present moment.
        person: badge code or name of who corrects it.
        reason: why.

    Raises:
        NotFound: there is no such part.
        BadInput: a field can't be corrected or its value is wrong; each is named.
    """
    with write():
        before = catalog_table.part(number)
        check_names(changes, set(_PART_FIELDS) - {"number"})
        after = checked_part(replace(before, **changes))
        return catalog_table.update_part(
            number,
            {name: getattr(after, name) for name in changes},
            reason=reason or NO_REASON,
            recorded_at=now,
            person=None if person is None else person_code(person, now),
        )


def part(number: str) -> PartFacts:
    """Return a part.

    Raises:
        NotFound: there is none of this number.
    """
    return catalog_table.part(number)


def parts(after: str | None = None, limit: int = 100) -> list[PartFacts]:
    """Return parts by number, those after `after` only."""
    return catalog_table.parts(after, limit)


# -- places ------------------------------------------------------------------------------------


def create_place(new: NewPlace, now: int, request_id: str | None = None) -> tuple[Place, bool]:
    """Put a place on file; return it with its code, and whether this call did so.

    Its air settings hold for all earlier time too.

    Args:
        new: the place.
        now: the present moment.
        request_id: UUID made by the client; without one each call makes a place.

    Raises:
        BadInput: values are wrong; each is named.
        Conflict: the id was used for something else.
    """
    check_place(new)
    content = {"place": asdict(new)}
    with write():
        first = _first_answer(request_id, content)
        if first is not None:
            return Place(**first), False
        record = place_table.insert_place(
            make_code(CodeKind.PLACE, carriers.next_serial("place")),
            new.name,
            new.kind,
            now,
            _air(new),
            oven_max_c=new.max_temp_c,
            oven_max_rh_pct=new.max_rh_pct,
        )
        created = _place(record)
        _remember(request_id, content, asdict(created), now)
    return created, True


def amend_place(
    code: str,
    changes: Mapping[str, Any],
    now: int,
    person: str | None = None,
    reason: str | None = None,
) -> Place:
    """Change a place; return it as it is now.

    Assumed air and tolerances hold from `now` on; name, kind and what an oven can do are
    corrections.

    Args:
        changes: new values by field of `NewPlace`; None goes back to the default.
        now: the present moment.
        person: badge code or name of who changes it.
        reason: why.

    Raises:
        NotFound: there is no such place.
        BadInput: a field is unknown or its value is wrong; each is named.
    """
    with write():
        record = place_table.place(code)
        check_names(changes, {field.name for field in fields(NewPlace)})
        before = _place(record)
        given = {name: value for name, value in asdict(before).items() if name != "code"}
        new = NewPlace(**given | dict(changes))
        check_place(new)
        if new.kind != before.kind and "oven" in (new.kind, before.kind):
            message = "what is an oven stays one, and nothing becomes one: make a new place"
            raise BadInput(f"kind: {message}.", [FieldError("kind", message)])
        who = None if person is None else person_code(person, now)
        why = reason or NO_REASON
        air = _air(new)
        if air != _newest_air(record):
            place_table.set_air(code, air, now, recorded_at=now, person=who)
        corrections = {
            "name": new.name,
            "kind": new.kind,
            "oven_max_c": new.max_temp_c,
            "oven_max_rh_pct": new.max_rh_pct,
        }
        after = _place(
            place_table.update_place(code, corrections, reason=why, recorded_at=now, person=who)
        )
        traces.trace(
            "place",
            code,
            {name: getattr(before, name) for name in _AIR},
            {name: getattr(after, name) for name in _AIR},
            person=who,
            reason=why,
            recorded_at=now,
        )
        return after


def place(code: str) -> Place:
    """Return a place as it is now.

    Raises:
        NotFound: there is none of this code.
    """
    return _place(place_table.place(code))


def places(after: str | None = None, limit: int = 100) -> list[Place]:
    """Return places by code, those after `after` only."""
    return [_place(record) for record in place_table.places(after, limit)]


# -- from and to the store ---------------------------------------------------------------------


def _part_from(answer: Mapping[str, Any]) -> PartFacts:
    bake = answer["maker_bake"]
    return PartFacts(**{**answer, "maker_bake": None if bake is None else MakerBake(**bake)})


def _air(new: NewPlace) -> AirSettings:
    given = {
        setting: hundredths_up(getattr(new, name))
        for name, setting in _AIR.items()
        if getattr(new, name) is not None
    }
    return AirSettings(**given)


def _newest_air(record: PlaceRecord) -> AirSettings:
    settings = record.settings
    return settings.changes[-1][1] if settings.changes else settings.first


def _place(record: PlaceRecord) -> Place:
    air = _newest_air(record)
    return Place(
        code=record.code,
        name=record.name,
        kind=record.kind,
        **{name: getattr(air, setting) / 100 for name, setting in _AIR.items()},
        max_temp_c=record.oven_max_c,
        max_rh_pct=record.oven_max_rh_pct,
    )


# -- sending twice -----------------------------------------------------------------------------


def _first_answer(request_id: str | None, content: JsonValue) -> JsonValue | None:
    """Return what was answered when the request was sent first; None if it is new."""
    if request_id is None:
        return None
    before = request_log.remembered(_uuid(request_id))
    if before is None:
        return None
    if before.scope != "catalog" or before.content_hash != content_hash(content):
        raise Conflict("This id was used for something else: make a new one.")
    return before.answer


def _remember(request_id: str | None, content: JsonValue, answer: JsonValue, now: int) -> None:
    if request_id is not None:
        request_log.remember(_uuid(request_id), "catalog", content_hash(content), 201, answer, now)


def _uuid(request_id: str) -> str:
    try:
        return str(UUID(request_id))
    except ValueError:
        message = "give a UUID, made anew for each request"
        raise BadInput(f"id: {message}.", [FieldError("id", message)]) from None
