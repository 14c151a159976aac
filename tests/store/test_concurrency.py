"""Many writers at once, in threads and in processes: none fails and nothing is lost."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from msdtrack.store import alarms, carriers, database_url, event_log, lease
from msdtrack.store.connection import WIDELY, close_store, open_store, read, version, write
from msdtrack.store.errors import StoreUnavailable
from msdtrack.store.statements import rows
from msdtrack.store.turns import QUEUE, turn
from tests.store.samples import T0, event, fill

ROOT = Path(__file__).resolve().parents[2]


def at_once(threads: int, work: Callable[[int], None]) -> list[BaseException]:
    """Do the work in several threads that start together; return what failed."""
    failed: list[BaseException] = []
    ready = threading.Barrier(threads)

    def run(number: int) -> None:
        ready.wait()
        try:
            work(number)
        except BaseException as error:
            failed.append(error)

    running = [threading.Thread(target=run, args=(number,)) for number in range(threads)]
    for thread in running:
        thread.start()
    for thread in running:
        thread.join()
    return failed


def read_then_write(times: int) -> None:
    """Do what a scan does: look at the log, then append to it and to a counter."""
    for _ in range(times):
        with write():
            known = event_log.log("CARRIER1")
            serial = carriers.next_serial("carrier")
            assert serial == len(known) + 1
            event_log.append([event(at=T0 + serial)], T0)


def in_process(url: str, threads: int, times: int) -> None:
    """Do it in several threads of this process; for a process started by a test."""
    open_store(url)
    try:
        failed = at_once(threads, lambda _: read_then_write(times))
    finally:
        close_store()
    if failed:
        raise failed[0]


def check_log(count: int) -> None:
    """Each write saw all before it, and the order of receipt has no gap."""
    log = event_log.log("CARRIER1")
    assert [e.seq for e in log] == list(range(1, count + 1))
    assert [e.at - T0 for e in log] == list(range(1, count + 1))


def test_8_threads_write_320_times(store: str) -> None:
    """Reading before writing never meets a lock error, while others read."""
    fill()
    before = version()
    done = threading.Event()
    seen: list[tuple[int, int]] = []

    def watch() -> None:
        while not done.is_set():
            with read():
                seen.append((version(), len(event_log.log("CARRIER1"))))

    watcher = threading.Thread(target=watch)
    watcher.start()
    failed = at_once(8, lambda _: read_then_write(40))
    done.set()
    watcher.join()
    assert failed == []
    check_log(320)
    assert version() // WIDELY == before // WIDELY + 320
    assert seen
    assert all(counted // WIDELY - before // WIDELY == events for counted, events in seen)


def test_2_processes_of_4_threads_write_160_times(store: str) -> None:
    """The database's lock does between processes what the process's own does inside."""
    fill()
    code = (
        "import sys; from tests.store.test_concurrency import in_process; "
        "in_process(sys.argv[1], 4, 20)"
    )
    processes = [
        subprocess.Popen(
            [sys.executable, "-W", "error", "-c", code, store],
            cwd=ROOT,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    errors = [process.communicate()[1] for process in processes]
    assert [process.returncode for process in processes] == [0, 0], errors
    check_log(160)


def test_processes_that_start_at_once_on_an_empty_database(database_url: str) -> None:
    """Both find the tables made, once."""
    code = (
        "import sys; from msdtrack.store.connection import *; "
        "open_store(sys.argv[1]); print(version()); close_store()"
    )
    processes = [
        subprocess.Popen(
            [sys.executable, "-c", code, database_url],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(4)
    ]
    answers = [process.communicate() for process in processes]
    assert [out for out, _ in answers] == ["0\n"] * 4, answers


def test_one_of_many_gets_the_lease_and_one_alarm_is_raised(store: str) -> None:
    """All of them try at the same moment."""
    fill()
    got: list[int] = []
    raised: list[int] = []

    def work(number: int) -> None:
        with write():
            if lease.take_lease("jobs", f"server-{number}", T0, 30):
                got.append(number)
        with write():
            record, new = alarms.raise_alarm("cause", "kind", "high", "message", T0)
            if new:
                raised.append(record.id)

    assert at_once(8, work) == []
    assert len(got) == 1
    assert len(raised) == 1
    assert len(alarms.history()) == 1


def test_who_waits_for_a_turn_gets_it_next(tmp_path: Path) -> None:
    """One has it at a time; who has waited in vain is told, and is not in the way later."""
    path = str(tmp_path / "any.db")
    order: list[str] = []

    def second() -> None:
        with turn(path, 60):
            order.append("second")

    waiting = threading.Thread(target=second)
    with turn(path, 60):
        with pytest.raises(StoreUnavailable, match="locked"), turn(path, 0.001):
            order.append("who can't wait")
        waiting.start()
        order.append("first")
    waiting.join()
    with turn(path, 60):
        order.append("third")
    assert order == ["first", "second", "third"]


def test_a_queue_of_another_user_is_joined(tmp_path: Path) -> None:
    """Who may only read its file still takes turns; where there can be none, words say so."""
    path = str(tmp_path / "any.db")
    with turn(path, 60):
        pass
    Path(path + QUEUE).chmod(0o444)
    with turn(path, 60):
        pass
    Path(path + QUEUE).unlink()
    Path(path + QUEUE).mkdir()
    with pytest.raises(StoreUnavailable, match=QUEUE), turn(path, 60):
        raise AssertionError("it must not come here")


def test_a_writer_that_waited_in_vain_is_told(tmp_path: Path, monkeypatch: Any) -> None:
    """Nothing is written, and its connection goes on waiting as long as ever for others."""
    monkeypatch.setattr(database_url, "BUSY_TIMEOUT_S", 0)
    open_store(f"sqlite:///{tmp_path / 'busy.db'}")
    other = sqlite3.connect(tmp_path / "busy.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreUnavailable, match="locked"), write():
        raise AssertionError("it must not come here")
    other.execute("ROLLBACK")
    other.close()
    with write():
        carriers.next_serial("carrier")
    assert carriers_counted() == 1
    close_store()


def carriers_counted() -> int:
    """Return how many codes of carriers were given out."""
    return int(rows("SELECT value FROM counter WHERE kind = 'carrier'")[0][0])
