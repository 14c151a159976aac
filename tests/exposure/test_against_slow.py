"""The calculation equals the plain one that goes step by step, on random histories."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from msdtrack.exposure.events import Event, effective, lineage
from msdtrack.exposure.state import CarrierState, state_of
from tests.exposure.slow import slow_answer
from tests.exposure.slow_air import World
from tests.exposure.slow_log import corrected, inherited
from tests.exposure.slow_storage import Account
from tests.exposure.worlds import (
    ANYTHING,
    BAKING,
    DRYING,
    Likely,
    corrections,
    moments,
    places_of,
    splits,
    worlds,
)

RANDOM = settings(
    max_examples=80,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
KINDS = [
    pytest.param(ANYTHING, id="anything"),
    pytest.param(DRYING, id="dry-storage"),
    pytest.param(BAKING, id="bakes"),
]


def both(world: World, at: int, working: bool = True) -> tuple[CarrierState, Account]:
    """Return the package's state and the plain answer."""
    places, policies = places_of(world), world.policies
    state = state_of(world.facts, world.events, places, policies, at, working=working)
    return state, slow_answer(world, at)


def of_state(state: CarrierState) -> dict[str, object]:
    """Return what is compared."""
    ledger = state.ledger
    return {
        "used share": state.used_share,
        "provisional": ledger.provisional,
        "assumed": ledger.assumed,
        "exposure_s": ledger.exposure_s,
        "outside 30/60": ledger.outside_30_60,
        "status": state.status,
        "verdict": state.verdict,
        "reasons": set(state.reasons),
        "bake needed": state.bake.needed,
        "column": state.bake.column if state.bake.needed else None,
        "reset due": state.reset_due_at,
        "shelf life ends": state.shelf_life_ends,
        "hot_s": ledger.hot_s,
        "full since": ledger.full_since if ledger.used >= 1 else None,
        "conflicts": {conflict.event_id for conflict in state.conflicts},
    }


def of_slow(slow: Account) -> dict[str, object]:
    """Return what is compared."""
    return {
        "used share": slow.share,
        "provisional": slow.provisional,
        "assumed": slow.assumed,
        "exposure_s": slow.exposure_s,
        "outside 30/60": slow.outside,
        "status": slow.status,
        "verdict": "do_not_use" if slow.reasons else "use",
        "reasons": slow.reasons,
        "bake needed": bool(slow.bake_reasons),
        "column": slow.column,
        "reset due": slow.reset_due_at,
        "shelf life ends": slow.shelf_life_ends,
        "hot_s": slow.hot_s,
        "full since": slow.full_since if slow.used >= 1 else None,
        "conflicts": slow.conflicts,
    }


@pytest.mark.parametrize("likely", KINDS)
@pytest.mark.parametrize("working", [True, False], ids=["with-working", "summed"])
def test_every_answer_equals_the_plain_one(likely: Likely, working: bool) -> None:
    @RANDOM
    @given(st.data())
    def equal(data: st.DataObject) -> None:
        world = data.draw(worlds(likely))
        for _ in range(2):
            state, slow = both(world, data.draw(moments(world)), working)
            assert of_state(state) == of_slow(slow)

    equal()


@RANDOM
@given(corrections())
def test_the_corrections_that_stand_are_the_plain_ones(log: list[Event]) -> None:
    assert effective(log) == corrected(log)


@RANDOM
@given(splits())
def test_a_child_inherits_what_the_plain_way_says(
    drawn: tuple[dict[str, list[Event]], dict[str, tuple[str, str]]],
) -> None:
    logs, parents = drawn
    for code in logs:
        found = [(e.at, e.seq, e.id, e.kind) for e in lineage(code, logs, parents)]
        assert found == [(e.at, e.seq, e.id, e.kind) for e in inherited(code, logs, parents)]
