"""Counting a place: what is found out goes on the log at once, and exposure follows."""

from __future__ import annotations

from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict, NotFound, Refused
from msdtrack.printing.codes import make_code
from msdtrack.services import catalog, climate, count_recording, counting, event_recording, people
from msdtrack.services.carrier_states import state
from msdtrack.services.climate import NewReading
from msdtrack.services.counting import Decision, count_now
from msdtrack.services.event_recording import NewEvent
from msdtrack.store.connection import close_store, open_store
from tests.services.conftest import NOW, receive

HOUR = 3600
DRY = {"5": "dry", "10": "dry", "60": "dry"}


def event(code: str, kind: str, hours_ago: float, **what: object) -> None:
    at = NOW - round(hours_ago * HOUR)
    new = NewEvent(str(uuid4()), code, kind, at, **what)  # type: ignore[arg-type]
    event_recording.record([new], NOW)


def opened(place: str, hours_ago: float) -> str:
    code = receive(place).code
    event(code, "open", hours_ago, hic=DRY)
    return code


def in_cabinet(shop: dict[str, str], hours_ago: float = 5) -> str:
    """A reel that was out for an hour and is in the dry cabinet on record since."""
    rows = [NewReading(shop["Cabinet"], NOW - n * 600, 22.0, 2.0) for n in range(50)]
    climate.add_readings(rows, NOW)
    code = opened(shop["Bench"], hours_ago + 1)
    event(code, "move", hours_ago, place=shop["Cabinet"])
    return code


@pytest.fixture
def person(shop: dict[str, str]) -> str:
    return people.add_person("Ines", NOW).code


def record(place: str, person: str, now: int = NOW) -> counting.CountRecord:
    count = count_now(place, now).count
    assert count is not None
    return count_recording.record(count.id, person, now)


def kinds(code: str) -> list[str]:
    return [line.event.kind.value for line in event_recording.log_of(code)]


def test_what_is_there_as_on_record_needs_nothing(shop: dict[str, str], person: str) -> None:
    """Found where the log has it: counted, and the log stays as it is."""
    reel = opened(shop["Bench"], 2)
    assert [one.where for one in count_now(shop["Bench"], NOW).carriers] == ["missing"]
    assert counting.found(shop["Bench"], reel, NOW).where == "here"
    assert counting.found(shop["Bench"], reel, NOW + 9).found_at == NOW
    done = record(shop["Bench"], person)
    assert (done.summary["expected"], done.summary["found"], done.summary["did"]) == (1, 1, [])
    assert kinds(reel) == ["open"]


def test_nothing_is_recorded_before_the_missing_are_decided_about(
    shop: dict[str, str], person: str
) -> None:
    """The refusal names them; nothing of the count is on the log."""
    lost, other = opened(shop["Bench"], 2), receive(None).code
    counting.found(shop["Bench"], other, NOW)
    with pytest.raises(Refused, match=lost):
        record(shop["Bench"], person)
    assert kinds(other) == []
    assert count_now(shop["Bench"], NOW).count is not None


def test_not_found_is_held_and_used_up_is_gone(shop: dict[str, str], person: str) -> None:
    """The one stays on record where it was, for nobody to use; the other ends, with its reason."""
    lost, empty = opened(shop["Bench"], 2), opened(shop["Bench"], 2)
    count_recording.decide(shop["Bench"], lost, Decision("hold", NOW), NOW)
    with pytest.raises(BadInput, match="why"):
        count_recording.decide(shop["Bench"], empty, Decision("gone", NOW), NOW)
    count_recording.decide(shop["Bench"], empty, Decision("gone", NOW, reason="used up"), NOW)
    record(shop["Bench"], person)
    held = state(lost, NOW)
    assert held.verdict == "do_not_use"
    assert held.ledger.held == ("not found when counted: Bench",)
    assert held.ledger.place == shop["Bench"]
    assert state(empty, NOW).ledger.gone == "used up, told when Bench was counted"


def test_all_is_in_one_name_and_recorded_once(shop: dict[str, str], person: str) -> None:
    """Sent again it does nothing; the answer is the same."""
    lost = opened(shop["Bench"], 2)
    count_recording.decide(shop["Bench"], lost, Decision("hold", NOW), NOW)
    done = record(shop["Bench"], person)
    assert count_recording.record(done.id, person, NOW + 60) == done
    (hold,) = [line.event for line in event_recording.log_of(lost) if line.event.kind == "hold"]
    assert (hold.person, hold.at) == (person, NOW)
    assert count_now(shop["Bench"], NOW).count is None


