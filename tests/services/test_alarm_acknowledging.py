"""What a page of alarms shows is acknowledged together; what changed since then is left and told.

Source: the states of ISA-18.2 / IEC 62682 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from msdtrack.errors import BadInput, NotFound
from msdtrack.services import alarm_rules, people
from msdtrack.services.alarm_acknowledging import LeftAlarm, SeenAlarm, acknowledge_seen
from msdtrack.store import alarms
from msdtrack.store.connection import write
from msdtrack.store.records import AlarmRecord
from tests.services.conftest import NOW

pytestmark = pytest.mark.usefixtures("store")


def raised(count: int = 5) -> list[AlarmRecord]:
    """Raise so many alarms of low priority."""
    with write():
        return [
            alarms.raise_alarm(f"readings_missing:{number}", "k", "low", f"Place {number}.", NOW)[0]
            for number in range(count)
        ]


def seen(*shown: AlarmRecord) -> list[SeenAlarm]:
    """The alarms as they are."""
    return [SeenAlarm(one.id, one.state, one.priority, one.times) for one in shown]


def now(alarm: AlarmRecord) -> AlarmRecord:
    """The alarm as it is now."""
    return alarms.alarm(alarm.id)


def test_all_of_them_carry_the_name() -> None:
    """Each as if it were acknowledged alone, its step on the log; another one is not touched."""
    *shown, last, other = raised(6)
    ines = people.add_person("Ines", NOW).code
    found = acknowledge_seen(seen(*shown), ines, NOW + 9)
    alone = alarm_rules.acknowledge(last.id, ines, NOW + 9)
    assert [one.id for one in found.alarms] == [one.id for one in shown]
    assert found.left == ()
    for one in found.alarms:
        assert one == now(one)
        assert (one.acknowledged_by, one.acknowledged_at) == (ines, NOW + 9)
        assert one.state == alone.state == "acknowledged"
    steps = alarm_rules.alarm_steps([*shown, last])
    assert {(each.step, each.person, each.at) for one in steps.values() for each in one} == {
        ("acknowledged", ines, NOW + 9)
    }
    assert [len(one) for one in steps.values()] == [1] * 5
    assert now(other) == other


def test_one_that_has_returned_to_normal_ends() -> None:
    """If that is how it was seen."""
    first, _ = raised(2)
    with write():
        alarms.return_to_normal(first.cause, NOW + 1)
    (done,) = acknowledge_seen(seen(now(first)), "Ines", NOW + 2).alarms
    assert (done.state, done.ended_at) == ("ended", NOW + 2)


def by_jonas(alarm: AlarmRecord) -> None:
    """Somebody else takes care of it."""
    alarms.acknowledge(alarm.id, people.add_person("Jonas", NOW).code, NOW + 1)


def normal(alarm: AlarmRecord) -> None:
    """Its cause is gone."""
    alarms.return_to_normal(alarm.cause, NOW + 1)


def again(alarm: AlarmRecord) -> None:
    """Its cause is gone and comes back."""
    normal(alarm)
    alarms.raise_alarm(alarm.cause, alarm.kind, alarm.priority, alarm.message, NOW + 2)


def worse(alarm: AlarmRecord) -> None:
    """It is of high priority now."""
    alarms.raise_alarm(alarm.cause, alarm.kind, "high", alarm.message, NOW + 1)


def put_aside(alarm: AlarmRecord) -> None:
    """It is on the shelf."""
    alarms.shelve(alarm.id, people.add_person("Olu", NOW).code, "at repair", NOW + 99, NOW + 1)


def over(alarm: AlarmRecord) -> None:
    """It ends on being taken off the shelf, and nobody has acknowledged it."""
    put_aside(alarm)
    normal(alarm)
    alarms.unshelve(alarm.id, None, NOW + 2)


def by_jonas_and_over(alarm: AlarmRecord) -> None:
    """Somebody else took care of it, and it has ended."""
    by_jonas(alarm)
    normal(alarm)


@pytest.mark.parametrize(
    ("happens", "change"),
    [
        (by_jonas, "acknowledged"),
        (by_jonas_and_over, "acknowledged"),
        (normal, "returned_to_normal"),
        (again, "came_again"),
        (worse, "priority_changed"),
        (put_aside, "shelved"),
        (over, "ended"),
    ],
)
def test_what_changed_is_left_and_the_others_are_acknowledged(
    happens: Callable[[AlarmRecord], None], change: str
) -> None:
    """Nobody takes care of what he has not seen."""
    first, changed, last = raised(3)
    with write():
        happens(changed)
    before = now(changed)
    found = acknowledge_seen(seen(first, changed, last), "Ines", NOW + 3)
    assert [one.id for one in found.alarms] == [first.id, last.id]
    assert found.left == (LeftAlarm(before, change),)  # type: ignore[arg-type]
    assert now(changed) == before


def test_words_that_follow_the_air_are_no_change() -> None:
    """The message and the place are brought up to date at each look; it is the same alarm."""
    (alarm,) = raised(1)
    with write():
        alarms.raise_alarm(alarm.cause, alarm.kind, alarm.priority, "Other words.", NOW + 1)
    (done,) = acknowledge_seen(seen(alarm), "Ines", NOW + 3).alarms
    assert done.message == "Other words."


def test_twice_is_once() -> None:
    """Sent again, or with the same alarm in it twice, the answer and the log stay as they are."""
    shown = raised(3)
    ines = people.add_person("Ines", NOW).code
    first = acknowledge_seen(seen(*shown, *shown), ines, NOW + 1)
    assert len(first.alarms) == 3
    assert acknowledge_seen(seen(*shown), ines, NOW + 2) == first
    assert [len(steps) for steps in alarm_rules.alarm_steps(shown).values()] == [1, 1, 1]


@pytest.mark.parametrize(
    ("sent", "person", "error"),
    [
        ([SeenAlarm(999_999, "unacknowledged", "low", 1)], "Ines", NotFound),
        ([], " ", BadInput),
        ([], "W0000027", BadInput),
    ],
)
def test_what_is_refused_changes_nothing(
    sent: list[SeenAlarm], person: str, error: type[Exception]
) -> None:
    """An unknown alarm, no name, a badge that nobody has: all alarms and people stay."""
    shown: Any = raised(2)
    with pytest.raises(error):
        acknowledge_seen(seen(*shown) + sent, person, NOW + 1)
    assert [now(one) for one in shown] == shown
    assert people.people() == []
