"""Reads the demo's batches of boards and lives through their passes."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from msdtrack.exposure.events import Kind
from msdtrack.services import boards
from msdtrack.services.boards import NewBatch
from msdtrack.services.demo_scenario import offset_s
from msdtrack.services.event_recording import NewEvent

Step = tuple[int, Callable[[], None]]


@dataclass(frozen=True, slots=True)
class DemoBoards:
    """The batches of the demo.

    Args:
        rows: batches as they stand in the file.
        loaded_at: the moment that offsets count from.
        carriers, people, places: codes by the names inside the scenario; filled while it is lived
            through.
    """

    rows: Mapping[str, Any]
    loaded_at: int
    carriers: Mapping[str, str]
    people: Mapping[str, str]
    places: Mapping[str, str]

    def steps(self) -> Iterator[Step]:
        """Yield what happens, each with its moment."""
        for one in self.rows["batch"]:
            made: dict[str, str] = {}
            at = self._at(one["at"])
            yield at, partial(self._create, one, made, at)
            for event in one["events"]:
                at = self._at(event["at"])
                yield at, partial(self._happens, event, made, at)

    def _at(self, offset: str) -> int:
        return self.loaded_at + offset_s(offset)

    def _create(self, one: Mapping[str, Any], made: dict[str, str], at: int) -> None:
        new = NewBatch(
            one["name"], one["boards"], self.places[one["place"]], self.people[one["person"]]
        )
        made["code"] = boards.create(new, at)[0].code

    def _happens(self, event: Mapping[str, Any], made: Mapping[str, str], at: int) -> None:
        batch = made["code"]
        given = {name: event[name] for name in ("quantity", "peak_c", "last") if name in event}
        if "place" in event:
            given["place"] = self.places[event["place"]]
        placing = event["kind"] == Kind.PLACE_ON_BOARD
        new = NewEvent(
            id=str(uuid5(NAMESPACE_OID, f"demo boards {batch} {event['kind']} {at}")),
            carrier=self.carriers[event["carrier"]] if placing else "",
            kind=event["kind"],
            at=at,
            person=self.people[event["person"]],
            board=batch if placing else None,
            **given,
        )
        if placing:
            boards.place(batch, new, at)
        else:
            boards.record(batch, new, at, refuse_conflicts=True)


def read_boards(
    folder: Path,
    loaded_at: int,
    carriers: Mapping[str, str],
    people: Mapping[str, str],
    places: Mapping[str, str],
) -> DemoBoards:
    """Return the batches of the scenario; arguments as for `DemoBoards`."""
    rows = tomllib.loads((folder / "boards.toml").read_text("utf-8"))
    return DemoBoards(rows, loaded_at, carriers, people, places)
