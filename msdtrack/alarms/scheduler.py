"""Runs the alarm watch: one server on the database looks, the others wait for its lease to end.

Every look derives anew what stands, so a look that is late, missed or done twice does no harm.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from apscheduler.schedulers.background import BackgroundScheduler

from msdtrack.services.alarm_rules import evaluate, report_clock_jump
from msdtrack.services.health import ALARM_WATCH
from msdtrack.store import lease, server
from msdtrack.store.connection import write
from msdtrack.times import duration_text, utc_text

PERIOD_S = 30
LEASE_S = 90
"""A server that has been silent for this long is taken for gone."""

JUMP_S = 30
"""A clock that moved by more than this between two looks was not just adjusted."""

BACK_S = 120
"""A clock this far behind the last moment that any server has seen was put back; servers may differ
by less."""

_log = logging.getLogger(__name__)


class ClockWatch:
    """Compares a wall clock with one that only ever runs on.

    Args:
        steady_s: returns seconds of a clock that nobody sets.
    """

    def __init__(self, steady_s: Callable[[], float]) -> None:
        self._steady_s = steady_s
        self._before: tuple[int, float] | None = None

    def moved_s(self, now: int) -> int:
        """Return by how much the wall clock jumped since the call before, seconds; mostly 0."""
        steady = self._steady_s()
        before, self._before = self._before, (now, steady)
        if before is None:
            return 0
        moved = round((now - before[0]) - (steady - before[1]))
        return moved if abs(moved) > JUMP_S else 0


@dataclass(frozen=True, slots=True)
class SchedulerHandle:
    """A running alarm watch of this server."""

    _scheduler: BackgroundScheduler
    _holder: str
    _stopped: threading.Event
    _guard: threading.Thread

    def stop(self) -> None:
        """End the watch after a look that is under way; another server can take over at once."""
        self._stopped.set()
        self._guard.join()
        self._scheduler.shutdown(wait=True)
        with write():
            lease.release_lease(ALARM_WATCH, self._holder)


def tick(
    now: int,
    holder: str,
    clock_moved_s: int = 0,
    send: Callable[[int], object] | None = None,
) -> int | None:
    """Look once, if it is this server's turn.

    Args:
        now: the present moment, seconds UTC.
        holder: name of this server, its own for as long as it runs.
        clock_moved_s: by how much this server's clock has jumped since its last look, seconds.
        send: sends the notices that are due at a moment; None: there are no receivers.

    Returns:
        How many alarms changed; None if another server looks.

    Raises:
        StoreUnavailable: the database does not answer; the next look makes up for this one.
    """
    with write():
        mine = lease.take_lease(ALARM_WATCH, holder, now, LEASE_S)
        seen = server.see_clock(now) if mine else None
    if not clock_moved_s and seen is not None and now < seen - BACK_S:
        clock_moved_s = now - seen
    if clock_moved_s:
        _log.warning(
            "the clock jumped %s by %s; it shows %s",
            "forward" if clock_moved_s > 0 else "back",
            duration_text(clock_moved_s),
            utc_text(now),
        )
    if not mine:
        # Its clock dates what is scanned there, so the jump matters whoever looks.
        if clock_moved_s:
            report_clock_jump(now, clock_moved_s)
        return None
    changes = evaluate(now, clock_moved_s)
    with write():
        lease.set_watermark(ALARM_WATCH, now)
    if send is not None:
        send(now)
    return changes


def start_scheduler(
    now: Callable[[], int], holder: str, send: Callable[[int], object] | None = None
) -> SchedulerHandle:
    """Start the alarm watch of this server; the first look comes at once.

    Args:
        now: returns the present moment, seconds UTC.
        holder: a name that no other server has, such as host and process number.
        send: as for `tick`.
    """
    clock = ClockWatch(_steady_s)

    def look() -> None:
        moment = now()
        tick(moment, holder, clock.moved_s(moment), send)

    scheduler = BackgroundScheduler(timezone=UTC)
    schedule(scheduler, look, datetime.now(UTC))
    scheduler.start()
    stopped = threading.Event()

    def guard() -> None:
        while not stopped.wait(PERIOD_S):
            hurry(scheduler)

    thread = threading.Thread(target=guard, name="alarm-watch-guard", daemon=True)
    thread.start()
    return SchedulerHandle(scheduler, holder, stopped, thread)


def schedule(scheduler: BackgroundScheduler, look: Callable[[], None], first_at: datetime) -> None:
    """Have a look taken every half minute from a moment on.

    However late it is and however many were missed, one makes up for all.
    """
    scheduler.add_job(
        look,
        "interval",
        seconds=PERIOD_S,
        id=ALARM_WATCH,
        coalesce=True,
        max_instances=1,
        misfire_grace_time=None,
        next_run_time=first_at,
    )


def hurry(scheduler: BackgroundScheduler) -> None:
    """Bring the next look forward if it lies too far ahead.

    The scheduler goes by the wall clock alone: put back by a day, it would not look for a day.
    """
    job = scheduler.get_job(ALARM_WATCH)
    now = datetime.now(UTC)
    if job is not None and job.next_run_time - now > timedelta(seconds=2 * PERIOD_S):
        job.modify(next_run_time=now)


def _steady_s() -> float:
    """Return seconds of a clock that nobody sets; where there is one, it runs on while the computer
    sleeps, so that waking up is no jump."""
    boottime = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boottime is None else time.clock_gettime(boottime)
