"""A server process of a test's own: started, killed, frozen and started again."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

SERVE = """
import sys
import waitress
from msdtrack.config import load_settings
from msdtrack.web.app import create_app
database, port = sys.argv[1:]
app = create_app(load_settings({"database": database, "timezone": "Europe/Lisbon"}))
waitress.serve(app, host="127.0.0.1", port=int(port), threads=4)
"""


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class LiveServer:
    """The application in a process of its own, on a database that is filled already."""

    def __init__(self, database: Path) -> None:
        self.database = database
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = [sys.executable, "-c", SERVE, f"sqlite:///{self.database}", str(self.port)]
        self._process = subprocess.Popen(command, cwd=ROOT, env=dict(os.environ))
        deadline = time.monotonic() + 60
        while True:
            try:
                with urllib.request.urlopen(f"{self.url}/tables", timeout=5):
                    return
            except OSError:
                if self._process.poll() is not None or time.monotonic() > deadline:
                    raise
                time.sleep(0.2)

    def kill(self) -> None:
        """End it as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def freeze(self) -> None:
        """Stop it from answering while its connections stay open."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)
