"""Places and their air settings, which hold from a date."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from msdtrack.errors import Conflict, NotFound
from msdtrack.exposure.facts import AirSettings, Dated
from msdtrack.store import models
from msdtrack.store.connection import touched, writing
from msdtrack.store.records import PlaceRecord
from msdtrack.store.seldom import seldom_changed
from msdtrack.store.traces import trace

_CORRECTABLE = ("name", "kind", "oven_max_c", "oven_max_rh_pct")
_AIR = tuple(field.name for field in fields(AirSettings))


def insert_place(
    code: str,
    name: str,
    kind: str,
    created_at: int,
    air: AirSettings,
    *,
    oven_max_c: float | None = None,
    oven_max_rh_pct: float | None = None,
) -> PlaceRecord:
    """Store a place and return it. Its air settings hold for all earlier time too.

    Raises:
        Conflict: the code is taken.
    """
    writing()
    table = models.Place
    if table.select(table.id).where(table.code == code).exists():
        raise Conflict(f"{code} is a place already.")
    table.insert(
        code=code,
        name=name,
        kind=kind,
        created_at=created_at,
        oven_max_c=oven_max_c,
        oven_max_rh_pct=oven_max_rh_pct,
    ).execute()
    _insert_air(code, air, created_at, created_at, None)
    return place(code)


def update_place(
    code: str,
    changes: Mapping[str, object],
    *,
    reason: str,
    recorded_at: int,
    person: str | None = None,
) -> PlaceRecord:
    """Correct a place's name, kind or oven limits, and return it as it is now.

    Args:
        changes: new values of name, kind, oven_max_c or oven_max_rh_pct.

    Raises:
        NotFound: there is no such place.
        BadInput: a name is none that can be corrected.
    """
    writing()
    before = place(code)
    differing = trace(
        "place",
        code,
        {name: getattr(before, name) for name in _CORRECTABLE},
        changes,
        person=person,
        reason=reason,
        recorded_at=recorded_at,
    )
    if differing:
        models.Place.update(differing).where(models.Place.code == code).execute()
        touched().everything |= "kind" in differing
    return place(code)


def set_air(
    code: str, air: AirSettings, from_at: int, *, recorded_at: int, person: str | None = None
) -> PlaceRecord:
    """Set a place's assumed air and tolerance from a moment on, and return the place.

    Of two settings from the same moment the one recorded last holds.

    Raises:
        NotFound: there is no such place.
    """
    writing()
    place(code)
    _insert_air(code, air, from_at, recorded_at, person)
    note = touched()
    note.at = max(note.at, recorded_at)
    note.places[code] = min(from_at, note.places.get(code, from_at))
    return place(code)


def place(code: str, known_at: int | None = None) -> PlaceRecord:
    """Return a place.

    Args:
        known_at: leave out air settings recorded later; None: leave out none.

    Raises:
        NotFound: there is no such place.
    """
    found = _by_code(known_at).get(code)
    if found is None:
        raise NotFound(f"There is no place {code}.")
    return found


def places(
    after: str | None = None,
    limit: int = 1000,
    known_at: int | None = None,
) -> list[PlaceRecord]:
    """Return places by code.

    Args:
        after: only codes after this one.
        known_at: leave out air settings recorded later; None: leave out none.
    """
    found = _by_code(known_at).values()
    return [record for record in found if after is None or record.code > after][:limit]


def _by_code(known_at: int | None) -> Mapping[str, PlaceRecord]:
    """Return every place by its code, in the order of the codes."""
    if known_at is None:
        return seldom_changed("places", lambda: _read(None))
    return _read(known_at)


def _read(known_at: int | None) -> Mapping[str, PlaceRecord]:
    found = models.dicts(models.Place.select())
    air = _air_settings([row["code"] for row in found], known_at)
    return {row["code"]: _record(row, air) for row in sorted(found, key=lambda row: row["code"])}


def _insert_air(
    code: str, air: AirSettings, from_at: int, recorded_at: int, person: str | None
) -> None:
    models.PlaceSetting.insert(
        asdict(air)
        | {"place": code, "from_at": from_at, "recorded_at": recorded_at, "person": person}
    ).execute()


def _air_settings(codes: list[str], known_at: int | None) -> dict[str, Dated[AirSettings]]:
    table = models.PlaceSetting
    first: dict[str, AirSettings] = {}
    changes: dict[str, dict[int, AirSettings]] = {code: {} for code in codes}
    for row in models.having(table, "place", codes, order_by="id"):
        air = AirSettings(**{name: row[name] for name in _AIR})
        if row["place"] not in first:
            first[row["place"]] = air
        elif known_at is None or row["recorded_at"] <= known_at:
            changes[row["place"]][row["from_at"]] = air
    return {code: Dated(first[code], tuple(sorted_changes(changes[code]))) for code in codes}


def sorted_changes(by_moment: Mapping[int, Any]) -> list[tuple[int, Any]]:
    """Return dated values by moment."""
    return sorted(by_moment.items(), key=lambda change: change[0])


def _record(row: Mapping[str, Any], air: Mapping[str, Dated[AirSettings]]) -> PlaceRecord:
    return PlaceRecord(
        row["code"],
        row["name"],
        row["kind"],
        air[row["code"]],
        row["oven_max_c"],
        row["oven_max_rh_pct"],
    )
