"""Alarms, leases, watermarks, the clock and kept values."""

from __future__ import annotations

from dataclasses import replace

import peewee
import pytest

from msdtrack.errors import NotFound, Refused
from msdtrack.store import alarms, lease, server
from msdtrack.store.connection import close_store, open_store, opened, version, write
from msdtrack.store.database_url import run
from msdtrack.store.migrations import ALL
from msdtrack.store.records import AlarmRecord, AlarmStep, LeaseRecord
from tests.store.samples import T0, fill


def raised(at: int = T0, message: str = "floor life runs out") -> tuple[AlarmRecord, bool]:
    """Raise the sample alarm."""
    with write():
        return alarms.raise_alarm(
            "floor_life:CARRIER1", "floor_life", "high", message, at, carrier="CARRIER1"
        )


def test_a_cause_raises_one_alarm(store: str) -> None:
    """However often it is raised; a changed message is brought up to date."""
    fill()
    first, new = raised()
    assert new
    assert first == AlarmRecord(
        id=first.id,
        cause="floor_life:CARRIER1",
        kind="floor_life",
        priority="high",
        message="floor life runs out",
        raised_at=T0,
        carrier="CARRIER1",
    )
    assert first.state == "unacknowledged"
    counted = version()
    assert raised(T0 + 60) == (first, False)
    assert raised(T0 + 90, "over at 14:05") == (replace(first, message="over at 14:05"), False)
    assert version() > counted
    assert [record.id for record in alarms.active()] == [first.id]


def test_an_alarm_acknowledged_first_ends_when_its_cause_is_gone(store: str) -> None:
    """Unacknowledged, acknowledged, ended (ISA-18.2, from memory)."""
    fill()
    first, _ = raised()
    with write():
        acknowledged = alarms.acknowledge(first.id, "W1", T0 + 10)
    assert acknowledged.state == "acknowledged"
    assert (acknowledged.acknowledged_by, acknowledged.acknowledged_at) == ("W1", T0 + 10)
    assert raised(T0 + 15) == (acknowledged, False)
    with write():
        ended = alarms.return_to_normal("floor_life:CARRIER1", T0 + 20)
    assert ended is not None
    assert (ended.state, ended.returned_at, ended.ended_at) == ("ended", T0 + 20, T0 + 20)
    assert alarms.active() == []
    second, new = raised(T0 + 30)
    assert new
    assert second.id > first.id


def test_an_alarm_whose_cause_is_gone_waits_to_be_acknowledged(store: str) -> None:
    """Unacknowledged, returned to normal, ended: somebody has to have seen it."""
    fill()
    first, _ = raised()
    with write():
        returned = alarms.return_to_normal("floor_life:CARRIER1", T0 + 20)
        again = alarms.return_to_normal("floor_life:CARRIER1", T0 + 25)
    assert returned is not None
    assert returned.state == "returned_to_normal"
    assert again == returned
    assert alarms.active() == [returned]
    with write():
        assert alarms.acknowledge(first.id, "W1", T0 + 30).state == "ended"
    assert alarms.alarm(first.id).ended_at == T0 + 30


def test_a_cause_that_comes_back_unseen_is_the_same_alarm(store: str) -> None:
    """It is active again and counts its times; it does not fill the list with copies."""
    fill()
    first, _ = raised()
    with write():
        alarms.return_to_normal("floor_life:CARRIER1", T0 + 20)
    back, again = raised(T0 + 30)
    assert again
    assert back == replace(first, times=2, again_at=T0 + 30)
    assert back.state == "unacknowledged"


def test_a_shelved_alarm_stays_until_it_is_off_the_shelf(store: str) -> None:
    """Returned to normal on the shelf it has not ended, and the same cause is the same alarm."""
    fill()
    first, _ = raised()
    with write():
        alarms.acknowledge(first.id, "W1", T0 + 5)
        shelved = alarms.shelve(first.id, "W2", "sensor at repair", T0 + 3600, T0 + 10)
        returned = alarms.return_to_normal("floor_life:CARRIER1", T0 + 20)
    assert returned is not None
    assert (shelved.state, returned.state, returned.ended_at) == ("shelved", "shelved", None)
    again, new = raised(T0 + 30)
    assert (again.id, new, again.times, again.state) == (first.id, True, 2, "shelved")
    with write():
        off = alarms.unshelve(first.id, None, T0 + 3600)
    assert (off.state, off.acknowledged_by, off.shelved_by) == ("unacknowledged", None, None)
    with write():
        alarms.shelve(first.id, "W1", "again", T0 + 7200, T0 + 3700)
        alarms.return_to_normal("floor_life:CARRIER1", T0 + 3800)
        ended = alarms.unshelve(first.id, "W1", T0 + 3900)
    assert (ended.state, ended.ended_at) == ("ended", T0 + 3900)
    assert alarms.steps([first.id, 999]) == {
        first.id: [
            AlarmStep(first.id, "acknowledged", T0 + 5, "W1"),
            AlarmStep(first.id, "shelved", T0 + 10, "W2", T0 + 3600, "sensor at repair"),
            AlarmStep(first.id, "came_back", T0 + 3600),
            AlarmStep(first.id, "shelved", T0 + 3700, "W1", T0 + 7200, "again"),
            AlarmStep(first.id, "unshelved", T0 + 3900, "W1"),
        ],
        999: [],
    }


