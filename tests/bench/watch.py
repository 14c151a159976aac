"""Targets 1, 4 and 5: the watch list, one past state with its working, a late reading."""

from __future__ import annotations

import json
import random
import time
from typing import Any
from uuid import uuid4

from msdtrack.exposure.lines import UNIT
from msdtrack.services import (
    carrier_states,
    climate,
    event_recording,
    second_process,
    standings,
    watch_list,
)
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import concerned
from msdtrack.store import standings as table
from msdtrack.store.connection import read, write
from msdtrack.store.statements import execute, rows
from tests.bench.measuring import absolute, heading, in_turn, percentile, ratio
from tests.bench.reference_load import DAY_S, NOW
from tests.bench.ways import Naive, Slices

NAIVE_ONES = 200
"""Carriers the naive way is timed on; its time for all is reckoned from theirs."""


def watch_list_target(database: Any, mark: str = "?") -> None:
    """Print targets 1, 5 and 4.

    Args:
        database: a connection of its own to the open database, for the other ways.
        mark: what stands for a parameter there.
    """
    naive, slices = Naive(database, mark), Slices(database)
    standings.rebuild(NOW)
    codes = [one.carrier for one in table.urgent(NOW, None, None)]
    some = random.Random(1).sample(codes, min(NAIVE_ONES, len(codes)))
    compared("at first", naive, slices, some)
    with write():
        execute("CREATE TABLE bench_result (carrier TEXT, used BIGINT, left_s DOUBLE PRECISION)")
        for one in table.urgent(NOW, None, None):
            execute(
                "INSERT INTO bench_result VALUES (?, ?, ?)", (one.carrier, one.used, one.left_s)
            )

    everything, none = table.urgent_sql(NOW, None, None)

    def ours() -> object:
        assert standings.answering(NOW).stale == []
        return rows(f"SELECT carrier, used, left_s FROM ({everything}) q", none)

    def whole() -> object:
        assert standings.answering(NOW).stale == []
        return table.urgent(NOW, None, None)

    lines, given = table.urgent_sql(NOW, None, 100)
    found = in_turn(
        {
            "naive": lambda: [naive.used(code) for code in some],
            "numpy": slices.used,
            "ours": ours,
            "whole": whole,
            "limit": lambda: rows("SELECT carrier, used, left_s FROM bench_result"),
            "json": lambda: json.dumps(watch_list.answer(NOW, None, 100)),
            "sql": lambda: rows(lines, given),
            "rebuild": lambda: standings.rebuild(NOW),
            "alone": lambda: standings.rebuild(NOW, alone=True),
        }
    )
    rebuilt_s = found["rebuild"]
    naive_s = found["naive"] * len(codes) / len(some)
    heading(f"1. Watch list of {len(codes):,} exposed carriers")
    absolute(f"naive (reckoned from {len(some)})", naive_s)
    absolute("numpy slices, readings in memory", found["numpy"])
    absolute("ours, asked of the database", found["ours"])
    absolute("ours, sorted and with all that a line says", found["whole"])
    absolute("limit: the rows of the result read", found["limit"])
    absolute("JSON of the 100 most urgent", found["json"])
    absolute("bare SQL of the 100 most urgent", found["sql"])
    # As in the command of that name; a server, whose threads forbid to fork, rebuilds alone.
    two = second_process.is_possible() and len(codes) >= standings.FEW
    processes = "two processes" if two else "ONE PROCESS HERE"
    absolute(f"full rebuild from readings, {processes}", rebuilt_s)
    absolute("full rebuild from readings, one process", found["alone"])
    times = {"ours": found["ours"], "naive": naive_s, "limit": found["limit"]}
    value = naive_s / found["ours"]
    ratio("watch list, naive / ours", value, ">= 1,000", value >= 1000, **times)
    value = found["numpy"] / found["ours"]
    ratio(
        "watch list, numpy / ours",
        value,
        ">= 15",
        value >= 15,
        **times | {"naive": found["numpy"]},
    )
    value = found["json"] / found["sql"]
    ratio(
        "JSON of 100 / bare SQL",
        value,
        "<= 10",
        value <= 10,
        ours=found["json"],
        limit=found["sql"],
    )
    value = naive_s / rebuilt_s
    ratio(
        f"full rebuild by {processes}, naive / ours",
        value,
        ">= 15",
        value >= 15,
        ours=rebuilt_s,
        naive=naive_s,
    )
    print(f"    the same by one process alone: {naive_s / found['alone']:.1f}")
    changed = _late(database, codes)
    compared("after late readings and corrections", naive, Slices(database), [*some, *changed])
    _past(codes)


def compared(when: str, naive: Naive, slices: Slices, some: list[str]) -> None:
    """Hold the ways together; raise AssertionError if they differ."""
    ours = {one.carrier: one.used for one in table.urgent(NOW, None, None)}
    by_slices = slices.used()
    with read():
        folded = carrier_states.states(some, NOW)
    for code in some:
        exact = naive.used(code)
        assert folded[code].used_share == exact, code
        assert 0 <= ours[code] - exact * UNIT <= 1e-9 * UNIT, code
        assert abs(by_slices[code] - float(exact)) < 1e-9, code
    print(f"  answers compared {when}: {len(some)} carriers, all ways the same")


def _late(database: Any, codes: list[str]) -> set[str]:
    """Print target 5 and return the carriers with a corrected event."""
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
    changed: set[str] = set()

    def reading() -> None:
        moment = at + 60 * chance.randrange(5, 500) + 7
        counted.append(len(concerned.staying(place, moment - 60, moment + 60)))
        climate.add_readings([NewReading(place, moment, 29.0, 59.0)], NOW, replaces=True)

    def corrected() -> None:
        code = chance.choice(codes)
        changed.add(code)
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
    for name, what in (("reading", "late reading"), ("corrected", "corrected event")):
        value = found[name] / found["plain"]
        ratio(
            f"{what} / plain insert",
            value,
            "<= 20",
            value <= 20,
            ours=found[name],
            limit=found["plain"],
        )
    return changed


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
    p95_s = percentile(times, 0.95)
    ratio("past state, p95 in ms", p95_s * 1000, "<= 20", p95_s <= 0.02, ours=p95_s)
