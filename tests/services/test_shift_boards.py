"""End of shift: boards between two reflows stand with what is out, and go where all parts may."""

from __future__ import annotations

import pytest

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import board_glances, boards, catalog, event_recording, shift
from msdtrack.services.carrier_states import watch_by_folding
from msdtrack.services.shift import Destination, StillOut
from msdtrack.services.shift_boards import BoardsOut, everything_out, goal_of
from tests.services.board_floor import event, happens, opened, placed, readings
from tests.services.conftest import NOW


@pytest.fixture
def floor(shop: dict[str, str]) -> dict[str, str]:
    """Measured air everywhere: the cabinet at 7 %, the bench at 50 %."""
    catalog.create_part(PartFacts("WB-5", "5", body_mm=1.4, carrier_max_c=140), NOW)
    catalog.create_part(PartFacts("WB-6", "6", body_mm=1.4, label_floor_life_hours=6), NOW)
    catalog.create_part(PartFacts("WB-1", "1"), NOW)
    readings(shop["Bench"], 23.0, 50.0, 8 * 24)
    readings(shop["Cabinet"], 23.0, 7.0, 8 * 24)
    return shop


def out_on(batch: str, place: str, hours: float, **given: object) -> str:
    """Open a reel so many hours ago, and place all of it on the batch a minute later."""
    reel = opened(place, hours, **given)
    return placed(batch, reel, hours - 1 / 60, 500)


def goal(batch: str) -> Destination:
    """Where the batch goes; the list says the same as a scan does."""
    found = goal_of(batch, NOW)
    assert found is not None
    (listed,) = [one for one in everything_out(NOW).first if one.seen.code == batch]
    assert listed.destination == found
    return found


def test_boards_stand_among_the_carriers_in_their_order(floor: dict[str, str], batch: str) -> None:
    """Most urgent first, each once, by place; with the time left that their own page says."""
    late, early = opened(floor["Bench"], 150), opened(floor["Bench"], 20)
    placement = out_on(batch, floor["Bench"], 100)
    found = everything_out(NOW).first
    assert [one.seen.code for one in found] == [late, batch, early]
    assert [type(one) for one in found] == [StillOut, BoardsOut, StillOut]
    assert placement not in [one.seen.code for one in found]
    assert found[1].seen.left_h == boards.batch_state(batch, NOW).remaining_h
    assert list(shift.by_place(found)) == [floor["Bench"]]
    assert everything_out(NOW, floor["Cabinet"]).count == 0
    assert everything_out(NOW, floor["Bench"]).first == found
    few = everything_out(NOW, limit=2)
    assert (few.first, few.count) == (found[:2], 3)


def test_a_short_exposure_goes_where_all_parts_dry(floor: dict[str, str], batch: str) -> None:
    """Level 3, two and four hours out: the cabinet at 7 % dries both in five times the longer."""
    out_on(batch, floor["Bench"], 2)
    out_on(batch, floor["Bench"], 4)
    found = goal(batch)
    assert (found.goal, found.place) == ("cabinet", floor["Cabinet"])
    assert found.why == (
        "Reflow pass 1, or dry storage until then. "
        "After 20 h 00 min of dry storage their floor life is whole again."
    )


def test_a_long_exposure_stands_in_dry_storage(floor: dict[str, str], batch: str) -> None:
    """One part was out for 20 h: no reset for the boards, though the other could have one."""
    out_on(batch, floor["Bench"], 20)
    out_on(batch, floor["Bench"], 2)
    assert goal(batch).why.endswith("In dry storage their clock stands, with 6 d 4 h left.")


def test_the_strictest_level_chooses_the_place(floor: dict[str, str], batch: str) -> None:
    """Level 5 needs 5 %: no cabinet, a bag; once it was out for long its clock runs on there."""
    out_on(batch, floor["Bench"], 2)
    out_on(batch, floor["Bench"], 20, part="WB-5")
    found = goal(batch)
    assert (found.goal, found.place) == ("bag", None)
    assert found.title == "Dry bag: fresh desiccant, fresh card, heat seal"
    assert found.why.startswith("No cabinet is at 5 % RH or less. Reflow pass 1")
    assert found.why.endswith("The clock of WB-5 runs on in dry storage too: 28 h 00 min left.")


def test_what_is_used_up_goes_to_an_oven_that_all_parts_stand(
    floor: dict[str, str], batch: str
) -> None:
    """Their carriers are gone: 125 °C suits what is on boards, as their own page says."""
    out_on(batch, floor["Bench"], 180)
    out_on(batch, floor["Bench"], 60, part="WB-5")
    found = goal(batch)
    assert (found.goal, found.title, found.place) == ("oven", "Oven", floor["Oven"])
    (option, *_) = boards.batch_state(batch, NOW, oven=floor["Oven"]).bake.options
    assert found.why == (
        f"{float(option.hours):g} h at {option.temp_c:g} °C make the floor life of all parts on "
        "them whole, before the next reflow."
    )


