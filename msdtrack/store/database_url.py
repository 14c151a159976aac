"""A database URL as a peewee database, whose connections of all threads can be closed together.

Whichever thread writes uses one and the same connection for it: the pages, the prepared statements
and the plans of the write before are at hand there.
"""

from __future__ import annotations

import importlib.util
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import peewee

from msdtrack.errors import BadInput
from msdtrack.store.savepoints import BEGUN, SavepointDatabase
from msdtrack.store.turns import turn

BUSY_TIMEOUT_S = 30
"""How long a statement waits for another process's write before it gives up."""

_WRITE_LOCK_KEY = 0x6D736474
"""The PostgreSQL advisory lock of the one writer."""

_CHECKPOINT_PAGES = 8000
"""Pages (32 MB) that wait in the log before they are put in their places. A scan changes about
20, so that one in 400 waits for it; with SQLite's own 1000 it is one in 50."""

LOCK_WRITES = f"SELECT pg_advisory_xact_lock({_WRITE_LOCK_KEY})"
"""Waits for the one writer of a PostgreSQL database."""

_FORMS = "sqlite:///relative.db, sqlite:////absolute/path.db or postgresql://user@host/name"


class ConnectionRegister:
    """The open connections by thread, for peewee itself knows only the calling thread's.

    Args:
        writer: the connection that writes, whichever thread does; None before the first write.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._open: list[tuple[threading.Thread, Any]] = []
        self.writer: Any = None

    def add(self, connection: Any) -> None:
        """Note the calling thread's new connection, and close those of threads that ended."""
        with self._lock:
            kept = [entry for entry in self._open if entry[0].is_alive()]
            left = [entry for entry in self._open if not entry[0].is_alive()]
            self._open = [*kept, (threading.current_thread(), connection)]
        for _, old in left:
            old.close()

    def keep_writer(self, connection: Any) -> None:
        """Keep the connection that writes, whatever becomes of the thread that opened it."""
        with self._lock:
            self._open = [entry for entry in self._open if entry[1] is not connection]
            self.writer = connection

    def close_all(self) -> None:
        """Close every connection of every thread."""
        with self._lock:
            connections = [connection for _, connection in self._open]
            if self.writer is not None:
                connections.append(self.writer)
            self._open, self.writer = [], None
        for connection in connections:
            connection.close()


class _Registered(SavepointDatabase):
    """A database whose connections are registered."""

    register: ConnectionRegister

    def _connect(self) -> Any:
        connection = super()._connect()  # type: ignore[misc]  # missing in the stubs
        self.register.add(connection)
        return connection

    @contextmanager
    def _by_the_writer(self) -> Iterator[None]:
        """Let the calling thread use the connection that writes. One thread at a time does."""
        state: Any = self._state  # type: ignore[attr-defined]  # missing in the stubs
        own, writer = state.conn, self.register.writer
        self._use(state, writer)
        try:
            yield
        finally:
            # Another one was opened if there was none, or the server had dropped it.
            if state.conn is not writer:
                self.register.keep_writer(state.conn)
            self._use(state, own)

    @staticmethod
    def _use(state: Any, connection: Any) -> None:
        if connection is None:
            state.reset()
        else:
            state.set_connection(connection)


class RegisteredSqlite(_Registered, peewee.SqliteDatabase):
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

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Hold the one write transaction, after those of other processes that came before."""
        with (
            self._by_the_writer(),
            turn(str(self.database), BUSY_TIMEOUT_S),
            self.atomic("IMMEDIATE"),
        ):
            yield

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Hold a snapshot."""
        with self.atomic():
            yield

    def with_commit(self, sql: str) -> None:
        """Do a last statement before the commit."""
        self.execute_sql(sql)

    def holds_transaction(self) -> bool:
        """Return whether a transaction is open: SQLite itself undoes the one that it can't go on
        with, on a full disk or a failing one."""
        connection: Any = self.connection  # untyped in the stubs
        return bool(connection().in_transaction)

    def rollback(self) -> None:
        """Undo what is not undone yet: the error that nothing is left would hide the cause."""
        if self.holds_transaction():
            super().rollback()


class _Ending(threading.local):
    """What the calling thread's transaction ends with."""

    sql = ""


class RegisteredPostgresql(_Registered, peewee.PostgresqlDatabase):
    """PostgreSQL whose connections are registered.

    Each message to the server is a wait: what can be said in one is.
    """

    def __init__(self, url: str) -> None:
        self.register = ConnectionRegister()
        self._ending = _Ending()
        super().__init__(url, prefer_psycopg3=True, connect_timeout=10)

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Hold the one write transaction, after those of other processes that came before."""
        self._ending.sql = ""
        with (
            self._by_the_writer(),
            self.atomic(f"BEGIN; {LOCK_WRITES}; SAVEPOINT {BEGUN}"),
            self.begun_with_savepoint(),
        ):
            yield

    def cursor(self, named_cursor: object = None) -> Any:
        """Return a cursor whose numbers come as such: as their digits they take half as long
        again."""
        connection: Any = self.connection  # untyped in the stubs
        return connection().cursor(binary=True)

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Hold a snapshot."""
        with self.atomic("BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY"):
            yield

    def begin(self, statement: str | None = None) -> None:
        """Begin a transaction, over a new connection if the server has dropped the old one."""
        was_open = not self.is_closed()
        try:
            self._send(statement or "BEGIN")
        except (peewee.DatabaseError, peewee.InterfaceError):
            if not was_open or self.is_connection_usable():
                raise
            self.close()
            self._send(statement or "BEGIN")

    def with_commit(self, sql: str) -> None:
        """Do a last statement of the one write transaction together with its commit."""
        self._ending.sql = f"{sql}; "

    def commit(self) -> None:
        """Commit."""
        last, self._ending.sql = self._ending.sql, ""
        self._send(f"{last}COMMIT")

    def _send(self, statements: str) -> None:
        """Send several statements as one message, which can't be prepared."""
        with peewee.__exception_wrapper__:  # type: ignore[attr-defined]  # missing in the stubs
            self.cursor().execute(statements, prepare=False, binary=False)


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
