"""Dry cabinets: both limits, excursions, and what a fault does to what lies in them."""

from __future__ import annotations

from uuid import uuid4

import pytest

from msdtrack.errors import NotFound
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import cabinets, catalog, climate, event_recording
from msdtrack.services.cabinets import CabinetInBrief, InCabinet, cabinet_now
from msdtrack.services.climate import NewReading
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import standings
from msdtrack.store.connection import write
from tests.services.conftest import NOW, receive

HOUR, MIN = 3600, 60
DRY = {"5": "dry", "10": "dry", "60": "dry"}


@pytest.fixture
def floor(shop: dict[str, str]) -> dict[str, str]:
    """A part of level 5 beside the one of level 3, and air for the bench."""
    catalog.create_part(PartFacts("WB-5", "5", body_mm=1.4), NOW)
    catalog.create_part(PartFacts("WB-1", "1", body_mm=1.4), NOW)
    _read(shop["Bench"], [(24 * 9, 0, 50.0)])
    return shop


def _read(place: str, spells: list[tuple[float, float, float]]) -> None:
    rows = []
    for start_h, end_h, rh_pct in spells:
        first, last = NOW - round(start_h * HOUR), NOW - round(end_h * HOUR)
        rows += [NewReading(place, at, 23.0, rh_pct) for at in range(first, last + 1, 10 * MIN)]
    assert not climate.add_readings(rows, NOW).refused


def _put_in(floor: dict[str, str], part: str, out_h: float, in_h: float) -> str:
    """Return a carrier that was out so long and has been in the cabinet for so long."""
    code = receive(floor["Bench"], part=part).code
    opened, came = NOW - round((out_h + in_h) * HOUR), NOW - round(in_h * HOUR)
    for kind, at, what in (
        ("open", opened, {"hic": DRY, "place": floor["Bench"]}),
        ("move", came, {"place": floor["Cabinet"]}),
    ):
        event = NewEvent(str(uuid4()), code, kind, at, **what)
        event_recording.record([event], NOW)
    return code


def _inside(floor: dict[str, str]) -> dict[str, InCabinet]:
    found = cabinet_now(floor["Cabinet"], NOW).carriers
    return {one.state.facts.code: one for one in found}


def test_a_dry_cabinet_dries_both_and_says_until_when(floor: dict[str, str]) -> None:
    """Two hours out: level 3 whole after 10 h and paused, level 5 after 20 h, its clock running.

    Source: J-STD-033 (B.1 to D), Table 4-3, from memory.
    """
    _read(floor["Cabinet"], [(24, 0, 2.0)])
    three, five = _put_in(floor, "BL-0101", 2, 4), _put_in(floor, "WB-5", 2, 4)
    found = _inside(floor)
    assert found[three].inside == found[five].inside == "dry"
    assert found[three].state.reset_due_at == NOW + 6 * HOUR
    assert found[five].state.reset_due_at == NOW + 16 * HOUR
    assert (found[three].clock_runs, found[five].clock_runs) == (False, True)
    assert found[five].state.ledger.provisional * 48 == 4
    assert found[five].done_s == 4 * HOUR
    assert found[three].loss is found[five].loss is None
    now = cabinet_now(floor["Cabinet"], NOW)
    assert [(limit.pct, limit.spell) for limit in now.limits] == [(5, "dry"), (10, "dry")]
    assert now.excursions == ()
    assert now.faulty_for == ()


def test_seven_percent_is_dry_for_level_3_and_too_humid_for_level_5(floor: dict[str, str]) -> None:
    """What it has cost since: level 5 is exposed, level 3 is not. Cabinet above 5 % all day."""
    _read(floor["Cabinet"], [(24, 0, 7.0)])
    three, five = _put_in(floor, "BL-0101", 2, 4), _put_in(floor, "WB-5", 2, 4)
    found = _inside(floor)
    assert found[three].inside == "dry"
    assert found[five].inside == "too_humid"
    loss = found[five].loss
    assert loss is not None
    assert (loss.since, loss.reset_lost) == (NOW - 4 * HOUR, False)
    assert loss.share * 48 == pytest.approx(4, abs=0.01)
    now = cabinet_now(floor["Cabinet"], NOW)
    assert [one.state.facts.code for one in now.faulty_for] == [five]
    assert [(limit.pct, limit.spell) for limit in now.limits] == [(5, "out"), (10, "dry")]
    assert cabinets.fits(floor["Cabinet"], "3", NOW)
    assert not cabinets.fits(floor["Cabinet"], "5", NOW)


