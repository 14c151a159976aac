"""Which alarms are due to be sent out, to whom, and what became of it.

A notice is claimed on record before it is sent, so that whatever happens then, no server sends it
again. One alarm gives each receiver one notice, also when its cause comes back before it has ended.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from msdtrack.services.alarm_rules import PRIORITIES, active_alarms
from msdtrack.services.policies import policies
from msdtrack.store import notices
from msdtrack.store.connection import read, write
from msdtrack.store.records import AlarmRecord, NoticeRecord

MOST_ATTEMPTS = 8
FIRST_RETRY_S = 60
LONGEST_RETRY_S = 3600

SILENT_AFTER_S = 600
"""Sending that has not ended by then never will: its server has stopped."""

BROKEN_OFF = "The server stopped while it was being sent: it may have arrived or not."


@dataclass(frozen=True, slots=True)
class Target:
    """A receiver of notices.

    Args:
        key: stands for its address, which holds secrets and is not stored.
        label: the receiver for people, without secrets.
    """

    key: str
    label: str


@dataclass(frozen=True, slots=True)
class NoticeTrouble:
    """What has not gone out as it should.

    Args:
        waiting: how many failed and are tried again.
        failed: how many were given up, or broke off.
        newest: the newest of all these, None if there is none.
    """

    waiting: int
    failed: int
    newest: NoticeRecord | None


def claim(target: Target, now: int) -> list[AlarmRecord]:
    """Return the alarms that are to be sent to a receiver now, claimed for the caller, who must
    `settle` them.

    Args:
        target: the receiver.
        now: the present moment.
    """
    with write():
        wanted = _wanted(now)
        known = {one.alarm: one for one in notices.notices() if one.target == target.key}
        sent = notices.notices([alarm.id for alarm in wanted])
        known |= {one.alarm: one for one in sent if one.target == target.key}
        due = []
        for alarm in wanted:
            before = known.pop(alarm.id, None)
            if before is None:
                before = NoticeRecord(alarm.id, target.key, target.label, "waiting", 0, 0, now, "")
            if before.state == "waiting" and before.next_at <= now:
                claimed = replace(
                    before,
                    label=target.label,
                    state="sending",
                    attempts=before.attempts + 1,
                    claimed_at=now,
                )
                notices.put_notice(claimed)
                due.append(alarm)
        for left in known.values():
            # Acknowledged, shelved or normal meanwhile: nobody has to come for it any more.
            if left.state == "waiting":
                notices.put_notice(replace(left, state="needless"))
    return due


def settle(target: Target, alarms: Iterable[int], error: str | None, now: int) -> None:
    """Note what became of claimed notices.

    Args:
        target: the receiver.
        alarms: ids of the alarms.
        error: why they could not be sent; None: they were.
        now: the present moment.
    """
    with write():
        for one in notices.notices(list(alarms)):
            if one.target != target.key or one.state != "sending":
                continue
            if error is None:
                notices.put_notice(replace(one, state="sent", error=""))
            elif one.attempts >= MOST_ATTEMPTS:
                notices.put_notice(replace(one, state="failed", error=error))
            else:
                wait_s = min(FIRST_RETRY_S * 2 ** (one.attempts - 1), LONGEST_RETRY_S)
                notices.put_notice(replace(one, state="waiting", next_at=now + wait_s, error=error))


def close_broken_off(now: int) -> None:
    """Note the notices whose server stopped while sending: they are never sent again.

    Args:
        now: the present moment.
    """
    with read():
        silent = [
            one
            for one in notices.notices()
            if one.state == "sending" and abs(now - one.claimed_at) > SILENT_AFTER_S
        ]
    if silent:
        with write():
            for one in silent:
                notices.put_notice(replace(one, state="unsure", error=BROKEN_OFF))


def trouble() -> NoticeTrouble:
    """Return what of the active alarms' notices has not gone out as it should."""
    with read():
        counts, newest = notices.held_up()
    waiting = counts.get("waiting", 0)
    return NoticeTrouble(waiting, sum(counts.values()) - waiting, newest)


def notices_of(alarms: Iterable[AlarmRecord]) -> dict[int, list[NoticeRecord]]:
    """Return the notices of alarms, by id of the alarm."""
    found: dict[int, list[NoticeRecord]] = {alarm.id: [] for alarm in alarms}
    for one in notices.notices(list(found)):
        found[one.alarm].append(one)
    return found


def _wanted(now: int) -> list[AlarmRecord]:
    """Return the alarms that stand, that nobody has acknowledged, and that are to be sent."""
    priorities = PRIORITIES[: int(policies(now)["notice_priorities"])]
    return [
        alarm
        for alarm in active_alarms()
        if alarm.state == "unacknowledged" and alarm.priority in priorities
    ]