@pytest.mark.parametrize("sql", ["UPDATE alarm_step SET at = 7", "DELETE FROM alarm_step"])
def test_the_steps_of_an_alarm_are_append_only(store: str, sql: str) -> None:
    """What was done with an alarm is a record."""
    fill()
    first, _ = raised()
    with write():
        alarms.acknowledge(first.id, "W1", T0 + 5)
    with pytest.raises(peewee.IntegrityError, match="append-only"):
        run(opened(), sql)
    assert len(alarms.steps([first.id])[first.id]) == 1


def test_alarms_from_before_keep_who_acknowledged_them(database_url: str) -> None:
    """The step from the tables without shelving carries acknowledgements over."""
    before = [step for step in ALL if step.version < 7]
    open_store(database_url, known_migrations=before)
    fill()
    run(
        opened(),
        "INSERT INTO alarm (cause, kind, priority, message, raised_at, acknowledged_at, "
        "acknowledged_by, times) VALUES ('c', 'k', 'low', 'm', 5, 6, 'W1', 1)",
    )
    open_store(database_url)
    (kept,) = alarms.active()
    assert (kept.state, kept.shelved_until, kept.active_since) == ("acknowledged", None, 5)
    assert alarms.steps([kept.id]) == {kept.id: [AlarmStep(kept.id, "acknowledged", 6, "W1")]}
    close_store()


def test_what_can_not_be_done_to_an_alarm_is_said(store: str) -> None:
    """Acknowledged twice, unknown, nothing standing."""
    fill()
    first, _ = raised()
    with write():
        alarms.acknowledge(first.id, "W1", T0)
    with pytest.raises(Refused, match="W1 already"), write():
        alarms.acknowledge(first.id, "W2", T0)
    with pytest.raises(NotFound, match="999"), write():
        alarms.acknowledge(999, "W2", T0)
    with write():
        assert alarms.return_to_normal("no such cause", T0) is None


def test_the_history_goes_back_page_by_page(store: str) -> None:
    """Newest first, ended ones too."""
    fill()
    with write():
        for i in range(5):
            alarms.raise_alarm(f"cause {i}", "readings", "low", "m", T0 + i, place="LINE1")
        first = alarms.active()[0]
        alarms.acknowledge(first.id, "W1", T0)
        alarms.return_to_normal(first.cause, T0)
    newest = alarms.history(limit=2)
    assert [record.cause for record in newest] == ["cause 4", "cause 3"]
    rest = alarms.history(after=newest[-1].id)
    assert [record.cause for record in rest] == ["cause 2", "cause 1", "cause 0"]
    assert [record.state for record in rest][-1] == "ended"
    assert len(alarms.active()) == 4


def take(holder: str, now: int, ttl_s: int = 30) -> bool:
    """Try to take the sample lease."""
    with write():
        return lease.take_lease("jobs", holder, now, ttl_s)


def test_one_process_holds_a_lease_at_a_time(store: str) -> None:
    """Others get it when it was not renewed or was given back."""
    assert lease.lease("jobs") is None
    assert take("a", T0)
    assert not take("b", T0 + 29)
    assert take("a", T0 + 20)
    assert not take("b", T0 + 49)
    assert lease.lease("jobs") == LeaseRecord("jobs", "a", T0 + 50)
    assert take("b", T0 + 50)
    assert not take("a", T0 + 51)
    with write():
        lease.release_lease("jobs", "a")
    assert not take("a", T0 + 52)
    with write():
        lease.release_lease("jobs", "b")
    assert take("a", T0 + 53)


def test_a_lease_taken_by_a_clock_that_was_put_back_does_not_block(store: str) -> None:
    """Else a wrong year at start would stop all alarms for a year."""
    assert take("a", T0 + 365 * 86_400)
    assert take("b", T0)


def test_watermarks_and_the_clock_are_kept(store: str) -> None:
    """Each by its name; a clock that was put back is noted as it is."""
    assert lease.watermark("alarms") is None
    assert server.last_seen() is None
    with write():
        lease.set_watermark("alarms", T0)
        lease.set_watermark("alarms", T0 + 5)
        assert server.see_clock(T0 + 100) is None
        assert server.see_clock(T0 - 100) == T0 + 100
    assert lease.watermark("alarms") == T0 + 5
    assert server.last_seen() == T0 - 100


def test_a_kept_value_is_made_once(store: str) -> None:
    """All servers on one database sign with the same key."""
    with write():
        assert server.kept_value("key", lambda: "first") == "first"
        assert server.kept_value("key", lambda: "second") == "first"
        assert server.kept_value("other", lambda: "second") == "second"