def test_a_fault_loses_the_drying_and_makes_hours_final(floor: dict[str, str]) -> None:
    """Dry for 4 h, then 40 % for 2 h: the reset is lost, 4 h of storage became final."""
    _read(floor["Cabinet"], [(24, 2, 2.0), (2 - 1 / 6, 0, 40.0)])
    five = _put_in(floor, "WB-5", 2, 6)
    one = _inside(floor)[five]
    assert one.loss is not None
    assert one.loss.reset_lost
    assert one.loss.provisional * 48 == pytest.approx(4, abs=0.2)
    assert one.state.reset_due_at is None
    assert one.loss.share * 48 == pytest.approx(2, abs=0.2)


def test_what_is_nearest_to_its_end_is_moved_first(floor: dict[str, str]) -> None:
    """By the floor life left; a closed bag is not on the list."""
    _read(floor["Cabinet"], [(24, 0, 40.0)])
    later, sooner = _put_in(floor, "BL-0101", 2, 3), _put_in(floor, "WB-5", 20, 3)
    bagged = receive(floor["Cabinet"]).code
    level_1 = _put_in(floor, "WB-1", 2, 3)
    now = cabinet_now(floor["Cabinet"], NOW)
    assert [one.state.facts.code for one in now.faulty_for] == [sooner, later]
    assert {one.state.facts.code: one.inside for one in now.carriers} == {
        sooner: "too_humid",
        later: "too_humid",
        bagged: "closed_bag",
        level_1: "no_clock",
    }


def test_excursions_say_whether_they_broke_the_storage(floor: dict[str, str]) -> None:
    """Back after 40 minutes: no harm; after 90: it was exposure.

    Source: J-STD-033, clause 5.3.3.2: a cabinet recovers within an hour.
    """
    _read(
        floor["Cabinet"],
        [(30, 20, 2.0), (20 - 1 / 6, 19.5, 8.0), (19.5 - 1 / 6, 10, 2.0), (10 - 1 / 6, 8.5, 30.0),
         (8.5 - 1 / 6, 0, 2.0)],
    )  # fmt: skip
    found = cabinet_now(floor["Cabinet"], NOW).excursions
    known = [one for one in found if one.start > NOW - 25 * HOUR]
    assert [(one.limit_pct, one.breaks, one.over, one.worst_rh_pct) for one in known] == [
        (5, True, True, 30.0),
        (10, True, True, 30.0),
        (5, False, True, 8.0),
    ]


def test_what_has_left_is_not_in_it(floor: dict[str, str]) -> None:
    """Where it is now counts, not where it was; and only a cabinet is one."""
    _read(floor["Cabinet"], [(24, 0, 2.0)])
    code = _put_in(floor, "BL-0101", 2, 4)
    event = NewEvent(str(uuid4()), code, "move", NOW - 60, place=floor["Bench"])
    event_recording.record([event], NOW)
    assert _inside(floor) == {}
    with pytest.raises(NotFound, match="no dry cabinet"):
        cabinet_now(floor["Bench"], NOW)
    assert [one.place.name for one in cabinets.cabinets(NOW)] == ["Cabinet"]


def test_what_was_split_off_in_it_is_in_it(floor: dict[str, str]) -> None:
    code = _put_in(floor, "WB-5", 1, 1)
    split = NewEvent(str(uuid4()), code, "split", NOW, quantity=10)
    (made,) = event_recording.record([split], NOW)
    assert set(_inside(floor)) == {code, made.child}


@pytest.mark.parametrize("rh_pct", [2.0, 7.0, 30.0])
def test_the_list_says_in_brief_what_the_page_of_a_cabinet_says(
    floor: dict[str, str], rh_pct: float
) -> None:
    """Dry for all levels, for some and for none; closed bags, what came, left, is gone, was split
    off, and what was received there and never touched."""
    _read(floor["Cabinet"], [(24, 1, 2.0), (0.9, 0, rh_pct)])
    codes = [_put_in(floor, part, 2, 4) for part in ("BL-0101", "WB-5", "WB-1", "WB-5", "WB-5")]
    receive(floor["Cabinet"])
    for code, kind, what in (
        (codes[0], "split", {"quantity": 10}),
        (codes[3], "scrap", {"reason": "dropped"}),
        (codes[4], "move", {"place": floor["Bench"]}),
    ):
        event_recording.record([NewEvent(str(uuid4()), code, kind, NOW - 60, **what)], NOW)
    for _ in range(2):
        full = cabinet_now(floor["Cabinet"], NOW)
        assert len(full.carriers) == 5
        brief = CabinetInBrief(full.place, full.air, full.limits, 5, full.faulty_for)
        assert cabinets.cabinets(NOW) == [brief]
        # And once more with nothing drawn.
        with write():
            standings.drop()
            assert cabinets.cabinets(NOW) == [brief]