def test_an_oven_that_is_not_hot_enough_is_not_named(floor: dict[str, str], batch: str) -> None:
    """The step of the boards says what they need."""
    catalog.amend_place(floor["Oven"], {"max_temp_c": 50.0}, NOW)
    out_on(batch, floor["Bench"], 180)
    found = goal(batch)
    assert (found.goal, found.title, found.place) == ("oven", "No oven here fits", None)
    assert found.why == boards.batch_state(batch, NOW).next_step.text


def test_what_quality_holds_goes_nowhere(floor: dict[str, str], batch: str) -> None:
    """On hold, or after one reflow too many."""
    out_on(batch, floor["Bench"], 2)
    happens(batch, "hold", 1, person="Ines", reason="solder paste in doubt")
    found = goal(batch)
    assert (found.goal, found.place) == ("quality", None)
    assert found.why == "Hold for quality: solder paste in doubt."
    happens(batch, "release", 0.9, person="Ines", reason="paste is good")
    for hours_ago in (0.8, 0.7, 0.6, 0.5):
        happens(batch, "reflow", hours_ago, peak_c=240.0)
    assert goal(batch).goal == "quality"
    assert "4 reflows" in goal(batch).why


def test_level_6_on_boards_has_no_dry_storage(floor: dict[str, str], batch: str) -> None:
    """It bakes first, and no table has a figure for it."""
    out_on(batch, floor["Bench"], 1, part="WB-6")
    assert goal(batch).goal == "quality"


def test_what_has_no_clock_that_runs_is_not_out(floor: dict[str, str], batch: str) -> None:
    """Level 1 alone, dry storage, a closed bag, the oven, after the last reflow, scrapped."""
    reel = opened(floor["Bench"], 3, part="WB-1")
    placed(batch, reel, 2, 10)
    assert everything_out(NOW).first == ()
    assert goal_of(batch, NOW) is None
    made = boards.create(boards.NewBatch("Bottom side", 5, floor["Bench"]), NOW)[0].code
    out_on(made, floor["Bench"], 3)
    assert [one.seen.code for one in everything_out(NOW).first] == [made]
    happens(made, "move", 2, place=floor["Cabinet"])
    assert goal_of(made, NOW) is None
    happens(made, "move", 1.5, place=floor["Bench"])
    assert goal_of(made, NOW) is not None
    happens(made, "bake_start", 1, place=floor["Oven"], temp_c=125.0)
    assert goal_of(made, NOW) is None
    happens(made, "bake_end", 0.9, place=floor["Bench"])
    assert goal_of(made, NOW) is not None
    happens(made, "reflow", 0.5, last=True)
    assert goal_of(made, NOW) is None
    assert everything_out(NOW).first == ()


def test_nothing_placed_is_nothing_out(floor: dict[str, str], batch: str) -> None:
    """An empty batch has no parts whose time could run."""
    assert everything_out(NOW).first == ()
    assert goal_of(batch, NOW) is None


def test_what_the_watch_list_counts_down_is_on_it(floor: dict[str, str], batch: str) -> None:
    """Every batch whose time runs on the watch list stands here too."""
    out_on(batch, floor["Bench"], 5)
    running = [one for one in board_glances.unfinished(NOW).watched if one.status == "on_board"]
    assert [one.code for one in running] == [one.seen.code for one in everything_out(NOW).first]


def test_carriers_are_those_that_folding_everything_finds(
    floor: dict[str, str], batch: str
) -> None:
    """The standings choose them; each is folded, with its destination."""
    for hours in (1, 30, 100, 200):
        opened(floor["Bench"], hours)
    opened(floor["Bench"], 5, part="WB-1")
    opened(floor["Bench"], 5, part="WB-6")
    out_on(batch, floor["Bench"], 5)
    plain = [
        state
        for state in watch_by_folding(NOW)
        if state.status == "exposed" and state.facts.part.msl != "1"
    ]
    found = [one for one in everything_out(NOW).first if isinstance(one, StillOut)]
    assert [one.state for one in found] == plain
    assert [one.destination for one in found] == [shift.destination(state) for state in plain]


def test_a_conflict_in_a_log_goes_to_quality(floor: dict[str, str], batch: str) -> None:
    """Nobody knows what is true until it is corrected."""
    placement = out_on(batch, floor["Bench"], 2)
    event_recording.record([event(placement, "bake_end", 1, place=floor["Bench"])], NOW)
    found = goal(batch)
    assert found.goal == "quality"
    assert found.why == boards.batch_state(batch, NOW).next_step.text
