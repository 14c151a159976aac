"""Reads the demo's scenario files, whose times are offsets from the moment the demo is loaded."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from msdtrack.errors import BadInput
from msdtrack.exposure.clock import day
from msdtrack.services.demo_air import SimulatedAir, Spell
from msdtrack.standard import indicator

_UNIT_S = {"d": 86_400, "h": 3_600, "min": 60}
_OFFSET = re.compile(r"(-?)((?:\d+(?:d|h|min)\s*)+)")
_PIECE = re.compile(r"(\d+)(d|h|min)")


@dataclass(frozen=True, slots=True)
class DemoPlace:
    """A place of the demo; `key` is its name inside the scenario."""

    key: str
    name: str
    kind: str
    air: SimulatedAir
    max_temp_c: float | None
    max_rh_pct: float | None


@dataclass(frozen=True, slots=True)
class DemoCarrier:
    """A carrier of the demo; `key`, `bag` and `place` are names inside the scenario."""

    key: str
    part: str
    lot: str
    quantity: int
    kind: str
    bag: str | None
    sealed_on: date | None
    shelf_life_ends: date | None
    received_at: int
    place: str | None
    person: str | None
    msl: str | None
    label_floor_life_hours: float | None


@dataclass(frozen=True, slots=True)
class DemoEvent:
    """What somebody did in the demo; carrier, place, person, child and the event corrected are
    names inside the scenario."""

    at: int
    carrier: str
    kind: str
    name: str | None
    person: str | None
    place: str | None
    hic: Mapping[str, str] | None
    only_this: bool
    desiccant: str | None
    new_hic: str | None
    seal: str | None
    temp_c: float | None
    quantity: int | None
    child: str | None
    reason: str | None
    corrects: str | None
    corrected_at: int | None


@dataclass(frozen=True, slots=True)
class Scenario:
    """The demo workshop as of its loading.

    Args:
        parts_csv: the parts, as `importing.import_parts` reads them.
        events: in the order of the file.
        readings_from: when the sensors begin to send.
        step_s: how often they send.
        alarms_from, alarms_every_s: when the alarms are looked at before the loading.
        rounds: (moment, who) acknowledges every active alarm.
    """

    site_name: str
    people: tuple[str, ...]
    places: tuple[DemoPlace, ...]
    parts_csv: str
    carriers: tuple[DemoCarrier, ...]
    events: tuple[DemoEvent, ...]
    readings_from: int
    step_s: int
    alarms_from: int
    alarms_every_s: int
    rounds: tuple[tuple[int, str], ...]


def offset_s(text: str) -> int:
    """Return an offset such as "-3d 4h 10min" in seconds.

    Raises:
        BadInput: it is none.
    """
    match = _OFFSET.fullmatch(text.strip())
    if match is None:
        raise BadInput(f'{text!r} is no offset like "-3d 4h 10min".')
    length = sum(int(number) * _UNIT_S[unit] for number, unit in _PIECE.findall(match[2]))
    return -length if match[1] else length


def site_name(folder: Path) -> str:
    """Return the name of the demo's site."""
    return str(_workshop(folder)["site_name"])


def read_scenario(folder: Path, loaded_at: int) -> Scenario:
    """Return the scenario with its offsets counted from `loaded_at`, seconds UTC.

    Raises:
        BadInput: a file says what can't be; its name and line are given.
    """
    workshop = _workshop(folder)
    places, step_s = read_sensors(folder, loaded_at)
    carriers = _rows(folder / "carriers.csv", _carrier, loaded_at)
    events = _rows(folder / "events.csv", _event, loaded_at)
    return Scenario(
        site_name=workshop["site_name"],
        people=tuple(workshop["people"]),
        places=places,
        parts_csv=(folder / "parts.csv").read_text("utf-8"),
        carriers=tuple(carriers),
        events=tuple(events),
        readings_from=loaded_at + offset_s(workshop["readings_from"]),
        step_s=step_s,
        alarms_from=loaded_at + offset_s(workshop["alarms_from"]),
        alarms_every_s=60 * workshop["alarms_every_min"],
        rounds=tuple((loaded_at + offset_s(one["at"]), one["person"]) for one in workshop["round"]),
    )


