"""Loads the demo workshop and keeps its simulated sensors sending.

Everything goes in through the services that people and sensors use, dated in the past and in the
order in which it would have happened, so that the demo can also be asked what was known when.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from uuid import NAMESPACE_OID, uuid5

from msdtrack.errors import MsdtrackError, Refused
from msdtrack.resources import resource_dir
from msdtrack.services import (
    alarm_rules,
    catalog,
    climate,
    event_recording,
    importing,
    people,
    receiving,
)
from msdtrack.services.demo_boards import read_boards
from msdtrack.services.demo_checks import read_checks
from msdtrack.services.demo_scenario import (
    DemoCarrier,
    DemoEvent,
    DemoPlace,
    Scenario,
    read_scenario,
    read_sensors,
    site_name,
)
from msdtrack.store import lease, reading_log, server
from msdtrack.store.connection import read, write

LONGEST_FILL_S = 14 * 86_400
"""After a longer pause the simulated sensors do not catch up with what lies before."""

_BATCH_S = 3_600
"""Readings of this long arrive together."""

_LOADED = "demo_loaded"

Step = tuple[int, Callable[[], None]]
"""When something happens in the demo's past, and what."""


def demo_site_name() -> str:
    """Return the name of the demo's site, which says that its air is simulated."""
    return site_name(_folder())


def loaded_at() -> int | None:
    """Return when the demo was loaded into the open database, None if it was not."""
    with read():
        return lease.watermark(_LOADED)


def load(now: int) -> bool:
    """Load the demo into the open database, all of it or nothing; return whether it was done now.

    A database that holds the demo already is left as it is.

    Args:
        now: the present moment, from which every time of the scenario counts.

    Raises:
        Refused: the database holds something else than the demo.
    """
    if loaded_at() is not None:
        return False
    if catalog.parts(limit=1) or catalog.places(limit=1):
        raise Refused(
            "This database holds parts that are not the demo's: the demo needs one of its own."
        )
    with write():
        _Loading(read_scenario(_folder(), now), now).run()
        lease.set_watermark(_LOADED, now)
    return True


def simulate_readings(now: int) -> int:
    """Let the simulated sensors send what is due up to `now`; return how many readings came.

    Calling it again at the same moment adds nothing.

    Raises:
        Refused: the open database does not hold the demo.
    """
    since = loaded_at()
    if since is None:
        raise Refused("This database does not hold the demo: nothing is simulated in it.")
    places, step_s = read_sensors(_folder(), since)
    with write():
        codes = {place.key: _place_code(place.key) for place in places}
        newest = reading_log.newest(codes.values(), at=now)
        rows: list[climate.NewReading] = []
        for place in places:
            last = newest.get(codes[place.key])
            start = now - LONGEST_FILL_S if last is None else max(last.at, now - LONGEST_FILL_S)
            rows += _readings(place, codes[place.key], start, now, step_s)
        return climate.add_readings(rows, now).accepted


