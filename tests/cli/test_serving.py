"""`msdtrack serve` and `msdtrack demo` as real processes, asked over HTTP and ended by signals."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from msdtrack.cli import serving

LONG_ENOUGH_S = 60


class Server:
    """A running `msdtrack`; what it printed up to its address is in `said`."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self.said = ""
        assert process.stdout is not None
        for line in process.stdout:
            self.said += line
            found = re.search(r"http://\S+:(\d+)/", line)
            if found:
                self.address, self.port = found[0], int(found[1])
                return
        process.wait(LONG_ENOUGH_S)
        pytest.fail(f"it ended with {process.returncode}: {self.said}")

    def get(self, path: str) -> Any:
        """Return the JSON of an answer."""
        with urllib.request.urlopen(self.address + path, timeout=LONG_ENOUGH_S) as answer:
            return json.load(answer)

    def end(self, number: signal.Signals) -> tuple[int, str]:
        """End it; return its exit code and the rest of what it printed."""
        self.process.send_signal(number)
        rest, _ = self.process.communicate(timeout=LONG_ENOUGH_S)
        return self.process.returncode, rest


def _heed_sigint() -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@contextmanager
def _served(*arguments: object, cwd: Path) -> Iterator[Server]:
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    process = subprocess.Popen(
        [sys.executable, "-m", "msdtrack", *map(str, arguments)],
        cwd=cwd,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        # What a shell runs in the background, this run perhaps, does not heed SIGINT.
        preexec_fn=None if os.name == "nt" else _heed_sigint,
    )
    try:
        yield Server(process)
    finally:
        process.kill()
        process.communicate()


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
@pytest.mark.parametrize("ended_by", [signal.SIGTERM, signal.SIGINT])
def test_it_serves_watches_for_alarms_and_ends_cleanly(
    tmp_path: Path, ended_by: signal.Signals
) -> None:
    """Pages, API and alarm watch come with one command and go with one signal."""
    with _served("--database", "sqlite:///a.db", "serve", "--port", 0, cwd=tmp_path) as server:
        health = server.get("api/v1/health")
        assert health["status"] == "ok"
        code, rest = server.end(ended_by)
    assert code == 0
    assert rest.endswith("Stopped.\n")
    assert "Traceback" not in rest
    assert (tmp_path / "a.db").exists()
    assert f"There was no database: {tmp_path / 'a.db'} is new and empty." in server.said
    with _served("--database", "sqlite:///a.db", "serve", "--port", 0, cwd=tmp_path) as server:
        assert server.said.startswith("Serving ")


def test_the_demo_is_kept_between_starts_and_fresh_starts_over(tmp_path: Path) -> None:
    """What a person did in it is there the next day; `--fresh` forgets it."""
    with _served("demo", "--folder", tmp_path, "--port", 0, cwd=tmp_path) as server:
        assert "The demo workshop is loaded." in server.said
        assert len(server.get("api/v1/watch")["items"]) >= 45
        request = urllib.request.Request(
            f"{server.address}api/v1/parts",
            json.dumps({"number": "BL-9990", "msl": "3", "description": "spare"}).encode(),
            {"Content-Type": "application/json"},
        )
        with urllib.request.urlopen(request, timeout=LONG_ENOUGH_S) as answer:
            assert answer.status == 201
        running = subprocess.run(
            [sys.executable, "-m", "msdtrack", "demo", "--folder", tmp_path, "--fresh"],
            capture_output=True,
            text=True,
            check=False,
        )
        assert running.returncode == 1
        assert "refused: The demo is running on" in running.stderr
        assert server.end(signal.SIGTERM)[0] == 0
    with _served("demo", "--folder", tmp_path, "--port", 0, cwd=tmp_path) as server:
        assert "loaded" not in server.said
        assert server.get("api/v1/parts/BL-9990")["msl"] == "3"
        assert server.end(signal.SIGTERM)[0] == 0
    with _served("demo", "--folder", tmp_path, "--port", 0, "--fresh", cwd=tmp_path) as server:
        assert "The demo workshop is loaded." in server.said
        numbers = [part["number"] for part in server.get("api/v1/parts?limit=100")["items"]]
        assert len(numbers) == 25
        assert "BL-9990" not in numbers
        assert server.end(signal.SIGTERM)[0] == 0


def test_a_busy_port_that_was_asked_for_is_wrong_usage(tmp_path: Path) -> None:
    """Exit code 2 with words, and nothing is served."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        for command in (("serve",), ("demo", "--folder", tmp_path)):
            done = subprocess.run(
                [sys.executable, "-m", "msdtrack", *map(str, command), "--port", str(port)],
                cwd=tmp_path,
                capture_output=True,
                text=True,
                check=False,
            )
            assert done.returncode == 2
            assert f"Port {port} on 127.0.0.1 is in use by another program" in done.stderr


def test_a_busy_default_port_gives_the_next_free_one(tmp_path: Path) -> None:
    """It says which one it took."""
    with socket.socket() as other:
        try:
            other.bind(("127.0.0.1", 8033))
            other.listen()
        except OSError:
            pass  # busy already, as this test wants it
        with _served("--database", "sqlite:///a.db", "serve", cwd=tmp_path) as server:
            assert server.port != 8033
            assert f"Port 8033 is in use by another program: taking {server.port}." in server.said


def test_the_demo_never_touches_another_database(tmp_path: Path) -> None:
    """Neither one named on the command line nor one named in the environment."""
    done = subprocess.run(
        [sys.executable, "-m", "msdtrack", "--database", "sqlite:///real.db", "demo"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "has a database of its own" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_fresh_forgets_a_damaged_database(tmp_path: Path) -> None:
    """Starting over works above all when nothing else does."""
    path = tmp_path / serving.DEMO_FILE
    path.write_bytes(b"this is no database, though it is long enough to be taken for one" * 100)
    serving.forget(path)
    assert not path.exists()


def test_the_demo_stays_beside_its_scenario_or_in_the_current_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A checkout keeps it in demo/; an installed package must not write into itself."""
    assert serving.demo_folder().name == "demo"
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(
        serving, "resource_dir", lambda name: Path("/site-packages/msdtrack") / name
    )
    assert serving.demo_folder() == tmp_path / ".msdtrack-demo"
