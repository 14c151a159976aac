"""One server looks, whoever it is; nothing is raised twice; a clock that jumps is noticed."""

from __future__ import annotations

import logging
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from threading import Event

import pytest
from apscheduler.schedulers.background import BackgroundScheduler

from msdtrack.alarms.scheduler import (
    LEASE_S,
    PERIOD_S,
    ClockWatch,
    SchedulerHandle,
    hurry,
    schedule,
    start_scheduler,
    tick,
)
from msdtrack.services import alarm_rules
from msdtrack.services.health import ALARM_WATCH
from msdtrack.store import lease, server
from tests.alarms.conftest import NOW

HOUR, DAY = 3600, 86400


def causes() -> Counter[str]:
    """How many alarms there ever were of each kind."""
    return Counter(alarm.kind for alarm in alarm_rules.alarm_history())


def test_one_of_two_servers_looks_and_the_other_takes_over(reel: str) -> None:
    """The lease is renewed at each look, and free when its holder has been silent for 90 s."""
    assert tick(NOW, "first") is not None
    assert tick(NOW + 1, "second") is None
    for look in range(1, 10):
        assert tick(NOW + look * PERIOD_S, "first") is not None
        assert tick(NOW + look * PERIOD_S + 1, "second") is None
    silent_since = NOW + 9 * PERIOD_S
    assert tick(silent_since + LEASE_S - 1, "second") is None
    assert tick(silent_since + LEASE_S, "second") is not None
    assert tick(silent_since + LEASE_S + 1, "first") is None
    assert lease.watermark(ALARM_WATCH) == silent_since + LEASE_S


def test_two_servers_and_three_days_of_downtime_give_one_alarm_for_each_cause(reel: str) -> None:
    """Open too long before the downtime; running out and expired come in it, or after it."""
    for look in range(0, 2 * HOUR, PERIOD_S):
        tick(NOW + look, "first")
        tick(NOW + look + 1, "second")
    before = {"bag_open_too_long": 1, "readings_missing": 1}
    assert causes() == before
    back = NOW + 2 * HOUR + 3 * DAY
    for look in range(0, 10 * PERIOD_S, PERIOD_S):
        tick(back + look, "second")
        tick(back + look + 1, "first")
    assert causes() == before
    expired = NOW + 168 * HOUR + 3 * DAY
    for look in range(0, 10 * PERIOD_S, PERIOD_S):
        tick(expired + look, "first")
        tick(expired + look, "second")
    assert causes() == before | {"floor_life_expired": 1}
    assert all(alarm.times == 1 for alarm in alarm_rules.alarm_history())