def read_sensors(folder: Path, loaded_at: int) -> tuple[tuple[DemoPlace, ...], int]:
    """Return the places, and the seconds between two readings of their sensors."""
    workshop = _workshop(folder)
    places = tuple(_place(row, loaded_at) for row in workshop["place"])
    return places, 60 * workshop["reading_every_min"]


def _workshop(folder: Path) -> dict[str, Any]:
    return tomllib.loads((folder / "workshop.toml").read_text("utf-8"))


def _place(row: dict[str, Any], loaded_at: int) -> DemoPlace:
    def moment(text: str) -> int:
        return loaded_at + offset_s(text)

    spells = tuple(
        Spell(
            start=moment(spell["from"]),
            end=moment(spell["to"]),
            ramp_s=60 * spell["ramp_min"],
            temp_c=spell.get("temp_c"),
            rh_pct=spell.get("rh_pct"),
            every_s=offset_s(spell["every"]) if "every" in spell else None,
        )
        for spell in row.get("spell", ())
    )
    gaps = tuple((moment(gap["from"]), moment(gap["to"])) for gap in row.get("gap", ()))
    return DemoPlace(
        key=row["key"],
        name=row["name"],
        kind=row["kind"],
        air=SimulatedAir(name=row["key"], spells=spells, gaps=gaps, **row["air"]),
        max_temp_c=row.get("max_temp_c"),
        max_rh_pct=row.get("max_rh_pct"),
    )


def _rows(path: Path, make: Any, loaded_at: int) -> list[Any]:
    made = []
    reader = csv.DictReader(io.StringIO(path.read_text("utf-8")))
    for row in reader:
        try:
            made.append(make({k: v.strip() for k, v in row.items() if v}, loaded_at))
        except (KeyError, ValueError, AttributeError, BadInput) as error:
            raise BadInput(f"{path.name}, line {reader.line_num}: {error}") from error
    return made


def _carrier(row: dict[str, str], loaded_at: int) -> DemoCarrier:
    return DemoCarrier(
        key=row["carrier"],
        part=row["part"],
        lot=row["lot"],
        quantity=int(row["quantity"]),
        kind=row["kind"],
        bag=row.get("bag"),
        sealed_on=_day(row.get("sealed"), loaded_at),
        shelf_life_ends=_day(row.get("shelf_life_ends"), loaded_at),
        received_at=loaded_at + offset_s(row["received"]),
        place=row.get("place"),
        person=row.get("person"),
        msl=row.get("msl"),
        label_floor_life_hours=_number(row.get("label_floor_life_hours")),
    )


def _event(row: dict[str, str], loaded_at: int) -> DemoEvent:
    corrected = row.get("corrected_at")
    quantity = row.get("quantity")
    return DemoEvent(
        at=loaded_at + offset_s(row["at"]),
        carrier=row["carrier"],
        kind=row["kind"],
        name=row.get("name"),
        person=row.get("person"),
        place=row.get("place"),
        hic=_card(row["hic"]) if "hic" in row else None,
        only_this=row.get("only_this") == "yes",
        desiccant=row.get("desiccant"),
        new_hic=row.get("new_hic"),
        seal=row.get("seal"),
        temp_c=_number(row.get("temp_c")),
        quantity=None if quantity is None else int(quantity),
        child=row.get("child"),
        reason=row.get("reason"),
        corrects=row.get("corrects"),
        corrected_at=None if corrected is None else loaded_at + offset_s(corrected),
    )


def _card(text: str) -> dict[str, str]:
    """Return the indicator card of "dry", "missing" or the spots that are humid: "5 10"."""
    if text in ("dry", "missing"):
        return dict.fromkeys(indicator.SPOTS, text)
    humid = text.split()
    return {spot: "humid" if spot in humid else "dry" for spot in indicator.SPOTS}


def _day(offset: str | None, loaded_at: int) -> date | None:
    return None if offset is None else day(loaded_at + offset_s(offset))


def _number(text: str | None) -> float | None:
    return None if text is None else float(text)
