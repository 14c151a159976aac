"""Reads the demo's sample checks and lives through them."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from msdtrack.errors import MsdtrackError
from msdtrack.printing.codes import ACTIONS, make_action_code
from msdtrack.services import measurements, sample_checks, sample_decisions, sample_scans
from msdtrack.services.demo_scenario import offset_s
from msdtrack.services.sample_checks import NewCheck
from msdtrack.services.sample_scans import CheckScan
from msdtrack.services.value_tables import read_values

Step = tuple[int, Callable[[], None]]


@dataclass(frozen=True, slots=True)
class DemoChecks:
    """The checks of the demo.

    Args:
        rows: limits and checks as they stand in the file.
        loaded_at: the moment that offsets count from.
        carriers, people: codes by the names inside the scenario; filled while it is lived through.
    """

    rows: Mapping[str, Any]
    loaded_at: int
    carriers: Mapping[str, str]
    people: Mapping[str, str]

    def steps(self) -> Iterator[Step]:
        """Yield what happens, each with its moment."""
        for one in self.rows["limits"]:
            yield self._at(one["at"]), partial(self._set_limits, one)
        for one in self.rows["check"]:
            made: dict[str, int] = {}
            yield self._at(one["at"]), partial(self._plan, one, made)
            for offset, what in one["scans"]:
                yield self._at(offset), partial(self._scan, one, made, self._at(offset), what)
            if "measured_at" in one:
                yield self._at(one["measured_at"]), partial(self._measure, one, made)

    def _at(self, offset: str) -> int:
        return self.loaded_at + offset_s(offset)

    def _set_limits(self, one: Mapping[str, Any]) -> None:
        measurements.set_limits(
            one["part"],
            one["variant"],
            one["table"],
            self.people[one["person"]],
            one["reason"],
            self._at(one["at"]),
        )

    def _plan(self, one: Mapping[str, Any], made: dict[str, int]) -> None:
        at = self._at(one["at"])
        new = NewCheck(
            part=one["part"],
            lot=one["lot"],
            variant=one["variant"],
            lot_size=sample_checks.lot(one["part"], one["lot"], at).pieces,
            level=one["level"],
            aql_pct=one["aql_pct"],
            sample_size=one["sample_size"],
            accept=one["accept"],
            bags=one["bags"],
            person=self.people[one["person"]],
        )
        record, _ = sample_checks.create(new, at)
        made["number"] = record.number

    def _scan(self, one: Mapping[str, Any], made: Mapping[str, int], at: int, what: str) -> None:
        if what.startswith("pieces "):
            taken = sample_checks.check(made["number"], at).pieces
            code = taken[int(what.removeprefix("pieces ")) - 1].code
        else:
            code = make_action_code(what) if what in ACTIONS else self.carriers.get(what, what)
        id_ = str(uuid5(NAMESPACE_OID, f"demo check {made['number']} {at}"))
        scan = CheckScan(id_, made["number"], code, at)
        answer = sample_scans.scan(scan, at, self.people[one["person"]])
        if answer.tone == "refuse":
            raise MsdtrackError(f"checks.toml, lot {one['lot']}, {what}: {answer.message}")

    def _measure(self, one: Mapping[str, Any], made: Mapping[str, int]) -> None:
        at, channels = self._at(one["measured_at"]), sample_checks.progress(made["number"])
        pieces = read_values(one["table"], channels.record.channels)
        person = self.people[one["person"]]
        sample_decisions.save_values(made["number"], pieces, person, at)


def read_checks(
    folder: Path, loaded_at: int, carriers: Mapping[str, str], people: Mapping[str, str]
) -> DemoChecks:
    """Return the checks of the scenario; arguments as for `DemoChecks`."""
    rows = tomllib.loads((folder / "checks.toml").read_text("utf-8"))
    return DemoChecks(rows, loaded_at, carriers, people)
