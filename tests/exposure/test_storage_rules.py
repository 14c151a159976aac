"""Dry storage: what it is, when it resets, and what the clock does meanwhile."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Any

import pytest

from msdtrack.exposure.facts import AirSettings, Dated, Policies
from tests.exposure.histories import HOUR_S, T0, History, carrier, part, steady

SECOND = 1 / 3600
GOOD_BAG = {"desiccant": "fresh", "new_hic": "fresh", "seal": "heat"}


def opened(msl: str, rh_pct: float = 50, **facts: Any) -> History:
    """Return a carrier opened at T0 on a mild floor beside a cabinet at 2 %."""
    history = History(carrier(part(msl, 1.0, **facts)))
    history.readings["floor"] = steady(24, rh_pct, 200)
    history.readings["cabinet"] = steady(24, 2, 200)
    return history.add("open", 0)


def cabinet_out_of_limit(
    history: History, start_h: float, minutes: int, rh_pct: float = 40
) -> None:
    """Let the cabinet be out of its limit for so many minutes from `start_h` on."""
    start = T0 + round(start_h * HOUR_S)
    back = start + minutes * 60
    dry = [r for r in steady(24, 2, 200, 60) if not start < r[0] < back]
    wet = [(t, 2400, round(rh_pct * 100)) for t in range(start + 60, back, 60)]
    history.readings["cabinet"] = sorted(dry + wet)


@pytest.mark.parametrize(("msl", "limit_h", "factor"), [("3", 12, 5), ("2a", 12, 5), ("5", 8, 10)])
def test_an_exposure_of_exactly_the_limit_resets_and_a_second_more_does_not(
    msl: str, limit_h: int, factor: int
) -> None:
    exact = opened(msl).add("move", limit_h, place="cabinet")
    due_h = limit_h + factor * limit_h
    assert exact.state(due_h - SECOND).used_share > 0
    assert exact.state(due_h).used_share == 0
    longer = opened(msl).add("move", limit_h + SECOND, place="cabinet")
    assert longer.state(limit_h + 1).reset_due_at is None
    assert longer.state(190).used_share > 0


def test_the_state_says_when_the_reset_is_due_and_that_it_may_be_used_until_then() -> None:
    state = opened("3").add("move", 10, place="cabinet").state(20)
    assert state.reset_due_at == T0 + 60 * HOUR_S
    assert (state.status, state.verdict) == ("dry_storage", "use")
    assert (state.next_step.kind, state.next_step.at) == ("keep", T0 + 60 * HOUR_S)


def test_levels_2_to_3_pause_in_dry_storage_at_10_percent_and_not_a_bit_above() -> None:
    for rh_pct, status in ((10, "dry_storage"), (10.01, "exposed")):
        history = opened("3")
        history.readings["cabinet"] = steady(24, rh_pct, 200)
        state = history.add("move", 1, place="cabinet").state(5)
        assert state.status == status
        assert state.used_share == Fraction(1 if status == "dry_storage" else 5, 168)


def test_levels_4_to_5a_need_5_percent() -> None:
    for rh_pct, status in ((5, "dry_storage"), (5.01, "exposed")):
        history = opened("4")
        history.readings["cabinet"] = steady(24, rh_pct, 200)
        assert history.add("move", 1, place="cabinet").state(5).status == status


def test_a_cabinet_without_readings_is_dry_only_if_its_stated_air_is() -> None:
    history = opened("3").add("move", 1, place="cabinet")
    del history.readings["cabinet"]
    assert history.state(5).status == "exposed"
    history.settings["cabinet"] = AirSettings(2500, 500)
    assert history.state(5).status == "dry_storage"


def test_a_cabinet_that_is_silent_for_over_30_minutes_is_no_dry_storage() -> None:
    history = opened("3").add("move", 1, place="cabinet")
    history.readings["cabinet"] = steady(24, 2, 4)
    assert history.state(4.5 - SECOND).status == "dry_storage"
    state = history.state(4.5)
    assert state.status == "exposed"
    assert history.state(5.5).used_share == Fraction(2, 168)


# -- excursions ----------------------------------------------------------------------------


def test_an_excursion_of_exactly_60_minutes_goes_on_as_storage_and_does_not_count_as_drying() -> (
    None
):
    history = opened("3").add("move", 4, place="cabinet")
    cabinet_out_of_limit(history, 10, 60)
    assert history.state(15).used_share == Fraction(4, 168)
    assert history.state(24).used_share == Fraction(4, 168)
    assert history.state(25).used_share == 0


def test_an_excursion_of_61_minutes_is_exposure_from_its_start() -> None:
    history = opened("3").add("move", 4, place="cabinet")
    cabinet_out_of_limit(history, 10, 61)
    state = history.state(15)
    assert state.used_share == Fraction(4, 168) + Fraction(61, 60 * 168)
    assert state.ledger.exposure_s == 4 * HOUR_S + 61 * 60
    assert state.reset_due_at == T0 + 11 * HOUR_S + 60 + 5 * (4 * HOUR_S + 61 * 60)


def test_an_excursion_that_is_not_back_yet_counts_as_exposure_until_it_is() -> None:
    history = opened("3").add("move", 4, place="cabinet")
    cabinet_out_of_limit(history, 10, 30)
    during = history.state(10.25)
    assert (during.status, during.used_share) == ("exposed", Fraction(17, 4 * 168))
    assert history.state(10.5).used_share == Fraction(4, 168)
    assert history.state(10.5).status == "dry_storage"


def test_the_clock_of_level_5_runs_through_an_excursion_even_where_storage_pauses_it() -> None:
    history = opened("5").add("move", 2, place="cabinet")
    history.policies = Policies(pause_levels_4_to_5a=Dated(True))
    cabinet_out_of_limit(history, 10, 60)
    assert history.state(20).used_share == Fraction(2 + 1, 48)


# -- the clock of levels 4 to 5a -------------------------------------------------------------


def test_storage_hours_of_level_5_are_provisional_and_cancelled_by_the_reset() -> None:
    history = opened("5").add("move", 4, place="cabinet")
    state = history.state(24)
    assert state.ledger.provisional == Fraction(20, 48)
    assert state.used_share == Fraction(24, 48)
    assert {line.basis for line in history.working(24).lines} == {"measured", "provisional"}
    assert history.state(44).used_share == 0


def test_a_share_that_reaches_1_with_provisional_hours_waits_for_the_reset() -> None:
    state = opened("5").add("move", 6, place="cabinet").state(50)
    assert (state.verdict, state.reasons) == ("do_not_use", ("drying",))
    assert (state.next_step.kind, state.next_step.at) == ("wait", T0 + 66 * HOUR_S)
    assert not state.bake.needed


def test_provisional_hours_become_final_when_the_storage_breaks_and_join_the_exposure_total() -> (
    None
):
    history = opened("5").add("move", 4, place="cabinet").add("move", 14, place="floor")
    history.add("move", 15, place="cabinet")
    state = history.state(16)
    assert state.ledger.exposure_s == 15 * HOUR_S
    assert state.ledger.provisional == 0
    assert state.used_share == Fraction(16, 48)
    assert state.reset_due_at is None


def test_a_share_over_1_made_final_by_a_break_needs_a_bake() -> None:
    history = opened("5").add("move", 6, place="cabinet").add("move", 60, place="floor")
    state = history.state(60 + SECOND)
    assert state.reasons == ("floor_life_exceeded",)
    assert state.ledger.full_since == T0 + 48 * HOUR_S


def test_storage_hours_that_counted_before_quality_released_it_join_the_exposure_total_too() -> (
    None
):
    """A late bag without a card: no reset is possible until quality has decided."""
    history = opened("5")
    history.facts = carrier(part("5", 1.0), shelf_life_ends=date(2026, 9, 1))
    history.events.clear()
    history.add("open", 0, hic=None).add("move", 1, place="cabinet").add("move", 6, place="floor")
    history.add("release", 6, reason="seen").add("move", 7, place="cabinet")
    state = history.state(7)
    assert state.used_share == Fraction(7, 48)
    assert state.ledger.exposure_s == 7 * HOUR_S
    assert state.reset_due_at == T0 + (7 + 10 * 7) * HOUR_S


def test_a_bake_that_begins_breaks_a_storage() -> None:
    history = opened("5").add("move", 6, place="cabinet")
    history.add("bake_start", 50, place="oven", temp_c=125.0)
    state = history.state(50)
    assert (state.ledger.used, state.ledger.provisional) == (Fraction(50, 48), 0)
    assert "floor_life_exceeded" in state.reasons


def test_the_policy_pauses_level_5_in_storage_from_its_date() -> None:
    history = opened("5").add("move", 4, place="cabinet")
    history.policies = Policies(pause_levels_4_to_5a=Dated(False, ((T0 + 10 * HOUR_S, True),)))
    assert history.state(40).used_share == Fraction(4 + 6, 48)


# -- what else stands in the way -------------------------------------------------------------


def test_no_reset_after_any_exposure_outside_30_60() -> None:
    history = opened("3", rh_pct=61).add("move", 1, place="cabinet")
    assert history.state(2).reset_due_at is None
    assert history.state(190).used_share > 0


def test_no_reset_once_the_floor_life_is_used_up() -> None:
    history = opened("3", label_floor_life_hours=2).add("move", 2, place="cabinet")
    state = history.state(190)
    assert state.reasons == ("floor_life_exceeded",)
    assert state.reset_due_at is None


def test_no_reset_while_only_a_bake_would_help() -> None:
    history = opened("3")
    history.events.clear()
    history.add("open", 0, hic={"5": "humid", "10": "humid", "60": "dry"})
    history.add("move", 1, place="cabinet")
    assert history.state(190).used_share == Fraction(1, 168)


def test_bag_and_cabinets_one_after_another_are_one_storage() -> None:
    history = opened("3").add("move", 4, place="cabinet").add("close", 10, **GOOD_BAG)
    history.add("move", 12, place="floor")
    assert history.state(24 - SECOND).used_share == Fraction(4, 168)
    assert history.state(24).used_share == 0


def test_one_second_on_the_floor_breaks_a_storage() -> None:
    history = opened("3").add("move", 4, place="cabinet")
    history.add("move", 20, place="floor").add("move", 20 + SECOND, place="cabinet")
    assert history.state(24).used_share > 0
    assert history.state(24).reset_due_at == T0 + (20 * HOUR_S + 1) + 5 * (4 * HOUR_S + 1)


def test_a_carrier_that_was_never_exposed_is_not_changed_by_storage() -> None:
    state = History(carrier(part("5", 1.0))).state(2000)
    assert (state.used_share, state.verdict, state.reset_due_at) == (0, "use", None)


def test_level_6_runs_on_in_storage_and_is_never_reset_by_it() -> None:
    history = opened("6", label_floor_life_hours=6).add("move", 1, place="cabinet")
    assert history.state(4).used_share == Fraction(4, 6)
    assert history.state(100).used_share == Fraction(100, 6)
    assert history.state(4).reset_due_at is None
