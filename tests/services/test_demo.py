"""The demo: whatever the moment it is loaded at, it is a workshop in full swing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from msdtrack.errors import BadInput, Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.exposure.state import CarrierState
from msdtrack.exposure.working import Line
from msdtrack.resources import resource_dir
from msdtrack.services import (
    alarm_rules,
    board_glances,
    boards,
    carrier_states,
    catalog,
    climate,
    demo,
    event_recording,
    people,
)
from msdtrack.services.demo_air import SimulatedAir, Spell
from msdtrack.services.demo_scenario import offset_s, read_scenario
from msdtrack.standard import levels
from msdtrack.store import carriers
from msdtrack.store.connection import close_store, open_store

HOUR_S, DAY_S = 3_600, 86_400

MOMENTS = {
    "an afternoon in November": datetime(2026, 11, 24, 14, 5, 17, tzinfo=UTC),
    "the hour that summer time skips": datetime(2026, 3, 29, 1, 0, 0, tzinfo=UTC),
    "the hour that comes twice": datetime(2026, 10, 25, 1, 30, 0, tzinfo=UTC),
}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[None]:
    """An empty database."""
    open_store(f"sqlite:///{tmp_path / 'demo.db'}")
    yield
    close_store()


@pytest.fixture(scope="module", params=MOMENTS.values(), ids=MOMENTS)
def loaded(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[int]:
    """The moment at which the demo was loaded into the open database."""
    now = int(request.param.timestamp())
    open_store(f"sqlite:///{tmp_path_factory.mktemp('demo') / 'demo.db'}")
    assert demo.load(now)
    yield now
    close_store()


LEAP_DAY = int(datetime(2028, 2, 29, 23, 59, 59, tzinfo=UTC).timestamp())


def _states(now: int) -> list[CarrierState]:
    return list(carrier_states.states(carriers.carrier_codes(), now).values())


def _working(code: str, now: int) -> list[Line]:
    _, working = carrier_states.state_and_working(code, now)
    return [*working.before_reset, *working.lines]


def test_there_are_25_parts_of_all_levels_and_120_carriers(loaded: int) -> None:
    """The workshop has what the demo promises; splits come on top of what was received."""
    parts = catalog.parts(limit=1000)
    assert len(parts) == 25
    assert {part.msl for part in parts} == set(levels.LEVELS)
    received = [code for code in carriers.carrier_codes() if carriers.carrier(code).parent is None]
    assert len(received) == 120
    kinds = Counter(place.kind for place in catalog.places())
    assert kinds == {"store": 1, "floor": 2, "line": 1, "cabinet": 2, "oven": 1}
    assert {person.name for person in people.people()} == {"Ines", "Tomas", "Aiko", "Noor"}


def test_every_status_and_reason_a_person_may_meet_is_there(loaded: int) -> None:
    """Every screen has something worth looking at."""
    states = _states(loaded)
    assert {state.status for state in states} >= {
        "in_dry_bag",
        "exposed",
        "dry_storage",
        "baking",
        "gone",
    }
    assert {reason for state in states for reason in state.reasons} >= {
        "floor_life_exceeded",
        "beyond_table",
        "hic_failed",
        "hic_missing",
        "history_unknown",
        "history_conflict",
        "shelf_life_over",
        "bake_before_use",
        "label_time_missing",
        "held",
        "drying",
        "baking",
        "gone",
    }
    assert {unknown for state in states for unknown in state.unknowns} >= {
        "gap",
        "no_reading_since",
        "place_unknown",
        "history_unknown",
    }
    assert {state.facts.part.msl for state in states} == set(levels.LEVELS)


def test_the_watch_list_is_a_believable_shift(loaded: int) -> None:
    """Most of what is out may be used; some of it runs out within the hour, a few are over."""
    watched = carrier_states.watch(loaded)
    assert 45 <= len(watched) <= 60
    exposed = [state for state in watched if state.status == "exposed"]
    usable = [state for state in exposed if state.verdict == "use"]
    assert len(usable) > 2 * (len(exposed) - len(usable))
    within_the_hour = [
        state
        for state in usable
        if state.expires_at is not None and state.expires_at - loaded < HOUR_S
    ]
    assert 2 <= len(within_the_hour) <= 4
    over = [state for state in watched if "floor_life_exceeded" in state.reasons]
    assert 3 <= len([state for state in over if state.status != "baking"]) <= 4


def test_a_bake_is_half_done_and_one_is_complete(loaded: int) -> None:
    """The oven's own readings decide: one carrier waits, one is to be taken out."""
    baking = [state for state in _states(loaded) if state.status == "baking"]
    steps = Counter(state.next_step.kind for state in baking)
    assert steps == {"wait": 2, "take_out": 1}
    assert all(state.ledger.bake is not None for state in baking)
    lines = [
        line
        for state in baking
        for line in _working(state.facts.code, loaded)
        if line.basis == "bake"
    ]
    assert {line.note for line in lines} == {"bake at 125 °C, measured"}


