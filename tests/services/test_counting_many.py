"""A count that shows only some of its carriers says the same of all as one that folds them all."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from msdtrack.errors import MsdtrackError, Refused
from msdtrack.services import count_recording, counting, people
from msdtrack.services.counting import CountNow, Decision, count_now
from tests.services.conftest import NOW, receive
from tests.services.floor import Floor
from tests.services.test_standings import RANDOM, copy_of, empty

__all__ = ["empty"]


def look(floor: Floor, place: str) -> None:
    """Scan something, decide something, or let something else happen."""
    code = floor.one(*floor.carriers)
    try:
        if floor.one(True, False):
            floor.step()
        elif floor.one(True, True, False):
            counting.found(place, code, floor.now)
        else:
            act = floor.one(Decision("hold", floor.now), Decision("open", floor.now))
            count_recording.decide(place, code, act, floor.now)
    except MsdtrackError as error:
        floor.did.append(f"refused: {error.message}")


def assert_alike(some: CountNow, every: CountNow, shown: int) -> None:
    by_code = {one.code: one for one in every.carriers}
    shown_codes = {one.code for one in some.carriers}
    assert all(by_code[one.code] == one for one in some.carriers)
    assert shown_codes | {*some.more_found, *some.more_missing} == by_code.keys()
    assert {by_code[code].where for code in some.more_found} <= {"here"}
    assert {by_code[code].where for code in some.more_missing} <= {"missing"}
    assert all(by_code[code].decision is None for code in (*some.more_found, *some.more_missing))
    assert (some.found, some.missing) == (every.found, every.missing)
    assert (some.undecided, some.planned) == (every.undecided, every.planned)
    newest = max((by_code[code].found_at or 0 for code in some.more_found), default=0)
    plain = [one for one in every.of("here") if one.decision is None]
    assert sum((one.found_at or 0) >= newest for one in plain) >= min(shown, len(plain))


@settings(RANDOM, max_examples=80)
@given(data=st.data())
def test_whatever_happens_meanwhile(empty: Path, data: st.DataObject) -> None:
    with copy_of(empty):
        floor = Floor(data.draw)
        for _ in range(data.draw(st.integers(0, 10))):
            floor.step()
        place = floor.one(*floor.places.values())
        for _ in range(data.draw(st.integers(1, 12))):
            look(floor, place)
        every = count_now(place, floor.now)
        for shown in (0, 1, 2):
            assert_alike(count_now(place, floor.now, shown), every, shown)


def test_what_is_not_listed_must_be_decided_too(shop: dict[str, str]) -> None:
    """All at once, or one by one; and it is named, as far as it helps."""
    codes = sorted(receive(shop["Bench"]).code for _ in range(25))
    person = people.add_person("Ines", NOW)
    count = counting.begin(shop["Bench"], NOW)
    counting.found(shop["Bench"], codes[0], NOW)
    with pytest.raises(Refused, match=f"{codes[1]}, .*, {codes[20]} and 4 more"):
        count_recording.record(count.id, person.code, NOW)
    count_recording.hold_missing(shop["Bench"], NOW)
    recorded = count_recording.record(count.id, person.code, NOW).summary
    assert (recorded["expected"], recorded["found"]) == (25, 1)
    assert [one["code"] for one in recorded["did"]] == codes[1:]
    assert {one["act"] for one in recorded["did"]} == {"hold"}


def test_what_was_found_last_is_shown_first(shop: dict[str, str]) -> None:
    codes = [receive(shop["Bench"]).code for _ in range(3)]
    for n, code in enumerate(codes):
        counting.found(shop["Bench"], code, NOW + n)
    now = count_now(shop["Bench"], NOW + 9, shown=1)
    assert [one.code for one in now.carriers] == [codes[2]]
    assert now.more_found == (codes[1], codes[0])
