"""Scans of places, ovens, quantities and badges."""

from __future__ import annotations

from collections.abc import Iterator
from uuid import uuid4

import pytest

from msdtrack.exposure.facts import MakerBake, PartFacts
from msdtrack.services import boards, catalog, event_recording
from msdtrack.services.boards import NewBatch
from msdtrack.services.catalog import NewPlace
from msdtrack.services.event_recording import NewEvent
from tests.services.scan_floor import DAY_S, Floor, opened_floor, refused

MOVE = "Move to a place"


@pytest.fixture
def floor(database_url: str) -> Iterator[Floor]:
    """A workshop on a fresh database of either kind."""
    yield from opened_floor(database_url)


# -- places -------------------------------------------------------------------------------------


def test_carriers_then_place_moves_them(floor: Floor) -> None:
    """A place code moves the carriers scanned before it."""
    first, second = floor.carrier(), floor.carrier()
    answer = floor.scans(first, second, floor.places["line"])
    assert (answer.tone, answer.title) == ("ok", "Moved")
    assert first in answer.message
    assert "Line A" in answer.message
    for code in (first, second):
        assert floor.state(code).ledger.place == floor.places["line"]


@pytest.mark.parametrize("order", ["carriers first", "place first", "carriers between"])
def test_move_in_any_order(floor: Floor, order: str) -> None:
    """Carriers, move, place; move, place, carriers; move, carriers, place."""
    codes, line = [floor.carrier(), floor.carrier()], floor.places["line"]
    orders = {
        "carriers first": [*codes, "MOVE", line],
        "place first": ["MOVE", line, *codes],
        "carriers between": ["MOVE", *codes, line],
    }
    assert floor.scans(*orders[order]).tone == "ok"
    assert {floor.state(code).ledger.place for code in codes} == {line}


def test_place_moves_the_carriers_of_the_last_series(floor: Floor) -> None:
    """Opened one after the other, then brought to the line."""
    codes = [floor.carrier(), floor.carrier()]
    floor.scans("OPEN", codes[0], "HICDRY", codes[1], "HICDRY", floor.places["line"])
    assert {floor.state(code).ledger.place for code in codes} == {floor.places["line"]}
    assert floor.scan(codes[0]).title == "Usable"


def test_place_alone_moves_nothing(floor: Floor) -> None:
    """A place, then a carrier: the carrier is only shown."""
    code = floor.carrier()
    assert floor.scan(floor.places["line"]).tone == "ask"
    floor.scan(code)
    assert floor.kinds(code) == []