def test_boards_wait_for_their_second_side(loaded: int) -> None:
    """One batch is short of time at the line and has its alarm, one rests dry, one is finished."""
    found = {one.batch.name: one for one in boards.batches(loaded)}
    waits = found["Pressure board, top side"]
    assert (waits.status, waits.passes, waits.next_step.kind) == ("on_board", 1, "use_first")
    assert len(waits.placements) == 2
    assert found["Memory board, first side"].status == "dry_storage"
    assert found["Pump driver board"].finished_at is not None
    watched = board_glances.unfinished(loaded).watched
    assert [one.batch.name for one in watched] == [
        "Pressure board, top side", "Memory board, first side",
    ]  # fmt: skip
    causes = [alarm.cause for alarm in alarm_rules.active_alarms()]
    assert f"floor_life_low:{waits.batch.code}" in causes


def test_bags_are_open_for_12_and_70_minutes(loaded: int) -> None:
    """One opened bag can still be closed in time, one no more."""
    open_s = {loaded - state.opened_at for state in _states(loaded) if state.opened_at is not None}
    assert {12 * 60, 70 * 60} <= open_s


def test_there_are_alarms_of_every_kind_in_every_state(loaded: int) -> None:
    """The list has a past: some alarms are acknowledged, some have ended."""
    active = alarm_rules.active_alarms()
    assert {alarm.kind for alarm in active} == {
        "floor_life_expired",
        "floor_life_low",
        "bag_open_too_long",
        "air_beyond_limits",
        "readings_missing",
        "shelf_life_low",
        "shelf_life_over",
        "bake_done",
        "bake_overdue",
        "reset_reached",
    }
    assert {alarm.state for alarm in active} == {
        "unacknowledged",
        "acknowledged",
        "returned_to_normal",
    }
    assert 10 <= len(active) <= 30
    assert any(alarm.state == "ended" for alarm in alarm_rules.alarm_history(limit=500))
    # The demo adds no surprise a moment later.
    assert alarm_rules.evaluate(loaded) == 0


def test_two_weeks_of_air_have_a_humid_day_and_a_gap(loaded: int) -> None:
    """Readings come every five minutes; the bench's sensor was silent for three hours."""
    places = {place.name: place.code for place in catalog.places()}
    line = climate.history(places["Line 1"], loaded - 14 * DAY_S, loaded, 300)
    assert len(line) >= 14 * 288 - 1
    humid = [
        rh
        for at, _, rh in line
        if rh is not None and loaded - 5 * DAY_S <= at <= loaded - 5 * DAY_S + 12 * HOUR_S
    ]
    assert all(62 <= rh <= 68 for rh in humid)
    bench = climate.history(places["Incoming bench"], loaded - 14 * DAY_S, loaded, 1)
    silences = [after[0] - before[0] for before, after in pairwise(bench)]
    assert [silence for silence in silences if silence > 300] == [
        pytest.approx(3 * HOUR_S, abs=600)
    ]
    cabinet = climate.history(places["Dry cabinet B"], loaded - 3 * DAY_S, loaded, 300)
    too_humid = [at for at, _, rh in cabinet if rh is not None and rh > 10]
    assert len([at for at in too_humid if at < loaded - DAY_S]) * 300 > HOUR_S


def test_the_past_can_be_asked_for_as_it_was_known(loaded: int) -> None:
    """The scenario went in in the order in which it happened: late knowledge is late."""
    before = loaded - DAY_S
    shares, bases = [], []
    for code in carriers.carrier_codes()[:40]:
        state, working = carrier_states.state_and_working(code, loaded, before, before)
        shares.append(state.ledger.used)
        # The readings of the last hour had not come in by then.
        bases += [line.basis for line in working.lines if line.end < before - 2 * HOUR_S]
    assert any(shares)
    assert "measured" in bases


def test_loading_again_changes_nothing(loaded: int) -> None:
    """A second start keeps what is there."""
    count = len(carriers.carrier_codes())
    assert not demo.load(loaded + DAY_S)
    assert demo.loaded_at() == loaded
    assert len(carriers.carrier_codes()) == count


