"""Whether the database answers, the alarm watch runs and the sensors send."""

from __future__ import annotations

from typing import Any

from msdtrack import __version__
from msdtrack.services import alarm_lists, alarm_notices, alarm_rules
from msdtrack.services.alarm_lists import Narrowed
from msdtrack.store import lease, places, reading_log
from msdtrack.store.connection import is_sqlite, read, version
from msdtrack.times import utc_text

ALARM_WATCH = "alarm_watch"
"""The name of the lease and of the watermark of the alarm watch."""

LATE_AFTER_S = 120
"""An alarm watch that has not looked for this long is late: four times its period."""

_ALL_PLACES = 100_000


def health(now: int) -> dict[str, Any]:
    """Return how the server is, ready for JSON.

    Args:
        now: the present moment.

    Raises:
        StoreUnavailable: the database does not answer.
    """
    with read():
        held = lease.lease(ALARM_WATCH)
        last_run_at = lease.watermark(ALARM_WATCH)
        newest = reading_log.newest()
        everywhere = places.places(limit=_ALL_PLACES)
        changes = version()
        active = alarm_lists.sums(Narrowed())
        shelved = alarm_lists.count("shelved")
        trouble = alarm_notices.trouble()
        flood = alarm_rules.flood(now)
    age_s = None if last_run_at is None else max(0, now - last_run_at)
    return {
        "status": "ok",
        "version": __version__,
        "at": utc_text(now),
        "database": {"kind": "sqlite" if is_sqlite() else "postgresql", "changes": changes},
        "scheduler": {
            "state": _watch_state(age_s),
            "holder": None if held is None else held.holder,
            "last_run_at": None if last_run_at is None else utc_text(last_run_at),
            "age_s": age_s,
        },
        "alarms": {
            "active": active.count,
            "unacknowledged": active.unacknowledged,
            "shelved": shelved,
            "flood": flood > 0,
        },
        "notices": {
            "waiting": trouble.waiting,
            "failed": trouble.failed,
            "last_error": None if trouble.newest is None else trouble.newest.error,
        },
        "places": [
            {
                "code": place.code,
                "name": place.name,
                "newest_reading_age_s": max(0, now - newest[place.code].at)
                if place.code in newest
                else None,
            }
            for place in everywhere
        ],
    }


def _watch_state(age_s: int | None) -> str:
    if age_s is None:
        return "not_started"
    return "late" if age_s > LATE_AFTER_S else "running"
