"""What a run may expect of a carrier: the same as is said at its last reflow when it was done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from msdtrack.exposure.bake_advice import OvenLimits
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import AirSettings, CarrierFacts, Dated
from msdtrack.exposure.run import (
    PlannedBake,
    Run,
    Supposed,
    bake_outlook,
    outlook,
)
from msdtrack.exposure.state import state_of
from tests.exposure.histories import DRY_HIC, HOUR_S, T0, History, carrier, part, steady
from tests.exposure.slow import slow_answer
from tests.exposure.slow_air import World
from tests.exposure.worlds import CABINETS, KINDS, ROOMS, moments, places_of, with_events, worlds

RANDOM = settings(
    max_examples=120, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
HOT = {"hot": OvenLimits(150.0, 2.0)}
"""An oven that nobody measures."""


def supposed(history: History) -> Supposed:
    def fold(events: Sequence[Event], at: int) -> Any:
        return state_of(history.facts, events, history.places, history.policies, at)

    return Supposed(history.ordered(), fold)


def run(begins_h: float, ends_h: float, place: str = "line") -> Run:
    return Run(place, T0 + round(begins_h * HOUR_S), T0 + round(ends_h * HOUR_S))


def at(hour: float) -> int:
    return T0 + round(hour * HOUR_S)


# -- worked by hand ------------------------------------------------------------------------------


# Floor life at 30 °C / 60 % RH. Source: J-STD-020, Table 5-1 (as in J-STD-033, Table 7-1's header).
@pytest.mark.parametrize(
    ("msl", "life_h"), [("2a", 672), ("3", 168), ("4", 72), ("5", 48), ("5a", 24)]
)
def test_a_bag_opened_when_the_run_begins_lasts_its_published_floor_life(
    msl: str, life_h: int
) -> None:
    """Nobody measures the line: it is 30 °C / 60 % RH. The second at which the floor life is used
    up is one too late, as on every other screen."""
    bag = supposed(History(carrier(part(msl, 1.4))))
    begins_at, life_s = at(6), life_h * HOUR_S
    found = outlook(bag, Run("line", begins_at, begins_at + life_s - 1))
    assert (found.act, found.reasons, found.from_at) == ("open", (), begins_at)
    assert found.lasts_until == begins_at + life_s
    for late_s in (0, 1):
        found = outlook(bag, Run("line", begins_at, begins_at + life_s + late_s))
        assert found.from_at == begins_at + 60
        assert found.ends_early_at == begins_at + life_s
        assert found.lasts_until == begins_at + 60 + life_s


def test_a_bag_too_short_for_the_run_is_opened_just_late_enough() -> None:
    """Level 5a, 24 h; from 06:00 to the last reflow at 08:30 next day is 26.5 h: not before 08:31,
    for at 08:30 the floor life ends with the last reflow."""
    bag = supposed(History(carrier(part("5a", 1.4))))
    found = outlook(bag, run(6, 32.5))
    assert (found.reasons, found.from_at) == ((), at(8.5) + 60)
    assert found.ends_early_at == at(30)


@pytest.mark.parametrize(("ends_h", "usable"), [(48 - 1 / 3600, True), (48, False)])
def test_what_is_out_counts_from_its_opening(ends_h: float, usable: bool) -> None:
    """Level 5 opened at midnight: 48 h, wherever it was meanwhile. It can't come any later."""
    history = History(carrier(part("5", 1.4))).add("open", 0, place="floor")
    found = outlook(supposed(history), run(30, ends_h))
    if usable:
        assert (found.act, found.from_at, found.lasts_until) == ("take", at(30), at(48))
    else:
        assert found.reasons == ("floor_life_ends_before_the_run",)
        assert (found.from_at, found.ends_early_at, found.lasts_until) == (None, at(48), None)


def test_the_assumed_air_of_the_line_counts_and_not_the_mild_air_measured_today() -> None:
    """Level 3 thicker than 3.1 mm at 30 °C / 70 % RH: 5 days.

    Source: J-STD-033, Table 7-1, level 3, bodies of 3.1 mm and more.
    """
    history = History(carrier(part("3", 3.5)))
    history.readings["line"] = steady(23, 45, 0)
    history.settings["line"] = AirSettings(3000, 7000)
    history.kinds["line"] = "line"
    assert outlook(supposed(history), run(6, 6 + 5 * 24 - 1 / 3600)).from_at == at(6)
    late = outlook(supposed(history), run(6, 6 + 5 * 24))
    assert late.ends_early_at == at(6 + 5 * 24)


