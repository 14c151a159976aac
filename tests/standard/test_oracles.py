"""The tables say what independent public sources print."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from msdtrack.standard import baking, derating, drypack, indicator, levels
from msdtrack.standard.package_groups import GROUPS

ORACLES: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "oracles" / "standard.toml").read_text(encoding="utf-8")
)

pytestmark = pytest.mark.oracle


def cases(name: str) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("case", ORACLES[name])


@cases("floor_life_h")
def test_floor_life(case: dict[str, Any]) -> None:
    for level, hours in case["hours"].items():
        if hours == "unlimited":
            assert levels.is_unlimited(level)
            assert levels.floor_life_h(level) is None
        else:
            assert levels.floor_life_h(level) == hours


@cases("life_days")
def test_derating_by_temperature(case: dict[str, Any]) -> None:
    for temp_c, days in zip((35, 30, 25, 20), case["days"], strict=True):
        cell = derating.cell_for(100 * temp_c, 100 * case["rh_pct"])
        assert derating.life_days(case["group"], case["level"], cell) == (days or None)


@cases("life_days_at")
def test_derating_at_one_air(case: dict[str, Any]) -> None:
    cell = derating.cell_for(100 * case["temp_c"], 100 * case["rh_pct"])
    assert derating.life_days(case["group"], case["level"], cell) == case["days"]


@cases("hot_air_days")
@pytest.mark.parametrize("group", GROUPS)
def test_air_beyond_the_table_is_never_milder_than_a_maker_says(
    case: dict[str, Any], group: str
) -> None:
    cell = derating.cell_for(100 * case["temp_c"], 100 * case["rh_pct"])
    assert cell == derating.BEYOND
    days = derating.life_days(group, case["level"], cell)
    assert days is not None
    assert days <= case["days"]


@cases("user_bake_h")
def test_bake_after_exposure(case: dict[str, Any]) -> None:
    for temp_c, pair in zip((125, 90, 40), case["hours"], strict=True):
        found = [
            baking.user_bake_h(case["level"], case["body_mm"], temp_c, column, False)
            for column in baking.COLUMNS
        ]
        assert found == pair
    source = baking.user_bake_source(case["level"], case["body_mm"], "over_72h", False)
    assert "found in a public source" in source


@cases("supplier_bake_h")
def test_bake_before_dry_packing(case: dict[str, Any]) -> None:
    found = [baking.supplier_bake_h(case["level"], case["body_mm"], temp) for temp in (125, 150)]
    assert found == case["hours"]
    source = baking.supplier_bake_source(case["level"], case["body_mm"])
    assert "found in a public source" in source


@cases("desiccant_units")
def test_desiccant(case: dict[str, Any]) -> None:
    arguments = ("months", "wvtr_g_per_100in2_day", "area_in2", "capacity_g")
    units = drypack.desiccant_units(*(case[name] for name in arguments))
    assert float(units) == pytest.approx(case["units"], abs=case["tolerance"])


@cases("card")
def test_indicator_card(case: dict[str, Any]) -> None:
    for level in case["levels"]:
        assert indicator.judge(level, case["spots"]) == case["judgement"]


@pytest.mark.parametrize("name", list(ORACLES["limits"]))
def test_handling_limit(name: str) -> None:
    assert getattr(drypack, name.upper()) == ORACLES["limits"][name]