def test_simulated_sensors_go_on_and_catch_up(store: None) -> None:
    """Asked twice they send once; after a long silence they send the last two weeks only."""
    demo.load(LEAP_DAY)
    senders = len(catalog.places()) - 1  # the rework bench's sensor has no battery
    assert demo.simulate_readings(LEAP_DAY + HOUR_S) == 12 * senders
    assert demo.simulate_readings(LEAP_DAY + HOUR_S) == 0
    assert demo.simulate_readings(LEAP_DAY + HOUR_S + 300) == senders
    assert demo.simulate_readings(LEAP_DAY + 60 * DAY_S) == 14 * 288 * (senders + 1)


def test_a_loading_that_fails_leaves_nothing(store: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """All or nothing: the next start loads it whole."""
    calls = 0
    record = event_recording.record

    def breaks_off(*arguments: object) -> object:
        nonlocal calls
        calls += 1
        if calls == 50:
            raise Refused("the light went out")
        return record(*arguments)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(event_recording, "record", breaks_off)
        with pytest.raises(Refused, match="the light went out"):
            demo.load(LEAP_DAY)
    assert demo.loaded_at() is None
    assert catalog.parts() == []
    assert demo.load(LEAP_DAY)
    assert len(carrier_states.watch(LEAP_DAY)) >= 45


def test_it_goes_into_no_database_that_holds_anything_else(store: None) -> None:
    """Simulated air and invented carriers never mix with real ones."""
    catalog.create_part(PartFacts("BL-9001", "3"), 1_790_000_000)
    with pytest.raises(Refused, match="needs one of its own"):
        demo.load(1_790_000_000)
    with pytest.raises(Refused, match="nothing is simulated"):
        demo.simulate_readings(1_790_000_000)
    assert carriers.carrier_codes() == []


def test_its_site_name_says_that_the_air_is_simulated() -> None:
    """Nobody takes the demo for a real shop."""
    assert "simulated" in demo.demo_site_name()


def test_every_event_of_the_scenario_lies_in_the_past() -> None:
    """Nothing is dated ahead, and nothing happens to a carrier before it was received."""
    scenario = read_scenario(resource_dir("scenario"), 0)
    received = {carrier.key: carrier.received_at for carrier in scenario.carriers}
    assert len(received) == len(scenario.carriers)
    children = {event.child for event in scenario.events if event.child}
    for event in scenario.events:
        assert event.at < 0
        assert event.carrier in children or received[event.carrier] <= event.at


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("-3d 4h 10min", -(3 * DAY_S + 4 * HOUR_S + 600)),
        ("12h", 12 * HOUR_S),
        ("-70min", -4_200),
        ("0min", 0),
    ],
)
def test_an_offset_is_read(text: str, seconds: int) -> None:
    """Days, hours and minutes add up; a minus is the past."""
    assert offset_s(text) == seconds


@pytest.mark.parametrize("text", ["", "-", "3", "3 weeks", "4h ago"])
def test_what_is_no_offset_is_refused(text: str) -> None:
    """A slip in a scenario file is found when it is read."""
    with pytest.raises(BadInput, match="is no offset"):
        offset_s(text)


def test_simulated_air_is_the_same_whatever_stretch_is_asked_for() -> None:
    """The gap between two starts is filled as if the sensors had never stopped."""
    air = SimulatedAir(
        "bench",
        24.0,
        45.0,
        temp_swing_c=1.0,
        rh_swing_pct=5.0,
        rh_wobble_pct=1.5,
        spells=(Spell(10_000, 40_000, 3_600, rh_pct=65.0),),
        gaps=((50_000, 60_000),),
    )
    whole = list(air.readings(0, 86_400, 300))
    pieces = [*air.readings(0, 30_150, 300), *air.readings(30_150, 86_400, 300)]
    assert whole == pieces
    assert not any(50_000 <= at < 60_000 for at, _, _ in whole)
    assert all(38 <= rh <= 67 for _, _, rh in whole if rh is not None)


def test_a_spell_ramps_up_and_down_and_may_come_again() -> None:
    """Air does not jump."""
    spell = Spell(1_000, 2_000, 100, rh_pct=70.0, every_s=5_000)
    weights = [spell.weight(at) for at in (1_000, 1_050, 1_500, 1_950, 2_000, 3_000, 6_500, 7_100)]
    assert weights == [0, 0.5, 1, 0.5, 0, 0, 1, 0]
