"""Target 7: a hundred wall screens, the server's memory, and its start to the first answer."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from statistics import median
from typing import Any

from msdtrack.services import alarm_rules, standings
from msdtrack.store.connection import close_store, open_store
from msdtrack.store.statements import rows
from tests.bench.databases import Databases
from tests.bench.http_client import Connection
from tests.bench.measuring import absolute, heading, percentile, ratio
from tests.bench.reference_load import Size, fill
from tests.bench.serving import Server, served

SCREENS = 100
EVERY_S = 5
WINDOW_S = 60
"""As long as the screens are watched; the alarm watch looks twice in it. The ways beside it get
half."""

STARTS = 5
MOST_SHARE = 5
MOST_MB = 200
FIRST_ANSWER_S = 1.5
ASKED = 500
"""Carriers whose state is asked for before the memory is read."""

_KB = 1024


def screens_target(databases: Databases, size: Size, window_s: int = WINDOW_S) -> None:
    """Print target 7.

    Args:
        databases: of the kind to measure.
        size: of the reference load, which is made to end now: a server goes by the real clock.
        window_s: how long the screens are watched, seconds.
    """
    with databases.empty() as url:
        places, carriers = _load(url, size)
        databases.settle(url)
        heading(f"7. {SCREENS} screens that ask every {EVERY_S} s, {os.cpu_count()} cores")
        _starts(databases, url, places[0])
        with served(url) as server:
            _screens(databases, server, places, carriers, window_s)
            _memory(server, places, carriers)


def _load(url: str, size: Size) -> tuple[list[str], list[str]]:
    """Make a load as a server that ran until now has left it; return places and carriers."""
    now = int(time.time())
    fill(url, size, now)
    open_store(url)
    standings.rebuild(now)
    alarm_rules.evaluate(now)
    places = [code for (code,) in rows("SELECT code FROM place ORDER BY code")]
    sql = "SELECT carrier FROM standing WHERE listed = 1 ORDER BY place, carrier"
    carriers = [code for (code,) in rows(sql)]
    close_store()
    return places, carriers


def _starts(databases: Databases, present: str, place: str) -> None:
    """Print how long it takes from the start of the process to the first answer."""
    asked = {"the start page": "/", "a line's screen": f"/line/{place}", "the watch list": "/watch"}
    taken: dict[str, list[float]] = {what: [] for what in [*asked, "only the program loaded"]}
    for _ in range(STARTS):
        for what, page in asked.items():
            with databases.copy(present) as url:
                start = time.perf_counter()
                with served(url) as server:
                    connection = Connection(server.port)
                    answer = connection.ask(connection.request("GET", page))
                    taken[what].append(time.perf_counter() - start)
                    assert answer.status == 200, answer.status
                    connection.close()
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import msdtrack.cli.serving"], check=True)
        taken["only the program loaded"].append(time.perf_counter() - start)
    found = {what: median(times) for what, times in taken.items()}
    limit = found.pop("only the program loaded")
    for what, seconds in found.items():
        absolute(f"start to first answer, {what}", seconds)
    absolute("limit: the program loaded, nothing served", limit)
    slowest = max(found.values())
    ratio(
        "seconds from start to first answer", slowest, f"<= {FIRST_ANSWER_S:g}",
        slowest <= FIRST_ANSWER_S, ours=slowest, limit=limit,
    )  # fmt: skip


def _screens(
    databases: Databases, server: Server, places: list[str], carriers: list[str], window_s: int
) -> None:
    """Print what the screens cost the server, beside other ways to keep them up to date."""
    half_s = window_s // 2

    def life(way: str, seconds: int = half_s, quiet: bool = False) -> Lived:
        return _life(databases, server, way, seconds, places, [] if quiet else carriers)

    ways = {
        "before": life("none"),
        "ours": life("etag", window_s),
        "body": life("body"),
        "page": life("page"),
        "after": life("none"),
        "static": life("static", quiet=True),
    }
    for way, lived in ways.items():
        assert not lived.seen["faults"], (way, lived.seen["faults"][:3])
    share = {way: 100 * lived.cpu_s / lived.seconds for way, lived in ways.items()}
    without = (share["before"] + share["after"]) / 2
    ours, value = ways["ours"], share["ours"] - without
    polls, scans = ours.seen["polls"], ours.seen["scans"]
    print(
        f"    a reading of {len(places)} places each minute, one by one; "
        f"{scans / ours.seconds * 60:.0f} scans a minute; {polls:,} polls, "
        f"{ours.seen['same']:,} answered 304, {ours.seen['bytes'] / polls / _KB:.1f} KiB on average"
    )
    absolute("answer to a poll, p50", percentile(ours.seen["times"], 0.5))
    absolute("answer to a poll, p99", percentile(ours.seen["times"], 0.99))
    for what, found in (
        ("the whole server, screens with their ETag", share["ours"]),
        ("readings, scans and alarm watch, no screens", without),
        ("screens with their ETag", value),
        ("screens without, the kept body each time", share["body"] - without),
        ("naive: a page made for each", share["page"] - without),
        ("limit: a small file each time, nothing written", share["static"]),
    ):
        print(f"    share of a core: {what:<50}{found:>9.2f} %")
    ratio(
        "% of a core for the screens", value, f"<= {MOST_SHARE}", value <= MOST_SHARE,
        ours=f"{value:.2f} %",
        naive=f"{share['page'] - without:.2f} %",
        limit=f"{share['static']:.2f} %",
    )  # fmt: skip
    print(f"  compared: {ours.seen['compared']} screens say what their pages made anew say")


@dataclass(frozen=True, slots=True)
class Lived:
    """A while: how long it was, how long the server kept a core busy, and what the clients saw."""

    seconds: float
    cpu_s: float
    seen: dict[str, Any]


def _life(
    databases: Databases,
    server: Server,
    way: str,
    seconds: int,
    places: list[str],
    carriers: list[str],
) -> Lived:
    """Let screens ask and things happen for a while, from a process of its own."""

    def busy_s() -> float:
        # A database server's work is done for the screens too.
        return server.cpu_s() + databases.cpu_s()

    wanted = {
        "port": server.port,
        "way": way,
        "seconds": seconds,
        "places": places,
        "carriers": carriers,
        "screens": 0 if way == "none" else SCREENS,
        "every_s": EVERY_S,
    }
    client = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.screen_clients"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert client.stdin is not None
    assert client.stdout is not None
    client.stdin.write(json.dumps(wanted))
    client.stdin.close()
    assert client.stdout.readline() == "warm\n"
    cpu_s, start = busy_s(), time.perf_counter()
    assert client.stdout.readline() == "done\n"
    cpu_s, taken_s = busy_s() - cpu_s, time.perf_counter() - start
    seen = json.loads(client.stdout.readline())
    client.wait(30)
    return Lived(taken_s, cpu_s, seen)


def _memory(server: Server, places: list[str], carriers: list[str]) -> None:
    """Print the server's memory once everything has been asked of it."""
    connection = Connection(server.port)
    pages = ["/", "/watch", "/alarms", "/line", "/places", "/carriers", "/api/v1/watch"]
    pages += [f"/line/{place}" for place in places] + [f"/places/{place}" for place in places]
    step = max(1, len(carriers) // ASKED)
    pages += [f"/api/v1/carriers/{code}" for code in carriers[::step]]
    pages += [f"/carriers/{code}" for code in carriers[:: 10 * step]]
    for page in pages:
        assert connection.ask(connection.request("GET", page)).status == 200, page
    connection.close()
    now, most = server.memory_mb("VmRSS"), server.memory_mb("VmHWM")
    print(f"    memory of the server: {now:.0f} MB, at most {most:.0f} MB so far")
    ratio("MB of memory at most", most, f"< {MOST_MB}", most < MOST_MB, ours=f"{most:.0f} MB")