def test_cabinet_is_dry_storage(floor: Floor) -> None:
    """Moved out of the air the clock stops, and the reset is due (Table 4-3: 5 x for level 3)."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HICDRY")
    floor.scan(code, after_s=3600)
    answer = floor.scan(floor.places["cabinet"])
    assert answer.state is not None
    assert answer.state.status == "dry_storage"
    due = {clock.name: clock.ends_at for clock in answer.countdowns}["Floor life whole again"]
    moved_at = floor.now
    assert due - moved_at == 5 * (moved_at - (floor.state(code).opened_at or 0))


def test_one_scrapped_carrier_does_not_stop_the_others(floor: Floor) -> None:
    """The move is refused whole; without the scrapped one it goes through."""
    good, gone = floor.carrier(), floor.carrier()
    floor.scan(floor.ana)
    assert floor.scans(gone, "SCRAP").title == "Scrapped"
    floor.scans(good, gone)
    answer = floor.scan(floor.places["line"])
    assert refused(answer)
    assert floor.state(good).ledger.place == floor.places["store"]
    assert floor.scan(floor.places["line"]).tone == "ok"
    assert floor.state(good).ledger.place == floor.places["line"]


def test_what_must_not_be_used_is_moved_to_a_line_in_red(floor: Floor) -> None:
    """It is where it is, so that is on record; the answer says why it must not be used there. Moved
    to a store, or fit for use, it is an ordinary move."""
    held, to_bake, good = floor.carrier(), expired(floor), floor.carrier()
    floor.scans(held, "HOLD")
    line, store = floor.places["line"], floor.places["store"]
    for code, why in ((held, "Hold for quality: "), (to_bake, "Bake before use: ")):
        answer = floor.scans(code, line)
        assert (answer.tone, answer.title) == ("stop", "Moved, do not use")
        assert f"Now at Line A. {why}" in answer.message
        assert "must not be mounted" in answer.next_step
        assert floor.state(code).ledger.place == line
        assert floor.scans("UNDO").title == "Taken back"
        assert floor.state(code).ledger.place == store
        assert floor.scans(code, floor.places["cabinet"]).tone != "stop"
    assert floor.scans("DONE", good, line).tone == "ok"


def test_one_of_several_that_must_not_be_used_at_the_line_is_named(floor: Floor) -> None:
    """Whichever was scanned last; also in a series, where it goes on."""
    held, good = floor.carrier(), floor.carrier()
    floor.scans(held, "HOLD", "DONE")
    answer = floor.scans(held, good, floor.places["line"])
    assert (answer.tone, answer.title) == ("stop", "Moved, do not use")
    assert f"Do not use {held}: Hold for quality" in answer.message
    assert f"Do not use {good}" not in answer.message
    floor.scans("DONE", "MOVE", floor.places["line"])
    assert [floor.scan(code).tone for code in (good, held, good)] == ["ok", "stop", "ok"]


# -- bakes --------------------------------------------------------------------------------------


def expired(floor: Floor, part: str = "MCU-3") -> str:
    """Return a carrier that was in the air for too long."""
    code = floor.carrier(part)
    floor.scans(code, "OPEN", "HICDRY")
    floor.now += 8 * DAY_S
    return code


def test_bake_asks_for_the_oven_and_resets_when_its_hours_are_reached(floor: Floor) -> None:
    """Level 3, 1.4 mm, 125 °C, floor life exceeded by up to 72 h: 7 h (J-STD-033, Table 4-1)."""
    code = expired(floor)
    asked = floor.scans(code, "BAKE125")
    assert (asked.tone, floor.state(code).status) == ("ask", "exposed")
    assert "oven" in asked.next_step
    assert "gloves" in asked.caution
    started = floor.scan(floor.places["oven"])
    assert started.title == "Bake started"
    clock = {each.name: each.ends_at for each in started.countdowns}["Bake complete"]
    hours = floor.state(code).ledger.bake
    assert hours is not None
    assert clock - floor.now == hours.need.hours * 3600
    floor.now = clock
    ended = floor.scans(code, "BAKEEND")
    assert (ended.tone, ended.title) == ("ok", "Bake ended")
    assert floor.state(code).verdict == "use"
    assert floor.state(code).ledger.place == floor.places["store"]


def test_bake_ended_early_resets_nothing(floor: Floor) -> None:
    """It says so, and the carrier stays unusable."""
    code = expired(floor)
    floor.scans(code, "BAKE125", floor.places["oven"])
    floor.now += 3600
    answer = floor.scans(code, "BAKEEND")
    assert (answer.tone, answer.title) == ("ask", "Bake ended early")
    assert floor.state(code).verdict == "do_not_use"


def test_series_of_bakes_and_place_of_oven_first(floor: Floor) -> None:
    """Bake, oven, carriers; or carriers, oven, and the station asks which bake."""
    codes = [expired(floor) for _ in range(3)]
    floor.scans("BAKE125", floor.places["oven"], codes[0], codes[1], "DONE")
    asked = floor.scans(codes[2], floor.places["oven"])
    assert (asked.title, asked.choices[0].text) == ("Which bake?", "Start bake at 125 °C")
    floor.scan("1")
    assert {floor.state(code).status for code in codes} == {"baking"}


@pytest.mark.parametrize(
    ("scans", "why"),
    [
        (["BAKE125"], "40"),
        (["BAKE40", "oven"], "% RH"),
        (["BAKE40", "store"], "store"),
    ],
)
def test_a_bake_that_would_ruin_something_is_refused(
    floor: Floor, scans: list[str], why: str
) -> None:
    """A reel stands 40 °C, 40 °C needs dry air, and a shelf is no oven."""
    code = expired(floor, "PRES-3")
    answers = [floor.scan(floor.places.get(each, each)) for each in [code, *scans]]
    assert refused(answers[-1])
    assert why in answers[-1].message
    assert "at 40 °C" in answers[-1].next_step or scans[-1] == "store"
    assert floor.state(code).status == "exposed"
    assert floor.scans("BAKE40", floor.places["dry oven"]).title == "Bake started"


def test_only_bakes_that_the_oven_reaches_are_offered(floor: Floor) -> None:
    """What it can't do would only be refused."""
    oven = NewPlace(name="Slow oven", kind="oven", max_temp_c=45, max_rh_pct=5)
    place, _ = catalog.create_place(oven, floor.now)
    asked = floor.scans(expired(floor, "PRES-3"), place.code)
    words = [each.text for each in asked.choices]
    assert words == ["Start bake at 40 °C", "Move to a place"]


