"""May it be used, for how long, what to do next; and the levels with rules of their own."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from msdtrack.exposure.facts import AirSettings, Dated, MakerBake, Policies
from msdtrack.exposure.state import usable_until
from tests.exposure.histories import HOUR_S, T0, History, carrier, part, steady

SECOND = 1 / 3600


def opened(msl: str, body_mm: float | None = 1.4, **facts: Any) -> History:
    """Return a carrier opened at T0 on a mild floor."""
    history = History(carrier(part(msl, body_mm, **facts)))
    history.readings["floor"] = steady(24, 50, 400, 1800)
    return history.add("open", 0)


# -- the verdict -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("peaks_c", "reason"),
    [((240, 240, 240, 240), "too_many_reflows"), ((246,), "peak_body_exceeded")],
)
def test_what_must_not_be_used_after_a_reflow_is_held_and_not_used_first(
    peaks_c: tuple[float, ...], reason: str
) -> None:
    history = opened("3", peak_body_c=245.0)
    for n, peak_c in enumerate(peaks_c, 1):
        history.add("reflow", n, peak_c=peak_c)
    state = history.state(5)
    assert (state.verdict, state.reasons) == ("do_not_use", (reason,))
    assert state.next_step.kind == "hold"


def test_it_may_be_used_until_the_second_the_floor_life_is_used_up() -> None:
    history = opened("4")
    assert history.state(72 - SECOND).verdict == "use"
    state = history.state(72)
    assert (state.verdict, state.reasons) == ("do_not_use", ("floor_life_exceeded",))
    assert state.next_step.kind == "bake"


@pytest.mark.parametrize(("used_h", "step"), [(160, "use"), (160 + SECOND, "use_first")])
def test_with_less_than_a_shift_left_it_is_to_be_used_first(used_h: float, step: str) -> None:
    assert opened("3").state(used_h).next_step.kind == step


def test_a_run_must_end_before_the_floor_life_does() -> None:
    state = opened("3").state(100)
    assert state.expires_at == T0 + 168 * HOUR_S
    assert usable_until(state, T0 + 168 * HOUR_S - 1) == ("use", ())
    late = usable_until(state, T0 + 168 * HOUR_S)
    assert late == ("do_not_use", ("floor_life_ends_before_the_run",))


def test_a_hold_comes_before_all_else_and_names_its_reason() -> None:
    history = opened("3").add("hold", 1, reason="torn bag")
    state = history.state(2)
    assert (state.verdict, state.reasons) == ("do_not_use", ("held",))
    assert "torn bag" in state.next_step.text
    assert history.add("release", 3, reason="seen").state(3).verdict == "use"


def test_a_carrier_in_the_oven_is_not_to_be_used() -> None:
    history = opened("3").add("bake_start", 1, place="oven", temp_c=125.0)
    state = history.state(20)
    assert (state.status, state.reasons, state.verdict) == ("baking", ("baking",), "do_not_use")


# -- the forecast ----------------------------------------------------------------------------


def humid_from(hour: float, minutes: int) -> History:
    """Return a thick level 3 carrier whose floor turns humid for so many minutes."""
    history = opened("3", 3.5)
    start = round(hour * HOUR_S)
    history.readings["floor"] = [
        (T0 + t, 2600, 6500 if start <= t < start + minutes * 60 else 5000)
        for t in range(0, start + 3 * HOUR_S, 60)
    ]
    return history


def test_the_time_left_follows_the_air_only_after_10_minutes_in_a_new_cell() -> None:
    """Humid from hour 2 on; the span begins with the last dry reading, a minute before."""
    history = humid_from(2, 180)
    before = history.state(2 + 8 / 60)
    assert before.forecast.raw == (2600, 5000)
    assert before.forecast.remaining_h == (1 - before.used_share) * 168
    after = history.state(2 + 9 / 60)
    assert after.forecast.raw == (2600, 6500)
    assert after.forecast.remaining_h == (1 - after.used_share) * 120


def test_a_short_blip_does_not_move_the_time_left_and_the_used_share_never_waits() -> None:
    history = humid_from(2, 5)
    state = history.state(2 + 6 / 60)
    assert state.forecast.raw == (2600, 5000)
    # 6 minutes, from the last dry reading before it to the first one after it.
    humid = Fraction(6, 60)
    assert state.used_share == (2 + Fraction(6, 60) - humid) / 168 + humid / 120


def test_the_forecast_says_where_its_air_comes_from() -> None:
    history = opened("3")
    history.readings.clear()
    assert history.state(1).forecast.missing == "no_reading_yet"
    assert history.state(1).forecast.raw == (3000, 6000)


def test_air_without_a_limit_leaves_no_end() -> None:
    history = opened("3", 1.0, compound_confirmed=True)
    history.readings["floor"] = steady(22, 20, 100)
    history.policies = Policies(credit=Dated(True))
    state = history.state(10)
    assert (state.used_share, state.expires_at, state.verdict) == (0, None, "use")


# -- levels with rules of their own ------------------------------------------------------------


def test_level_1_has_no_floor_life_no_shelf_life_and_no_history_to_know() -> None:
    history = History(carrier(part("1"), sealed_on=None)).add("open", 0, hic=None)
    state = history.state(10000)
    assert (state.verdict, state.used_share, state.expires_at) == ("use", 0, None)
    assert not state.bake.needed


def test_level_2_stands_on_the_row_of_level_2a_unscaled() -> None:
    history = opened("2", 3.5)
    history.readings["floor"] = steady(26, 65, 24)
    line = history.working(24).lines[0]
    assert line.cell is not None
    assert (line.cell.level, line.cell.days) == ("2a", 10)
    assert line.share == Fraction(1, 10)
    assert "level 2 has no row" in line.note


@pytest.mark.parametrize(("label_h", "share"), [(800, "1/10"), (672, "1/10"), (336, "1/5")])
def test_level_2_is_scaled_only_by_a_label_shorter_than_level_2a(label_h: int, share: str) -> None:
    history = opened("2", 3.5, label_floor_life_hours=label_h)
    history.readings["floor"] = steady(26, 65, 24)
    assert history.state(24).used_share == Fraction(share)


def test_a_longer_label_is_ignored() -> None:
    assert opened("3", label_floor_life_hours=1000).state(84).used_share == Fraction(1, 2)


def test_level_6_without_the_time_on_its_label_is_never_usable() -> None:
    history = opened("6", maker_bake=MakerBake(60.0, 2.0))
    history.add("bake_start", 1, place="oven", temp_c=60.0).add("bake_end", 4)
    state = history.state(5)
    assert (state.verdict, state.reasons) == ("do_not_use", ("label_time_missing",))


def test_level_6_goes_by_its_label_in_any_air() -> None:
    history = opened("6", label_floor_life_hours=6, compound_confirmed=True)
    history.readings["floor"] = steady(22, 20, 10)
    history.policies = Policies(credit=Dated(True))
    assert history.state(3).used_share == Fraction(1, 2)


def test_where_thickness_is_in_doubt_the_worst_group_counts() -> None:
    """Level 3 at 30 °C/70 %: thin 1 day, medium 3, thick 5; at 20 °C/90 %: thin 1, thick 7."""
    for body_mm, family, days in (
        (None, None, 1),
        (3.5, None, 5),
        (3.5, "TQFP", 1),
        (2.5, None, 3),
    ):
        history = opened("3", body_mm, family=family)
        history.readings["floor"] = steady(26, 65, 12)
        assert history.state(12).used_share == Fraction(1, 2 * days)


def test_credit_needs_the_policy_and_the_confirmed_compound() -> None:
    for credit, confirmed, expected in (
        (True, True, Fraction(12, 24 * 9)),
        (True, False, Fraction(12, 168)),
        (False, True, Fraction(12, 168)),
    ):
        history = opened("3", 3.5, compound_confirmed=confirmed)
        history.readings["floor"] = steady(22, 42, 12)
        history.policies = Policies(credit=Dated(credit))
        assert history.state(12).used_share == expected


@pytest.mark.parametrize(
    ("confirmed", "temp_c", "rh_pct", "said"),
    [
        (True, 22, 42, "Table 7-1, 9 days (credit)"),
        (True, 26, 62, "Table 7-1, 5 days"),
        (False, 22, 42, "label floor life, 168 h"),
        (False, 26, 62, "Table 7-1, 5 days"),
    ],
)
def test_the_working_says_credit_only_where_it_lengthened_the_floor_life(
    confirmed: bool, temp_c: float, rh_pct: float, said: str
) -> None:
    history = opened("3", 3.5, compound_confirmed=confirmed)
    history.readings["floor"] = steady(temp_c, rh_pct, 12)
    history.policies = Policies(credit=Dated(True))
    assert {line.rate_from for line in history.working(12).lines} == {said}


@pytest.mark.parametrize(
    ("msl", "label_h", "said"),
    [
        ("3", 84, "Table 7-1, 5 days × 84/168 of the label"),
        ("3", 200, "Table 7-1, 5 days"),
        ("2", 336, "Table 7-1, 10 days × 336/672 of the label"),
        ("2", 1000, "Table 7-1, 10 days"),
    ],
)
def test_the_working_says_how_a_shorter_label_shortens_the_table(
    msl: str, label_h: float, said: str
) -> None:
    """So that hours, days and share of a line can be checked by hand."""
    history = opened(msl, 3.5, label_floor_life_hours=label_h)
    history.readings["floor"] = steady(26, 62, 12)
    lines = history.working(12).lines
    assert {line.rate_from for line in lines} == {said}
    days, _, factor = said.removeprefix("Table 7-1, ").partition(" × ")
    life_h = 24 * int(days.split()[0]) * Fraction(factor.split()[0] if factor else 1)
    assert sum(line.share for line in lines) == 12 / life_h


def test_the_working_of_level_6_says_when_its_label_is_missing() -> None:
    (line,) = opened("6").working(1).lines
    assert (line.share, line.rate_from) == (0, "level 6 without the time on its label")


def test_credit_never_lets_assumed_air_outside_30_60_count_below_the_label() -> None:
    """32 °C/15 % for a medium level 3: 12 days by the table, 7 by the label."""
    history = opened("3", 2.5, compound_confirmed=True)
    history.policies = Policies(credit=Dated(True))
    history.readings["floor"] = steady(32, 15, 12)
    assert history.state(12).used_share == Fraction(12, 24 * 12)
    history.readings.clear()
    history.settings["floor"] = AirSettings(3200, 1500)
    assert history.state(12).used_share == Fraction(12, 168)
