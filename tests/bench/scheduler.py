"""Target 10: four servers on one database, of which one looks for alarms, and another once it is
killed."""

from __future__ import annotations

import os
import signal
import time
from collections import Counter
from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any

from msdtrack.alarms.scheduler import LEASE_S, PERIOD_S
from msdtrack.services.health import ALARM_WATCH
from tests.bench.databases import Databases
from tests.bench.measuring import heading, ratio
from tests.bench.reference_load import Size, fill
from tests.bench.serving import Server, served

SERVERS = 4
_ASK_EVERY_S = 0.25
_STOPPED_S = 2 * PERIOD_S + 5
"""Two looks are missed, and the next is not due for a while."""


@dataclass(frozen=True, slots=True)
class Look:
    """A look for alarms, as its watermark tells: by which server, and when it was over."""

    holder: str
    at: int
    seen_at: float


def scheduler_target(databases: Databases) -> None:
    """Print target 10; it takes some minutes, for it goes by the real clock."""
    with databases.empty() as url:
        fill(url, Size(places=2, days=2, exposed=50, history=100), int(time.time()))
        with ExitStack() as stack:
            servers = [stack.enter_context(served(url)) for _ in range(SERVERS)]
            steady = _watched(databases, url, 2 * PERIOD_S + 2)
            holders = {look.holder for look in steady}
            killed = next(one for one in servers if f" {one.pid} " in steady[-1].holder)
            last_at = steady[-1].seen_at
            os.kill(killed.pid, signal.SIGKILL)
            after = _watched(databases, url, LEASE_S + PERIOD_S + 5, enough=1)
            taken_over_s = after[0].seen_at - last_at
            rest = [one for one in servers if one is not killed]
            for one in rest:
                os.kill(one.pid, signal.SIGSTOP)
            time.sleep(_STOPPED_S)
            caught_up = _watched(databases, url, PERIOD_S // 2, wake=rest)
            with databases.connected(url) as database:
                causes = Counter(cause for (cause,) in database.execute("SELECT cause FROM alarm"))
    heading(f"10. {SERVERS} servers on one database, the alarm watch every {PERIOD_S} s")
    print(f"    looks in {2 * PERIOD_S + 2} s: {len(steady)}, by {len(holders)} of {SERVERS}")
    print(f"    from the last look of the one killed to the next: {taken_over_s:.1f} s")
    print(f"    stopped for {_STOPPED_S} s, two looks missed; looks right after: {len(caught_up)}")
    ratio("servers that look", len(holders), "1", len(holders) == 1)
    most_s = LEASE_S + PERIOD_S
    ratio(
        "seconds from a kill's last look to the next", taken_over_s, f"<= {most_s}",
        taken_over_s <= most_s, ours=taken_over_s,
    )  # fmt: skip
    ratio("looks that catch up after a stop", len(caught_up), "1", len(caught_up) == 1)
    most = max(causes.values())
    ratio(f"alarms of one cause ({len(causes)} causes)", most, "1", most == 1)


def _watched(
    databases: Databases,
    url: str,
    seconds: float,
    enough: int = 0,
    wake: Iterable[Server] = (),
) -> list[Look]:
    """Return the looks that come within a time, or as soon as there are enough.

    Args:
        wake: servers that go on now: what they do at once is seen, too.
    """
    found: list[Look] = []
    with databases.connected(url) as database:
        before = _newest(database)
        for one in wake:
            os.kill(one.pid, signal.SIGCONT)
        until = time.monotonic() + seconds
        while time.monotonic() < until and not 0 < enough <= len(found):
            time.sleep(_ASK_EVERY_S)
            newest = _newest(database)
            # The lease is taken a moment before: what tells is the watermark.
            if newest is not None and (before is None or newest[1] != before[1]):
                found.append(Look(*newest, time.monotonic()))
                before = newest
    return found


def _newest(database: Any) -> tuple[str, int] | None:
    sql = (
        "SELECT holder, at FROM lease JOIN watermark ON watermark.name = lease.name "
        f"WHERE lease.name = '{ALARM_WATCH}'"
    )
    found: tuple[str, int] | None = database.execute(sql).fetchone()
    return found
