"""Parts on boards raise alarms before they run out: one for each batch, until it is seen to."""

from __future__ import annotations

import pytest

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import alarm_rules, boards, catalog, policies
from msdtrack.services.alarm_causes import boards_of
from msdtrack.services.boards import NewBatch
from msdtrack.services.event_recording import NewEvent
from tests.services.alarm_floor import DAY, HOUR, MIN, T0, open_reel, record, send, stands
from tests.services.conftest import receive


@pytest.fixture
def line(shop: dict[str, str]) -> dict[str, str]:
    """The shop with a line, a level 5 part, and dry air in the cabinet."""
    catalog.create_part(PartFacts("BL-0506", "5", body_mm=1.4, peak_body_c=250), T0)
    place, _ = catalog.create_place(catalog.NewPlace(name="Line", kind="line"), T0)
    return shop | {"Line": place.code}


@pytest.fixture
def batch(line: dict[str, str]) -> str:
    """A batch at the line with a level 3 and two level 5 parts on it, all opened at T0."""
    made, _ = boards.create(NewBatch("Pressure board, top", 24, line["Line"]), T0)
    for part in ("BL-0101", "BL-0506", "BL-0506"):
        reel = open_reel(line["Line"], part=part)
        record(reel, "place_on_board", T0 + HOUR, quantity=24, board=made.code)
        record(reel, "scrap", T0 + HOUR + MIN, person="Ines")
    happens(made.code, "reflow", T0 + 2 * HOUR, peak_c=240.0)
    return made.code


def happens(batch: str, kind: str, at: int, **what: object) -> None:
    """Let something happen to the boards at its own time."""
    new = NewEvent(f"{kind} {batch} {at}", "", kind, at, **what)  # type: ignore[arg-type]
    boards.record(batch, new, at)


def test_a_batch_is_announced_expired_and_normal_after_its_bake(
    line: dict[str, str], batch: str
) -> None:
    """Level 5 in 30/60: 48 h; announced before its end by the lead time, once for the batch."""
    lead_h = float(policies.policies(T0)["lead_h:msl:5"])
    due = T0 + round((48 - lead_h) * HOUR)
    alarm_rules.evaluate(due - 1)
    assert stands("floor_life_low") == []
    alarm_rules.evaluate(due)
    (low,) = stands("floor_life_low")
    assert (low.cause, low.carrier, low.place) == (f"floor_life_low:{batch}", None, line["Line"])
    assert (low.priority, boards_of(low.cause)) == ("medium", batch)
    assert low.message == (
        f"Floor life of BL-0506 on boards {batch} (Pressure board, top) runs out within "
        f"{lead_h:g} h: reflow them before, or dry them in time."
    )
    assert alarm_rules.evaluate(due + 30) == 0
    happens(batch, "hold", due + 40, reason="smear")
    alarm_rules.evaluate(due + 50)
    (low,) = stands("floor_life_low")
    assert low.message.endswith("no reflow as they are, dry them in time.")
    happens(batch, "release", due + 60, reason="wiped")
    alarm_rules.evaluate(T0 + 48 * HOUR)
    assert stands("floor_life_low") == []
    (over,) = stands("floor_life_expired")
    assert (over.cause, over.priority, over.carrier) == (
        f"floor_life_expired:{batch}", "high", None,
    )  # fmt: skip
    assert over.message.startswith(
        f"Floor life over on boards {batch} (Pressure board, top): BL-0506. No reflow as they are."
    )
    assert over.message.endswith(boards.batch_state(batch, T0 + 48 * HOUR).next_step.text)
    assert " bake " in over.message
    happens(batch, "bake_start", T0 + 49 * HOUR, place=line["Oven"], temp_c=125.0)
    alarm_rules.evaluate(T0 + 49 * HOUR + MIN)
    assert stands("floor_life_expired") == []


@pytest.mark.parametrize(
    ("kind", "what"),
    [("reflow", {"last": True}), ("scrap", {"person": "Ines", "reason": "warped"})],
)
def test_boards_that_are_done_need_nobody(
    line: dict[str, str], batch: str, kind: str, what: dict[str, object]
) -> None:
    """After the last reflow, or scrapped, their alarm returns to normal by itself."""
    alarm_rules.evaluate(T0 + 47 * HOUR)
    assert stands("floor_life_low")
    happens(batch, kind, T0 + 47 * HOUR + MIN, **what)
    alarm_rules.evaluate(T0 + 47 * HOUR + 2 * MIN)
    assert [alarm.cause for alarm in stands() if boards_of(alarm.cause)] == []
    alarm_rules.evaluate(T0 + 60 * DAY)
    assert [alarm.cause for alarm in stands() if boards_of(alarm.cause)] == []


def test_each_component_has_its_own_lead_time(line: dict[str, str], batch: str) -> None:
    """A part of another level that is wanted long before is told of, though another runs out
    first."""
    policies.set_policy("lead_h:part:BL-0101", 150, T0, "Ines", "slow second side")
    alarm_rules.evaluate(T0 + 19 * HOUR)
    (low,) = stands("floor_life_low")
    assert "Floor life of BL-0101 on boards" in low.message


