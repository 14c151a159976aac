"""Times ways of doing the same work in turn, prints them side by side, and sums them up."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import median

REPEATS = 5

Measured = float | str | None
"""Seconds, or words with their unit; None where there is no such way."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table at the end."""

    target: str
    database: str
    what: str
    ours: Measured
    naive: Measured
    limit: Measured
    value: str
    wanted: str
    reached: str


_rows: list[Row] = []
_measured = {"target": "", "database": "SQLite"}


def timed(work: Callable[[], object]) -> float:
    """Return the seconds a call takes."""
    gc.collect()
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def in_turn(ways: Mapping[str, Callable[[], object]], repeats: int = REPEATS) -> dict[str, float]:
    """Return the median seconds of each way, measured one after the other, over and over."""
    taken: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(repeats):
        for name, work in ways.items():
            taken[name].append(timed(work))
    return {name: median(times) for name, times in taken.items()}


def percentile(times: list[float], share: float) -> float:
    """Return the time that so large a share of the times does not exceed."""
    return sorted(times)[min(len(times) - 1, int(share * len(times)))]


def on_database(name: str) -> None:
    """Take note of the database that is measured from now on."""
    _measured["database"] = name
    print(f"\n{f' {name} ':=^100}")


def heading(text: str) -> None:
    """Print what is measured next; the text begins with the number of its target and a full
    stop."""
    _measured["target"] = text.partition(".")[0]
    print(f"\n{text}")


def absolute(name: str, seconds: float) -> None:
    """Print a time."""
    print(f"    {name:<58}{seconds * 1000:>12,.3f} ms")


def ratio(
    what: str,
    value: float,
    wanted: str,
    reached: bool,
    *,
    ours: Measured = None,
    naive: Measured = None,
    limit: Measured = None,
) -> None:
    """Print a ratio beside its target, and keep it for the table.

    Args:
        ours, naive, limit: what it was made of, for the table.
    """
    said = "reached" if reached else "NOT REACHED"
    print(f"  {what:<60}{value:>12,.2f}   {wanted:<12}{said}")
    _keep(what, ours, naive, limit, f"{value:,.2f}", wanted, said)


def failed(target: str, why: str) -> None:
    """Keep for the table that a target could not be measured or gave wrong answers."""
    _measured["target"] = target
    _keep(why, None, None, None, "", "", "FAILED")


def table() -> None:
    """Print one line for each ratio."""
    head = Row("", "database", "what", "ours", "naive", "limit", "ratio", "wanted", "")
    print(f"\n{' All targets ':=^100}")
    for row in [head, *sorted(_rows, key=lambda row: (row.database != "SQLite", _number(row)))]:
        ours, naive, limit = (_words(each) for each in (row.ours, row.naive, row.limit))
        print(
            f"{row.target:>2} {row.database:<11}{row.what:<50.50} {ours:>11} {naive:>11} "
            f"{limit:>11} {row.value:>12}   {row.wanted:<10}{row.reached}"
        )


def _keep(
    what: str,
    ours: Measured,
    naive: Measured,
    limit: Measured,
    value: str,
    wanted: str,
    reached: str,
) -> None:
    target, database = _measured["target"], _measured["database"]
    _rows.append(Row(target, database, what, ours, naive, limit, value, wanted, reached))


def _number(row: Row) -> int:
    return int(row.target) if row.target.isdecimal() else 0


def _words(measured: Measured) -> str:
    if isinstance(measured, float):
        return f"{measured:,.2f} s" if measured >= 10 else f"{measured * 1000:,.3f} ms"
    return measured or ""
