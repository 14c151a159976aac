"""A workshop with scan stations, for the tests of the scans."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date
from uuid import uuid4

from msdtrack.exposure.facts import PartFacts
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import ACTIONS, make_action_code
from msdtrack.services import carrier_states, catalog, event_recording, people, scanning
from msdtrack.services.catalog import NewPlace
from msdtrack.services.receiving import NewCarrier, receive
from msdtrack.services.scanning import NewScan, ScanAnswer
from msdtrack.store.connection import close_store, open_store

NOW = 1_790_000_000
DAY_S = 86_400


class Floor:
    """A workshop with a scan station, and a clock that the test turns."""

    def __init__(self) -> None:
        self.now = NOW
        catalog.create_part(PartFacts("PRES-3", "3", body_mm=1.4), NOW)
        catalog.create_part(PartFacts("COND-5", "5", body_mm=1.0), NOW)
        catalog.create_part(PartFacts("OSC-1", "1", body_mm=1.0), NOW)
        catalog.create_part(
            PartFacts("MCU-3", "3", body_mm=1.4, carrier_max_c=150.0, max_bake_c=150.0), NOW
        )
        self.places = {
            kind: catalog.create_place(new, NOW)[0].code
            for kind, new in {
                "store": NewPlace(name="Goods in", kind="store"),
                "line": NewPlace(name="Line A", kind="line"),
                "oven": NewPlace(name="Big oven", kind="oven", max_temp_c=130.0),
                "dry oven": NewPlace(name="Dry oven", kind="oven", max_temp_c=60.0, max_rh_pct=5.0),
                "cabinet": NewPlace(
                    name="Dry cabinet 1", kind="cabinet", assumed_temp_c=25.0, assumed_rh_pct=4.0
                ),
            }.items()
        }
        self.ana = people.add_person("Ana", NOW).code

    def carrier(self, part: str = "PRES-3", **more: object) -> str:
        """Return the code of a carrier received a week ago in a good bag."""
        given: dict[str, object] = {
            "sealed_on": date(2026, 6, 1),
            "received_at": NOW - 7 * DAY_S,
            "place": self.places["store"],
            "kind": "tray",
        }
        new = NewCarrier(part=part, lot="L1", quantity=100, **(given | more))  # type: ignore[arg-type]
        return receive(new, NOW)[0].code

    def scan(self, code: str, station: str = "Bench", after_s: int = 5) -> ScanAnswer:
        """Scan a code, or an action by its name, some seconds after the scan before."""
        self.now += after_s
        if code.isascii() and code.isalnum() and code in ACTIONS:
            code = make_action_code(code)
        return scanning.scan(NewScan(str(uuid4()), station, code), self.now, UTC)

    def scans(self, *codes: str) -> ScanAnswer:
        """Scan one after the other and return the last answer."""
        return [self.scan(code) for code in codes][-1]

    def state(self, code: str) -> CarrierState:
        """Return a carrier's state now."""
        return carrier_states.state(code, self.now)

    def kinds(self, code: str) -> list[str]:
        """Return the kinds of the events on a carrier's log that stand."""
        return [str(line.stands.kind) for line in event_recording.log_of(code) if line.stands]


def opened_floor(database_url: str) -> Iterator[Floor]:
    """Yield the workshop on a fresh database."""
    open_store(database_url)
    yield Floor()
    close_store()


def refused(answer: ScanAnswer) -> bool:
    """Return whether an answer refuses, with words and a title."""
    return answer.tone == "refuse" and bool(answer.title and answer.message)