def test_only_bakes_that_carrier_and_component_stand_are_offered(floor: Floor) -> None:
    """A reel, a part, and the mildest of several decide; each bake that is offered can be chosen.

    Source: J-STD-033, clause 4.2.2: carriers without a marked temperature stand 40 °C.
    """
    catalog.create_part(
        PartFacts("WARM-3", "3", body_mm=1.4, carrier_max_c=150.0, max_bake_c=100.0), floor.now
    )
    wide = NewPlace(name="Wide oven", kind="oven", max_temp_c=130, max_rh_pct=5)
    oven = catalog.create_place(wide, floor.now)[0].code
    codes = [expired(floor, part) for part in ("MCU-3", "WARM-3", "PRES-3")]
    bakes = [f"Start bake at {temp_c} °C" for temp_c in (125, 90, 40)]
    for n, code in enumerate(codes):
        asked = floor.scans(code, oven)
        assert [each.text for each in asked.choices] == [*bakes[n:], MOVE]
        floor.scan("DONE")
    assert [each.text for each in floor.scans(*codes, oven).choices] == [*bakes[2:], MOVE]
    assert floor.scan("1").title == "Bake started"


def test_an_oven_without_an_allowed_bake_says_why_at_once(floor: Floor) -> None:
    """What stands in the way is said before a bake is chosen; putting it there is still offered."""
    stays = expired(floor, "PRES-3")
    closed, held = floor.carrier("MCU-3"), expired(floor)
    floor.scans(held, "HOLD")
    for code, why, first in (
        (stays, "which this oven does not state", "in another oven"),
        (closed, "a bag never goes into the oven", "Open the dry bag"),
        (held, "is held for quality", "Release"),
    ):
        asked = floor.scans(code, floor.places["oven"])
        assert (asked.tone, asked.title) == ("ask", "No bake to start")
        assert code in asked.message
        assert why in asked.message
        assert first in asked.next_step
        assert [each.text for each in asked.choices] == [MOVE]
        floor.scan("DONE")
    floor.scans(stays, floor.places["oven"], "1")
    assert floor.kinds(stays)[-1] == "move"
    floor.scans(floor.ana, stays, "SCRAP")
    assert refused(floor.scans(stays, floor.places["oven"]))


def test_what_is_on_hold_is_offered_no_bake(floor: Floor) -> None:
    """It would only be refused; once released its bakes are offered."""
    code = expired(floor)
    floor.scan(floor.ana)
    words = {
        name: [each.text for each in floor.scans(code, name).choices]
        for name in ("HOLD", "RELEASE")
    }
    assert not any("bake" in each for each in words["HOLD"])
    assert "Start bake at 125 °C" in words["RELEASE"]


def test_a_makers_bake_that_is_on_no_card_is_started_on_the_ovens_page(floor: Floor) -> None:
    """The station can't start it, so it says who can."""
    own = MakerBake(110, 12)
    part = PartFacts("OWN-3", "3", body_mm=1.4, carrier_max_c=150.0, maker_bake=own)
    catalog.create_part(part, floor.now)
    asked = floor.scans(expired(floor, "OWN-3"), floor.places["oven"])
    assert asked.title == "No bake to start"
    assert asked.next_step.startswith("Possible here: 12 h at 110 °C. Start it on the oven's page.")


def test_a_bag_never_goes_into_the_oven(floor: Floor) -> None:
    """It has to be opened first."""
    code = floor.carrier("MCU-3")
    answer = floor.scans(code, "BAKE125")
    assert refused(answer)
    assert "Open" in answer.next_step
    assert floor.kinds(code) == []


