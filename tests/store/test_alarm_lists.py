"""Alarms in pages: every alarm once, in the order of its list, whatever is done in between."""

from __future__ import annotations

import random

import pytest

from msdtrack.services import alarm_lists, alarm_rules
from msdtrack.services.alarm_lists import ListName, Narrowed, Position
from msdtrack.store import alarms
from msdtrack.store.connection import write
from msdtrack.store.records import AlarmRecord
from tests.store.samples import T0, fill

KINDS = {"floor_life_expired": "high", "floor_life_low": "medium", "readings_missing": "low"}


@pytest.fixture
def many(store: str) -> list[AlarmRecord]:
    """Sixty alarms in every state, by chance; return them all."""
    fill()
    chance = random.Random(20)
    with write():
        for number in range(60):
            kind = chance.choice(list(KINDS))
            cause, place = f"{kind}:{number}", chance.choice(["LINE1", "STORE1", None])
            text = f"Nr {number:02} of {kind} at 100% of its_limit"
            made, _ = alarms.raise_alarm(cause, kind, KINDS[kind], text, T0 + number, place=place)
            if chance.random() < 0.4:
                alarms.acknowledge(made.id, "W1", T0 + 100)
            if chance.random() < 0.3:
                alarms.return_to_normal(cause, T0 + 200)
            if alarms.alarm(made.id).ended_at is None and chance.random() < 0.3:
                until = T0 + chance.randrange(400, 500)
                alarms.shelve(made.id, "W1", "waits", until, T0 + 300)
    return [alarms.alarm(number) for number in range(made.id - 59, made.id + 1)]


def expected(many: list[AlarmRecord], name: ListName) -> list[AlarmRecord]:
    """The whole list as a sort of all alarms gives it."""
    if name == "active":
        return alarm_rules.active_alarms()
    if name == "shelved":
        return alarm_rules.shelved_alarms()
    return [alarm for alarm in alarm_rules.alarm_history(None, 1000) if alarm.state == "ended"]


def walked(name: ListName, narrowed: Narrowed, limit: int) -> list[AlarmRecord]:
    """The list, page by page; each page knows where it stands and how to go back."""
    found: list[AlarmRecord] = []
    after: Position | None = None
    starts: list[Position | None] = []
    while True:
        part = alarm_lists.listed(name, narrowed, limit, after)
        assert part.before == len(found)
        assert part.previous == (starts[-1] if len(starts) > 1 else None)
        found += part.alarms
        starts.append(after)
        if part.next is None:
            assert part.count == len(found)
            return found
        assert len(part.alarms) == limit
        text = alarm_lists.position_text(part.next)
        after = alarm_lists.position(name, text)
        assert after == part.next


@pytest.mark.parametrize("name", ["active", "shelved", "ended"])
@pytest.mark.parametrize("limit", [1, 7, 100])
def test_pages_are_the_list(many: list[AlarmRecord], name: ListName, limit: int) -> None:
    """One after the other they give every alarm once, in the order of the whole list."""
    whole = expected(many, name)
    assert len(whole) > 7
    if limit > 1:
        assert walked(name, Narrowed(), limit) == whole
    else:
        assert alarm_lists.listed(name, Narrowed(), 1).alarms == (whole[0],)
        last = alarm_lists.listed(name, Narrowed(), len(whole) - 1).next
        assert alarm_lists.listed(name, Narrowed(), 1, last).alarms == (whole[-1],)


@pytest.mark.parametrize("name", ["active", "shelved", "ended"])
def test_only_what_is_looked_for(many: list[AlarmRecord], name: ListName) -> None:
    """By kind, by place, of no place, and by words; all of them together."""
    for narrowed in (
        Narrowed(kind="floor_life_low"),
        Narrowed(place="LINE1"),
        Narrowed(place=""),
        Narrowed(words=("NR 1", "LOW")),
        Narrowed(kind="readings_missing", place="STORE1", words=("nr",)),
    ):
        wanted = [
            alarm
            for alarm in expected(many, name)
            if narrowed.kind in (None, alarm.kind)
            and narrowed.place in (None, alarm.place or "")
            and all(word.lower() in alarm.message.lower() for word in narrowed.words)
        ]
        assert walked(name, narrowed, 3) == wanted


def test_signs_are_letters_like_others(many: list[AlarmRecord]) -> None:
    """What SQL takes for wild cards is looked for as it stands."""
    everything = len(expected(many, "active"))
    for word, count in (
        ("100%", everything), ("its_limit", everything), ("its@limit", 0), ("o_ its", 0),
        ("%", everything), ("0%i", 0),
    ):  # fmt: skip
        assert alarm_lists.listed("active", Narrowed(words=(word,)), 5).count == count


def test_sums_are_what_counting_gives(many: list[AlarmRecord]) -> None:
    """Kinds leave out what is looked for by kind, places what by place; the worst come first."""
    active = expected(many, "active")
    found = alarm_lists.sums(Narrowed(kind="floor_life_low", place="LINE1"))
    of_place = [one for one in active if one.place == "LINE1"]
    of_kind = [one for one in active if one.kind == "floor_life_low"]
    both = [one for one in of_place if one.kind == "floor_life_low"]
    assert (found.count, found.unacknowledged) == (
        len(both), sum(one.acknowledged_at is None for one in both),
    )  # fmt: skip
    assert [group.key for group in found.kinds] == [
        kind for kind in KINDS if any(one.kind == kind for one in of_place)
    ]
    for group in found.kinds:
        same = [one for one in of_place if one.kind == group.key]
        assert (group.count, group.priority) == (len(same), same[0].priority)
        assert group.unacknowledged == sum(one.acknowledged_at is None for one in same)
    assert {group.key: group.count for group in found.places} == {
        place: sum(one.place == place for one in of_kind) for place in ("LINE1", "STORE1", None)
    }
    everything = alarm_lists.sums(Narrowed())
    assert everything.count == len(active)
    assert [group.key for group in everything.priorities] == ["high", "medium", "low"]
    assert alarm_lists.count("shelved") == len(expected(many, "shelved"))


def test_nothing_is_skipped_for_what_is_acknowledged_meanwhile(many: list[AlarmRecord]) -> None:
    """The first page is acknowledged; the next one goes on with what nobody has acknowledged."""
    open_ones = [alarm for alarm in expected(many, "active") if alarm.acknowledged_at is None]
    first = alarm_lists.listed("active", Narrowed(), 5)
    with write():
        for alarm in first.alarms:
            if alarm.returned_at is None:
                alarms.acknowledge(alarm.id, "W2", T0 + 600)
    after = alarm_lists.listed("active", Narrowed(), 5, first.next)
    assert list(after.alarms) == open_ones[5:10]


@pytest.mark.parametrize(
    "text", ["", "x", "1.2", "1.2.3.4", "1..2", "0.0.9999999999999999", "١.1.1"]
)
def test_what_is_no_position_is_none(text: str) -> None:
    """An address that somebody changed shows the first page."""
    assert alarm_lists.position("active", text) is None
