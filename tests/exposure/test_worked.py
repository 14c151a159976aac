"""The small histories worked by hand from J-STD-033's tables give the shares worked out there."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from msdtrack.exposure.facts import AirSettings, Dated, Policies
from tests.exposure.histories import T0, History, carrier, part, steady

WORKED = Path(__file__).parents[1] / "oracles" / "worked.toml"
HISTORIES: list[dict[str, Any]] = tomllib.loads(WORKED.read_text())["history"]


def build(worked: dict[str, Any]) -> History:
    facts = dict(worked["part"])
    if worked.get("credit"):
        facts["compound_confirmed"] = True
    history = History(carrier(part(**facts)))
    hours = worked["ask_h"]
    if "readings" in worked:
        readings = [(T0 + h * 3600, t * 100, rh * 100) for h, t, rh in worked["readings"]]
        history.readings["floor"] = readings
    elif worked["air"] != "none":
        history.readings["floor"] = steady(*worked["air"], hours)
    if "assumed" in worked:
        temp_c, rh_pct = worked["assumed"]
        history.settings["floor"] = AirSettings(temp_c * 100, rh_pct * 100)
    if worked.get("credit"):
        history.policies = Policies(credit=Dated(True))
    history.add("open", 0)
    if "cabinet_from_h" in worked:
        history.readings["cabinet"] = steady(24, 2, hours)
        history.add("move", worked["cabinet_from_h"], place="cabinet")
    return history


@pytest.mark.oracle
@pytest.mark.parametrize("worked", HISTORIES, ids=lambda w: f"msl{w['part']['msl']}-{w['share']}")
def test_a_worked_history_gives_the_share_worked_by_hand(worked: dict[str, Any]) -> None:
    history = build(worked)
    state = history.state(worked["ask_h"])
    assert float(state.used_share) == pytest.approx(worked["share"], abs=5e-7)
    assert history.working(worked["ask_h"]).used_share == state.used_share
