"""Takes a database from the version it has to the newest one, all or nothing."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import peewee

from msdtrack.store.database_url import run
from msdtrack.store.errors import StoreUnavailable

_VERSION_TABLE = """
    CREATE TABLE IF NOT EXISTS schema_version (
        version INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        applied_at BIGINT NOT NULL
    )"""


@dataclass(frozen=True, slots=True)
class Migration:
    """One step: the version it leads to, its name, and what it does inside a transaction."""

    version: int
    name: str
    up: Callable[[peewee.Database], None]


def migrate(
    database: peewee.Database,
    migrations: Sequence[Migration],
    *,
    lock: Callable[[], None],
    copy: Callable[[int], None],
) -> list[int]:
    """Take every step that is missing, in one transaction, and return the versions reached.

    Args:
        database: connected, in no transaction.
        migrations: all known steps, by version.
        lock: called inside the transaction, keeps other processes from doing the same.
        copy: called with the newest version before the first step, if the database has rows.

    Raises:
        StoreUnavailable: the database has a version that is not among `migrations`.
    """
    sqlite = isinstance(database, peewee.SqliteDatabase)
    if sqlite:
        # A step may rebuild a table that others point to; what points where is checked at the end.
        run(database, "PRAGMA foreign_keys = OFF")
    try:
        with database.atomic("IMMEDIATE") if sqlite else database.atomic():
            lock()
            run(database, _VERSION_TABLE)
            present = schema_version(database)
            newest = migrations[-1].version
            if present > newest:
                raise StoreUnavailable(
                    f"The database has version {present}, but this msdtrack knows only up to "
                    f"version {newest}. Install the newer msdtrack that it was last used with, or "
                    "open a copy from before that."
                )
            missing = [step for step in migrations if step.version > present]
            if missing and _has_rows(database):
                copy(newest)
            for step in missing:
                step.up(database)
                run(
                    database,
                    "INSERT INTO schema_version VALUES (?, ?, ?)",
                    (step.version, step.name, int(time.time())),
                )
            if sqlite and missing:
                _check_foreign_keys(database)
    finally:
        if sqlite:
            run(database, "PRAGMA foreign_keys = ON")
    return [step.version for step in missing]


def schema_version(database: peewee.Database) -> int:
    """Return the version the database has; 0 is empty."""
    found = run(database, "SELECT max(version) FROM schema_version").fetchone()[0]
    return int(found or 0)


def _has_rows(database: peewee.Database) -> bool:
    # The counter's one row stands in an empty database too.
    for table in set(database.get_tables()) - {"schema_version", "change_counter"}:
        if table.startswith("sqlite_"):
            continue
        if run(database, f'SELECT 1 FROM "{table}" LIMIT 1').fetchone() is not None:
            return True
    return False


def _check_foreign_keys(database: peewee.Database) -> None:
    orphans = run(database, "PRAGMA foreign_key_check").fetchall()
    if orphans:
        raise StoreUnavailable(
            f"The new tables would lose what {len(orphans)} rows point to (first: "
            f"{orphans[0][0]}); the database was left as it was."
        )