def test_in_the_cabinet_level_3_waits_without_an_alarm(line: dict[str, str]) -> None:
    """Its clock stands still; on the bench again it is announced."""
    made, _ = boards.create(NewBatch("Mast board", 5, line["Line"]), T0)
    reel = open_reel(line["Line"])
    record(reel, "place_on_board", T0 + HOUR, quantity=5, board=made.code)
    record(reel, "scrap", T0 + HOUR + MIN, person="Ines")
    send(line["Cabinet"], T0 + 150 * HOUR, T0 + 170 * HOUR, 24, 3, step=10 * MIN)
    happens(made.code, "move", T0 + 150 * HOUR, place=line["Cabinet"])
    alarm_rules.evaluate(T0 + 165 * HOUR)
    assert stands("floor_life_low") == []
    happens(made.code, "move", T0 + 166 * HOUR, place=line["Line"])
    alarm_rules.evaluate(T0 + 166 * HOUR + 6 * HOUR + MIN)
    assert [boards_of(alarm.cause) for alarm in stands("floor_life_low")] == [made.code]


def test_what_must_be_baked_for_another_reason_is_told_too(line: dict[str, str]) -> None:
    """Parts of an unknown history were placed all the same: no reflow before a bake."""
    made, _ = boards.create(NewBatch("Mast board", 5, line["Line"]), T0)
    reel = receive(line["Line"], sealed_on=None).code
    record(reel, "open", T0, hic={"5": "dry", "10": "dry", "60": "dry"})
    record(reel, "place_on_board", T0 + HOUR, quantity=5, board=made.code)
    record(reel, "scrap", T0 + HOUR + MIN, person="Ines")
    alarm_rules.evaluate(T0 + 2 * HOUR)
    (over,) = stands("floor_life_expired")
    assert over.message.startswith(f"To be baked: boards {made.code} (Mast board), for BL-0101.")


def test_a_bake_of_boards_is_told_once_by_their_code(line: dict[str, str], batch: str) -> None:
    """The load is named by the batch, not by each placement; so is a reset by dry storage."""
    alarm_rules.evaluate(T0 + 50 * HOUR)
    happens(batch, "bake_start", T0 + 50 * HOUR, place=line["Oven"], temp_c=125.0)
    alarm_rules.evaluate(T0 + 55 * HOUR)
    assert stands("bake_done") == []
    alarm_rules.evaluate(T0 + 50 * HOUR + 48 * HOUR)
    (done,) = [a for a in stands() if a.kind in ("bake_done", "bake_overdue")]
    assert f"take out {batch}" in done.message
    assert done.carrier is None


def test_dry_storage_that_made_the_boards_whole_is_told_once(line: dict[str, str]) -> None:
    """Two level 3 parts, two hours out, ten in the cabinet: one alarm, for the batch."""
    made, _ = boards.create(NewBatch("Mast board", 5, line["Line"]), T0)
    for _ in range(2):
        reel = open_reel(line["Line"])
        record(reel, "place_on_board", T0 + HOUR, quantity=5, board=made.code)
        record(reel, "scrap", T0 + HOUR + MIN, person="Ines")
    send(line["Cabinet"], T0 + 2 * HOUR, T0 + 13 * HOUR, 24, 3, step=10 * MIN)
    happens(made.code, "move", T0 + 2 * HOUR, place=line["Cabinet"])
    alarm_rules.evaluate(T0 + 11 * HOUR)
    assert stands("reset_reached") == []
    alarm_rules.evaluate(T0 + 13 * HOUR)
    (whole,) = stands("reset_reached")
    assert whole.cause == f"reset_reached:{made.code}"


def test_an_alarm_goes_where_its_boards_go(line: dict[str, str], batch: str) -> None:
    """The screen of the bench shows it once the boards are there, the line's no more."""
    alarm_rules.evaluate(T0 + 47 * HOUR)
    cause = f"floor_life_low:{batch}"

    def seen_at(place: str) -> bool:
        found, _, _ = alarm_rules.most_pressing_alarms(50, place)
        return cause in [alarm.cause for alarm in found]

    assert seen_at(line["Line"])
    assert not seen_at(line["Bench"])
    happens(batch, "move", T0 + 47 * HOUR, place=line["Bench"])
    alarm_rules.evaluate(T0 + 47 * HOUR + MIN)
    assert seen_at(line["Bench"])
    assert not seen_at(line["Line"])


def test_a_cabinet_is_held_to_what_lies_on_boards_in_it(line: dict[str, str], batch: str) -> None:
    """Level 5 wants 5 % RH; the batch is named once among what moves first."""
    cabinet = line["Cabinet"]
    send(cabinet, T0 + 2 * HOUR, T0 + 5 * HOUR, 24, 7)
    happens(batch, "move", T0 + 3 * HOUR, place=cabinet)
    alarm_rules.evaluate(T0 + 5 * HOUR)
    (beyond,) = stands("air_beyond_limits")
    assert "above 5 % RH" in beyond.message
    assert beyond.message.endswith(f"Move first: {batch}.")


def test_boards_alone_at_a_place_without_a_sensor_are_told_of(
    line: dict[str, str], batch: str
) -> None:
    """Nobody measures the air that they age in."""
    alarm_rules.evaluate(T0 + 3 * HOUR)
    assert [alarm.place for alarm in stands("readings_missing")] == [line["Line"]]