class _Loading:
    """Lives through the scenario; codes are found by the names of the scenario's files."""

    def __init__(self, scenario: Scenario, now: int) -> None:
        self.scenario = scenario
        self.now = now
        self.places: dict[str, str] = {}
        self.people: dict[str, str] = {}
        self.carriers: dict[str, str] = {}
        self.bags: dict[str, str] = {}
        self.events: dict[str, str] = {}

    def run(self) -> None:
        self._put_on_file(min(one.received_at for one in self.scenario.carriers))
        # A sort keeps the order of what happens at one moment.
        for _, step in sorted(self._steps(), key=lambda step: step[0]):
            step()

    def _steps(self) -> Iterator[Step]:
        scenario = self.scenario
        for start in range(scenario.readings_from, self.now, _BATCH_S):
            end = min(start + _BATCH_S, self.now)
            yield end, partial(self._send_readings, start, end)
        for carrier in scenario.carriers:
            yield carrier.received_at, partial(self._receive, carrier)
        for n, event in enumerate(scenario.events):
            yield event.at, partial(self._record, event, n)
        yield from read_checks(_folder(), self.now, self.carriers, self.people).steps()
        yield from read_boards(_folder(), self.now, self.carriers, self.people, self.places).steps()
        for at in range(scenario.alarms_from, self.now + 1, scenario.alarms_every_s):
            yield at, partial(self._look_at_alarms, at)
        for at, person in scenario.rounds:
            yield at, partial(self._acknowledge, at, person)

    def _put_on_file(self, at: int) -> None:
        parts = importing.import_parts(self.scenario.parts_csv, at)
        if parts.refused:
            first = parts.refused[0]
            raise MsdtrackError(f"parts.csv, line {first.row}: {first.message}")
        for name in self.scenario.people:
            self.people[name] = people.add_person(name, at).code
        for place in self.scenario.places:
            new = catalog.NewPlace(
                name=place.name,
                kind=place.kind,
                max_temp_c=place.max_temp_c,
                max_rh_pct=place.max_rh_pct,
            )
            created, _ = catalog.create_place(new, at)
            self.places[place.key] = _place_code(place.key, created.code)

    def _send_readings(self, start: int, end: int) -> None:
        rows = [
            reading
            for place in self.scenario.places
            for reading in _readings(
                place, self.places[place.key], start, end, self.scenario.step_s
            )
        ]
        climate.add_readings(rows, end)

    def _receive(self, carrier: DemoCarrier) -> None:
        new = receiving.NewCarrier(
            part=carrier.part,
            lot=carrier.lot,
            quantity=carrier.quantity,
            kind=carrier.kind,
            bag=None if carrier.bag is None else self.bags.get(carrier.bag),
            sealed_on=carrier.sealed_on,
            shelf_life_ends=carrier.shelf_life_ends,
            place=None if carrier.place is None else self.places[carrier.place],
            received_at=carrier.received_at,
            msl=carrier.msl,
            label_floor_life_hours=carrier.label_floor_life_hours,
            person=None if carrier.person is None else self.people[carrier.person],
        )
        received, _ = receiving.receive(new, carrier.received_at)
        self.carriers[carrier.key] = received.code
        if carrier.bag is not None:
            self.bags[carrier.bag] = received.bag

    def _record(self, event: DemoEvent, n: int) -> None:
        id_ = str(uuid5(NAMESPACE_OID, f"demo {self.now} {n}"))
        if event.name is not None:
            self.events[event.name] = id_
        new = event_recording.NewEvent(
            id=id_,
            carrier=self.carriers[event.carrier],
            kind=event.kind,
            at=event.at,
            person=None if event.person is None else self.people[event.person],
            place=None if event.place is None else self.places[event.place],
            hic=event.hic,
            only_this=event.only_this,
            desiccant=event.desiccant,
            new_hic=event.new_hic,
            seal=event.seal,
            temp_c=event.temp_c,
            quantity=event.quantity,
            reason=event.reason,
            event=None if event.corrects is None else self.events[event.corrects],
            fields={} if event.corrected_at is None else {"at": event.corrected_at},
        )
        (recorded,) = event_recording.record([new], event.at)
        if event.child is not None and recorded.child is not None:
            self.carriers[event.child] = recorded.child

    def _look_at_alarms(self, at: int) -> None:
        alarm_rules.evaluate(at)

    def _acknowledge(self, at: int, person: str) -> None:
        for alarm in alarm_rules.active_alarms():
            if alarm.acknowledged_at is None:
                alarm_rules.acknowledge(alarm.id, self.people[person], at)


def _readings(
    place: DemoPlace, code: str, start: int, end: int, step_s: int
) -> Iterator[climate.NewReading]:
    for at, temp_c, rh_pct in place.air.readings(start, end, step_s):
        yield climate.NewReading(code, at, temp_c, rh_pct)


def _place_code(key: str, code: str | None = None) -> str:
    """Return the code of a place of the scenario, which is noted at the loading."""

    def first() -> str:
        if code is None:
            raise Refused(f'The demo has no place "{key}" on file: start it over with --fresh.')
        return code

    return server.kept_value(f"demo_place_{key}", first)


def _folder() -> Path:
    return resource_dir("scenario")
