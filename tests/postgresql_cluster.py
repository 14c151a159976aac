"""A throwaway PostgreSQL server for tests: in a folder of its own, on a free port, gone after."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from types import TracebackType

import psycopg

ACCOUNT = "postgres"


def find_programs() -> Path | None:
    """Return the folder with `initdb` and `pg_ctl` of the newest PostgreSQL, or None."""
    debian = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"),
        key=lambda path: float(path.parent.parent.name),
    )
    if debian:
        return debian[-1].parent
    found = shutil.which("initdb")
    return Path(found).resolve().parent if found else None


class Cluster:
    """A running server; a context manager that starts it and throws it away.

    Args:
        programs: The folder with `initdb` and `pg_ctl`.
        durable: What is committed has reached the disk, as in life; tests need not wait for it.
    """

    def __init__(self, programs: Path, *, durable: bool = False) -> None:
        self._programs = programs
        self._durable = durable
        self._numbers = count(1)

    def __enter__(self) -> Cluster:
        self._folder = Path(tempfile.mkdtemp(prefix="msdtrack-postgresql-"))
        self._data = self._folder / "data"
        try:
            if os.geteuid() == 0:
                # The server refuses to run as root.
                shutil.chown(self._folder, ACCOUNT)
            self._run(
                "initdb",
                "--auth=trust",
                f"--username={ACCOUNT}",
                "--no-sync",
                "--no-locale",
                "--encoding=UTF8",
            )
            self._start()
        except BaseException:
            shutil.rmtree(self._folder)
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            self._run("pg_ctl", "--mode=immediate", "--wait", "stop")
        finally:
            shutil.rmtree(self._folder)

    def _start(self) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self._port = probe.getsockname()[1]
        options = {
            "listen_addresses": "127.0.0.1",
            "port": self._port,
            "unix_socket_directories": self._folder,
        }
        if not self._durable:
            options |= {"fsync": "off", "full_page_writes": "off"}
        self._run(
            *("pg_ctl", "--wait", f"--log={self._folder / 'log'}", "start", "--options"),
            " ".join(f"-c {name}={value}" for name, value in options.items()),
        )

    def _run(self, program: str, *args: str) -> None:
        command = [str(self._programs / program), f"--pgdata={self._data}", *args]
        if os.geteuid() == 0:
            command = [
                "setpriv",
                f"--reuid={ACCOUNT}",
                f"--regid={ACCOUNT}",
                "--init-groups",
                *command,
            ]
        # The server keeps what it inherits open: a pipe would never end.
        with (self._folder / "output").open("w+") as output:
            done = subprocess.run(
                command,
                cwd=self._folder,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                check=False,
            )
            output.seek(0)
            said = output.read()
        if done.returncode:
            log = self._folder / "log"
            logged = log.read_text() if log.exists() else ""
            raise RuntimeError(f"{program} failed:\n{said}\n{logged}")

    def _url(self, database: str) -> str:
        return f"postgresql://{ACCOUNT}@127.0.0.1:{self._port}/{database}"

    @property
    def pid(self) -> int:
        """The process that the others of the server are children of."""
        return int((self._data / "postmaster.pid").read_text().split("\n", 1)[0])

    @contextmanager
    def database(self, template: str = "") -> Iterator[str]:
        """Make a fresh database, give its URL, and drop it afterwards with whoever is in it.

        Args:
            template: the URL of the one it is a copy of, which nobody uses.
        """
        name = f"test_{next(self._numbers)}"
        copied = f' TEMPLATE "{template.rpartition("/")[2]}"' if template else ""
        with psycopg.connect(self._url("postgres"), autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"{copied}')
        try:
            yield self._url(name)
        finally:
            with psycopg.connect(self._url("postgres"), autocommit=True) as connection:
                connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
