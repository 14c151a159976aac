"""A carrier as one row of the line screen, the watch list and the list of carriers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import CarrierState
from msdtrack.services.countdowns import countdowns, next_step_text
from msdtrack.times import duration_text
from msdtrack.web.marks import Mark, mark_of
from msdtrack.web.rendering import near, percent
from msdtrack.web.site import site
from msdtrack.web.wording import assumed_air_text

_BRIEF = {
    "Desiccant used up": "desiccant",
    "Reseal the bag": "reseal",
    "Bake complete": "bake",
    "Floor life whole again": "whole",
}
_OF_AN_OPEN_BAG = ("desiccant", "reseal")


@dataclass(frozen=True, slots=True)
class Clock:
    """What runs out besides the floor life.

    Args:
        name: what ends.
        brief: the same in one word, for the wall.
        ends_at: when; it may have passed.
        of_bag: whether a hand can still stop it by closing the bag.
    """

    name: str
    brief: str
    ends_at: int
    of_bag: bool


@dataclass(frozen=True, slots=True)
class Row:
    """One carrier on a list.

    Args:
        mark: its mark.
        left: time left in a few words, as of the answer.
        ends_at: the moment a running floor life ends, for the screen to count down to; None where
            no time runs.
        expiry: that moment in words, or "".
        used: used share in words.
        bar: used share for a bar, 0 to 1.
        air: the air that the time left assumes, "" where no time is left or none runs.
        place: name of its place.
        clocks: what else runs out: an opened bag, a bake, a reset.
        bag_to_close: an opened bag that can still be closed in time.
    """

    code: str
    part: str
    lot: str
    msl: str
    quantity: int
    mark: Mark
    left: str
    ends_at: int | None
    expiry: str
    used: str
    bar: float
    air: str
    place_code: str | None
    place: str
    next_step: str
    clocks: tuple[Clock, ...]
    bag_to_close: bool


def row_of(state: CarrierState, names: Mapping[str, str]) -> Row:
    """Return a carrier as a row.

    Args:
        state: the carrier now.
        names: place names by code.
    """
    left, ends_at, is_time = _left(state)
    facts, place = state.facts, state.ledger.place
    clocks = _clocks(state)
    return Row(
        code=facts.code,
        part=facts.part.number,
        lot=facts.lot,
        msl=facts.part.msl,
        quantity=state.ledger.quantity,
        mark=mark_of(state),
        left=left,
        ends_at=ends_at,
        expiry="" if ends_at is None else near(ends_at, state.at),
        used=percent(state.used_share),
        bar=float(min(Fraction(1), state.used_share)),
        air=assumed_air_text(state) if is_time else "",
        place_code=place,
        place="place not known" if place is None else names.get(place, place),
        next_step=next_step_text(state, site().tz),
        clocks=clocks,
        bag_to_close=any(each.of_bag and each.ends_at > state.at for each in clocks),
    )


def rows_of(states: Iterable[CarrierState], names: Mapping[str, str]) -> tuple[Row, ...]:
    """Return carriers as rows, in their order."""
    return tuple(row_of(state, names) for state in states)


def _clocks(state: CarrierState) -> tuple[Clock, ...]:
    found = []
    for each in countdowns(state):
        if each.name in _BRIEF:
            brief = _BRIEF[each.name]
            found.append(Clock(each.name, brief, each.ends_at, brief in _OF_AN_OPEN_BAG))
    return tuple(found)


def _left(state: CarrierState) -> tuple[str, int | None, bool]:
    """Return the time left in words, the moment it ends if it runs now, and whether it is a time
    in some air at all."""
    word = _instead_of_time(state)
    if word:
        return word, None, False
    left_h = state.forecast.remaining_h
    if left_h is None:
        return "no limit", None, True
    text = duration_text(int(left_h * HOUR_S))
    return text, (state.expires_at if state.status == "exposed" else None), True


def _instead_of_time(state: CarrierState) -> str:
    """Return what stands where the time left would; "" if there is one."""
    bake, due = state.ledger.bake, state.reset_due_at
    if state.status == "gone":
        return "gone"
    if state.status == "baking" and bake is not None:
        if bake.need.hours is None:
            return "no figure"
        return f"bake {float(bake.need.hours):g} h" if bake.reached_at is None else "bake done"
    if "floor_life_exceeded" in state.reasons:
        return "expired"
    if state.next_step.kind == "bake":
        return "bake first"
    if "drying" in state.reasons:
        return "drying" if due is None else f"dry {near(due, state.at)}"
    return "do not use" if state.verdict == "do_not_use" else ""
