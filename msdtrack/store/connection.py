"""The open database, its transactions, and its change counter.

One database is open per process. Each thread reads over a connection of its own, opened at first
use and kept; whichever thread writes does so over the one that all of them write over. Writes come
one at a time: through a lock in the process, and through the database's own lock between processes,
so that a transaction that reads before it writes can never fail for having lost a race.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import peewee

from msdtrack.errors import BadInput, Conflict, NotFound
from msdtrack.store import migrations
from msdtrack.store.database_url import (
    BUSY_TIMEOUT_S,
    LOCK_WRITES,
    RegisteredDatabase,
    RegisteredSqlite,
    database_from_url,
    run,
)
from msdtrack.store.errors import StoreUnavailable
from msdtrack.store.sqlite_copy import copy_sqlite
from msdtrack.store.touched import Touched

db: Any = peewee.DatabaseProxy()
"""The open database; the models are bound to it."""

WIDELY = 1 << 20
"""The change counter goes on to the next multiple of this when something changed that any screen
may show, and by one when something else did."""

_process_lock = threading.RLock()


class _Transaction(threading.local):
    """What the calling thread is in the middle of."""

    mode: str | None = None
    changed: bool = False
    changed_widely: bool = False
    wrote_readings: bool = False
    stamp: tuple[object, ...] | None = None
    touched: Touched


_transaction = _Transaction()
_before_commit: Callable[[Touched], None] | None = None
_opened: RegisteredDatabase | None = None
_generation: object = None


def open_store(
    url: str,
    *,
    backup_dir: Path | None = None,
    known_migrations: Sequence[migrations.Migration] = migrations.ALL,
) -> None:
    """Open the database and bring its tables up to date, after a copy of what is in it.

    A store that is open already is closed first.

    Args:
        url: sqlite:///relative.db, sqlite:////absolute/path.db or postgresql://...
        backup_dir: where the copy of an SQLite database goes; None: beside it. PostgreSQL keeps
            its copy in a schema of its own.
        known_migrations: the steps to the newest tables, by version.

    Raises:
        BadInput: the URL can't be used.
        StoreUnavailable: the database does not answer, or a newer msdtrack has changed it.
    """
    global _opened, _generation
    database = database_from_url(url)
    close_store()
    try:
        with _in_words():
            database.connect()
            if isinstance(database, RegisteredSqlite):
                _use_wal(database)
            migrations.migrate(
                database,
                known_migrations,
                lock=lambda: _lock_writes(database),
                copy=lambda version: _copy_before(database, version, backup_dir),
            )
    except BaseException:
        database.register.close_all()
        raise
    db.initialize(database)
    _opened, _generation = database, object()


def generation() -> object:
    """Return a token of the open database and of what was read from it: another one once another
    has been opened, or readings were undone that may have been read."""
    return _generation


def close_store() -> None:
    """Close the connections of every thread. Does nothing if no store is open."""
    global _opened
    if _opened is not None:
        _opened.register.close_all()
        _opened = None
        db.initialize(None)


@contextmanager
def write() -> Iterator[None]:
    """Hold the one write transaction; it is committed, durably, when the block has ended.

    An exception undoes all of it. Inside another `write()` the block joins that transaction, and an
    exception undoes what the block wrote even if it is caught outside of the block.

    Raises:
        StoreUnavailable: the database does not answer or was busy for too long; nothing is written.
        Conflict: what was to be written contradicts what is stored; nothing is written.
        RuntimeError: it was called inside `read()`, whose snapshot may be old.
    """
    if _transaction.mode == "write":
        with _in_words(), opened().inner(), _forgetting_readings():
            yield
        return
    if _transaction.mode == "read":
        raise RuntimeError("write() inside read(): what was read may be out of date")
    with _process_lock, _in_words(), _forgetting_readings():
        database = opened()
        with database.writing():
            _transaction.mode = "write"
            _transaction.changed = _transaction.changed_widely = False
            _transaction.touched, _transaction.wrote_readings = Touched(), False
            _transaction.stamp = None
            try:
                yield
                if _transaction.touched and _before_commit is not None:
                    _before_commit(_transaction.touched)
                if _transaction.changed:
                    after = f"(value / {WIDELY} + 1) * {WIDELY}"
                    value = after if _transaction.changed_widely else "value + 1"
                    database.with_commit(f"UPDATE change_counter SET value = {value}")
            finally:
                _transaction.mode = None


@contextmanager
def _forgetting_readings() -> Iterator[None]:
    """Make a new generation if readings were written that are undone now: a later write may count
    up to the same version with others."""
    global _generation
    try:
        yield
    except BaseException:
        if _transaction.wrote_readings:
            _generation = object()
        raise


@contextmanager
def read() -> Iterator[None]:
    """Hold one snapshot: everything read in the block is as it was at its first query.

    Inside `read()` or `write()` the block joins that transaction.

    Raises:
        StoreUnavailable: the database does not answer.
    """
    if _transaction.mode is not None:
        yield
        return
    with _in_words(), opened().reading():
        _transaction.mode, _transaction.stamp = "read", None
        try:
            yield
        finally:
            _transaction.mode = None


def version() -> int:
    """Return the change counter: more with each committed `write()` that changed anything that a
    screen shows. Leases, watermarks, the clock and kept values do not count."""
    return int(run(opened(), "SELECT value FROM change_counter").fetchone()[0])


def version_at(place: str) -> str:
    """Return what changes with each committed `write()` that changed anything that the wall screen
    of a place shows. Readings of other places do not, unless they concern what is elsewhere, nor
    do the logs of scans, of prints and of requests.

    Raises:
        NotFound: there is no such place.
    """
    sql = (
        f"SELECT value / {WIDELY}, (SELECT changes FROM reading_version WHERE place_id = place.id) "
        "FROM place CROSS JOIN change_counter WHERE place.code = ?"
    )
    found = run(opened(), sql, (place,)).fetchone()
    if found is None:
        raise NotFound(f"There is no place {place}.")
    value, readings = found
    return f"{value}-{readings or 0}"


def is_sqlite() -> bool:
    """Return whether the open database is SQLite."""
    return isinstance(opened(), RegisteredSqlite)


def opened() -> RegisteredDatabase:
    """Return the open database, for this package's own use.

    Raises:
        StoreUnavailable: none is open.
    """
    if _opened is None:
        raise StoreUnavailable("No database is open.")
    return _opened


def writing(*, shows: bool = True, widely: bool = True) -> None:
    """Make sure that a write transaction is open, and note whether a screen shows the change.

    Args:
        shows: a screen shows what is written.
        widely: so may the wall screen of any place; else only one of the place whose readings are
            written.

    Raises:
        RuntimeError: there is none; only services open transactions.
    """
    if _transaction.mode != "write":
        raise RuntimeError("this function writes and must run inside write()")
    if shows:
        _transaction.changed = True
        _transaction.changed_widely |= widely


def touched(*, readings: bool = False) -> Touched:
    """Return what the open write transaction has touched so far.

    Args:
        readings: it has written readings, too.

    Raises:
        RuntimeError: there is none.
    """
    writing(shows=False)
    _transaction.wrote_readings |= readings
    return _transaction.touched


def before_commit(keep: Callable[[Touched], None]) -> None:
    """Have `keep` called at the end of each write transaction that touched something, inside it."""
    global _before_commit
    _before_commit = keep


def in_transaction() -> bool:
    """Return whether the calling thread is inside `read()` or `write()`."""
    return _transaction.mode is not None


def once_in_transaction(read: Callable[[], tuple[object, ...]]) -> tuple[object, ...]:
    """Return what `read` returns, read once in a transaction as long as nothing is written in
    it."""
    if not snapshot_is_committed():
        return read()
    if _transaction.stamp is None:
        _transaction.stamp = read()
    return _transaction.stamp


def snapshot_is_committed() -> bool:
    """Return whether the calling thread is in a transaction that sees only what is committed: in
    `read()`, or in `write()` before anything was written."""
    mode = _transaction.mode
    return mode == "read" or (mode == "write" and not _transaction.changed)


def _lock_writes(database: RegisteredDatabase) -> None:
    if not isinstance(database, RegisteredSqlite):
        run(database, LOCK_WRITES)


def _use_wal(database: RegisteredSqlite) -> None:
    # Going over to WAL does not heed the busy timeout when two processes start at once.
    deadline = time.monotonic() + BUSY_TIMEOUT_S
    while True:
        try:
            mode = run(database, "PRAGMA journal_mode = WAL").fetchone()[0]
            break
        except peewee.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.05)
    if mode != "wal":
        raise StoreUnavailable(
            f"The database {database.database} can't be used in WAL mode; is it on a network drive?"
            " Put it on a disk of this computer."
        )


def _copy_before(database: RegisteredDatabase, version: int, backup_dir: Path | None) -> None:
    """Keep a copy of the database as it is before the migration to `version`."""
    stamp = f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
    if isinstance(database, RegisteredSqlite):
        source = Path(database.database)
        name = f"{source.stem}.before-v{version:04}-{stamp}{source.suffix}"
        copy_sqlite(source, (backup_dir or source.parent) / name)
        return
    schema = f"before_v{version:04}_{stamp.lower()}"
    run(database, f'CREATE SCHEMA "{schema}"')
    for table in database.get_tables():
        run(database, f'CREATE TABLE "{schema}"."{table}" AS TABLE "{table}"')


@contextmanager
def _in_words() -> Iterator[None]:
    """Turn what the database driver raises into errors of this project."""
    try:
        yield
    except (peewee.IntegrityError, sqlite3.IntegrityError) as error:
        raise Conflict(f"It contradicts what is stored; nothing was written ({error}).") from error
    except peewee.DataError as error:
        raise BadInput(f"The database can't hold it; nothing was written ({error}).") from error
    except (peewee.PeeweeException, sqlite3.Error) as error:
        raise StoreUnavailable(
            f"The database could not do this; nothing was written ({error})."
        ) from error
