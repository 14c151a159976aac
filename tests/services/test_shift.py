"""End of shift: where what is out should go, and what was found open with no opening on record."""

from __future__ import annotations

from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from msdtrack.errors import BadInput, Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import catalog, climate, event_recording, shift
from msdtrack.services.carrier_states import state
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.shift import destination, record_found_open
from msdtrack.services.shift_boards import everything_out
from msdtrack.times import parse_time
from tests.services.conftest import NOW, receive

HOUR, MIN = 3600, 60
DRY = {"5": "dry", "10": "dry", "60": "dry"}
LISBON = ZoneInfo("Europe/Lisbon")


@pytest.fixture
def floor(shop: dict[str, str]) -> dict[str, str]:
    """Measured air everywhere: the cabinet at 7 %, the bench at 50 %."""
    catalog.create_part(PartFacts("WB-5", "5", body_mm=1.4, carrier_max_c=140), NOW)
    catalog.create_part(PartFacts("WB-6", "6", body_mm=1.4, label_floor_life_hours=6), NOW)
    for place, rh_pct in (("Bench", 50.0), ("Cabinet", 7.0)):
        times = range(NOW - 8 * 24 * HOUR, NOW + 1, 20 * MIN)
        climate.add_readings([NewReading(shop[place], at, 23.0, rh_pct) for at in times], NOW)
    return shop


def out(floor: dict[str, str], part: str, hours: float, **more: object) -> str:
    code = receive(floor["Bench"], part=part).code
    what = {"place": floor["Bench"], "hic": DRY} | more
    event = NewEvent(str(uuid4()), code, "open", NOW - round(hours * HOUR), **what)  # type: ignore[arg-type]
    event_recording.record([event], NOW)
    return code


def goal(code: str) -> tuple[str, str | None, str]:
    found = destination(state(code, NOW))
    return found.goal, found.place, found.why


def test_a_short_exposure_goes_where_its_level_dries(floor: dict[str, str]) -> None:
    """Level 3, two hours out: the cabinet at 7 % dries it in 10 h."""
    why = "After 10 h 00 min of dry storage its floor life is whole again."
    assert goal(out(floor, "BL-0101", 2)) == ("cabinet", floor["Cabinet"], why)


def test_a_cabinet_that_is_too_humid_for_the_level_is_not_named(floor: dict[str, str]) -> None:
    """Level 5 needs 5 %: a bag with everything fresh."""
    kind, place, why = goal(out(floor, "WB-5", 2))
    assert (kind, place) == ("bag", None)
    assert "No cabinet is at 5 % RH or less." in why


def test_a_bag_just_opened_is_closed_again(floor: dict[str, str]) -> None:
    """Ten minutes out: its desiccant is still good."""
    kind, _, why = goal(out(floor, "BL-0101", 1 / 6))
    assert kind == "bag"
    assert why.startswith("Its desiccant is still good; the clock stands with")


def test_a_long_exposure_is_told_what_dry_storage_does_not_do(floor: dict[str, str]) -> None:
    """Level 3 after 20 h: the clock stands; level 5: it runs on."""
    assert "The clock stands there, with" in goal(out(floor, "BL-0101", 20))[2]
    assert "Its clock runs on in dry storage too" in goal(out(floor, "WB-5", 20))[2]


def test_what_is_used_up_goes_to_an_oven_that_can(floor: dict[str, str]) -> None:
    """125 °C for a tray that stands it; a plain reel finds no oven with dry air."""
    kind, place, why = goal(out(floor, "WB-5", 60))
    assert (kind, place) == ("oven", floor["Oven"])
    assert "at 125 °C" in why
    assert destination(state(out(floor, "BL-0101", 180), NOW)).title == "No oven here fits"


def test_what_quality_must_decide_goes_nowhere(floor: dict[str, str]) -> None:
    """A card that was not read."""
    assert goal(out(floor, "BL-0101", 2, hic=None))[0] == "quality"