def test_two_processes_at_once_give_one_alarm_for_each_cause(reel: str, database_url: str) -> None:
    """Without a lease between them, at the same moment, through connections of their own."""
    program = (
        "import sys\n"
        "from msdtrack.services.alarm_rules import evaluate\n"
        "from msdtrack.store.connection import close_store, open_store\n"
        "open_store(sys.argv[1])\n"
        "print(sum(evaluate(int(sys.argv[2]) + look) for look in range(20)))\n"
        "close_store()\n"
    )
    moment = str(NOW + 160 * HOUR)
    running = [
        subprocess.Popen(
            [sys.executable, "-c", program, database_url, moment],
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    changes = [int(process.communicate(timeout=60)[0]) for process in running]
    assert [process.returncode for process in running] == [0, 0]
    assert causes() == {"bag_open_too_long": 1, "readings_missing": 1, "floor_life_low": 1}
    assert sum(changes) == 3


PROCESS = """
import sys
from msdtrack.alarms.scheduler import LEASE_S, tick
from msdtrack.services.health import ALARM_WATCH
from msdtrack.store import lease
from msdtrack.store.connection import close_store, open_store, write
open_store(sys.argv[1])
for line in sys.stdin:
    what, moment = line.split()
    if what == "tick":
        print(tick(int(moment), sys.argv[2]), flush=True)
    else:
        with write():
            lease.take_lease(ALARM_WATCH, sys.argv[2], int(moment), LEASE_S)
            print("in the middle", flush=True)
            sys.stdin.readline()
close_store()
"""


class Servers:
    """Processes of their own on one database, which look when they are told to."""

    def __init__(self, database_url: str, count: int) -> None:
        self.alive = {
            f"server {n}": subprocess.Popen(
                [sys.executable, "-c", PROCESS, database_url, f"server {n}"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            )
            for n in range(count)
        }

    def tell(self, name: str, what: str, moment: int) -> str:
        process = self.alive[name]
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(f"{what} {moment}\n")
        process.stdin.flush()
        return process.stdout.readline().strip()

    def looking(self, moment: int) -> list[str]:
        """Let each try to look, a second apart, and return those whose turn it was."""
        return [
            name
            for n, name in enumerate(self.alive)
            if self.tell(name, "tick", moment + n) != "None"
        ]

    def kill(self, name: str) -> None:
        process = self.alive.pop(name)
        process.kill()
        process.communicate(timeout=30)
        assert process.returncode == -signal.SIGKILL

    def end(self) -> None:
        for process in self.alive.values():
            process.communicate(timeout=30)
            assert process.returncode == 0


@pytest.fixture
def servers(reel: str, database_url: str) -> Iterator[Servers]:
    """Four servers."""
    found = Servers(database_url, 4)
    yield found
    found.end()


def test_of_four_processes_one_looks_and_another_takes_over_after_a_kill(servers: Servers) -> None:
    """Nobody looks while the lease of the killed one lasts, 90 s; then one does, and stays."""
    for look in range(5):
        assert servers.looking(NOW + look * PERIOD_S) == ["server 0"]
    last = NOW + 4 * PERIOD_S
    servers.kill("server 0")
    for look in range(1, LEASE_S // PERIOD_S):
        assert servers.looking(last + look * PERIOD_S) == []
    # The clocks are a second apart, and the first asks a moment too early.
    assert servers.looking(last + LEASE_S - 1) == ["server 2"]
    for look in range(100):
        assert servers.looking(last + LEASE_S + (1 + look) * PERIOD_S) == ["server 2"]
    assert causes() == {"bag_open_too_long": 1, "readings_missing": 1}
    assert all(alarm.times == 1 for alarm in alarm_rules.alarm_history())


def test_a_process_killed_in_the_middle_of_a_write_leaves_nothing_behind(servers: Servers) -> None:
    """The database lets go of its lock, and the lease it was taking was never taken."""
    assert servers.tell("server 1", "hold", NOW) == "in the middle"
    servers.kill("server 1")
    assert servers.looking(NOW + 1) == ["server 0"]


def test_a_look_that_changes_nothing_can_be_repeated(reel: str) -> None:
    """The same moment twice by the same server."""
    assert tick(NOW + HOUR, "first") == 2
    assert tick(NOW + HOUR, "first") == 0


def test_a_clock_put_back_between_two_starts_is_noticed(
    reel: str, caplog: pytest.LogCaptureFixture
) -> None:
    """The database remembers the last moment; the lease of the future does not stop the watch."""
    tick(NOW + DAY, "first")
    with caplog.at_level(logging.WARNING):
        assert tick(NOW + HOUR, "second") is not None
    assert "jumped back by 23 h" in caplog.text
    assert causes()["clock_jumped"] == 1
    tick(NOW + HOUR + PERIOD_S, "second")
    assert causes()["clock_jumped"] == 1
    assert server.last_seen() == NOW + HOUR + PERIOD_S


def test_downtime_is_no_jump(reel: str) -> None:
    """Nor is a second server whose clock is a little behind."""
    tick(NOW, "first")
    tick(NOW + 3 * DAY, "first")
    tick(NOW + 3 * DAY + LEASE_S, "second")
    tick(NOW + 3 * DAY + LEASE_S - 60, "second")
    assert "clock_jumped" not in causes()


def test_a_jump_of_a_server_that_only_waits_is_an_alarm_too(reel: str) -> None:
    """Its clock dates the scans that it takes."""
    tick(NOW, "first")
    assert tick(NOW + 60, "second", clock_moved_s=7200) is None
    assert causes()["clock_jumped"] == 1


def test_a_wall_clock_is_compared_with_a_steady_one() -> None:
    """Only what differs by more than an adjustment is a jump, forward or back."""
    steady = iter([100.0, 130.0, 160.0, 190.0, 220.0, 220.5])
    watch = ClockWatch(lambda: next(steady))
    assert watch.moved_s(NOW) == 0
    assert watch.moved_s(NOW + 31) == 0
    assert watch.moved_s(NOW + 61 + 7200) == 7200
    assert watch.moved_s(NOW + 91 + 7200) == 0
    assert watch.moved_s(NOW + 121) == -7200
    assert watch.moved_s(NOW + 121) == 0


def test_the_scheduler_looks_at_once_and_gives_the_lease_back(reel: str) -> None:
    """A server that stops leaves the watch to another at once."""
    asked = Event()

    def now() -> int:
        asked.set()
        return NOW + HOUR

    handle: SchedulerHandle = start_scheduler(now, "first")
    assert asked.wait(30)
    handle.stop()
    assert lease.watermark(ALARM_WATCH) == NOW + HOUR
    assert causes()["bag_open_too_long"] == 1
    assert tick(NOW + HOUR + 1, "second") is not None


def test_ten_minutes_stopped_give_one_look_that_makes_up_for_all() -> None:
    """Coalesced, and never too late: twenty looks were due, one is taken, the next is ahead."""
    looks: list[datetime] = []
    taken = Event()

    def look() -> None:
        looks.append(datetime.now(UTC))
        taken.set()

    scheduler = BackgroundScheduler(timezone=UTC)
    schedule(scheduler, look, datetime.now(UTC) - timedelta(minutes=10))
    scheduler.start()
    assert taken.wait(30)
    job = scheduler.get_job(ALARM_WATCH)
    scheduler.shutdown(wait=True)
    assert len(looks) == 1
    assert looks[0] < job.next_run_time <= looks[0] + timedelta(seconds=PERIOD_S)
    assert (job.coalesce, job.misfire_grace_time, job.max_instances) == (True, None, 1)


def test_one_look_after_a_stop_sees_what_happened_meanwhile(reel: str) -> None:
    """Stopped for ten minutes, in which the bag's time was up: told once, by the one look."""
    stopped = NOW + 48 * 60
    for look in range(0, stopped - NOW, PERIOD_S):
        tick(NOW + look, "first")
    before = causes()
    assert before == {"readings_missing": 1}
    looks: list[int] = []
    taken = Event()

    def now() -> int:
        looks.append(stopped + 600)
        taken.set()
        return looks[-1]

    handle = start_scheduler(now, "first")
    assert taken.wait(30)
    handle.stop()
    assert len(looks) == 1
    assert lease.watermark(ALARM_WATCH) == stopped + 600
    assert causes() == before | {"bag_open_too_long": 1}
    assert tick(stopped + 600 + PERIOD_S, "first") == 0
    assert all(alarm.times == 1 for alarm in alarm_rules.alarm_history())


def test_a_clock_put_back_does_not_put_the_next_look_off() -> None:
    """The next look lies a day ahead for the scheduler: it is brought forward."""
    scheduler = BackgroundScheduler(timezone=UTC)
    tomorrow = datetime.now(UTC) + timedelta(days=1)
    scheduler.add_job(print, "interval", days=2, id=ALARM_WATCH, next_run_time=tomorrow)
    scheduler.start(paused=True)
    try:
        hurry(scheduler)
        assert scheduler.get_job(ALARM_WATCH).next_run_time <= datetime.now(UTC)
    finally:
        scheduler.shutdown()