def test_a_paused_carrier_in_a_cabinet_may_be_taken_out_later() -> None:
    """Level 3, 160 h used in the air, then dry storage that stops its clock: 8 h are left. Its
    readings end before the run; that it stays dry is what its assumed air says."""
    history = History(carrier(part("3", 1.4))).add("open", 0, place="floor")
    history.readings["cabinet"] = steady(23, 2, 170)
    history.settings["cabinet"] = AirSettings(2500, 500)
    history.add("move", 160, place="cabinet")
    found = outlook(supposed(history), run(200, 210))
    assert (found.act, found.from_at) == ("take", at(202) + 60)
    assert found.ends_early_at == at(208)
    history.settings.clear()
    assert outlook(supposed(history), run(200, 210)).from_at is None


def test_a_bag_past_its_shelf_life_waits_for_its_card() -> None:
    """It is the last day on the evening, over in the morning; a bake is not what it needs."""
    today = datetime.fromtimestamp(T0, UTC).date()
    bag = supposed(History(carrier(part("3", 1.4, carrier_max_c=140), shelf_life_ends=today)))
    assert outlook(bag, run(20, 23)).from_at == at(20)
    assert outlook(bag, run(30, 38)).reasons == ("shelf_life_over",)
    assert bake_outlook(bag, run(30, 38), at(1), HOT, 96) == ("shelf_life_over",)


@pytest.mark.parametrize("reason", ["held", "hic_missing", "history_conflict"])
def test_what_quality_or_the_log_must_settle_is_neither_used_nor_baked(reason: str) -> None:
    history = History(carrier(part("3", 1.4, carrier_max_c=140)))
    if reason == "held":
        history.add("hold", 0, reason="torn")
    elif reason == "hic_missing":
        history.add("open", 0, place="floor", hic={"5": "missing"})
    else:
        history.add("close", 0, desiccant="fresh", new_hic="fresh", seal="heat")
    assert reason in outlook(supposed(history), run(6, 14)).reasons
    assert reason in bake_outlook(supposed(history), run(6, 14), at(1), HOT, 96)  # type: ignore[operator]


# -- bakes ---------------------------------------------------------------------------------------


def worn(hours_over: float, **facts: Any) -> History:
    """Return a level 3 carrier whose floor life ended so long before T0."""
    history = History(carrier(part("3", 1.4, carrier_max_c=140, **facts)))
    return history.add("open", -168 - hours_over, place="floor")


def test_a_bake_must_be_in_the_oven_so_long_before_the_run() -> None:
    """Level 3, up to 1.4 mm, exceeded by up to 72 h: 7 h at 125 °C.

    Source: J-STD-033, Table 4-1, body <= 1.4 mm.
    """
    found = bake_outlook(supposed(worn(1)), run(8, 16), at(0), HOT, 96)
    assert isinstance(found, PlannedBake)
    assert (found.oven, found.option.temp_c, found.option.hours) == ("hot", 125, 7)
    assert (found.start_by, found.done_at) == (at(1), at(8))
    assert found.lasts_until == at(8 + 168)


def test_a_minute_too_late_is_too_late() -> None:
    found = bake_outlook(supposed(worn(1)), run(8, 16), at(1) + 1, HOT, 96)
    assert isinstance(found, PlannedBake)
    assert (found.start_by, found.done_at) == (None, at(8) + 1)


def test_hours_are_those_of_the_latest_start() -> None:
    """60 h over now, 73 h over at the latest start of the short bake: the longer one counts, 9 h
    instead of 7, so that it starts 2 h earlier.

    Source: J-STD-033, Table 4-1, level 3, body <= 1.4 mm, exceeded by over 72 h.
    """
    found = bake_outlook(supposed(worn(60)), run(20, 28), at(0), HOT, 96)
    assert isinstance(found, PlannedBake)
    assert (found.option.hours, found.start_by) == (9, at(11))
    # Too late for the longer one: begun at once, the shorter one is right.
    at_once = bake_outlook(supposed(worn(71)), run(8.5, 16), at(0), HOT, 96)
    assert isinstance(at_once, PlannedBake)
    assert (at_once.option.hours, at_once.start_by, at_once.done_at) == (7, at(0), at(7))


