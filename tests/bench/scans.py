"""Target 2: scans over HTTP, by one station, by eight, and by four servers on one database."""

from __future__ import annotations

import itertools
import json
import os
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from statistics import median
from typing import Any
from uuid import uuid4

from msdtrack.printing.codes import make_action_code
from msdtrack.services import carrier_states, standings
from msdtrack.services.answers import state_answer
from msdtrack.services.countdowns import next_step_text, time_left_text
from msdtrack.store import scans as scan_log
from msdtrack.store.connection import close_store, open_store, read, write
from msdtrack.store.statements import execute
from msdtrack.times import parse_time, zone
from msdtrack.web.marks import mark_of
from tests.bench import bare_server
from tests.bench.databases import Databases
from tests.bench.http_client import Answer, Client, Connection, at_once
from tests.bench.measuring import REPEATS, absolute, heading, percentile, ratio
from tests.bench.reference_load import Size, fill
from tests.bench.serving import served

STATIONS = 8
WRITERS = 4
SCANS = 240
"""Scans of one station in one repeat; every other one records an event."""

_SCANS_OF_A_STATION = 120

_OPEN, _CLOSE = make_action_code("OPEN"), make_action_code("CLOSEFRESH")


@dataclass
class Station:
    """A person who scans a carrier, then what is done with it, over and over.

    After every `_SCANS_OF_A_STATION` scans it goes by another name: a station remembers what was
    opened in the last ten minutes, and no person opens more bags than that in that time.

    Args:
        codes: carriers that only this one scans; they are open at first.
        last: the last answer about each carrier.
        recorded: answers that an event was recorded.
        faults: answers that are none.
    """

    name: str
    codes: list[str]
    is_open: dict[str, bool] = field(default_factory=dict)
    picks: list[float] = field(default_factory=list)
    actions: list[float] = field(default_factory=list)
    last: dict[str, dict[str, Any]] = field(default_factory=dict)
    recorded: int = 0
    faults: list[str] = field(default_factory=list)
    _turn: int = 0

    def scans(self, connection: Connection, count: int) -> Iterator[bytes]:
        """Yield scans at the station's page: a carrier, then an action."""
        for _ in range(count // 2):
            code = self._next()
            for text in (code, _CLOSE if self.is_open[code] else _OPEN):
                sent = {
                    "id": str(uuid4()),
                    "station": self._name(),
                    "code": text,
                    "at": int(time.time()),
                }
                yield connection.request("POST", "/scan", json.dumps(sent).encode())
            self.is_open[code] = not self.is_open[code]

    def events(self, connection: Connection, count: int) -> Iterator[bytes]:
        """Yield the same for the API: an event at once."""
        for _ in range(count):
            code = self._next()
            sent = {"id": str(uuid4()), "carrier": code, "kind": "open", "station": self._name()}
            if self.is_open[code]:
                sent |= {"kind": "close", "desiccant": "fresh", "hic": "fresh", "seal": "heat"}
            yield connection.request("POST", "/api/v1/events", json.dumps(sent).encode())
            self.is_open[code] = not self.is_open[code]

    def _name(self) -> str:
        return f"{self.name}.{self._turn * 2 // _SCANS_OF_A_STATION}"

    def _next(self) -> str:
        code = self.codes[self._turn % len(self.codes)]
        self._turn += 1
        self.is_open.setdefault(code, True)
        return code

    def took_scan(self, answer: Answer) -> None:
        """Take the answer to a scan."""
        told = self._told(answer, 200)
        if told is None:
            return
        if told["title"] in ("Opened", "Closed"):
            self.recorded += 1
            self.actions.append(answer.seconds)
            self.last[str(told["carrier"])] = told
        else:
            self.picks.append(answer.seconds)
        if told["tone"] == "refuse" or not told["next_step"]:
            self.faults.append(f"{told['title']}: {told['message']}")

    def took_event(self, answer: Answer) -> None:
        """Take the API's answer to an event."""
        told = self._told(answer, 201)
        if told is not None:
            (result,) = told["results"]
            self.recorded += 1
            self.actions.append(answer.seconds)
            self.last[result["carrier"]] = result["state"]

    def _told(self, answer: Answer, status: int) -> dict[str, Any] | None:
        if answer.status == status:
            told: dict[str, Any] = json.loads(answer.body)
            return told
        self.faults.append(f"{answer.status} {answer.body[:300]!r}")
        return None


def scan_target(databases: Databases, size: Size, count: int = SCANS) -> None:
    """Print target 2.

    Args:
        databases: of the kind to measure.
        size: of the reference load, which is made to end now: the servers go by the real clock.
        count: scans of one station in one repeat.
    """
    with databases.empty() as present:
        fill_to_now(present, size)
        databases.settle(present)
        groups = scannable(databases, present)
        heading(f"2. Scans over HTTP, durable, {os.cpu_count()} cores")
        with databases.copy(present) as url:
            _one(databases, url, groups, count)
        for servers in (1, WRITERS):
            with databases.copy(present) as url:
                _eight(databases, url, groups, count, servers)


def fill_to_now(url: str, size: Size) -> None:
    """Fill an empty database with a load that ends now, as servers go by the real clock."""
    now = int(time.time())
    fill(url, size, now)
    open_store(url)
    standings.rebuild(now)
    with write():
        # The load has no such counter: new bags would be called as bags of the load are.
        sql = "INSERT INTO counter (kind, value) VALUES ('bag', ?)"
        execute(sql, (size.exposed + size.history,))
    close_store()


def scannable(databases: Databases, url: str) -> list[list[str]]:
    """Return the carriers of the load that are out, dealt to the stations; the places in turn."""
    sql = (
        "SELECT s.carrier FROM standing s WHERE s.listed = 1 AND s.air_place IS NOT NULL "
        "ORDER BY s.air_place, s.carrier"
    )
    with databases.connected(url) as database:
        codes = [code for (code,) in database.execute(sql)]
    assert len(codes) >= STATIONS
    return [codes[n::STATIONS] for n in range(STATIONS)]


def _no_database(connection: Connection) -> bytes:
    """Return a request that the server answers without its database: a small static file."""
    address = f"http://{connection.host}/scan"
    with urllib.request.urlopen(address) as page:
        start = page.read().decode().split("/static/", 1)[1]
    return connection.request("GET", f"/static/{start.split('/', 1)[0]}/{_SMALL}")


_SMALL = "icon.svg"


@contextmanager
def raw_commits(databases: Databases) -> Iterator[Callable[[], float]]:
    """Give the limit: what puts one row into a table of its own, durably, by the driver alone, and
    returns the seconds of it."""
    marks = ", ".join([databases.mark] * 3)

    def commit() -> float:
        start = time.perf_counter()
        database.execute(f"INSERT INTO scan VALUES ({marks})", (str(uuid4()), "C", 1))
        return time.perf_counter() - start

    with databases.empty() as url, databases.connected(url) as database:
        database.execute("CREATE TABLE scan (id TEXT, carrier TEXT, at INT)")
        # A log that is written over is sooner synced than one that grows.
        for _ in range(1500):
            commit()
        yield commit


def _one(databases: Databases, url: str, groups: list[list[str]], count: int) -> None:
    codes = list(itertools.chain(*groups))
    desk, sender = Station("Bench 1", codes[::2]), Station("Sender", codes[1::2])
    commits: list[float] = []
    empty: list[float] = []
    least: list[float] = []
    halves: list[dict[str, float]] = []
    with (
        raw_commits(databases) as commit,
        databases.empty() as bare_url,
        bare_server.bare_server(bare_url) as bare_port,
        served(url) as server,
    ):
        connection, bare = Connection(server.port), Connection(bare_port)
        small = _no_database(connection)
        first = []
        for request in desk.scans(connection, 2):
            answer = connection.ask(request)
            desk.took_scan(answer)
            first.append(answer.seconds)
        _warm(connection, desk, sender)
        for _ in range(REPEATS):
            before = len(desk.picks), len(desk.actions), len(sender.actions), len(commits)
            least_before = len(least)
            for request in desk.scans(connection, count):
                desk.took_scan(connection.ask(request))
            commits += [commit() for _ in range(count // 2)]
            for request in sender.events(connection, count // 2):
                sender.took_event(connection.ask(request))
            empty += [connection.ask(small).seconds for _ in range(count // 2)]
            least += [bare.ask(request).seconds for request in _bare_scans(bare, count // 2)]
            halves.append(
                {
                    "pick": median(desk.picks[before[0] :]),
                    "action": median(desk.actions[before[1] :]),
                    "scan": median(desk.picks[before[0] :] + desk.actions[before[1] :]),
                    "api": median(sender.actions[before[2] :]),
                    "raw": median(commits[before[3] :]),
                    "least": median(least[least_before:]),
                }
            )
        connection.close()
        bare.close()
    print(f"  One station, {len(desk.picks) + len(desk.actions)} scans, "
          f"{len(sender.actions)} events by the API")  # fmt: skip
    absolute("the first two scans after the start", max(first))
    _shares("scan of a carrier", desk.picks)
    _shares("scan that records an event", desk.actions)
    _shares("event by the API", sender.actions)
    _shares("the server's no-database route", empty)
    _shares("a Flask view that commits one row and no more", least)
    _shares("limit: raw commit", commits)
    found = {name: median(half[name] for half in halves) for name in halves[0]}
    for name, what in (
        ("scan", "scan, p50 / raw commit"),
        ("action", "scan that records an event, p50 / raw commit"),
        ("api", "event by the API, p50 / raw commit"),
    ):
        value = found[name] / found["raw"]
        ratio(what, value, "<= 5", value <= 5, ours=found[name], limit=found["raw"])
    print(f"  {'to compare: one row by Flask, p50 / raw commit':<60}"
          f"{found['least'] / found['raw']:>12,.2f}")  # fmt: skip
    compared(databases, url, [desk, sender])


def _bare_scans(connection: Connection, count: int) -> Iterator[bytes]:
    """Yield scans for the server that only stores them."""
    for _ in range(count):
        sent = {"id": str(uuid4()), "station": "Bare", "code": _OPEN, "at": int(time.time())}
        yield connection.request("POST", bare_server.PATH, json.dumps(sent).encode())


def _warm(connection: Connection, desk: Station, sender: Station) -> None:
    """Let the server read the air of every place, and count none of it."""
    for request in desk.scans(connection, 2 * len(desk.codes)):
        desk.took_scan(connection.ask(request))
    for request in sender.events(connection, len(sender.codes)):
        sender.took_event(connection.ask(request))
    for times in (desk.picks, desk.actions, sender.picks, sender.actions):
        times.clear()


def _eight(
    databases: Databases, url: str, groups: list[list[str]], count: int, servers: int
) -> None:
    stations = [Station(f"Bench {n + 1}", codes) for n, codes in enumerate(groups)]
    with _all_served(url, servers) as ports:
        connections = [Connection(ports[n % servers]) for n in range(STATIONS)]
        small = [_no_database(connection) for connection in connections]
        empty: list[float] = []
        rates: list[tuple[float, float]] = []
        for station, connection in zip(stations, connections, strict=True):
            _warm(connection, station, Station("Nobody", []))
        for _ in range(REPEATS):
            before = [len(s.picks) + len(s.actions) for s in stations]
            clients: list[Client] = [
                (connection, station.scans(connection, count), station.took_scan)
                for station, connection in zip(stations, connections, strict=True)
            ]
            took_s = at_once(clients)
            done = sum(len(s.picks) + len(s.actions) for s in stations) - sum(before)
            idle: list[Client] = [
                (connection, iter([request] * count), lambda a: empty.append(a.seconds))
                for connection, request in zip(connections, small, strict=True)
            ]
            rates.append((done / took_s, STATIONS * count / at_once(idle)))
        for connection in connections:
            connection.close()
    times = [t for s in stations for t in s.picks + s.actions]
    print(f"  {STATIONS} stations, {servers} server{'s' if servers > 1 else ''}, "
          f"{len(times)} scans")  # fmt: skip
    _shares("scan", times)
    _shares("the server's no-database route", empty)
    scanned, bare = (median(rate) for rate in zip(*rates, strict=True))
    print(f"    scans/s {scanned:,.0f}, no-database route {bare:,.0f}/s")
    faults = [fault for station in stations for fault in station.faults]
    by = f"8 stations, {servers} server{'s' if servers > 1 else ''}"
    ratio(f"{by}: answers that are errors", len(faults), "0", not faults)
    p50, p99 = percentile(times, 0.5), percentile(times, 0.99)
    ratio(f"{by}: p99 / p50", p99 / p50, "<= 3", p99 <= 3 * p50, ours=p99, limit=p50)
    ratio(
        f"{by}: scans/s / no-database route",
        scanned / bare,
        ">= 0.4",
        scanned >= 0.4 * bare,
        ours=f"{scanned:,.0f}/s",
        limit=f"{bare:,.0f}/s",
    )
    compared(databases, url, stations)


@contextmanager
def _all_served(url: str, count: int) -> Iterator[list[int]]:
    if count == 0:
        yield []
        return
    with served(url) as server, _all_served(url, count - 1) as others:
        yield [server.port, *others]


def _shares(what: str, times: list[float]) -> None:
    absolute(f"{what}, p50", percentile(times, 0.5))
    absolute(f"{what}, p99", percentile(times, 0.99))


def compared(databases: Databases, url: str, stations: list[Station]) -> None:
    """Hold the log against what was acknowledged, and the last answer about each carrier against
    the fold; raise AssertionError if they differ."""
    tz = zone("")
    for station in stations:
        assert not station.faults, station.faults[:3]
    with databases.connected(url) as database:
        assert not databases.broken(database), databases.broken(database)
        for station in stations:
            sql = f"SELECT count(*) FROM event WHERE station LIKE {databases.mark}"
            (logged,) = database.execute(sql, (f"{station.name}.%",)).fetchone()
            assert logged == station.recorded, (station.name, logged, station.recorded)
    open_store(url)
    count = 0
    with read():
        for station in stations:
            for code, told in station.last.items():
                count += 1
                if "floor_life" in told:
                    state = carrier_states.state(code, parse_time(str(told["at"])))
                    assert state_answer(state) == told, code
                    continue
                record, _ = scan_log.before(str(told["scan_id"]), "")
                assert record is not None, code
                state = carrier_states.state(code, record.recorded_at)
                assert told["time_left"] == time_left_text(state), code
                assert told["mark"] == {"kind": mark_of(state).kind, "word": mark_of(state).word}
                if told["tone"] == "ok":
                    assert told["next_step"] == next_step_text(state, tz), code
    close_store()
    recorded = sum(station.recorded for station in stations)
    print(f"  compared: {recorded} events on the log, {count} last answers are the fold's")
