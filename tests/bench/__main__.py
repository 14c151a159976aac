"""Measures the speed targets: `python -m tests.bench [--scale 0.1] [--only 1,3] [--postgresql]`."""

from __future__ import annotations

import argparse
import traceback
from collections.abc import Callable

from msdtrack.store.connection import close_store, open_store
from tests.bench import measuring
from tests.bench.databases import Databases, databases
from tests.bench.growth import growth_target
from tests.bench.imports import import_target
from tests.bench.labels import label_target
from tests.bench.pages import pages_target
from tests.bench.reference_load import Size
from tests.bench.scans import scan_target
from tests.bench.scheduler import scheduler_target
from tests.bench.screens import screens_target
from tests.bench.watch import watch_list_target

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
    wanted = {int(number) for number in given.only.split(",") if number} or set(range(1, 12))
    print(f"Load: {size}")
    with databases(postgresql=given.postgresql) as kind:
        measuring.on_database(kind.name)
        if wanted & {*ONE_AT_A_TIME, 3, 6}:
            _in_process(wanted, kind, size)
        targets: dict[int, Callable[[], None]] = {
            2: lambda: scan_target(kind, size),
            7: lambda: screens_target(kind, size),
            8: lambda: growth_target(kind, given.scale),
            10: lambda: scheduler_target(kind),
            11: lambda: pages_target(kind, size),
        }
        for number, measure in targets.items():
            if number in wanted:
                _measured(number, measure)
    measuring.table()


def _in_process(wanted: set[int], kind: Databases, size: Size) -> None:
    """Measure what needs no server, on one database after the other's work."""
    with kind.load(size) as url, kind.connected(url) as database:
        open_store(url)
        try:
            if wanted & set(ONE_AT_A_TIME):
                _measured(1, lambda: watch_list_target(database, kind.mark))
            for number, measure in ((6, label_target), (3, import_target)):
                if number in wanted:
                    _measured(number, measure)
        finally:
            close_store()


def _measured(number: int, measure: Callable[[], None]) -> None:
    """Go on with the other targets if one fails."""
    try:
        measure()
    except AssertionError as error:
        measuring.failed(str(number), f"wrong answers: {error}")
    except Exception as error:
        traceback.print_exc()
        measuring.failed(str(number), f"{type(error).__name__}: {error}")


if __name__ == "__main__":
    main()
