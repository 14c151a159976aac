"""Servers in processes of their own, as a user starts them."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

_KB = 1024


@dataclass(frozen=True, slots=True)
class Server:
    """A server that runs, as a user starts it."""

    port: int
    pid: int

    def cpu_s(self) -> float:
        """Return the seconds that it has kept a core busy."""
        told = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")

    def memory_mb(self, what: str) -> float:
        """Return its memory, MB: VmRSS now, VmHWM at most so far."""
        for line in Path(f"/proc/{self.pid}/status").read_text().splitlines():
            if line.startswith(f"{what}:"):
                return int(line.split()[1]) / _KB
        raise LookupError(what)


@contextmanager
def served(url: str) -> Iterator[Server]:
    """Serve a database as a user does, in a process of its own, which may be killed meanwhile."""
    with tempfile.TemporaryFile("w+") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "msdtrack", "serve", "--database", url, "--port", "0"],
            stdout=subprocess.PIPE, stderr=log, text=True,
        )  # fmt: skip
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            if not line.startswith("Serving "):
                log.seek(0)
                raise AssertionError(f"{line}{log.read()}")
            yield Server(int(line.strip().rstrip("/").rsplit(":", 1)[1]), process.pid)
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(30)
