"""A backup copy of the database in use, read back before it counts."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from msdtrack.errors import Refused
from msdtrack.store.connection import opened
from msdtrack.store.database_url import RegisteredSqlite
from msdtrack.store.records import BackupReport
from msdtrack.store.sqlite_copy import copy_sqlite


def backup_to(path: Path) -> BackupReport:
    """Copy the open database to a file while it is in use, check the copy and say what is in it.

    Args:
        path: the copy, which must not exist yet, in a folder that does.

    Raises:
        Refused: the database is PostgreSQL, which has its own tool for this, or there is no such
            folder: a path that was mistyped is no place to find a copy again.
        Conflict: the file exists.
        StoreUnavailable: the copy could not be written, or is damaged.
    """
    database = opened()
    if not isinstance(database, RegisteredSqlite):
        raise Refused(
            "A PostgreSQL database is copied with its own tool: pg_dump --format=custom "
            f"--file={path} NAME, and brought back with pg_restore."
        )
    if not path.parent.is_dir():
        raise Refused(
            f"There is no folder {path.parent.absolute()}, so nothing was copied: make it first, "
            "or mend the path."
        )
    copy_sqlite(Path(database.database), path)
    with closing(sqlite3.connect(path)) as copy:
        version = copy.execute("SELECT max(version) FROM schema_version").fetchone()[0]
        tables = copy.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite@_%' "
            "ESCAPE '@' ORDER BY name"
        ).fetchall()
        rows = {
            name: copy.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for (name,) in tables
        }
    return BackupReport(path, path.stat().st_size, version, rows)