def test_level_6_has_no_dry_storage(floor: dict[str, str]) -> None:
    """It bakes first, as its maker says."""
    assert destination(state(out(floor, "WB-6", 1), NOW)).goal == "quality"


def test_the_list_has_what_is_out_and_nothing_else(floor: dict[str, str]) -> None:
    """By place, most urgent first; closed bags and dry storage are not out."""
    late, early = out(floor, "BL-0101", 150), out(floor, "BL-0101", 20)
    receive(floor["Bench"])
    stored = out(floor, "BL-0101", 20)
    event = NewEvent(str(uuid4()), stored, "move", NOW - HOUR, place=floor["Cabinet"])
    event_recording.record([event], NOW)
    found = everything_out(NOW)
    assert [one.seen.code for one in found.first] == [late, early]
    assert list(shift.by_place(found.first)) == [floor["Bench"]]
    assert everything_out(NOW, floor["Cabinet"]).first == ()


# -- found open ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "moment"),
    [
        ("30", "2026-05-14T11:30:00Z"),
        ("5 min", "2026-05-14T11:55:00Z"),
        ("12:05", "2026-05-14T11:05:00Z"),
        ("23:50", "2026-05-13T22:50:00Z"),
    ],
)
def test_a_time_is_understood_as_people_say_it(said: str, moment: str) -> None:
    """Minutes ago, or the last such time of day in the site's zone (here an hour ahead of UTC)."""
    now = parse_time("2026-05-14T12:00:00Z")
    assert shift.opened_at(said, now, LISBON) == parse_time(moment)


@pytest.mark.parametrize("said", ["", "soon", "25:00", "C000001G", "12:5"])
def test_what_is_no_time_is_none(said: str) -> None:
    """It is then taken for a scan."""
    assert shift.opened_at(said, NOW, LISBON) is None


def test_a_time_that_was_given_is_the_opening(floor: dict[str, str]) -> None:
    """Half an hour ago, at the place it was found; sent twice it is there once."""
    code = receive(floor["Cabinet"]).code
    assert shift.on_record_closed(code, NOW) is not None
    for _ in range(2):
        found = record_found_open(code, NOW - 1800, floor["Bench"], "a", NOW, LISBON, "Ines")
    assert (found.opened_at, found.ledger.place) == (NOW - 1800, floor["Bench"])
    assert found.ledger.exposure_s == 1800
    assert found.conflicts == ()
    assert len(event_recording.log_of(code)) == 1
    assert shift.on_record_closed(code, NOW) is None


def test_nobody_knows_counts_from_the_last_closing(floor: dict[str, str]) -> None:
    """A week since it came in; the words say so in the log."""
    code = receive(floor["Cabinet"]).code
    found = record_found_open(code, None, floor["Bench"], "a", NOW, LISBON)
    assert found.ledger.exposure_s == 7 * 24 * HOUR
    assert found.used_share >= 1
    (line,) = event_recording.log_of(code)
    assert line.event.reason == "found open, nobody knows since when"


def test_all_in_the_same_bag_are_found_open(floor: dict[str, str]) -> None:
    """A dry bag may hold several carriers."""
    one, other = (receive(floor["Bench"], bag="B000001K").code for _ in range(2))
    record_found_open(one, NOW - 600, floor["Bench"], "a", NOW, LISBON)
    assert state(other, NOW).opened_at == NOW - 600


def test_a_time_before_the_last_closing_is_refused(floor: dict[str, str]) -> None:
    """It was in a closed bag then; and what is open on record has its opening."""
    code = receive(floor["Bench"]).code
    with pytest.raises(BadInput, match="was in a closed bag"):
        record_found_open(code, NOW - 8 * 24 * HOUR, floor["Bench"], "a", NOW, LISBON)
    with pytest.raises(BadInput, match="yet to come"):
        record_found_open(code, NOW + HOUR, floor["Bench"], "a", NOW, LISBON)
    assert event_recording.log_of(code) == []
    with pytest.raises(Refused, match="runs already"):
        record_found_open(out(floor, "BL-0101", 2), None, floor["Bench"], "b", NOW, LISBON)