def test_moving_out_of_the_oven_ends_the_bake(floor: Floor) -> None:
    """A move tells that the bake was cut short."""
    code = expired(floor)
    floor.scans(code, "BAKE125", floor.places["oven"], code)
    answer = floor.scan(floor.places["line"])
    assert (answer.tone, answer.title) == ("stop", "Bake ended early, do not use")
    assert floor.state(code).status == "exposed"
    assert floor.state(code).ledger.place == floor.places["line"]


# -- quantities, quality, the line --------------------------------------------------------------


def test_take_asks_for_a_number(floor: Floor) -> None:
    """The number keyed in is the quantity."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HICDRY")
    assert floor.scans(code, "TAKE").next_step.startswith("Key in the number")
    answer = floor.scan("7")
    assert answer.title == "7 taken"
    assert "93 left" in answer.message
    assert floor.state(code).ledger.quantity == 93


def test_more_than_there_is_can_not_be_taken(floor: Floor) -> None:
    """It asks again; the right number then counts."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HICDRY", code, "TAKE")
    assert refused(floor.scan("101"))
    assert refused(floor.scan("0"))
    assert floor.scan("100").message.endswith("empty now.")
    gone = floor.scans(code, "LOAD")
    assert refused(gone)
    assert "used up" in gone.message


def test_load_of_a_usable_carrier(floor: Floor) -> None:
    """It feeds the line, and the clock goes on by the air there."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HICDRY", code)
    answer = floor.scan("LOAD")
    assert (answer.tone, answer.title) == ("ok", "Loaded")
    assert "line's code" in answer.next_step
    floor.scan(floor.places["line"])
    assert floor.state(code).ledger.place == floor.places["line"]


def test_what_must_not_be_used_is_not_loaded(floor: Floor) -> None:
    """Expired, on hold, card failed, in its bag: refused, and no loading is on the log."""
    late, held, failed, closed = (
        expired(floor),
        floor.carrier(),
        floor.carrier(),
        floor.carrier(),
    )
    floor.scans(held, "OPEN", "HICDRY", held, "HOLD")
    floor.scans(failed, "OPEN", "HIC10")
    for code in (late, held, failed, closed):
        answer = floor.scans(code, "LOAD")
        assert refused(answer), code
        assert answer.next_step
        assert "load" not in floor.kinds(code)
    assert floor.scans(late, "LOAD").title == "Do not use"


def test_release_goes_by_name(floor: Floor) -> None:
    """Without a badge it is refused; then the log has the name."""
    code = floor.carrier()
    floor.scans(code, "HOLD")
    assert refused(floor.scans(code, "RELEASE"))
    hello = floor.scan(floor.ana)
    assert hello.person == "Ana"
    assert floor.scan("RELEASE").title == "Released"
    released = event_recording.log_of(code)[-1].event
    assert (released.kind, released.person) == ("release", floor.ana)


def test_badge_holds_for_a_shift(floor: Floor) -> None:
    """After eight hours nobody is at work any more."""
    floor.scan(floor.ana)
    assert floor.scan(floor.carrier(), after_s=8 * 3600 - 60).person == "Ana"
    assert floor.scan(floor.carrier(), after_s=120).person is None


def test_pieces_on_a_board_are_only_moved(floor: Floor) -> None:
    """They are in no bag and feed no line any more."""
    reel = floor.carrier()
    floor.scans(reel, "OPEN", "HICDRY")
    batch, _ = boards.create(NewBatch("Pressure board", 10, floor.places["line"]), floor.now)
    new = NewEvent(str(uuid4()), reel, "place_on_board", floor.now, quantity=20, board=batch.code)
    child = event_recording.record([new], floor.now)[0].child
    assert child is not None
    shown = floor.scan(child)
    assert shown.title == "On board"
    for action in ("CLOSEFRESH", "LOAD", "OPEN"):
        answer = floor.scans(child, action)
        assert refused(answer)
        assert answer.title == "On a board"
    assert floor.scans(child, floor.places["cabinet"]).title.startswith("Moved")
