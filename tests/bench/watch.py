"""Targets 1, 4 and 5: the watch list, one past state with its working, a late reading."""

from __future__ import annotations

import json
import random
import sqlite3
import time
from pathlib import Path
from uuid import uuid4

from msdtrack.services import carrier_states, climate, event_recording, standings, watch_list
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import standings as table
from msdtrack.store.connection import read, write
from msdtrack.store.standings import WHOLE
from msdtrack.store.statements import execute, rows
from tests.bench.measuring import absolute, heading, in_turn, percentile, ratio, timed
from tests.bench.reference_load import DAY_S, NOW
from tests.bench.ways import Naive, Slices

NAIVE_ONES = 200
"""Carriers the naive way is timed on; its time for all is reckoned from theirs."""


def watch_list_target(path: Path) -> None:
    """Print target 1."""
    database = sqlite3.connect(path)
    naive, slices = Naive(database), Slices(database)
    rebuilt_s = timed(lambda: standings.rebuild(NOW))
    codes = [one.carrier for one in table.urgent(NOW, None, None)]
    some = random.Random(1).sample(codes, min(NAIVE_ONES, len(codes)))
    compared("at first", naive, slices, some)
    with write():
        execute("CREATE TABLE bench_result (carrier TEXT, used BIGINT, left_s DOUBLE PRECISION)")
        for one in table.urgent(NOW, None, None):
            execute(
                "INSERT INTO bench_result VALUES (?, ?, ?)", (one.carrier, one.used, one.left_s)
            )

    def ours() -> object:
        assert standings.answering(NOW) == []
        return table.urgent(NOW, None, None)

    lines, given = table.urgent_sql(NOW, None, 100)
    found = in_turn(
        {
            "naive": lambda: [naive.used(code) for code in some],
            "numpy": slices.used,
            "ours": ours,
            "limit": lambda: rows("SELECT carrier, used, left_s FROM bench_result"),
            "json": lambda: json.dumps(watch_list.answer(NOW, None, 100)),
            "sql": lambda: rows(lines, given),
        }
    )
    naive_s = found["naive"] * len(codes) / len(some)
    heading(f"1. Watch list of {len(codes):,} exposed carriers")
    absolute(f"naive (reckoned from {len(some)})", naive_s)
    absolute("numpy slices, readings in memory", found["numpy"])
    absolute("ours, asked of the database", found["ours"])
    absolute("limit: the rows of the result read", found["limit"])
    absolute("JSON of the 100 most urgent", found["json"])
    absolute("bare SQL of the 100 most urgent", found["sql"])
    absolute("full rebuild from readings", rebuilt_s)
    ratio("naive / ours", naive_s / found["ours"], ">= 1,000", naive_s >= 1000 * found["ours"])
    ratio(
        "numpy / ours",
        found["numpy"] / found["ours"],
        ">= 15",
        found["numpy"] >= 15 * found["ours"],
    )
    ratio(
        "JSON / bare SQL", found["json"] / found["sql"], "<= 10", found["json"] <= 10 * found["sql"]
    )
    ratio("naive / rebuild", naive_s / rebuilt_s, ">= 15", naive_s >= 15 * rebuilt_s)
    _late(database, codes, naive)
    slices.read(database)
    compared("after a late reading and a correction", naive, None, some)
    _past(codes)
    database.close()


def compared(when: str, naive: Naive, slices: Slices | None, some: list[str]) -> None:
    """Hold the ways together; raise AssertionError if they differ."""
    ours = {one.carrier: one.used for one in table.urgent(NOW, None, None)}
    by_slices = slices.used() if slices is not None else {}
    with read():
        folded = carrier_states.states(some, NOW)
    for code in some:
        exact = naive.used(code)
        assert folded[code].used_share == exact, code
        assert 0 <= ours[code] - exact * WHOLE <= 1e-9 * WHOLE, code
        assert slices is None or abs(by_slices[code] - float(exact)) < 1e-9, code
    print(f"  answers compared {when}: {len(some)} carriers, all ways the same")


def _late(database: sqlite3.Connection, codes: list[str], naive: Naive) -> None:
    """Print target 5."""
    (place, oldest), *_ = database.execute(
        "SELECT code, (SELECT min(second) FROM reading WHERE place_id = place.id) FROM place"
    ).fetchall()
    chance = random.Random(3)
    opening = {
        code: id_
        for id_, code in database.execute(
            "SELECT id, carrier FROM event WHERE kind = 'open' ORDER BY at"
        )
    }
    at = max(oldest + 600, NOW - 45 * DAY_S)
    counted: list[int] = []

    def reading() -> None:
        moment = at + 60 * chance.randrange(5, 500) + 7
        counted.append(len(table.staying(place, moment - 60, moment + 60)))
        climate.add_readings([NewReading(place, moment, 29.0, 59.0)], NOW, replaces=True)

    def corrected() -> None:
        code = chance.choice(codes)
        fix = {"at": NOW - chance.randrange(600, 3600)}
        event_recording.record(
            [
                NewEvent(
                    str(uuid4()),
                    code,
                    "correct",
                    NOW,
                    "Bench",
                    "b1",
                    event=opening[code],
                    reason="late",
                    fields=fix,
                )
            ],
            NOW,
        )

    def plain() -> None:
        with write():
            execute("INSERT INTO bench_result VALUES ('x', 1, 1.0)")

    for _ in range(3):
        reading(), corrected(), plain()
    found = in_turn({"reading": reading, "corrected": corrected, "plain": plain}, 15)
    heading("5. A late reading 45 days back, a corrected event")
    absolute("late reading, everything it concerns right", found["reading"])
    absolute("corrected event", found["corrected"])
    absolute("plain durable insert", found["plain"])
    print(f"    carriers a late reading concerns: {sorted(counted)[len(counted) // 2]}")
    for name in ("reading", "corrected"):
        value = found[name] / found["plain"]
        ratio(f"{name} / plain insert", value, "<= 20", value <= 20)


def _past(codes: list[str]) -> None:
    """Print target 4."""
    chance = random.Random(5)
    ones = [chance.choice(codes) for _ in range(60)]
    for code in ones:
        carrier_states.state_and_working(code, NOW)
    times = []
    for code in ones:
        at = NOW - chance.randrange(5 * DAY_S)
        start = time.perf_counter()
        carrier_states.state_and_working(code, NOW, at)
        times.append(time.perf_counter() - start)
    heading("4. One carrier's past state with its full working (warm)")
    absolute("median", percentile(times, 0.5))
    absolute("p95", percentile(times, 0.95))
    ratio(
        "milliseconds, p95",
        percentile(times, 0.95) * 1000,
        "<= 20",
        percentile(times, 0.95) <= 0.02,
    )
