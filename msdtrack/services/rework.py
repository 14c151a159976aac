"""Whether boards need a bake before a component on them is heated for rework.

The rule: before local heat that brings any component above 200 °C body temperature, the board is
baked unless every component on it is within its floor life. What is not known counts as exceeded.

- While another reflow follows, the floor life account goes on, so it is the account that answers.
- After the last reflow a component on the finished board goes on taking up moisture. Its time is
  counted anew from that reflow by the same tables and the measured air, and a bake ends it. What
  was exceeded or unknown at the last reflow stays so until a bake.

Source: J-STD-033 section 6 (200 °C body temperature: published; bake before rework where the floor
life is exceeded, and by the makers' limits: from memory). Counting from the last reflow: common
practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from msdtrack.exposure.clock import day
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.state import CarrierState, state_of
from msdtrack.services.accounts import Account
from msdtrack.standard.drypack import REMOVAL_BODY_C

HEAT_C = REMOVAL_BODY_C
"""Body temperature above which the rule holds, °C."""

AFTER_LAST_REFLOW = frozenset({Kind.MOVE, Kind.HOLD, Kind.RELEASE, Kind.SCRAP})
"""Kinds that finished boards can see. To the floor life account a soldered part is gone and can't
be baked, so their bake stands on the log as a move to the oven that names its temperature."""

_DRY = {"5": "dry", "10": "dry", "60": "dry"}


@dataclass(frozen=True, slots=True)
class Rework:
    """What one component needs before rework heat.

    Args:
        needs_bake: it must be baked before it gets hotter than `HEAT_C`.
        state: the account that says so; after the last reflow it is counted from there.
        baked_by: the account that says how long the bake must be.
        why: in a few words.
    """

    needs_bake: bool
    state: CarrierState
    baked_by: CarrierState
    why: str


def rework_of(found: Account, state: CarrierState, finished_at: int | None) -> Rework:
    """Return what a placement needs before rework heat.

    Args:
        found: its account.
        state: its state at the moment asked about.
        finished_at: when its last reflow was; None if others follow.
    """
    at = state.at
    if finished_at is None or at < finished_at:
        return _judged(state, state, "of its floor life used")
    before = found.state(finished_at)
    since = _since_last_reflow(found, before, finished_at, at)
    if since.ledger.baked_once:
        return _judged(since, since, "of its floor life used since its bake")
    return _judged(since, before, "of its floor life used since the last reflow")


def _since_last_reflow(
    found: Account, before: CarrierState, finished_at: int, at: int
) -> CarrierState:
    """Return the account of a component from the last reflow on, as if its bag were opened then."""
    facts = replace(
        found.facts,
        received_at=finished_at,
        sealed_on=day(finished_at),
        shelf_life_ends=None,
        bag=None,
        place=before.ledger.place,
        quantity=before.ledger.quantity,
    )
    opened = Event("last reflow", facts.code, Kind.OPEN, finished_at, 0, 0, hic=_DRY)
    after = [e for e in found.events if e.at >= finished_at and e.kind in AFTER_LAST_REFLOW]
    events = [opened, *map(_as_bake, after)]
    return state_of(facts, events, found.places, found.policies, at, working=False)


def _as_bake(event: Event) -> Event:
    baked = event.kind is Kind.MOVE and event.temp_c is not None
    return event._replace(kind=Kind.BAKE_START) if baked else event


def _judged(state: CarrierState, before: CarrierState, of: str) -> Rework:
    """Return the answer of an account and of the one that must have been good before it."""
    part = state.facts.part
    longer = before.bake.needed and state.bake.column != "over_72h"
    baked_by = before if longer else state

    def answer(needs_bake: bool, why: str) -> Rework:
        return Rework(needs_bake, state, baked_by, why)

    if part.msl == "1":
        return answer(False, "level 1: no limit")
    if before.conflicts:
        return answer(True, "its log contradicts itself")
    if part.label_hours is None:
        return answer(True, "the time on its label has not been entered")
    if state.used_share >= 1:
        return answer(True, "its floor life is exceeded")
    if before.bake.needed:
        return answer(True, "exceeded or unknown, and not baked since")
    if state.bake.needed:
        return answer(True, "the air was beyond the tables")
    return answer(False, f"{math.ceil(state.used_share * 100)} % {of}")
