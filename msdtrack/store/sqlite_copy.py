"""A whole, checked copy of an SQLite database that is in use."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from contextlib import closing
from pathlib import Path

from msdtrack.errors import Conflict
from msdtrack.store.errors import StoreUnavailable


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy the last committed state of a database to one file, and check the copy.

    The database may be in use. The copy has its final name only when it is whole and on the disk.

    Args:
        source: the database.
        target: the copy, which must not exist yet.

    Raises:
        Conflict: `target` exists.
        StoreUnavailable: the copy could not be written, or is damaged.
    """
    if target.exists():
        raise Conflict(f"{target} exists already; name another file for the copy.")
    partial = target.with_name(target.name + ".partial")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with (
            closing(sqlite3.connect(source)) as original,
            closing(sqlite3.connect(partial)) as copy,
        ):
            original.backup(copy)
            # One file, without a log beside it that could get lost.
            copy.execute("PRAGMA journal_mode = DELETE")
            damage = [row[0] for row in copy.execute("PRAGMA integrity_check") if row[0] != "ok"]
            orphans = copy.execute("PRAGMA foreign_key_check").fetchall()
        if damage or orphans:
            raise StoreUnavailable(
                f"The copy of {source} is damaged and was thrown away: "
                f"{'; '.join(damage[:3]) or f'{len(orphans)} rows point to nothing'}. "
                "Check the disk before anything else is recorded."
            )
        with partial.open("rb") as file:
            os.fsync(file.fileno())
        partial.rename(target)
    except (OSError, sqlite3.Error) as error:
        raise StoreUnavailable(f"The copy {target} could not be written: {error}.") from error
    finally:
        with contextlib.suppress(OSError):
            partial.unlink()
