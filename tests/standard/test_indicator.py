"""The humidity indicator card: a spot that cannot be read never passes for dry."""

from __future__ import annotations

from itertools import product

import pytest

from msdtrack.errors import BadInput
from msdtrack.standard.indicator import SPOT_STATES, SPOTS, fresh_desiccant_due, judge

CARDS = [dict(zip(SPOTS, states, strict=True)) for states in product(SPOT_STATES, repeat=3)]
BY_10 = ("2a", "3", "4", "5", "5a", "6")


@pytest.mark.parametrize("card", CARDS)
def test_level_2_goes_by_the_60_spot(card: dict[str, str]) -> None:
    expected = {"dry": "good", "humid": "failed", "missing": "missing"}
    assert judge("2", card) == expected[card["60"]]


@pytest.mark.parametrize("level", BY_10)
@pytest.mark.parametrize("card", CARDS)
def test_stricter_levels_go_by_the_10_spot(level: str, card: dict[str, str]) -> None:
    if card["10"] == "dry" and card["60"] == "humid":
        assert judge(level, card) == "missing"  # the card contradicts itself
    else:
        expected = {"dry": "good", "humid": "failed", "missing": "missing"}
        assert judge(level, card) == expected[card["10"]]


@pytest.mark.parametrize("level", ["2", *BY_10])
def test_no_card_and_a_card_without_its_deciding_spot_are_missing(level: str) -> None:
    assert judge(level, None) == "missing"
    assert judge(level, {}) == "missing"
    assert judge(level, {"5": "dry"}) == "missing"


def test_level_1_has_no_card_to_pass() -> None:
    assert judge("1", None) == "good"
    assert judge("1", dict.fromkeys(SPOTS, "humid")) == "good"


@pytest.mark.parametrize("card", CARDS)
def test_a_humid_spot_asks_for_fresh_desiccant(card: dict[str, str]) -> None:
    assert fresh_desiccant_due(card) is ("humid" in card.values())


def test_no_card_asks_for_nothing() -> None:
    assert not fresh_desiccant_due(None)


@pytest.mark.parametrize("card", [{"15": "dry"}, {"10": "pink"}, {"10": ""}])
def test_a_spot_or_state_that_does_not_exist_is_refused(card: dict[str, str]) -> None:
    with pytest.raises(BadInput):
        judge("3", card)
    with pytest.raises(BadInput):
        fresh_desiccant_due(card)
    with pytest.raises(BadInput):
        judge("1", card)
