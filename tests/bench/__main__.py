"""Measures the speed targets: `python -m tests.bench [--scale 0.1] [--only 1,3] [--postgresql]`."""

from __future__ import annotations

import argparse
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import psycopg

from msdtrack.store.connection import close_store, open_store
from tests.bench import measuring
from tests.bench.growth import growth_target
from tests.bench.imports import import_target
from tests.bench.labels import label_target
from tests.bench.reference_load import Size, fill, sqlite_load
from tests.bench.scans import scan_target
from tests.bench.scheduler import scheduler_target
from tests.bench.screens import screens_target
from tests.bench.watch import watch_list_target
from tests.postgresql_cluster import Cluster, find_programs

ONE_AT_A_TIME = (1, 4, 5)
"""Measured together, as each goes on with the data of the one before."""


def main() -> None:
    """Build the load, measure, and print every ratio beside its target."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scale", type=float, default=1.0, help="size of the load, 1 is the whole")
    parser.add_argument("--only", default="", help="numbers of targets, such as 1,3; 4 and 5 are "
                        "measured with 1")  # fmt: skip
    parser.add_argument(
        "--postgresql", action="store_true", help="measure on a PostgreSQL server made for it"
    )
    given = parser.parse_args()
    size = Size().scaled(given.scale)
    wanted = {int(number) for number in given.only.split(",") if number} or set(range(1, 11))
    print(f"Load: {size}")
    if given.postgresql:
        _on_postgresql(size, wanted)
    else:
        _on_sqlite(size, wanted, given.scale)
    measuring.table()


def _on_sqlite(size: Size, wanted: set[int], scale: float) -> None:
    measuring.on_database("SQLite")
    with _sqlite(size) as path, closing(sqlite3.connect(path)) as database:
        _in_process(wanted, database, "?")
    targets: dict[int, Callable[[], None]] = {
        2: lambda: scan_target(size),
        7: lambda: screens_target(size),
        8: lambda: growth_target(scale),
        10: scheduler_target,
    }
    for number, measure in targets.items():
        if number in wanted:
            _measured(number, measure)


def _on_postgresql(size: Size, wanted: set[int]) -> None:
    """Measure what is done in process: the rest is the same program over the same HTTP."""
    programs = find_programs()
    if programs is None:
        raise SystemExit("PostgreSQL's server programs are not there: apt-get install postgresql")
    measuring.on_database("PostgreSQL")
    with Cluster(programs, durable=True) as cluster, cluster.database() as url:
        fill(url, size)
        open_store(url)
        try:
            with psycopg.connect(url, autocommit=True) as database:
                database.execute("ANALYZE")
                _in_process(wanted, database, "%s")
        finally:
            close_store()


def _in_process(wanted: set[int], database: Any, mark: str) -> None:
    if wanted & set(ONE_AT_A_TIME):
        _measured(1, lambda: watch_list_target(database, mark))
    for number, measure in ((6, label_target), (3, import_target)):
        if number in wanted:
            _measured(number, measure)


def _measured(number: int, measure: Callable[[], None]) -> None:
    """Go on with the other targets if one gives wrong answers."""
    try:
        measure()
    except AssertionError as error:
        measuring.failed(str(number), f"wrong answers: {error}")


@contextmanager
def _sqlite(size: Size) -> Iterator[Path]:
    """Open a copy of the load."""
    load = sqlite_load(size)
    with tempfile.TemporaryDirectory(prefix="msdtrack-bench-") as folder:
        path = Path(shutil.copy(load, Path(folder) / "bench.db"))
        open_store(f"sqlite:///{path}")
        try:
            yield path
        finally:
            close_store()


if __name__ == "__main__":
    main()
