"""Invented parts, places, carriers and events to fill a store with."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from typing import Any

from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import AirSettings, MakerBake, PartFacts
from msdtrack.store import carriers, catalog, places, reading_log
from msdtrack.store.connection import opened, write
from msdtrack.store.database_url import run
from msdtrack.store.reading_log import Reading
from msdtrack.store.records import CarrierRecord, ReadingOutcome

T0 = 1_750_000_000
"""A moment that the tests count from, seconds UTC."""

HOUR_S = 3600

PRESSURE_SENSOR = PartFacts(
    number="1001-A",
    msl="3",
    description="pressure sensor",
    body_mm=1.4,
    family="QFP",
    pins=64,
    square=True,
    compound_confirmed=True,
    label_floor_life_hours=72.0,
    carrier_max_c=65.0,
    max_bake_c=125.0,
    peak_body_c=260.0,
    maker_bake=MakerBake(90.0, 24.0, 5.0, once=True),
)

CARRIER = CarrierRecord(
    code="CARRIER1",
    part="1001-A",
    lot="L-77",
    quantity=400,
    kind="tray",
    received_at=T0,
    recorded_at=T0 + 5,
    bag="BAG1",
    sealed_on=date(2025, 3, 1),
    shelf_life_ends=date(2026, 3, 1),
    place="STORE1",
)


def fill(*more: CarrierRecord) -> None:
    """Store one part, two people, a store, a line and a cabinet, a carrier, and more carriers."""
    with write():
        catalog.insert_part(PRESSURE_SENSOR, T0)
        catalog.insert_person("W1", "Ana Sample", T0)
        catalog.insert_person("W2", "Bo Sample", T0)
        for code, kind in (("STORE1", "store"), ("LINE1", "line"), ("CABINET1", "cabinet")):
            places.insert_place(code, code.title(), kind, T0, AirSettings())
        for record in (CARRIER, *more):
            carriers.insert_carrier(record)


def write_and_fail(work: Callable[[], object]) -> None:
    """Do the work in a write that then fails with ZeroDivisionError."""
    with write():
        work()
        raise ZeroDivisionError


@contextmanager
def full_disk() -> Iterator[None]:
    """Let SQLite find no page more than there are."""
    with write():
        run(opened(), "PRAGMA max_page_count = 1")
    yield
    with write():
        run(opened(), "PRAGMA max_page_count = 1000000")


def another(code: str, **changes: Any) -> CarrierRecord:
    """Return the sample carrier under another code, with changes."""
    return replace(CARRIER, code=code, **changes)


def event(kind: Kind = Kind.OPEN, at: int = T0, carrier: str = "CARRIER1", **more: Any) -> Event:
    """Return an event that is not on the log yet."""
    return Event(
        id=more.pop("id", str(uuid.uuid4())),
        carrier=carrier,
        kind=kind,
        at=at,
        seq=0,
        recorded_at=0,
        **more,
    )


def add_readings(
    place: str, readings: Sequence[Reading], received_at: int, *, replaces: bool = False
) -> ReadingOutcome:
    """Store readings row by row; inside a write."""
    seconds, temps, humidities = zip(*readings, strict=True) if readings else ((), (), ())
    return reading_log.add_columns(place, (seconds, temps, humidities), received_at, replaces)
