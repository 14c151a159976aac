"""Joining and splicing, as laws: what is joined never has more life than the worst of it."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from fractions import Fraction

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from msdtrack.exposure import bake_rules
from msdtrack.exposure.events import Event, Kind, effective
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.joining import absorb
from msdtrack.exposure.ledger import Joined
from msdtrack.exposure.state import CarrierState, account_of, state_of
from tests.exposure.histories import T0, History, carrier, part, steady
from tests.exposure.slow_air import World
from tests.exposure.worlds import amended, places_of, voided, worlds

RANDOM = settings(
    max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
JOIN_SEQ = 10_000


@st.composite
def pairs(draw: st.DrawFn) -> tuple[World, World, int]:
    """Draw a giver and a taker of one part, and the moment they are joined, after all else."""
    giver, taker = draw(worlds()), draw(worlds())
    facts = replace(giver.facts, code="GIVER", part=taker.facts.part)
    giver = replace(giver, facts=facts, policies=taker.policies)
    last = max(event.at for world in (giver, taker) for event in world.events)
    return giver, taker, last + draw(st.sampled_from([0, 1, 6, 30])) * HOUR_S


def account(world: World, at: int) -> Joined:
    return account_of(world.facts, world.events, places_of(world), world.policies, at)


def joined(taker: World, giver: Joined, at: int, later_s: int = 0) -> CarrierState:
    """Return the state of the taker after the join."""
    join = Event("join", taker.facts.code, Kind.JOIN, at, JOIN_SEQ, at, joined="GIVER")
    events = [*taker.events, join]
    return state_of(
        taker.facts, events, places_of(taker), taker.policies, at + later_s, None, {"join": giver}
    )


def reasons(state: CarrierState) -> set[str]:
    return set(bake_rules.reasons(state.facts.part, state.ledger))


@RANDOM
@given(pairs())
def test_the_joined_have_no_more_life_than_the_worse_of_them(
    pair: tuple[World, World, int],
) -> None:
    """Share, the reasons that ask for a bake, holds and contradictions all come along."""
    giver, taker, at = pair
    given_account, before = account(giver, at), account(taker, at)
    after = joined(taker, given_account, at)
    if given_account.conflicts or before.conflicts:
        assert after.conflicts
    if after.conflicts:
        assert after.verdict == "do_not_use"
        return
    assert after.used_share >= max(given_account.ledger.share, before.ledger.share)
    facts = taker.facts.part
    for ledger in (given_account.ledger, before.ledger):
        assert set(bake_rules.reasons(facts, ledger)) <= reasons(after)
        assert set(ledger.held) <= set(after.ledger.held)
        assert after.ledger.hic_missing >= ledger.hic_missing
    assert after.ledger.quantity == given_account.ledger.quantity + before.ledger.quantity
    if before.ledger.used >= 1 or given_account.ledger.used >= 1:
        needs = bake_rules.column(facts, after.ledger)
        each = {bake_rules.column(facts, one.ledger) for one in (given_account, before)}
        assert needs == "over_72h" or "over_72h" not in each


@RANDOM
@given(pairs())
def test_who_is_joined_into_whom_makes_no_difference(pair: tuple[World, World, int]) -> None:
    """The share and what it decides are the same both ways round."""
    giver, taker, at = pair
    one, other = (deepcopy(account(world, at).ledger) for world in (giver, taker))
    for ledger in (one, other):
        # Joining is done in the open: storage is over by then, and what was provisional counts.
        if ledger.storage is not None:
            ledger.used, ledger.exposure_s = (
                ledger.share,
                (ledger.exposure_s + ledger.storage.counted_s),
            )
            ledger.storage = None
    first, second = deepcopy(one), deepcopy(other)
    absorb(first, other)
    absorb(second, one)
    for name in (
        "used", "exposure_s", "outside_30_60", "beyond_table", "hic_failed", "hic_missing",
        "history_unknown", "baked_once", "hot_s", "passes", "quantity", "full_since",
        "sealed_on", "shelf_life_ends",
    ):  # fmt: skip
        assert getattr(first, name) == getattr(second, name), name


@RANDOM
@given(pairs(), st.sampled_from([1, 10, 100]))
def test_a_worse_giver_never_leaves_more_life(pair: tuple[World, World, int], hours: int) -> None:
    """Also later on: the same time afterwards, with more used at the join."""
    giver, taker, at = pair
    better = account(giver, at)
    worse = Joined(deepcopy(better.ledger), better.conflicts)
    worse.ledger.used += Fraction(1, 3)
    for later_s in (0, hours * HOUR_S):
        shares = [joined(taker, one, at, later_s) for one in (better, worse)]
        if shares[0].ledger.last_reset_at == shares[1].ledger.last_reset_at:
            assert shares[0].used_share <= shares[1].used_share


def history(code: str, opened_h: float) -> History:
    """A level 3 reel, opened at an hour in 25 °C / 50 % RH: the label's 168 h count."""
    facts = carrier(part("3", 1.4), code=code)
    return History(facts, {"floor": steady(25, 50, 80)}).add("open", opened_h)


def spliced(giver: History, taker: History, join_h: float, at_h: float) -> Fraction:
    """Return the taker's used share at an hour; the giver's corrected log counts to the join."""
    at = T0 + round(join_h * HOUR_S)
    events = effective(giver.events)
    account = account_of(giver.facts, events, giver.places, giver.policies, at)
    join = Event("join", taker.facts.code, Kind.JOIN, at, JOIN_SEQ, at, joined="GIVER")
    state = state_of(
        taker.facts, [*taker.ordered(), join], taker.places, taker.policies,
        T0 + round(at_h * HOUR_S), None, {"join": account},
    )  # fmt: skip
    return state.used_share


def test_a_splice_goes_on_from_the_worse_reel() -> None:
    """Worked by hand from the rule: 40 h and 10 h old at the join, 12 h later it is 52 of 168 h.

    Source: floor life of level 3, J-STD-033 Table 5-1 (168 h); worst share: common practice.
    """
    giver, taker = history("GIVER", 0), history("C1", 30)
    assert spliced(giver, taker, 40, 52) == Fraction(52, 168)
    assert spliced(taker, giver, 40, 52) == Fraction(52, 168)


def test_the_taker_follows_corrections_of_the_giver() -> None:
    """Its opening put 20 h earlier, then struck out: the taker's own 10 h count, and 12 more."""
    giver, taker = history("GIVER", 20), history("C1", 30)
    assert spliced(giver, taker, 40, 52) == Fraction(32, 168)
    opening = giver.events[0]
    giver.events.append(amended(opening, 50, at=T0))
    assert spliced(giver, taker, 40, 52) == Fraction(52, 168)
    giver.events.append(voided(opening, 51))
    assert spliced(giver, taker, 40, 52) == Fraction(22, 168)
