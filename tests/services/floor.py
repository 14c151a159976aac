"""A small factory that random things happen to, for the tests of the standings."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

from hypothesis import strategies as st

from msdtrack.errors import MsdtrackError
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import boards, catalog, climate, event_recording, people, policies, receiving
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.receiving import NewCarrier
from msdtrack.store import carriers, event_log
from msdtrack.store.connection import write

T0 = 1_790_000_000 - 1_790_000_000 % 86400
MIN, HOUR = 60, 3600

PARTS = (
    PartFacts("BL-1", "1", body_mm=1.4),
    PartFacts("BL-2", "2", body_mm=2.5, compound_confirmed=True),
    PartFacts("BL-3", "3", body_mm=1.4, compound_confirmed=True),
    PartFacts("BL-3S", "3", body_mm=None, label_floor_life_hours=12),
    PartFacts("BL-4", "4", body_mm=0.9, label_floor_life_hours=10),
    PartFacts("BL-5A", "5a", body_mm=2.0, compound_confirmed=True),
    PartFacts("BL-6", "6", body_mm=2.0, label_floor_life_hours=6),
)
PLACES = (
    ("Bench", "floor"),
    ("Line", "line"),
    ("Cabinet", "cabinet"),
    ("Tower", "cabinet"),
    ("Oven", "oven"),
    ("Store", "store"),
)
DRY = {"5": "dry", "10": "dry", "60": "dry"}
CARDS = (DRY, DRY, DRY, {"5": "humid", "10": "humid", "60": "dry"}, {"5": "missing"})

ROOM = (
    (2200, 5000),
    (2200, 5200),
    (2450, 5700),
    (2900, 5900),
    (2600, 6500),
    (3100, 7000),
    (3600, 5000),
)
DRY_AIR = ((2200, 100), (2200, 300), (2200, 450))
DAMP_AIR = ((2200, 520), (2200, 950), (2200, 1200), (2200, 4500))
HOT = ((12500, 100), (12700, 100), (4200, 100), (3000, 3000))


class Floor:
    """The factory in the open store, and its clock.

    Args:
        draw: what decides.
    """

    def __init__(self, draw: Callable[[st.SearchStrategy[Any]], Any]) -> None:
        self.draw = draw
        self.now = T0
        self.did: list[str] = []
        for part in PARTS:
            catalog.create_part(part, self.now)
        self.places = {
            name: catalog.create_place(catalog.NewPlace(name=name, kind=kind), self.now)[0].code
            for name, kind in PLACES
        }
        people.add_person("Ines", self.now)
        self.carriers = [self._receive() for _ in range(self.one(2, 3, 5))]
        batch = boards.NewBatch("logger, top side", 20, self.places["Line"])
        self.batch = boards.create(batch, self.now)[0].code
        self.newest = dict.fromkeys(self.places, self.now)

    def one(self, *of: Any) -> Any:
        """Draw one of some values."""
        return self.draw(st.sampled_from(of))

    def _receive(self) -> str:
        new = NewCarrier(
            part=self.one(*PARTS).number,
            lot="L-1",
            quantity=100,
            kind="reel",
            bag=self.one(None, None, "BAG"),
            sealed_on=self.one(date(2026, 9, 1), date(2026, 9, 1), None),
            shelf_life_ends=self.one(None, None, None, date(2026, 9, 22)),
            place=self.one(None, *[self.places[name] for name, _ in PLACES[:3]]),
            received_at=self.now - HOUR,
        )
        return receiving.receive(new, self.now)[0].code

    def step(self) -> None:
        """Let something happen."""
        happen = self.one(
            *[self._event] * 8,
            *[self._readings] * 8,
            *[self._time] * 3,
            self._late_reading,
            self._late_reading,
            self._correction,
            self._settings,
            self._part,
            self._policy,
            self._board,
            self._carrier,
        )
        try:
            happen()
        except MsdtrackError as error:
            self.did.append(f"refused: {error.message}")

    def _time(self) -> None:
        self.now += self.one(
            1, 59, 7 * MIN, 25 * MIN, 31 * MIN, 2 * HOUR, 9 * HOUR, 40 * HOUR, 80 * HOUR
        )
        self.did.append(f"it is {self.now - T0}")

    def _event(self) -> None:
        kind = self.one(
            *["open"] * 5, *["close"] * 2, *["move"] * 5, "bake_start", "bake_start", "bake_end",
            "split", "take", "hold", "release", "scrap", "join", "reflow",
        )  # fmt: skip
        what: dict[str, Any] = {}
        if kind == "open":
            what = {"hic": self.one(*CARDS)}
        elif kind == "close":
            what = {
                "desiccant": self.one("fresh", "fresh", "reused"),
                "new_hic": "fresh",
                "seal": self.one("heat", "clip"),
            }
        elif kind == "move":
            what = {
                "place": self.places[
                    self.one("Bench", "Line", "Cabinet", "Cabinet", "Tower", "Oven")
                ]
            }
        elif kind == "bake_start":
            what = {"place": self.places["Oven"], "temp_c": self.one(125.0, 125.0, 40.0, 70.0)}
        elif kind in ("split", "take"):
            what = {"quantity": self.one(1, 40, 100)}
        elif kind in ("hold", "release"):
            what = {"reason": "asked"}
        elif kind == "reflow":
            what = {"peak_c": 245.0, "last": self.one(True, False)}
        elif kind == "join":
            what = {"into": self.one(*self.carriers)}
        at = self.now - self.one(0, 0, 0, 30, 20 * MIN, 3 * HOUR, 30 * HOUR, -90)
        self._record(
            NewEvent(str(uuid4()), self.one(*self.carriers), kind, at, person="Ines", **what)
        )

    def _record(self, new: NewEvent) -> None:
        said = {
            n: v for n in new.__dataclass_fields__ if (v := getattr(new, n)) not in (None, False)
        }
        self.did.append(f"{self.now - T0}: {said | {'at': (new.at or 0) - T0}}")
        (done,) = event_recording.record([new], self.now)
        if done.child is not None:
            self.carriers.append(done.child)

    def _correction(self) -> None:
        carrier = self.one(*self.carriers)
        log = event_log.log(carrier)
        if not log:
            return
        event = self.one(*log)
        what: dict[str, Any] = {"void": True}
        if self.draw(st.booleans()):
            what = {"fields": {"at": max(T0, event.at - self.one(-HOUR, 600, 5 * HOUR))}}
        self._record(
            NewEvent(
                str(uuid4()),
                carrier,
                "correct",
                person="Ines",
                reason="wrong",
                event=event.id,
                **what,
            )
        )

    def _board(self) -> None:
        new = NewEvent(
            str(uuid4()), self.one(*self.carriers), "place_on_board", self.now, person="Ines",
            quantity=5, board=self.batch,
        )  # fmt: skip
        self._record(new)

    def _air_of(self, name: str) -> tuple[int, int]:
        if name == "Oven":
            return self.one(*HOT)
        if name in ("Cabinet", "Tower"):
            return self.one(*DRY_AIR, *DRY_AIR, *DAMP_AIR)
        return self.one(*ROOM)

    def _readings(self) -> None:
        """Readings that only go on, often of every place."""
        names = self.one(
            ("Bench",), ("Cabinet",), ("Oven",), tuple(self.places), tuple(self.places)
        )
        rows = []
        self.now += self.one(0, 60, 300, 20 * MIN)
        for name in names:
            temp, rh = self._air_of(name)
            at = self.newest[name]
            gap = self.one(60, 300, 25 * MIN, 40 * MIN)
            if self.now - at > 12 * HOUR:
                at = self.now - self.one(HOUR, 5 * HOUR)
            while at + gap <= self.now and len(rows) < 300:
                at += gap
                rows.append(NewReading(self.places[name], at, temp / 100, rh / 100))
            if self.one(True, False):
                at = max(at, self.now + self.one(0, -5, 20))
                rows.append(NewReading(self.places[name], at, temp / 100, rh / 100))
            self.newest[name] = max(self.newest[name], at)
        self._add(rows)

    def _late_reading(self) -> None:
        name = self.one(*self.places)
        temp, rh = self._air_of(name)
        at = self.now - self.one(1, 61, 400, HOUR, 7 * HOUR, 30 * HOUR, 90 * HOUR)
        rows = [
            NewReading(self.places[name], at - i * 300, temp / 100, rh / 100)
            for i in range(self.one(1, 4))
        ]
        self._add(rows, replaces=True)

    def _add(self, rows: list[NewReading], replaces: bool = False) -> None:
        self.did.append(f"{self.now - T0}: readings {[(r.place, r.at - T0, *r[2:]) for r in rows]}")
        climate.add_readings(rows, self.now, replaces)

    def _settings(self) -> None:
        name = self.one(*self.places)
        changes = self.one(
            {"assumed_rh_pct": 40.0}, {"tolerance_rh_pct": 8.0}, {"assumed_rh_pct": 4.0}
        )
        self.did.append(f"{self.now - T0}: {name} {changes}")
        catalog.amend_place(self.places[name], changes, self.now)

    def _part(self) -> None:
        number = self.one(*PARTS).number
        changes = self.one(
            {"body_mm": 2.6},
            {"compound_confirmed": True},
            {"msl": "3"},
            {"label_floor_life_hours": 20.0},
        )
        self.did.append(f"{self.now - T0}: {number} {changes}")
        catalog.amend_part(number, changes, self.now)

    def _carrier(self) -> None:
        code = self.one(*self.carriers)
        changes = self.one(
            {"sealed_on": date(2026, 8, 1)}, {"body_mm": 1.0}, {"place": self.places["Line"]}
        )
        self.did.append(f"{self.now - T0}: {code} {changes}")
        with write():
            carriers.update_carrier(code, changes, reason="label read wrong", recorded_at=self.now)

    def _policy(self) -> None:
        name = self.one("credit", "pause_levels_4_to_5a")
        value = self.draw(st.booleans())
        self.did.append(f"{self.now - T0}: {name} {value}")
        policies.set_policy(name, value, self.now, "Ines", "agreed")
