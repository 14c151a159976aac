"""A database URL as a peewee database, whose connections of all threads can be closed together."""

from __future__ import annotations

import importlib.util
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import peewee

from msdtrack.errors import BadInput
from msdtrack.store.turns import next_in_turn, wait_a_little

BUSY_TIMEOUT_S = 30
"""How long a statement waits for another process's write before it gives up."""

_CHECKPOINT_PAGES = 8000
"""So many pages (32 MB) wait in the log before they are put in their places. A scan changes about
20, so that one in 400 waits for it; with SQLite's own 1000 it is one in 50."""

_FORMS = "sqlite:///relative.db, sqlite:////absolute/path.db or postgresql://user@host/name"


class ConnectionRegister:
    """The open connections by thread, for peewee itself knows only the calling thread's."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._open: list[tuple[threading.Thread, Any]] = []

    def add(self, connection: Any) -> None:
        """Note the calling thread's new connection, and close those of threads that ended."""
        with self._lock:
            kept = [entry for entry in self._open if entry[0].is_alive()]
            left = [entry for entry in self._open if not entry[0].is_alive()]
            self._open = [*kept, (threading.current_thread(), connection)]
        for _, old in left:
            old.close()

    def close_all(self) -> None:
        """Close every connection of every thread."""
        with self._lock:
            entries, self._open = self._open, []
        for _, connection in entries:
            connection.close()


class RegisteredSqlite(peewee.SqliteDatabase):
    """SQLite whose connections are registered."""

    def __init__(self, path: str) -> None:
        self.register = ConnectionRegister()
        super().__init__(
            path,
            # FULL: a committed scan survives a power cut.
            pragmas={
                "foreign_keys": 1,
                "synchronous": "FULL",
                "wal_autocheckpoint": _CHECKPOINT_PAGES,
            },
            timeout=BUSY_TIMEOUT_S,
            # Only ever used from one thread, but closed from another.
            check_same_thread=False,
        )

    def begin(self, lock_type: str | None = None) -> None:
        """Begin a transaction; one that writes waits for its turn."""
        if lock_type != "IMMEDIATE":
            super().begin(lock_type)
            return
        deadline = time.monotonic() + BUSY_TIMEOUT_S
        run(self, "PRAGMA busy_timeout = 0")
        try:
            with next_in_turn(str(self.database), deadline):
                while not self._has_begun(deadline):
                    wait_a_little()
        finally:
            run(self, f"PRAGMA busy_timeout = {BUSY_TIMEOUT_S * 1000}")

    def _has_begun(self, deadline: float) -> bool:
        try:
            super().begin("IMMEDIATE")
            return True
        except peewee.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            return False

    def _connect(self) -> Any:
        connection = super()._connect()  # type: ignore[misc]  # missing in the stubs
        self.register.add(connection)
        return connection


class RegisteredPostgresql(peewee.PostgresqlDatabase):
    """PostgreSQL whose connections are registered."""

    def __init__(self, url: str) -> None:
        self.register = ConnectionRegister()
        super().__init__(url, prefer_psycopg3=True, connect_timeout=10)

    def _connect(self) -> Any:
        connection = super()._connect()  # type: ignore[misc]  # missing in the stubs
        self.register.add(connection)
        return connection


RegisteredDatabase = RegisteredSqlite | RegisteredPostgresql


def run(database: peewee.Database, sql: str, parameters: Sequence[object] = ()) -> Any:
    """Do a statement written with `?` for its parameters, and return the driver's cursor."""
    statement = sql.replace("?", database.param)
    return database.execute_sql(statement, parameters)  # type: ignore[no-untyped-call]


def database_from_url(url: str) -> RegisteredDatabase:
    """Return the database that the URL names; nothing is connected yet.

    Args:
        url: sqlite:///relative.db, sqlite:////absolute/path.db or postgresql://...

    Raises:
        BadInput: the URL has another form, names no file that can be, or its driver is missing.
    """
    scheme = urlsplit(url).scheme
    if scheme == "sqlite" and url.startswith("sqlite:///"):
        return RegisteredSqlite(_sqlite_path(unquote(url.removeprefix("sqlite:///"))))
    if scheme == "postgresql":
        if importlib.util.find_spec("psycopg") is None:
            raise BadInput(
                "The driver for PostgreSQL is missing; install it with pip install psycopg[binary]."
            )
        return RegisteredPostgresql(url)
    raise BadInput(f"The database URL must look like {_FORMS}.")


def _sqlite_path(text: str) -> str:
    if text in ("", ":memory:"):
        raise BadInput(
            "The database URL names no file; what is recorded must be kept. Write it like "
            f"{_FORMS}."
        )
    path = Path(text)
    if not path.parent.is_dir():
        raise BadInput(f"There is no folder {path.parent} for the database; make it first.")
    if path.is_dir():
        raise BadInput(f"The database {path} is a folder; name a file in it.")
    return str(path.absolute())
