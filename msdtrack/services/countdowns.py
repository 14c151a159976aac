"""The clocks that run for a carrier, and its time left in words."""

from __future__ import annotations

import math
from datetime import tzinfo
from typing import NamedTuple

from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.services.glance import Glance, glance_of
from msdtrack.standard import drypack, indicator
from msdtrack.times import duration_text, local_text

SHOWN_AFTER_OPENING_S = 2 * HOUR_S
"""A desiccant or a reseal long overdue is no news: after this its clock is no longer shown."""


class Countdown(NamedTuple):
    """A clock that runs out.

    Attributes:
        name: what ends, in a few words.
        ends_at: when, seconds UTC; it may have passed.
        is_goal: its end is what one waits for, not what one must be ahead of.
    """

    name: str
    ends_at: int
    is_goal: bool = False


def countdowns(one: CarrierState | Glance) -> list[Countdown]:
    """Return the clocks that run for a carrier, in the order in which a hand needs them.

    The desiccant's clock counts all openings together; the reseal clock counts this one.

    Source: desiccant 30 minutes and reseal within 60 minutes, J-STD-033, from memory.
    """
    seen = glance_of(one)
    return [*_opened_bag(seen), *_bake(seen), *_floor_life(seen)]


def desiccant_ends_at(one: CarrierState | Glance) -> int | None:
    """Return when the desiccant of an open bag is used up; None while no bag is open.

    Source: 30 minutes over all openings, J-STD-033, from memory.
    """
    seen = glance_of(one)
    if seen.opened_at is None:
        return None
    return seen.opened_at + drypack.DESICCANT_REUSE_MIN * 60 - seen.desiccant_out_s


def desiccant_is_good(state: CarrierState) -> bool:
    """Return whether an open bag may be closed with the desiccant it has.

    Source: out for at most 30 minutes in all and the 5 % spot dry, J-STD-033, from memory.
    """
    ends_at = desiccant_ends_at(state)
    hic = state.ledger.hic
    return (
        ends_at is not None
        and state.at <= ends_at
        and hic is not None
        and hic.get(indicator.SPOTS[0]) == "dry"
    )


def time_left_text(state: CarrierState) -> str:
    """Return the floor life left, naming the air it assumes: "20 h 00 min at 24.9 °C / 47 % RH"."""
    part, ledger = state.facts.part, state.ledger
    if state.status == "gone":
        return ""
    if part.msl == "1":
        return "No limit: level 1"
    label_h = part.label_hours
    if label_h is None:
        return "Not known: enter the time on its label"
    if state.used_share >= 1:
        return "None left"
    if ledger.phase in (Phase.BAGGED, Phase.BAKING):
        left_s = math.floor((1 - state.used_share) * label_h * HOUR_S)
        return f"{duration_text(left_s)} of {float(label_h):g} h once out in the air"
    if state.forecast.remaining_h is None:
        return f"No limit {_air(state)}"
    return f"{duration_text(math.floor(state.forecast.remaining_h * HOUR_S))} {_air(state)}"


def next_step_text(one: CarrierState | Glance, tz: tzinfo) -> str:
    """Return the next step with its moment in the reader's time."""
    step = one.next_step
    return step.text if step.at is None else step.text.replace("{at}", local_text(step.at, tz))


def _air(state: CarrierState) -> str:
    if state.status == "dry_storage":
        return "once out of dry storage"
    raw, missing = state.forecast.raw, state.forecast.missing
    if raw is None:
        return "at 30 °C / 60 % RH at most"
    air = f"{raw[0] / 100:.1f} °C / {raw[1] / 100:.0f} % RH"
    return f"at {air}" if missing is None else f"at {air}, assumed"


def _opened_bag(seen: Glance) -> list[Countdown]:
    opened_at, desiccant_at = seen.opened_at, desiccant_ends_at(seen)
    if (
        opened_at is None
        or desiccant_at is None
        or seen.msl == "1"
        or seen.at - opened_at > SHOWN_AFTER_OPENING_S
        or (seen.last_reset_at or opened_at) > opened_at
    ):
        return []
    return [
        Countdown("Desiccant used up", desiccant_at),
        Countdown("Reseal the bag", opened_at + drypack.RESEAL_WITHIN_MIN * 60),
    ]


def _bake(seen: Glance) -> list[Countdown]:
    bake = seen.bake
    if seen.status != "baking" or bake is None or bake.need_h is None or bake.reached_at:
        return []
    return [Countdown("Bake complete", bake.started_at + math.ceil(bake.need_h * HOUR_S), True)]


def _floor_life(seen: Glance) -> list[Countdown]:
    found = []
    if seen.status == "exposed" and seen.expires_at is not None and seen.used < 1:
        found.append(Countdown("Floor life over", seen.expires_at))
    if seen.reset_due_at is not None:
        found.append(Countdown("Floor life whole again", seen.reset_due_at, True))
    return found