def test_an_oven_that_does_not_fit_is_none() -> None:
    """The reel is not marked, so 40 °C only, in air of 5 % RH at most."""
    history = History(carrier(part("3", 1.4))).add("open", -169, place="floor")
    damp = {"hot": OvenLimits(150.0, None)}
    (why,) = bake_outlook(supposed(history), run(6, 14), at(0), damp, 96)
    assert why.startswith("No oven here fits: it needs ")
    (nowhere,) = bake_outlook(supposed(history), run(6, 14), at(0), {}, 96)
    assert nowhere == why


def test_a_bake_gives_no_more_than_one_floor_life() -> None:
    """Level 5a lasts 24 h after its bake, too."""
    history = History(carrier(part("5a", 1.0, carrier_max_c=140))).add("open", -30, place="floor")
    (why,) = bake_outlook(supposed(history), run(40, 70), at(0), HOT, 96)
    assert why == "Even after a bake its floor life ends before the last reflow."
    assert isinstance(bake_outlook(supposed(history), run(40, 63), at(0), HOT, 96), PlannedBake)


def test_a_running_bake_counts_if_its_oven_stays_hot() -> None:
    """Its readings end now, so by them it is never complete; with them left aside it is."""
    history = worn(1).add("bake_start", 0, place="oven", temp_c=125.0)
    history.readings["oven"] = steady(126, 1, 2)
    one, soon = supposed(history), run(7, 14)
    assert "floor_life_exceeded" in outlook(one, soon).reasons
    found = outlook(one.in_a_steady_oven(), soon)
    assert (found.act, found.reasons, found.from_at) == ("take_out", (), at(7))


# -- the same as if it had been done -------------------------------------------------------------


def as_of(world: World, now: int) -> World:
    """Return a history as it is known at a moment."""
    known = {
        place: [one for one in readings if one[0] <= now]
        for place, readings in world.readings.items()
    }
    events = [event for event in world.events if event.at <= now]
    kinds = {**world.kinds, "hot": "oven"}
    return replace(world, readings=known, events=events, kinds=kinds)


def asked(world: World) -> Supposed:
    places = places_of(world)

    def fold(events: Sequence[Event], moment: int) -> Any:
        return state_of(world.facts, events, places, world.policies, moment, working=False)

    return Supposed(world.events, fold)


def recorded(world: World, *events: Event) -> World:
    """Return the history with these entered on the log, as a person would."""
    numbered = [
        event._replace(id=f"done{n}", seq=100 + n, recorded_at=event.at)
        for n, event in enumerate(events)
    ]
    return with_events(world, [*world.events, *numbered])


def by_hand(world: World, moment: int) -> Event:
    """Return what a person scans to bring the carrier to the line."""
    phase = asked(world).state(moment).ledger.phase
    new = Event("", world.facts.code, Kind.MOVE, moment, 0, moment, place="line")
    if phase in ("bagged", "tired_bag"):
        return new._replace(kind=Kind.OPEN, hic=DRY_HIC)
    return new._replace(kind=Kind.BAKE_END) if phase == "baking" else new


