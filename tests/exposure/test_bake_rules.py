"""Bakes: when one is due, how long it must be, what counts of it and what it does."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from msdtrack.exposure.bake_advice import OvenLimits
from msdtrack.exposure.facts import Dated, MakerBake, Policies
from msdtrack.exposure.state import state_of
from tests.exposure.histories import HOUR_S, T0, History, carrier, part, steady

SECOND = 1 / 3600
HOT = {"place": "oven", "temp_c": 125.0}
HUMID_CARD = {"5": "humid", "10": "humid", "60": "dry"}


def opened(msl: str = "3", body_mm: float | None = 1.4, **facts: Any) -> History:
    """Return a carrier opened at T0 on a mild floor; it stands 150 °C."""
    history = History(carrier(part(msl, body_mm, carrier_max_c=150.0, **facts)))
    history.readings["floor"] = steady(24, 50, 500, 1800)
    return history.add("open", 0)


def oven_readings(history: History, temps: list[tuple[float, float]]) -> History:
    """Give the oven readings: (hour, °C)."""
    history.readings["oven"] = [(T0 + round(h * HOUR_S), round(c * 100), 100) for h, c in temps]
    return history


def steady_oven(start_h: float, end_h: float, temp_c: float) -> list[tuple[float, float]]:
    """Return readings every 5 minutes, both ends included."""
    return [(start_h + n / 12, temp_c) for n in range(round((end_h - start_h) * 12) + 1)]


# -- what it does ----------------------------------------------------------------------------


def test_a_bake_resets_when_its_hours_are_reached_and_not_a_second_sooner() -> None:
    history = opened().add("bake_start", 10, **HOT)
    assert history.state(17 - SECOND).used_share == Fraction(10, 168)
    assert history.state(17).used_share == 0
    assert history.state(17).next_step.kind == "take_out"


def test_exposure_begins_again_at_zero_the_moment_it_leaves_the_oven() -> None:
    history = opened().add("bake_start", 10, **HOT).add("bake_end", 20)
    state = history.state(21)
    assert state.used_share == Fraction(1, 168)
    assert (state.status, state.ledger.place) == ("exposed", "floor")


def test_a_bake_ended_early_resets_nothing_and_the_share_stands() -> None:
    history = opened().add("bake_start", 10, **HOT).add("bake_end", 17 - SECOND)
    assert history.state(17 - SECOND).used_share == Fraction(10, 168)


def test_a_move_ends_a_bake_where_it_goes() -> None:
    history = opened().add("bake_start", 10, **HOT).add("move", 12, place="cabinet")
    state = history.state(12)
    assert (state.ledger.place, state.ledger.bake) == ("cabinet", None)


def test_a_temperature_the_table_does_not_have_resets_nothing() -> None:
    for temp_c in (100.0, 124.9, 124.996, 135.004, 135.1):
        history = opened().add("bake_start", 10, place="oven", temp_c=temp_c)
        assert history.state(100).used_share == Fraction(10, 168)
        assert history.state(100).next_step.kind == "ask"


@pytest.mark.parametrize(("temp_c", "hours"), [(125, 7), (135, 7), (90, 23), (98, 23), (40, 216)])
def test_the_stated_temperature_counts_within_the_tolerance_of_the_table(
    temp_c: float, hours: int
) -> None:
    history = opened().add("bake_start", 10, place="oven", temp_c=float(temp_c))
    assert history.state(10 + hours - SECOND).used_share > 0
    assert history.state(10 + hours).used_share == 0


def test_a_bake_without_oven_readings_stands_on_the_stated_temperature_and_says_so() -> None:
    history = opened().add("bake_start", 1, **HOT)
    assert history.working(5).lines[-1].note == "bake at 125 °C, assumed"
    oven_readings(history, steady_oven(1, 9, 126))
    assert history.working(5).lines[-1].note == "bake at 125 °C, measured"


# -- oven readings ---------------------------------------------------------------------------


def reached_at_h(history: History) -> float | None:
    """Return when the bake that starts at hour 1 was complete, asked at hour 60."""
    bake = history.add("bake_start", 1, **HOT).state(60).ledger.bake
    assert bake is not None
    return None if bake.reached_at is None else (bake.reached_at - T0) / HOUR_S


def test_time_before_the_oven_is_hot_does_not_count() -> None:
    warming = [(1.0, 30.0), (1.25, 80.0), (1.5, 120.0)]
    history = oven_readings(opened(), warming + steady_oven(1.75, 12, 126))
    assert reached_at_h(history) == 1.75 + 7


@pytest.mark.parametrize(
    ("low_c", "counts"), [(125, True), (124.99, False), (135, True), (135.01, False)]
)
def test_the_band_goes_from_the_temperature_itself_to_10_above(low_c: float, counts: bool) -> None:
    history = oven_readings(opened(), steady_oven(1, 12, low_c))
    assert reached_at_h(history) == (8 if counts else None)


@pytest.mark.parametrize(("minutes", "added"), [(10, 0), (15, 0), (20, 20)])
def test_an_interruption_over_15_minutes_is_added(minutes: int, added: int) -> None:
    first, again = 1 + 3, 1 + 3 + minutes / 60
    door = [(first + n / 60, 100.0) for n in range(1, minutes)]
    readings = [*steady_oven(1, first, 126), *door, *steady_oven(again, 14, 126)]
    assert reached_at_h(oven_readings(opened(), readings)) == pytest.approx(8 + added / 60)


def test_hours_that_are_complete_in_a_short_interruption_count_once_the_oven_is_hot_again() -> None:
    door = [(1 + 6 + 55 / 60 + n / 60, 100.0) for n in range(1, 10)]
    readings = [*steady_oven(1, 1 + 6 + 55 / 60, 126), *door, *steady_oven(8 + 5 / 60, 14, 126)]
    history = oven_readings(opened(), readings).add("bake_start", 1, **HOT)
    assert history.state(8 + 4 / 60).used_share > 0
    assert history.state(8 + 6 / 60).used_share == 0
    bake = history.state(8 + 6 / 60).ledger.bake
    assert bake is not None
    assert bake.reached_at == T0 + 8 * HOUR_S + 5 * 60


def test_a_reading_up_to_30_minutes_before_the_start_says_the_oven_was_hot_already() -> None:
    assert reached_at_h(oven_readings(opened(), steady_oven(5 / 6, 12, 126)[::4])) == 8


def test_an_oven_that_falls_silent_for_over_30_minutes_is_not_known_to_be_hot() -> None:
    readings = [*steady_oven(1, 4, 126), *steady_oven(5, 14, 126)]
    assert reached_at_h(oven_readings(opened(), readings)) == 8 + 1


def test_what_happens_to_a_carrier_in_the_oven_does_not_change_its_bake() -> None:
    """The oven was switched on late, and its logger too; the stated hours are not believed."""
    for held in (False, True):
        history = oven_readings(opened(), steady_oven(9, 12, 126)).add("bake_start", 1, **HOT)
        if held:
            history.add("hold", 8.5, reason="count").add("release", 8.75)
        history.add("bake_end", 12)
        assert history.state(12).used_share == Fraction(1, 168)


# -- how long --------------------------------------------------------------------------------


def test_exceeded_by_exactly_72_h_is_up_to_72_h_and_a_second_more_is_over() -> None:
    for later_h, hours, column in ((0.0, 7, "up_to_72h"), (SECOND, 9, "over_72h")):
        start = 168 + 72 + later_h
        history = opened().add("bake_start", start, **HOT)
        state = opened().state(start)
        assert state.bake.column == column
        assert history.state(start + hours - SECOND).used_share > 1
        assert history.state(start + hours).used_share == 0


def test_hours_since_the_floor_life_ran_out_count_even_where_the_clock_is_paused() -> None:
    history = opened().add("move", 168, place="cabinet")
    history.readings["cabinet"] = steady(24, 2, 500, 1800)
    assert history.state(168 + 72).bake.column == "up_to_72h"
    late = history.state(168 + 72 + SECOND)
    assert late.used_share == 1
    assert late.bake.column == "over_72h"


def test_any_exposure_outside_30_60_takes_the_longer_column() -> None:
    history = opened()
    history.readings["floor"] = steady(24, 61, 10)
    assert history.state(1).bake.column == "over_72h"


def test_a_bad_card_or_an_unknown_history_takes_the_longer_column() -> None:
    history = opened()
    history.events.clear()
    history.add("open", 0, hic=HUMID_CARD)
    assert history.state(1).reasons == ("hic_failed",)
    assert history.state(1).bake.column == "over_72h"
    unknown = History(carrier(part("3", 1.4), sealed_on=None)).state(0)
    assert unknown.reasons == ("history_unknown",)
    assert unknown.bake.column == "over_72h"


def test_a_bake_clears_what_only_a_bake_clears() -> None:
    history = History(carrier(part("3", 1.4), sealed_on=None))
    history.add("open", 0, hic={"5": "humid", "10": "missing", "60": "missing"})
    assert set(history.state(0).reasons) == {"history_unknown", "hic_missing"}
    history.add("bake_start", 0, **HOT).add("bake_end", 9)
    assert (history.state(9).reasons, history.state(9).verdict) == ((), "use")


def test_the_column_is_that_of_the_start_of_the_bake() -> None:
    history = opened().add("bake_start", 168 + 71, **HOT)
    assert history.state(168 + 71 + 7).used_share == 0


@pytest.mark.parametrize("facts", [{"large_bga": True}, {"stacked_die": True}])
def test_a_large_bga_or_stacked_die_long_overdue_bakes_96_h_at_125_and_not_cooler(
    facts: dict[str, bool],
) -> None:
    advice = opened("3", 1.4, **facts).state(168 + 73).bake
    assert [(option.temp_c, option.hours) for option in advice.options] == [(125, 96)]
    assert {refusal.temp_c for refusal in advice.refused} == {90, 40}
    soon = opened("3", 1.4, **facts).state(168 + 1).bake
    assert [(option.temp_c, option.hours) for option in soon.options] == [
        (125, 7), (90, 23), (40, 216),
    ]  # fmt: skip


@pytest.mark.parametrize(("msl", "body_mm"), [("3", None), ("3", 4.6), ("6", 1.4)])
def test_without_a_figure_the_maker_is_asked_and_no_bake_resets(
    msl: str, body_mm: float | None
) -> None:
    history = opened(msl, body_mm, label_floor_life_hours=6)
    advice = history.state(10).bake
    assert advice.needed
    assert advice.options == ()
    assert all(refusal.why for refusal in advice.refused)
    assert history.add("bake_start", 10, **HOT).state(200).used_share > 0


def test_level_6_is_baked_before_use_by_its_makers_bake() -> None:
    history = opened("6", 1.4, label_floor_life_hours=6, maker_bake=MakerBake(60.0, 2.0))
    assert history.state(1).reasons == ("bake_before_use",)
    history.add("bake_start", 1, place="oven", temp_c=60.0).add("bake_end", 3)
    assert history.state(3).verdict == "use"
    assert history.state(9).reasons == ("floor_life_exceeded",)


# -- what may be done ------------------------------------------------------------------------


def test_plain_carriers_bake_at_40_at_most() -> None:
    history = History(carrier(part("3", 1.4))).add("open", 0)
    advice = history.state(200).bake
    assert [option.temp_c for option in advice.options] == [40]
    assert advice.options[0].max_rh_pct == 5


def test_the_component_and_the_oven_set_limits_too() -> None:
    history = opened("3", 1.4, max_bake_c=100.0)
    assert [o.temp_c for o in history.state(200).bake.options] == [90, 40]
    limits = OvenLimits(max_temp_c=60.0, max_rh_pct=5.0)
    args = (history.facts, history.ordered(), history.places, history.policies, T0 + 200 * HOUR_S)
    assert [o.temp_c for o in state_of(*args, limits).bake.options] == [40]
    humid = OvenLimits(max_temp_c=60.0, max_rh_pct=10.0)
    assert state_of(*args, humid).bake.options == ()


def test_the_makers_bake_replaces_the_table() -> None:
    history = opened("3", 1.4, maker_bake=MakerBake(60.0, 20.0))
    assert [(o.temp_c, o.hours) for o in history.state(200).bake.options] == [(60, 20)]
    history.add("bake_start", 200, place="oven", temp_c=60.0)
    assert history.state(219).used_share > 1
    assert history.state(220).used_share == 0
    table = opened("3", 1.4, maker_bake=MakerBake(60.0, 20.0)).add("bake_start", 200, **HOT)
    assert table.state(240).used_share > 1


def test_a_bake_allowed_once_is_refused_and_resets_nothing_the_second_time() -> None:
    history = opened("3", 1.4, maker_bake=MakerBake(60.0, 20.0, once=True))
    history.add("bake_start", 170, place="oven", temp_c=60.0).add("bake_end", 190)
    history.add("bake_start", 400, place="oven", temp_c=60.0)
    state = history.state(430)
    assert state.used_share == Fraction(210, 168)
    assert state.bake.options == ()
    assert "once" in state.bake.refused[0].why


def test_hours_above_90_are_summed_and_a_bake_that_would_pass_the_limit_is_refused() -> None:
    history = opened("3", 1.4).add("bake_start", 0, **HOT).add("bake_end", 89)
    history.policies = Policies(cumulative_bake_h=Dated(96, ((T0 + 260 * HOUR_S, 95),)))
    state = history.state(260 - SECOND)
    assert state.ledger.hot_s == 89 * HOUR_S
    assert [o.temp_c for o in state.bake.options] == [125, 90, 40]
    later = history.state(260)
    assert [o.temp_c for o in later.bake.options] == [90, 40]
    assert "95 h above 90" in later.bake.refused[0].why


def test_hours_at_90_do_not_count_as_above_90() -> None:
    history = opened("3", 1.4).add("bake_start", 0, place="oven", temp_c=90.0)
    assert history.state(50).ledger.hot_s == 0
