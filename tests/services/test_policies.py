"""Choices of the site hold from their date, within their range, with who and why."""

from __future__ import annotations

import pytest

from msdtrack.errors import BadInput
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import catalog, people, policies
from msdtrack.standard import levels
from msdtrack.store import policies as policy_table
from tests.services.conftest import NOW

pytestmark = pytest.mark.usefixtures("store")


def test_without_a_choice_every_policy_has_its_default() -> None:
    """The defaults are those of the design: no credit, no pause, 96 h, a warning for each level."""
    now = policies.policies(NOW)
    assert now == {one.name: one.default for one in policies.POLICIES}
    assert (now["credit"], now["pause_levels_4_to_5a"], now["cumulative_bake_h"]) == (
        False,
        False,
        96,
    )
    timed = {name.removeprefix("lead_h:msl:") for name in now if name.startswith("lead_h:msl:")}
    assert timed == set(levels.LEVELS) - {"1"}


def test_defaults_are_within_their_own_range() -> None:
    """What a page shows as the default, it also accepts."""
    for one in policies.POLICIES:
        if not isinstance(one.default, bool):
            assert one.least <= one.default <= one.most, one.name
            assert one.unit
        assert one.meaning.endswith(".")
        assert one.source


def test_a_choice_holds_from_its_moment_and_says_who_and_why() -> None:
    """Earlier time keeps the earlier value, and the calculation hears of it."""
    policies.set_policy("credit", True, NOW, "Ines", "compounds confirmed")
    policies.set_policy("lead_h:msl:3", 20.5, NOW + 100, "Ines", "weekend shift")
    assert policies.policies(NOW - 1)["credit"] is False
    assert policies.policies(NOW)["credit"] is True
    assert policies.policies(NOW + 99)["lead_h:msl:3"] == 12
    assert policies.policies(NOW + 100)["lead_h:msl:3"] == 20.5
    assert policy_table.policies().credit.at(NOW)
    (change,) = policies.changes("credit")
    assert (change.before, change.after, change.reason) == (False, True, "compounds confirmed")
    assert people.person(change.person or "").name == "Ines"


def test_a_choice_can_be_taken_back() -> None:
    """None goes back to the default and is logged too; the same choice again is no change."""
    policies.set_policy("cumulative_bake_h", 48, NOW, "Ines", "older edition")
    policies.set_policy("cumulative_bake_h", 48, NOW + 1, "Ines", "older edition")
    policies.set_policy("cumulative_bake_h", None, NOW + 5, "Ines", "newer edition")
    assert policies.policies(NOW + 5)["cumulative_bake_h"] == 96
    assert [change.after for change in policies.changes("cumulative_bake_h")] == [48, None]


def test_a_part_can_have_a_lead_time_of_its_own() -> None:
    """It needs a part that is on file."""
    with pytest.raises(BadInput, match="no part BL-0101"):
        policies.set_policy("lead_h:part:BL-0101", 30, NOW, "Ines", "slow line")
    catalog.create_part(PartFacts("BL-0101", "3"), NOW)
    policies.set_policy("lead_h:part:BL-0101", 30, NOW, "Ines", "slow line")
    assert policies.policies(NOW)["lead_h:part:BL-0101"] == 30


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("credit", 1),
        ("cumulative_bake_h", True),
        ("cumulative_bake_h", 200),
        ("cumulative_bake_h", 48.5),
        ("open_bag_limit_min", 61),
        ("lead_h:msl:3", -1),
        ("lead_h:msl:3", float("nan")),
        ("lead_h:msl:9", 3),
        ("lead_h:part:", 3),
        ("colour", 3),
    ],
)
def test_what_can_not_be_is_refused(name: str, value: policies.Value) -> None:
    """Wrong names, types and ranges write nothing; a site may only be stricter than the rule."""
    with pytest.raises(BadInput) as error:
        policies.set_policy(name, value, NOW, "Ines", "why not")
    assert error.value.errors
    assert policy_table.policy_history() == []


@pytest.mark.parametrize(("person", "reason"), [("", "because"), ("Ines", " ")])
def test_a_choice_needs_a_name_and_a_reason(person: str, reason: str) -> None:
    """Nobody changes how parts are judged without standing for it."""
    with pytest.raises(BadInput):
        policies.set_policy("credit", True, NOW, person, reason)
    assert policies.policies(NOW)["credit"] is False
