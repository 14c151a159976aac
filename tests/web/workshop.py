"""A small workshop to look at: places, parts, people and carriers in every state, made through the
services, dated back from a moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import uuid4

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import (
    alarm_rules,
    boards,
    catalog,
    climate,
    event_recording,
    people,
    receiving,
)
from msdtrack.services.boards import NewBatch
from msdtrack.services.catalog import NewPlace
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.receiving import NewCarrier

HOUR_S = 3600
DRY = {"5": "dry", "10": "dry", "60": "dry"}


@dataclass(frozen=True)
class Workshop:
    """What is in the workshop.

    Args:
        now: the moment everything is dated back from.
        line, store, cabinet, oven, bench: codes of places; the bench has no sensor.
        people: badge codes.
        usable: opened 2 hours ago at the line.
        short: level 5a with little time left at the line.
        expired: opened 9 days ago at the line.
        opened: opened 10 minutes ago.
        closed: never opened, in the store.
        drying: level 5, an hour out, in the cabinet since.
        baking: in the oven.
        unknown: received without a seal date.
    """

    now: int
    line: str
    store: str
    cabinet: str
    oven: str
    bench: str
    people: tuple[str, ...]
    usable: str
    short: str
    expired: str
    opened: str
    closed: str
    drying: str
    baking: str
    unknown: str

    @property
    def carriers(self) -> tuple[str, ...]:
        """Every carrier."""
        return (
            self.usable, self.short, self.expired, self.opened, self.closed, self.drying,
            self.baking, self.unknown,
        )  # fmt: skip


def record(carrier: str, kind: str, at: int, now: int, **fields: object) -> str:
    """Record one event through the service and return its id."""
    event = NewEvent(id=str(uuid4()), carrier=carrier, kind=kind, at=at, **fields)  # type: ignore[arg-type]
    event_recording.record([event], now)
    return event.id


def placed_batch(shop: Workshop, carrier: str) -> str:
    """Begin a batch of 40 boards at the line with parts of a carrier, placed an hour ago."""
    code = boards.create(NewBatch("Pressure board, top", 40, shop.line), shop.now)[0].code
    at = shop.now - HOUR_S
    record(carrier, "place_on_board", at, shop.now, quantity=40, board=code)
    return code


def fill(now: int) -> Workshop:
    """Put the workshop into the open, empty store."""
    for facts in (
        PartFacts("WB-PRS-3", "3", "Pressure front end", body_mm=1.4, family="TQFP", pins=48),
        PartFacts("WB-CND-5", "5", "Conductivity front end", body_mm=2.0, carrier_max_c=140),
        PartFacts("WB-MEM-5A", "5a", "Log memory", body_mm=1.0),
    ):
        catalog.create_part(facts, now)
    made = {
        name: catalog.create_place(NewPlace(name=name, kind=kind), now)[0].code
        for name, kind in (
            ("Line 1", "line"), ("Store", "store"), ("Cabinet", "cabinet"), ("Oven", "oven"),
            ("Bench", "floor"),
        )
    }  # fmt: skip
    line, store, cabinet = made["Line 1"], made["Store"], made["Cabinet"]
    badges = tuple(people.add_person(name, now).code for name in ("Mira", "Jonas"))
    times = range(now - 10 * 24 * HOUR_S, now + 1, 1200)
    for place, temp_c, rh_pct in ((line, 24.5, 47.0), (store, 22.0, 40.0), (cabinet, 23.0, 2.0)):
        result = climate.add_readings([NewReading(place, at, temp_c, rh_pct) for at in times], now)
        assert not result.refused

    def receive(part: str, lot: str, sealed: bool = True, kind: str = "reel") -> str:
        sealed_on = datetime.fromtimestamp(now, UTC).date() - timedelta(days=40)
        new = NewCarrier(
            part=part,
            lot=lot,
            quantity=500,
            kind=kind,
            sealed_on=sealed_on if sealed else None,
            place=store,
            received_at=now - 20 * 24 * HOUR_S,
        )
        return receiving.receive(new, now)[0].code

    def opened(part: str, lot: str, hours_ago: float, **given: object) -> str:
        code = receive(part, lot, **given)  # type: ignore[arg-type]
        at = now - round(hours_ago * HOUR_S)
        record(code, "open", at, now, place=line, hic=DRY, person=badges[0])
        return code

    drying = opened("WB-CND-5", "D-1", 5)
    record(drying, "move", now - 4 * HOUR_S, now, place=cabinet, person=badges[1])
    baking = opened("WB-CND-5", "K-1", 60, kind="tray")
    record(baking, "bake_start", now - HOUR_S, now, place=made["Oven"], temp_c=125.0)
    shop = Workshop(
        now=now,
        line=line,
        store=store,
        cabinet=cabinet,
        oven=made["Oven"],
        bench=made["Bench"],
        people=badges,
        usable=opened("WB-PRS-3", "U-1", 2),
        short=opened("WB-MEM-5A", "S-1", 21),
        expired=opened("WB-PRS-3", "E-1", 9 * 24),
        opened=opened("WB-PRS-3", "O-1", 1 / 6),
        closed=receive("WB-PRS-3", "B-1"),
        drying=drying,
        baking=baking,
        unknown=receive("WB-PRS-3", "N-1", sealed=False),
    )
    alarm_rules.evaluate(now)
    return shop
