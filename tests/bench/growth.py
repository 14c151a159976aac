"""Target 8: how the watch list, a scan and a past state grow when one thing is doubled."""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from statistics import median
from uuid import uuid4

from msdtrack.printing.codes import make_action_code
from msdtrack.services import carrier_states, standings, watch_list
from msdtrack.services.scanning import NewScan, scan
from msdtrack.store import standings as table
from msdtrack.store.connection import close_store, open_store
from tests.bench.databases import Databases
from tests.bench.measuring import heading, in_turn, ratio
from tests.bench.reference_load import DAY_S, HOUR_S, NOW, Size

BASE = 0.2
"""Of the reference load; the doubled loads must not take long to make."""

ROUNDS = 3
"""Each load is opened so often, in turn with the others."""

DOUBLED: dict[str, Callable[[Size], Size]] = {
    "readings": lambda size: replace(size, every_s=size.every_s // 2),
    "carriers": lambda size: replace(size, exposed=size.exposed * 2),
    "history": lambda size: replace(size, history=size.history * 2),
    "own intervals": lambda size: replace(size, turns=size.turns * 2),
}

WORK = ("watch list, all", "watch list, 100", "scan", "past state")
TARGETS = {"watch list, all": 1, "watch list, 100": 1, "scan": 2, "past state": 4}
MOST = {
    "readings": dict.fromkeys(WORK, 1.5),
    "carriers": dict.fromkeys(WORK, 1.5) | {"watch list, all": 2.5, "watch list, 100": 2.5},
    "history": dict.fromkeys(WORK, 1.5),
    "own intervals": dict.fromkeys(WORK, 1.5) | {"scan": 2.5},
}
"""No more than in proportion to what a work must read, with half of the base's time more for the
machine's noise; and not at all with anything else. What a past state must give are the lines of its
working: their growth, which is measured, takes the place of the 1 that most limits begin with. A
sensor that trembles crosses the edge of a cell twice as often when it is read twice as often."""

_SCANNED, _ASKED = 20, 40
_OPEN, _CLOSE = make_action_code("OPEN"), make_action_code("CLOSEFRESH")


def growth_target(databases: Databases, scale: float = 1.0) -> None:
    """Print target 8.

    Args:
        databases: of the kind to measure.
        scale: of the reference load, whose fifth is doubled.
    """
    base = Size().scaled(BASE * scale)
    sizes = {"": base} | {name: doubled(base) for name, doubled in DOUBLED.items()}
    times: dict[str, dict[str, list[float]]] = {name: {work: [] for work in WORK} for name in sizes}
    lines: dict[str, float] = {}
    with ExitStack() as stack:
        urls = {name: stack.enter_context(databases.load(size)) for name, size in sizes.items()}
        for url in urls.values():
            open_store(url)
            standings.rebuild(NOW)
            close_store()
        for turn in range(ROUNDS):
            for name, url in urls.items():
                seconds_of, lines[name] = _measured(url, turn)
                for work, seconds in seconds_of.items():
                    times[name][work].append(seconds)
    found = {name: {work: median(each) for work, each in of.items()} for name, of in times.items()}
    heading(f"8. Growth; base: {base}")
    print(f"    {'':<26}" + "".join(f"{work:>20}" for work in WORK))
    print(f"    {'target':<26}" + "".join(f"{TARGETS[work]:>20}" for work in WORK))
    for name, of in found.items():
        named = f"twice the {name}" if name else "base"
        cells = "".join(f"{of[work] * 1000:>17,.3f} ms" for work in WORK)
        print(f"    {named:<26}{cells}, {lines[name]:.0f} lines")
    for name in DOUBLED:
        for work in WORK:
            grew, most = found[name][work] / found[""][work], MOST[name][work]
            if work == "past state":
                most += max(0, lines[name] / lines[""] - 1)
            ratio(
                f"{work}, twice the {name} / base", grew, f"<= {most:.2g}", grew <= most,
                ours=found[name][work],
            )  # fmt: skip


def _measured(url: str, turn: int) -> tuple[dict[str, float], float]:
    """Return the seconds that each work takes on a database, warm, and how many lines a working
    has."""
    open_store(url)
    chance = random.Random(turn)
    codes = [one.carrier for one in table.standings() if one.listed]
    scanned = codes[:_SCANNED]
    asked = chance.sample(codes, _ASKED)
    moment = [NOW + 60 * (turn + 1)]
    said: list[int] = []

    def whole_list() -> None:
        # The store's own moment goes on with the scans; the list is asked for as of the newest.
        asked = standings.answering(moment[0])
        assert asked.stale == []
        table.urgent(asked.at, None, None)

    def scans() -> None:
        moment[0] += 1
        for code in scanned:
            for text in (code, _CLOSE if moment[0] % 2 else _OPEN):
                scan(NewScan(str(uuid4()), "Bench", text), moment[0])

    def past() -> None:
        for code in asked:
            at = NOW - chance.randrange(HOUR_S, 2 * DAY_S)
            _, working = carrier_states.state_and_working(code, NOW, at)
            said.append(len(working.lines) + len(working.before_reset))

    works: dict[str, Callable[[], object]] = {
        "watch list, all": whole_list,
        "watch list, 100": lambda: watch_list.answer(moment[0], None, 100),
        "scan": scans,
        "past state": past,
    }
    for work in works.values():
        work(), work()
    found = in_turn(works)
    close_store()
    each = {
        "scan": found["scan"] / (2 * len(scanned)),
        "past state": found["past state"] / len(asked),
    }
    return found | each, sum(said) / len(said)
