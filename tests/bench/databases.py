"""The databases that are measured: files of SQLite, or those of a PostgreSQL server made for it.

Each way to make one is a context manager that gives its URL and throws it away afterwards.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from abc import ABC, abstractmethod
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from itertools import count
from pathlib import Path
from typing import Any

import psycopg

from tests.bench.reference_load import Size, fill, sqlite_load
from tests.postgresql_cluster import Cluster, find_programs


class Databases(ABC):
    """Databases of one kind.

    Args:
        mark: what stands for a parameter in a statement.
    """

    name: str
    mark: str

    @abstractmethod
    def empty(self) -> AbstractContextManager[str]:
        """Make an empty database."""

    @abstractmethod
    def copy(self, url: str) -> AbstractContextManager[str]:
        """Make a copy of a database that nobody uses."""

    @abstractmethod
    def load(self, size: Size) -> AbstractContextManager[str]:
        """Make a database with the reference load."""

    @abstractmethod
    def connected(self, url: str) -> AbstractContextManager[Any]:
        """Give a connection of the driver's own, on which each statement is a transaction."""

    @abstractmethod
    def settle(self, url: str) -> None:
        """Do at once what the database would do by and by after so much was put into it."""

    @abstractmethod
    def broken(self, database: Any) -> str:
        """Return what is wrong with the database of a connection, if it can tell; else nothing."""

    @abstractmethod
    def cpu_s(self) -> float:
        """Return the seconds that a server of the database's own has kept a core busy."""


class SqliteFiles(Databases):
    """SQLite databases in a folder."""

    name = "SQLite"
    mark = "?"

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._numbers = count(1)

    @contextmanager
    def empty(self) -> Iterator[str]:
        """Give a file that is not there yet."""
        path = self._folder / f"bench-{next(self._numbers)}.db"
        try:
            yield f"sqlite:///{path}"
        finally:
            for left in self._folder.glob(f"{path.name}*"):
                left.unlink()

    @contextmanager
    def copy(self, url: str) -> Iterator[str]:
        """Copy the file."""
        self.settle(url)
        with self.empty() as copied:
            shutil.copy(_path(url), _path(copied))
            yield copied

    def load(self, size: Size) -> AbstractContextManager[str]:
        """Copy the load that is kept in the temporary folder."""
        return self.copy(f"sqlite:///{sqlite_load(size)}")

    def connected(self, url: str) -> AbstractContextManager[Any]:
        """Open the file, durable (synchronous=FULL is the driver's own default)."""
        database = sqlite3.connect(_path(url), timeout=30, isolation_level=None)
        database.execute("PRAGMA journal_mode = WAL")
        return closing(database)

    def settle(self, url: str) -> None:
        """Put everything into the one file."""
        with self.connected(url) as database:
            database.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def broken(self, database: Any) -> str:
        """Check the file's pages."""
        (problem,) = database.execute("PRAGMA quick_check(1)").fetchone()
        return "" if problem == "ok" else str(problem)

    def cpu_s(self) -> float:
        """Return nothing: SQLite works in the process that uses it."""
        return 0.0


class PostgresqlServer(Databases):
    """The databases of a PostgreSQL server of our own, durable as in life."""

    name = "PostgreSQL"
    mark = "%s"

    def __init__(self, cluster: Cluster) -> None:
        self._cluster = cluster

    def empty(self) -> AbstractContextManager[str]:
        """Create a database."""
        return self._cluster.database()

    def copy(self, url: str) -> AbstractContextManager[str]:
        """Create a database with another one as its template."""
        return self._cluster.database(template=url)

    @contextmanager
    def load(self, size: Size) -> Iterator[str]:
        """Fill a new database."""
        with self.empty() as url:
            fill(url, size)
            self.settle(url)
            yield url

    def connected(self, url: str) -> AbstractContextManager[Any]:
        """Connect by psycopg."""
        return psycopg.connect(url, autocommit=True)

    def settle(self, url: str) -> None:
        """Do what autovacuum would have done a minute later."""
        with self.connected(url) as database:
            database.execute("VACUUM ANALYZE")

    def broken(self, database: Any) -> str:
        """Return nothing: a server checks no pages by itself."""
        return ""

    def cpu_s(self) -> float:
        """Add up the server's processes, those that have ended among them."""
        total, tick = 0.0, os.sysconf("SC_CLK_TCK")
        for stat in Path("/proc").glob("[0-9]*/stat"):
            try:
                told = stat.read_text().rpartition(")")[2].split()
            except (FileNotFoundError, ProcessLookupError):
                continue
            if int(stat.parent.name) == self._cluster.pid:
                total += sum(map(int, told[11:15])) / tick
            elif int(told[1]) == self._cluster.pid:
                total += sum(map(int, told[11:13])) / tick
        return total


@contextmanager
def databases(*, postgresql: bool) -> Iterator[Databases]:
    """Give the databases of one kind, all gone afterwards.

    Raises:
        SystemExit: PostgreSQL's programs are not there.
    """
    if not postgresql:
        with tempfile.TemporaryDirectory(prefix="msdtrack-bench-") as folder:
            yield SqliteFiles(Path(folder))
        return
    programs = find_programs()
    if programs is None:
        raise SystemExit("PostgreSQL's server programs are not there: apt-get install postgresql")
    with Cluster(programs, durable=True) as cluster:
        yield PostgresqlServer(cluster)


def _path(url: str) -> Path:
    return Path(url.removeprefix("sqlite:///"))