def drawn(data: st.DataObject) -> tuple[World, int, Run]:
    """Draw a carrier, the moment its run is planned, and the run."""
    world = data.draw(worlds())
    now = data.draw(moments(world))
    step_s = world.step_s
    begins_at = now + data.draw(st.integers(0, 24 * HOUR_S // step_s)) * step_s
    ends_at = begins_at + data.draw(st.integers(1, 40 * HOUR_S // step_s)) * step_s
    return as_of(world, now), now, Run("line", begins_at, ends_at)


@RANDOM
@given(st.data())
def test_the_plan_says_what_the_state_says_when_it_was_done(data: st.DataObject) -> None:
    """Against the plain calculation, which goes step by step, with what was planned on the log."""
    world, _, wanted = drawn(data)
    found = outlook(asked(world), wanted)
    begins_at, ends_at = wanted.begins_at, wanted.ends_at
    after = slow_answer(recorded(world, by_hand(world, begins_at)), ends_at)
    before = slow_answer(world, begins_at)
    in_time = not after.reasons and not (before.reasons - {"baking"})
    assert (found.from_at == begins_at) == in_time
    assert found.used_at_end == after.share
    if found.from_at is not None:
        later = recorded(world, by_hand(world, found.from_at))
        places = places_of(later)
        end = state_of(later.facts, later.events, places, later.policies, ends_at)
        assert (end.verdict, end.expires_at) == ("use", found.lasts_until)
        assert begins_at <= found.from_at <= ends_at
    else:
        assert found.reasons


@RANDOM
@given(st.data())
def test_a_later_end_or_worse_air_never_makes_it_usable_from_the_beginning(
    data: st.DataObject,
) -> None:
    world, _, wanted = drawn(data)
    if outlook(asked(world), wanted).from_at == wanted.begins_at:
        return
    later = replace(wanted, ends_at=wanted.ends_at + data.draw(st.integers(0, 90)) * HOUR_S)
    hotter, damper = data.draw(st.integers(0, 300)), data.draw(st.integers(0, 3000))
    worse = {
        place: [(t, temp + hotter, rh + damper) if place in ROOMS else (t, temp, rh)
                for t, temp, rh in readings]
        for place, readings in world.readings.items()
    }  # fmt: skip
    assumed = {
        place: Dated(AirSettings(3000 + hotter, 6000 + damper))
        if place == "line"
        else world.settings[place]
        for place in world.settings.keys() & {*CABINETS, "line"}
    }
    plain = replace(world, settings={p: s for p, s in world.settings.items() if p in CABINETS})
    if outlook(asked(plain), wanted).from_at != wanted.begins_at:
        harder = replace(world, readings=worse, settings=assumed)
        assert outlook(asked(harder), later).from_at != wanted.begins_at
    assert outlook(asked(world), later).from_at != wanted.begins_at


@RANDOM
@given(st.data())
def test_a_planned_bake_makes_it_usable_and_a_later_one_does_not(data: st.DataObject) -> None:
    world, now, wanted = drawn(data)
    one = asked(world)
    if one.state(now).ledger.phase == "baking":
        return
    found = bake_outlook(one, wanted, now, HOT, 96)
    if not isinstance(found, PlannedBake):
        assert found
        return
    if found.start_by is None:
        assert found.done_at > wanted.begins_at
        return
    assert now <= found.start_by
    assert found.done_at <= wanted.begins_at

    def after_bake(start: int) -> Any:
        events = [
            Event("", world.facts.code, Kind.BAKE_START, start, 0, start, place="hot",
                  temp_c=found.option.temp_c),
            Event("", world.facts.code, Kind.BAKE_END, wanted.begins_at, 0, 0, place="line"),
        ]  # fmt: skip
        opening = by_hand(world, start)
        done = recorded(world, *([opening] if opening.kind is Kind.OPEN else []), *events)
        return state_of(done.facts, done.events, places_of(done), done.policies, wanted.ends_at)

    assert after_bake(found.start_by).verdict == "use"
    late = after_bake(found.start_by + found.option.hours * HOUR_S + 60)
    assert late.ledger.baked_at != found.done_at


def test_carriers_without_a_date_or_of_level_1_are_asked_too() -> None:
    """No seal date: only a bake; level 1: no limit."""
    unknown: CarrierFacts = carrier(part("3", 1.4, carrier_max_c=140), sealed_on=None)
    assert outlook(supposed(History(unknown)), run(6, 14)).reasons == ("history_unknown",)
    bake = bake_outlook(supposed(History(unknown)), run(20, 28), at(0), HOT, 96)
    assert isinstance(bake, PlannedBake)
    assert bake.option.hours == 9
    one = outlook(supposed(History(carrier(part("1"), sealed_on=date(2020, 1, 1)))), run(6, 14))
    assert (one.reasons, one.lasts_until) == ((), None)
    assert KINDS["line"] == "line"