def test_all_or_nothing(shop: dict[str, str], person: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """If one of the entries can't be put on the log none is, and the count goes on."""
    first, second = opened(shop["Bench"], 2), opened(shop["Bench"], 2)
    for code in (first, second):
        count_recording.decide(shop["Bench"], code, Decision("hold", NOW), NOW)
    real = event_recording.record
    calls = []

    def fails(events: list[NewEvent], now: int) -> object:
        calls.append(events)
        if len(calls) == 2:
            raise Conflict("somebody was faster")
        return real(events, now)

    monkeypatch.setattr(event_recording, "record", fails)
    with pytest.raises(Conflict):
        record(shop["Bench"], person)
    monkeypatch.undo()
    assert kinds(first) == kinds(second) == ["open"]
    assert len(count_now(shop["Bench"], NOW).planned) == 2


def test_found_on_another_bench_is_moved_at_its_scan(shop: dict[str, str], person: str) -> None:
    """Its clock ran there and runs here: the move is dated when it was scanned."""
    other = catalog.create_place(catalog.NewPlace(name="Line", kind="line"), NOW)[0].code
    reel = opened(other, 3)
    assert counting.found(shop["Bench"], reel, NOW - 600).where == "elsewhere"
    record(shop["Bench"], person)
    move = event_recording.log_of(reel)[-1].event
    assert (move.kind, move.place, move.at) == ("move", shop["Bench"], NOW - 600)


@pytest.mark.parametrize(("since_h", "exposed_h"), [(None, 6), (2, 3)])
def test_dry_on_record_but_found_in_the_air(
    since_h: int | None, exposed_h: int, shop: dict[str, str], person: str
) -> None:
    """It was an hour in the air and has been 5 h in the cabinet on record. Nobody knows: all of
    those hours count. Since two hours ago: those two."""
    reel = in_cabinet(shop)
    assert counting.found(shop["Bench"], reel, NOW).asks == "since"
    with pytest.raises(Refused):
        record(shop["Bench"], person)
    since = None if since_h is None else NOW - since_h * HOUR
    count_recording.decide(shop["Bench"], reel, Decision("move", NOW, shop["Bench"], since), NOW)
    record(shop["Bench"], person)
    after = state(reel, NOW)
    assert after.ledger.place == shop["Bench"]
    assert after.ledger.exposure_s == exposed_h * HOUR
    assert float(after.used_share) == pytest.approx(exposed_h / 168)


def test_a_count_of_the_cabinet_says_it_was_there(shop: dict[str, str], person: str) -> None:
    """Nobody knows since when: since the count that last found it in the cabinet."""
    reel = in_cabinet(shop)
    counting.found(shop["Cabinet"], reel, NOW - HOUR)
    record(shop["Cabinet"], person)
    counting.found(shop["Bench"], reel, NOW)
    count_recording.decide(shop["Bench"], reel, Decision("move", NOW, shop["Bench"]), NOW)
    record(shop["Bench"], person)
    assert state(reel, NOW).ledger.exposure_s == 2 * HOUR


def test_a_time_that_can_not_be_is_refused(shop: dict[str, str]) -> None:
    """Before it was put into the cabinet, or yet to come."""
    reel = in_cabinet(shop)
    counting.found(shop["Bench"], reel, NOW)
    for since, why in ((NOW - 6 * HOUR, "still dry"), (NOW + HOUR, "yet to come")):
        with pytest.raises(BadInput, match=why):
            count_recording.decide(
                shop["Bench"], reel, Decision("move", NOW, shop["Bench"], since), NOW
            )


def test_a_bake_found_elsewhere_resets_nothing(shop: dict[str, str], person: str) -> None:
    """Nobody knows when it was taken out: at once, so the share stands and goes on."""
    reel = opened(shop["Bench"], 30)
    event(reel, "bake_start", 20, place=shop["Oven"], temp_c=40.0)
    counting.found(shop["Bench"], reel, NOW)
    count_recording.decide(shop["Bench"], reel, Decision("move", NOW, shop["Bench"]), NOW)
    record(shop["Bench"], person)
    after = state(reel, NOW)
    assert after.ledger.last_reset_at is None
    assert float(after.used_share) == pytest.approx(30 / 168)


def test_missing_in_the_cabinet_but_somewhere_else(shop: dict[str, str], person: str) -> None:
    """The same rule holds for what a person says is somewhere else."""
    reel = in_cabinet(shop)
    (one,) = count_now(shop["Cabinet"], NOW).carriers
    assert count_recording.needs_since(one, shop["Bench"])
    count_recording.decide(shop["Cabinet"], reel, Decision("move", NOW, shop["Bench"]), NOW)
    record(shop["Cabinet"], person)
    assert state(reel, NOW).ledger.exposure_s == 6 * HOUR


def test_found_open_though_closed_on_record(shop: dict[str, str], person: str) -> None:
    """Nobody knows since when: exposed since it was last known closed, here at its receipt."""
    reel = receive(shop["Bench"]).code
    counting.found(shop["Bench"], reel, NOW)
    count_recording.decide(shop["Bench"], reel, Decision("open", NOW), NOW)
    record(shop["Bench"], person)
    after = state(reel, NOW)
    assert after.status == "exposed"
    assert after.conflicts == ()
    assert after.ledger.exposure_s == 7 * 24 * HOUR


def test_two_of_one_bag_found_open_are_opened_once(shop: dict[str, str], person: str) -> None:
    """Opening one opens the other: no entry contradicts."""
    reels = [receive(shop["Bench"], bag="BAG-1").code for _ in range(2)]
    for code in reels:
        counting.found(shop["Bench"], code, NOW)
        count_recording.decide(shop["Bench"], code, Decision("open", NOW), NOW)
    record(shop["Bench"], person)
    for code in reels:
        assert state(code, NOW).conflicts == ()
        assert kinds(code) == ["open"]


def test_found_open_in_a_cabinet_is_no_dry_storage_before(
    shop: dict[str, str], person: str
) -> None:
    """It is exposed where the record had it until it was found in the cabinet."""
    reel = receive(shop["Bench"]).code
    counting.found(shop["Cabinet"], reel, NOW)
    count_recording.decide(shop["Cabinet"], reel, Decision("open", NOW), NOW)
    record(shop["Cabinet"], person)
    after = state(reel, NOW)
    assert after.ledger.place == shop["Cabinet"]
    assert after.ledger.exposure_s == 7 * 24 * HOUR


def test_gone_on_record_is_left_to_a_correction(shop: dict[str, str], person: str) -> None:
    """A count does not bring it back; it names the entry that made it gone."""
    reel = opened(shop["Bench"], 5)
    event(reel, "scrap", 4, reason="empty")
    one = counting.found(shop["Bench"], reel, NOW)
    assert one.where == "gone"
    assert one.gone_by == event_recording.log_of(reel)[-1].event.id
    with pytest.raises(BadInput, match="gone"):
        count_recording.decide(shop["Bench"], reel, Decision("move", NOW, shop["Bench"], NOW), NOW)
    assert record(shop["Bench"], person).summary["left"] == [{"code": reel, "why": "gone"}]


def test_what_is_not_on_file_is_listed_and_can_be_left_out(shop: dict[str, str]) -> None:
    """A label of ours that nobody received; scanned by mistake it is taken back."""
    stray = make_code("C", 999)
    assert counting.found(shop["Bench"], stray, NOW).where == "unknown"
    counting.take_back(shop["Bench"], stray, NOW)
    assert count_now(shop["Bench"], NOW).carriers == ()


def test_what_comes_or_leaves_meanwhile_is_not_missing(shop: dict[str, str]) -> None:
    """Moved here by another station while the count runs; moved away after it was counted."""
    stays, comes = opened(shop["Bench"], 5), in_cabinet(shop)
    counting.found(shop["Bench"], stays, NOW - 600)
    event(comes, "move", 5 / 60, place=shop["Bench"])
    event(stays, "move", 1 / 60, place=shop["Cabinet"])
    where = {one.code: one.where for one in count_now(shop["Bench"], NOW).carriers}
    assert where == {stays: "here", comes: "came"}


def test_a_bag_counts_all_that_is_in_it(shop: dict[str, str]) -> None:
    """Both carriers of a closed bag are found by its code."""
    bag = make_code("B", 7)
    reels = [receive(shop["Bench"], bag=bag).code for _ in range(2)]
    assert [one.code for one in counting.found_bag(shop["Bench"], bag, NOW)] == sorted(reels)
    with pytest.raises(NotFound):
        counting.found_bag(shop["Bench"], make_code("B", 8), NOW)


def test_a_running_count_survives_a_restart(
    shop: dict[str, str], database_url: str, person: str
) -> None:
    """What was scanned and decided is there after the server starts again."""
    reel, lost = in_cabinet(shop), opened(shop["Bench"], 2)
    counting.found(shop["Bench"], reel, NOW)
    count_recording.decide(shop["Bench"], lost, Decision("hold", NOW), NOW)
    before = count_now(shop["Bench"], NOW)
    close_store()
    open_store(database_url)
    assert count_now(shop["Bench"], NOW) == before


def test_a_dropped_count_leaves_no_trace_on_the_log(shop: dict[str, str], person: str) -> None:
    """It can't be recorded any more, and the next one begins empty."""
    lost = opened(shop["Bench"], 2)
    count_recording.decide(shop["Bench"], lost, Decision("hold", NOW), NOW)
    count = count_now(shop["Bench"], NOW).count
    assert count is not None
    count_recording.drop(shop["Bench"], person, NOW)
    with pytest.raises(Conflict, match="dropped"):
        count_recording.record(count.id, person, NOW)
    assert kinds(lost) == ["open"]
    assert count_now(shop["Bench"], NOW).planned == ()


def test_the_found_that_was_missing_needs_no_decision_any_more(shop: dict[str, str]) -> None:
    """It turns up after it was said to be lost: nothing is recorded of it."""
    lost = opened(shop["Bench"], 2)
    count_recording.decide(shop["Bench"], lost, Decision("hold", NOW), NOW)
    counting.found(shop["Bench"], lost, NOW)
    assert count_now(shop["Bench"], NOW).planned == ()
