"""Dry storage: what it resets, what it pauses, and how dry it must be."""

from __future__ import annotations

import pytest

from msdtrack.errors import BadInput
from msdtrack.standard.levels import LEVELS
from msdtrack.standard.recovery import (
    DryStorageRule,
    dry_storage_rule,
    storage_limit_rh_pct,
)

# J-STD-033 Table 4-3, from memory.
SHORT = DryStorageRule(max_exposure_h=12, factor=5, max_storage_rh_pct=10, pauses=True)
STRICT = DryStorageRule(max_exposure_h=8, factor=10, max_storage_rh_pct=5, pauses=False)


@pytest.mark.parametrize(
    ("level", "rule"),
    [
        ("1", None),
        ("2", SHORT),
        ("2a", SHORT),
        ("3", SHORT),
        ("4", STRICT),
        ("5", STRICT),
        ("5a", STRICT),
        ("6", None),
    ],
)
def test_the_rule_of_each_level(level: str, rule: DryStorageRule | None) -> None:
    assert dry_storage_rule(level) == rule


def test_how_dry_a_storage_must_be() -> None:
    limits = {level: storage_limit_rh_pct(level) for level in LEVELS}
    assert limits == {"1": 10, "2": 10, "2a": 10, "3": 10, "4": 5, "5": 5, "5a": 5, "6": 5}


@pytest.mark.oracle
def test_16_h_exposed_is_too_long_for_dry_storage_to_reset_level_5() -> None:
    # Shook and Goodelle, as quoted in smtnet.com thread 309: level 5, 16 h exposed, then 70 h of
    # dry storage, is past its critical moisture.
    rule = dry_storage_rule("5")
    assert rule is not None
    assert rule.max_exposure_h < 16
    assert not rule.pauses


@pytest.mark.parametrize("level", ["", "2A", "7"])
def test_an_unknown_level_is_refused(level: str) -> None:
    for ask in (dry_storage_rule, storage_limit_rh_pct):
        with pytest.raises(BadInput):
            ask(level)
