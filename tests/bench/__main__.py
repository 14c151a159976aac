"""Measures the speed targets: `python -m tests.bench [--scale 0.1]`."""

from __future__ import annotations

import argparse
import shutil
import tempfile
from pathlib import Path

from msdtrack.store.connection import close_store, open_store
from tests.bench.reference_load import Size, sqlite_load
from tests.bench.watch import watch_list_target
from tests.bench.writes import import_target, label_target


def main() -> None:
    """Build the load, measure, and print every ratio beside its target."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scale", type=float, default=1.0, help="size of the load, 1 is the whole")
    given = parser.parse_args()
    size = Size().scaled(given.scale)
    print(f"Load: {size}")
    load = sqlite_load(size)
    with tempfile.TemporaryDirectory(prefix="msdtrack-bench-") as folder:
        path = Path(shutil.copy(load, Path(folder) / "bench.db"))
        open_store(f"sqlite:///{path}")
        try:
            watch_list_target(path)
            label_target()
            import_target()
        finally:
            close_store()


if __name__ == "__main__":
    main()
