"""The plan of a run: what it takes, in which order, and that it is what folding each would say."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from msdtrack.errors import BadInput
from msdtrack.exposure.facts import HOUR_S, PartFacts
from msdtrack.services import (
    boards,
    catalog,
    climate,
    event_recording,
    run_carriers,
    run_stock,
    standings,
)
from msdtrack.services.accounts import Account, accounts
from msdtrack.services.boards import NewBatch
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.run_choice import PartPlan, Step
from msdtrack.services.run_plan import Need, most_on_hand, plan
from tests.services.conftest import NOW, receive
from tests.services.floor import DRY, PARTS, Floor
from tests.services.plan_check import check
from tests.services.test_standings import RANDOM, copy_of, empty

__all__ = ["empty"]

BEGINS, ENDS = NOW + 12 * HOUR_S, NOW + 20 * HOUR_S
EVERYTHING = 1_000_000


@pytest.fixture
def floor(shop: dict[str, str]) -> dict[str, str]:
    """A line, a hot oven, and parts of several levels on trays that stand 140 °C."""
    for number, msl in (("WB-3", "3"), ("WB-5", "5"), ("WB-5A", "5a"), ("WB-1", "1")):
        catalog.create_part(PartFacts(number, msl, body_mm=1.0, carrier_max_c=140), NOW)
    line, _ = catalog.create_place(catalog.NewPlace(name="Line", kind="line"), NOW)
    hot = catalog.NewPlace(name="Hot oven", kind="oven", max_temp_c=150)
    return shop | {"Line": line.code, "Hot oven": catalog.create_place(hot, NOW)[0].code}


def record(code: str, kind: str, at: int = NOW, **what: object) -> None:
    new = NewEvent(str(uuid4()), code, kind, at, person="Ines", **what)  # type: ignore[arg-type]
    event_recording.record([new], NOW)


def bag(part: str = "WB-3", ends: date = date(2027, 6, 1), **given: object) -> str:
    return receive(part=part, kind="tray", shelf_life_ends=ends, **given).code


def out(hours: float, floor: dict[str, str], part: str = "WB-3") -> str:
    """Receive a carrier and open it so many hours ago at the bench."""
    code = bag(part)
    record(code, "open", NOW - round(hours * HOUR_S), place=floor["Bench"], hic=DRY)
    return code


def of(floor: dict[str, str], pieces: int, part: str = "WB-3", ends: int = ENDS) -> PartPlan:
    (found,) = plan(floor["Line"], BEGINS, ends, [Need(part, pieces)], NOW).parts
    return found


def codes(steps: Sequence[Step]) -> list[str]:
    return [step.own.code for step in steps]


# -- the order, and what it stops at ---------------------------------------------------------------


def test_what_is_out_comes_first_and_then_the_oldest_shelf_life(floor: dict[str, str]) -> None:
    """Least floor life left, then bags by the end of their shelf life; what is not needed is
    counted."""
    young, old = bag(ends=date(2027, 8, 1)), bag(ends=date(2027, 2, 1))
    fresh, worn = out(1, floor), out(100, floor)
    found = of(floor, 1600)
    assert codes(found.steps) == [worn, fresh, old, young]
    assert [step.act for step in found.steps] == ["take", "take", "open", "open"]
    assert (found.verdict, found.found, found.from_start, found.spare) == ("covered", 2000, 2000, 0)
    few = of(floor, 501)
    assert (codes(few.steps), few.spare, few.barred) == ([worn, fresh], 2, ())


def test_what_ends_before_the_last_reflow_is_not_taken(floor: dict[str, str]) -> None:
    """150 h used and 12 h to come: at the last reflow, 8 h later, 168 are over."""
    short = out(150, floor)
    catalog.amend_part("WB-3", {"carrier_max_c": None}, NOW)
    found = of(floor, 1)
    assert (found.verdict, found.short) == ("short", 1)
    (barred,) = found.barred
    assert (barred.own.code, barred.ends_early_at) == (short, NOW + 18 * HOUR_S)
    assert "floor_life_ends_before_the_run" in barred.reasons


def test_bags_that_do_not_last_count_from_when_they_do(floor: dict[str, str]) -> None:
    """Level 5a, 24 h, and a run of 26: from the first whole minute after 2 h."""
    bag("WB-5A")
    found = of(floor, 400, "WB-5A", BEGINS + 26 * HOUR_S)
    (step,) = found.steps
    later = (BEGINS + 2 * HOUR_S) // 60 * 60 + 60
    assert (found.verdict, found.covered_from, found.from_start) == ("covered_later", later, 0)
    assert (step.act, step.from_at) == ("open", later)


def test_a_bake_is_planned_only_while_pieces_are_missing(floor: dict[str, str]) -> None:
    """Two are worn out: one bake covers the need, two more pieces take the second."""
    for _ in range(2):
        out(169, floor)
    bag()
    assert of(floor, 500).verdict == "covered"
    assert len(of(floor, 500).barred) == 2
    found = plan(floor["Line"], BEGINS, ENDS, [Need("WB-3", 1000)], NOW)
    (part,) = found.parts
    assert (part.verdict, [step.act for step in part.steps]) == (
        "covered_after_bake", ["open", "bake"],
    )  # fmt: skip
    (load,) = found.loads
    assert (load.oven.name, load.temp_c, load.hours) == ("Oven", 125, 7)
    assert load.start_by == (BEGINS - 7 * HOUR_S) // 60 * 60
    assert (found.bags, found.bakes, found.short) == (1, 1, 0)
    both = plan(floor["Line"], BEGINS, ENDS, [Need("WB-3", 1002)], NOW)
    assert len(both.loads[0].carriers) == 2


def test_a_bake_that_comes_too_late_says_when_it_would_be_ready(floor: dict[str, str]) -> None:
    out(169, floor)
    soon = plan(floor["Line"], NOW + HOUR_S, ENDS, [Need("WB-3", 1)], NOW)
    (barred,) = soon.parts[0].barred
    assert (soon.parts[0].verdict, barred.ready_at) == ("short", NOW + 7 * HOUR_S)


def test_a_running_bake_counts_if_it_is_done_in_time(floor: dict[str, str]) -> None:
    """7 h from an hour ago, measured up to now: done in 6 h."""
    code = out(170, floor)
    record(code, "bake_start", NOW - HOUR_S, place=floor["Hot oven"], temp_c=125.0)
    times = range(NOW - HOUR_S, NOW + 1, 300)
    climate.add_readings([NewReading(floor["Hot oven"], at, 126.0, 1.0) for at in times], NOW)
    found = of(floor, 1)
    (step,) = found.steps
    assert (found.verdict, step.act, step.bake) == ("covered_after_bake", "take_out", None)
    assert step.bake_done_at == NOW + 6 * HOUR_S
    late = plan(floor["Line"], NOW + HOUR_S, ENDS, [Need("WB-3", 1)], NOW).parts[0]
    assert (late.verdict, late.barred[0].ready_at) == ("short", NOW + 6 * HOUR_S)


def test_what_must_not_be_used_is_named_with_its_reason(floor: dict[str, str]) -> None:
    held, missing, unknown = bag(), bag(), bag(sealed_on=None)
    record(held, "hold", reason="torn bag")
    record(missing, "open", NOW - 60, place=floor["Bench"], hic={"5": "missing"})
    catalog.amend_part("WB-3", {"carrier_max_c": None}, NOW)
    found = of(floor, 1)
    why = {one.own.code: one.reasons for one in found.barred}
    assert "held" in why[held]
    assert "hic_missing" in why[missing]
    assert why[unknown][0] == "history_unknown"
    assert found.short == 1


def test_bags_alike_are_told_from_those_that_are_not(floor: dict[str, str]) -> None:
    """Each differs from the first in one thing; the fold of each says the same."""
    # More than are read at once.
    first = [bag() for _ in range(20)]
    same, moved = bag(lot="L-2", quantity=7), bag()
    record(moved, "move", NOW, place=floor["Cabinet"])
    held, over, unknown, short = (
        bag(),
        bag(ends=date(2026, 9, 21)),
        bag(sealed_on=None),
        bag(label_floor_life_hours=6),
    )
    record(held, "hold", reason="torn bag")
    found = plan(floor["Line"], BEGINS, ENDS, [Need("WB-3", EVERYTHING)], NOW)
    check(found, NOW)
    (part,) = found.parts
    at_start = [step for step in part.steps if step.from_at == BEGINS and step.bake is None]
    assert {step.own.code: step.own.pieces for step in at_start} == {
        **dict.fromkeys((*first, moved), 500),
        same: 7,
    }
    assert {held, over} <= {one.own.code for one in part.barred}
    assert {
        step.own.code: step.act for step in part.steps if step.own.code in (unknown, short)
    } == {
        unknown: "bake",
        short: "open",
    }


def test_bags_alike_are_not_read_one_by_one(
    floor: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """40 bags that differ in what decides nothing, also when they may be opened only later."""
    for number in range(40):
        bag("WB-5A", date(2027, 1, 1 + number % 28), lot=f"L-{number}", quantity=number + 1)
    asked: list[str] = []

    def counted(codes: Iterable[str], **given: Any) -> Iterator[Account]:
        wanted = list(codes)
        asked.extend(wanted)
        return accounts(wanted, **given)

    monkeypatch.setattr(run_stock, "accounts", counted)
    for ends in (ENDS, BEGINS + 26 * HOUR_S):
        asked.clear()
        found = of(floor, 820, "WB-5A", ends)
        assert (found.short, len(found.steps), len(asked)) == (0, 40, 1)
    monkeypatch.undo()
    check(plan(floor["Line"], BEGINS, ENDS, [Need("WB-5A", EVERYTHING)], NOW), NOW)


def test_opening_a_bag_opens_all_that_share_it(floor: dict[str, str]) -> None:
    one, other = (bag(bag="BAG-1") for _ in range(2))
    third = bag("WB-5", bag="BAG-1")
    found = plan(floor["Line"], BEGINS, ENDS, [Need("WB-3", 1000)], NOW)
    assert found.bags == 1
    assert {step.own.code: set(step.opens_too) for step in found.parts[0].steps} == {
        one: {other, third},
        other: {one, third},
    }
    record(one, "open", NOW, place=floor["Bench"], hic=DRY, only_this=True)
    assert codes(of(floor, 500).steps) == [one]


def test_a_bag_opened_for_another_is_open_from_then(floor: dict[str, str]) -> None:
    """Level 5a, 24 h, in a bag that is opened when a run of 26 h begins: it does not last, though
    it would if its bag were opened 2 h later. One in a bag of its own takes its place."""
    other = bag(bag="BAG-1")
    mate = bag("WB-5A", ends=date(2027, 1, 1), bag="BAG-1")
    needs = [Need("WB-3", 1), Need("WB-5A", 1)]
    later, begins = BEGINS + 26 * HOUR_S, BEGINS
    short, _ = plan(floor["Line"], begins, later, needs, NOW).parts
    assert (short.verdict, codes(short.steps)) == ("short", [])
    (barred,) = short.barred
    assert barred.own.code == mate
    assert run_carriers.OPENED_FOR_ANOTHER in barred.reasons
    alone = bag("WB-5A")
    found, _ = plan(floor["Line"], begins, later, needs, NOW).parts
    assert (codes(found.steps), found.steps[0].act) == ([alone], "open")
    of_mate = plan(floor["Line"], begins, later, needs[1:], NOW).parts[0]
    assert (codes(of_mate.steps), of_mate.steps[0].opens_too) == ([mate], (other,))


def test_a_bag_opened_for_a_bake_is_open_from_then(floor: dict[str, str]) -> None:
    """Nobody knows of one since when it is closed, so it is baked; its mate of level 5, 48 h, is
    out from when that goes into the oven, and used first when the run begins."""
    baked = bag(bag="BAG-1", ends=None, sealed_on=None)
    mate = bag("WB-5", bag="BAG-1")
    first, second = plan(floor["Line"], BEGINS, ENDS, [Need("WB-3", 1), Need("WB-5", 1)], NOW).parts
    (step,), (taken,) = first.steps, second.steps
    assert step.bake is not None
    start = step.bake.start_by
    assert (step.own.code, taken.own.code) == (baked, mate)
    assert (taken.act, taken.from_at, taken.lasts_until) == ("take", BEGINS, start + 48 * HOUR_S)
    late = plan(floor["Line"], BEGINS, ENDS + 38 * HOUR_S, [Need("WB-3", 1), Need("WB-5", 1)], NOW)
    assert [step.act for part in late.parts for step in part.steps] == ["bake", "bake"]


def test_pieces_on_boards_and_used_up_are_not_there(floor: dict[str, str]) -> None:
    """40 of 500 stand on boards; another reel is gone."""
    code, gone = out(1, floor), out(1, floor)
    batch, _ = boards.create(NewBatch("Logger, top", 40, floor["Line"]), NOW)
    record(code, "place_on_board", NOW, quantity=40, board=batch.code)
    record(gone, "scrap", NOW, reason="used up")
    found = of(floor, EVERYTHING)
    assert (codes(found.steps), found.found, found.spare) == ([code], 460, 0)


def test_a_part_named_twice_needs_the_sum_and_the_worst_comes_first(floor: dict[str, str]) -> None:
    bag(), bag("WB-5")
    needs = [Need("WB-3", 300), Need("WB-5", 900), Need("WB-3", 200)]
    found = plan(floor["Line"], BEGINS, ENDS, needs, NOW)
    assert [(one.part.number, one.needed, one.verdict) for one in found.parts] == [
        ("WB-5", 900, "short"),
        ("WB-3", 500, "covered"),
    ]


def test_a_run_that_has_begun_takes_what_is_left_now(floor: dict[str, str]) -> None:
    bag()
    found = plan(floor["Line"], NOW - HOUR_S, NOW + 4 * HOUR_S, [Need("WB-3", 1)], NOW)
    assert found.run.begins_at == NOW
    assert found.parts[0].steps[0].from_at == NOW


def test_the_air_it_counts_on_is_named(floor: dict[str, str]) -> None:
    climate.add_readings([NewReading(floor["Line"], NOW - 60, 31.0, 40.0)], NOW)
    record(code := bag(), "open", NOW - 600, place=floor["Bench"], hic=DRY)
    record(code, "move", NOW - 60, place=floor["Cabinet"])
    found = plan(floor["Line"], BEGINS, ENDS, [Need("WB-3", 1)], NOW)
    assert (found.air, found.missing) == ((3100, 6000), "no_reading_since")
    assert [(place.name, air) for place, air in found.damp] == [("Cabinet", (3000, 6000))]
    catalog.amend_place(floor["Cabinet"], {"assumed_rh_pct": 4.0}, NOW)
    assert plan(floor["Line"], BEGINS, ENDS, [Need("WB-3", 1)], NOW).damp == ()


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"place": "P0000999"}, "place"),
        ({"place": "Cabinet"}, "place"),
        ({"ends_at": BEGINS}, "ends_at"),
        ({"begins_at": NOW - 9, "ends_at": NOW}, "ends_at"),
        ({"ends_at": NOW + 93 * 86400}, "ends_at"),
        ({"needs": []}, "needs"),
        ({"needs": [Need("NONE", 1)]}, "needs"),
        ({"needs": [Need("WB-3", 0)]}, "needs"),
        ({"needs": [Need("WB-3", 10**9), Need("WB-3", 1)]}, "needs"),
        ({"needs": [Need(f"WB-{n}", 1) for n in range(201)]}, "needs"),
    ],
)
def test_what_can_not_be_planned_is_named(
    given: dict[str, Any], field: str, floor: dict[str, str]
) -> None:
    asked = {"place": "Line", "begins_at": BEGINS, "ends_at": ENDS, "needs": [Need("WB-3", 1)]}
    asked |= given
    asked["place"] = floor.get(asked["place"], asked["place"])
    with pytest.raises(BadInput) as error:
        plan(**asked, now=NOW)
    assert {one.field for one in error.value.errors} == {field}


def test_an_example_is_made_of_what_is_on_hand(floor: dict[str, str]) -> None:
    assert most_on_hand(3, NOW) == []
    for part in ("WB-5", "WB-3", "WB-3"):
        bag(part)
    assert most_on_hand(1, NOW) == [Need("WB-3", 500)]
    assert most_on_hand(9, NOW)[1] == Need("WB-5", 250)


# -- the same as by folding each -------------------------------------------------------------------


@settings(RANDOM, max_examples=60)
@given(data=st.data())
def test_whatever_happens(empty: Path, data: st.DataObject) -> None:
    """A need of everything takes what the fold says may be used, and bars the rest; a smaller one
    takes the same as far as it needs."""
    with copy_of(empty):
        floor = Floor(data.draw)
        for number in floor.one((), ("BL-3", "BL-3S", "BL-4", "BL-5A")):
            catalog.amend_part(number, {"carrier_max_c": 140, "body_mm": 1.4}, floor.now)
        for _ in range(data.draw(st.integers(1, 20))):
            floor.step()
        now = floor.now + floor.one(0, 3600)
        begins_at = now + floor.one(-HOUR_S, 0, 60, 12 * HOUR_S, 40 * HOUR_S)
        ends_at = max(begins_at, now) + floor.one(60, 8 * HOUR_S, 30 * HOUR_S, 200 * HOUR_S)
        line = floor.places[floor.one("Line", "Bench")]
        needs = [Need(part.number, EVERYTHING) for part in PARTS]
        found = plan(line, begins_at, ends_at, needs, now)
        check(found, now)
        less = plan(line, begins_at, ends_at, [Need(part.number, 150) for part in PARTS], now)
        whole = {one.part.number: one for one in found.parts}
        for part in less.parts:
            assert set(codes(part.steps)) <= set(codes(whole[part.part.number].steps))
            assert part.short == max(0, 150 - whole[part.part.number].found)
            if part.steps:
                assert part.found - part.steps[-1].own.pieces < 150


def test_many_in_the_same_air_are_told_apart_without_folding_each(floor: dict[str, str]) -> None:
    """40 at one bench, opened from 130 to 169 hours ago, the last of which do not last."""
    times = range(NOW - 180 * HOUR_S, NOW + 1, 1200)
    climate.add_readings([NewReading(floor["Bench"], at, 26.0, 58.0) for at in times], NOW)
    for hours in range(130, 170):
        out(hours, floor)
    for _ in range(20):
        bag()
    found = plan(floor["Line"], BEGINS, ENDS, [Need("WB-3", EVERYTHING)], NOW)
    check(found, NOW)
    # 8 h of run and 12 h until it begins: of 168, 148 may be used by now, less a second.
    assert sum(step.act == "take" for step in found.parts[0].steps) == 148 - 130


def test_a_moment_that_standings_do_not_answer_for_is_folded(floor: dict[str, str]) -> None:
    """An hour ago, asked for after something was planned now."""
    out(5, floor)
    bag(), bag("WB-5A")
    needs = [Need("WB-3", EVERYTHING), Need("WB-5A", EVERYTHING)]
    check(plan(floor["Line"], BEGINS, ENDS, needs, NOW), NOW)
    earlier = NOW - HOUR_S
    assert standings.answering(earlier).stale is None
    check(plan(floor["Line"], BEGINS, ENDS, needs, earlier), earlier)
