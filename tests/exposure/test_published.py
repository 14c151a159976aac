"""The calculation beside what independent public sources print."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from math import exp
from pathlib import Path
from typing import Any

import pytest

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.facts import MakerBake
from msdtrack.exposure.rates import label_rate, rate
from tests.exposure.histories import HOUR_S, T0, History, carrier, part, steady

ORACLES: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "oracles" / "exposure.toml").read_text(encoding="utf-8")
)
FIT: dict[str, Any] = ORACLES["fit"]
BODIES = (1.0, 2.5, 3.5, None)
BREATHES = ("2a", "3", "4", "5", "5a")

pytestmark = pytest.mark.oracle


def fit_factor(temp_c: float, rh_pct: float) -> float:
    """Return how many times faster than at 30 °C/60 % the printed fit has it."""
    reference_k, kelvin = 303.15, temp_c + 273.15
    humid = 60 / reference_k - rh_pct / kelvin
    return float((kelvin / reference_k) ** FIT["exponent"] * exp(-FIT["per_rh"] * humid))


def test_a_level_5_part_dried_too_late_and_too_shortly_is_not_recovered() -> None:
    case = ORACLES["long_storage"]
    history = History(carrier(part(case["msl"], 1.0)))
    history.readings = {"floor": steady(24, 50, 100), "cabinet": steady(24, 2, 100)}
    history.add("open", 0).add("move", case["exposed_h"], place="cabinet")
    state = history.state(case["exposed_h"] + case["stored_h"])
    assert state.verdict == "do_not_use"
    assert state.bake.needed


@pytest.mark.parametrize("body_mm", BODIES)
def test_hot_air_is_never_counted_milder_than_a_maker_says(body_mm: float | None) -> None:
    case = ORACLES["hot_air"]
    air = PlaceAir("floor", [(0, 100 * case["temp_c"], 100 * case["rh_pct"])])
    key = air.spans(0, 60, 60)[0].key
    for credit in (False, True):
        of = part(case["msl"], body_mm, compound_confirmed=credit)
        assert rate(of, key, credit) * HOUR_S >= Fraction(1, 24 * case["days"])


@pytest.mark.parametrize("case", ORACLES["interruption"], ids=lambda case: f"{case['minutes']}-min")
def test_an_interrupted_bake_is_longer_by_what_the_standard_adds(case: dict[str, Any]) -> None:
    history = History(carrier(part("3", 1.4))).add("open", 0)
    history.add("bake_start", 1, place="oven", temp_c=125.0)
    cold_from, cold_to = 3 * 60, 3 * 60 + case["minutes"]
    history.readings["oven"] = [
        (T0 + 60 * minute, 2500 if cold_from < minute < cold_to else 12600, 100)
        for minute in range(30, 24 * 60)
    ]
    bake = history.state(23).ledger.bake
    assert bake is not None
    assert bake.reached_at == T0 + (1 + 7) * HOUR_S + 60 * case["added_min"]


@pytest.mark.parametrize(
    "case", ORACLES["makers_bake"], ids=lambda case: f"{case['temp_c']}C-{case['hours']}h"
)
def test_a_makers_own_bake_is_what_is_asked_for_and_what_resets(case: dict[str, Any]) -> None:
    bake = MakerBake(
        float(case["temp_c"]),
        float(case["hours"]),
        case.get("max_rh_pct"),
        once=case.get("once", False),
    )
    history = History(carrier(part("3", 1.4, maker_bake=bake, carrier_max_c=120.0)))
    history.readings["floor"] = steady(24, 50, 200, 1800)
    start, hours = 170, case["hours"]
    history.add("open", 0)
    advice = history.state(start).bake
    assert [(o.temp_c, o.hours, o.max_rh_pct) for o in advice.options] == [
        (bake.temp_c, hours, bake.max_rh_pct)
    ]
    history.add("bake_start", start, place="oven", temp_c=bake.temp_c)
    assert history.state(start + hours - 1).used_share > 1
    assert history.state(start + hours).used_share == 0
    history.add("bake_end", start + hours)
    again = history.state(start + hours + 200).bake
    assert again.needed
    assert len(again.options) == (0 if bake.once else 1)


@pytest.mark.parametrize("case", FIT["air"], ids=lambda case: f"{case['temp_c']}-{case['rh_pct']}")
def test_the_fit_is_typed_as_printed(case: dict[str, Any]) -> None:
    factor = fit_factor(case["temp_c"], case["rh_pct"])
    assert factor == pytest.approx(case["factor"], rel=FIT["tolerance"])


@pytest.mark.parametrize("case", FIT["air"], ids=lambda case: f"{case['temp_c']}-{case['rh_pct']}")
@pytest.mark.parametrize("msl", BREATHES)
def test_in_air_beyond_the_table_a_part_is_stopped_before_a_fit_has_its_life_used_up(
    msl: str, case: dict[str, Any]
) -> None:
    history = History(carrier(part(msl, 3.5)))
    history.readings["floor"] = steady(case["temp_c"], case["rh_pct"], 2)
    history.add("open", 0)
    stopped_h = Fraction(15 * 60 + 1, HOUR_S)
    state = history.state(float(stopped_h))
    assert state.verdict == "do_not_use"
    assert state.bake.needed
    assert state.bake.column == "over_72h"
    assert stopped_h < 1 / (label_rate(history.facts.part) * HOUR_S) / case["factor"]


@pytest.mark.parametrize("msl", BREATHES)
def test_at_the_limit_of_the_floor_life_table_and_fit_agree(msl: str) -> None:
    """30 °C/60 % is where the fit is 1 and the table shows the floor life itself."""
    assert fit_factor(30, 60) == 1
    history = History(carrier(part(msl, 3.5)))
    history.readings["floor"] = steady(30, 60, 10)
    label_h = 1 / (label_rate(history.facts.part) * HOUR_S)
    assert history.add("open", 0).state(10).used_share == 10 / label_h
