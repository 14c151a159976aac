"""A carrier, or a batch of boards, as one row of the line screen and the lists."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import USE_FIRST_BELOW_H, CarrierState
from msdtrack.services.board_glances import BatchGlance
from msdtrack.services.countdowns import SHOWN_AFTER_OPENING_S, countdowns, next_step_text
from msdtrack.services.glance import Glance, glance_of
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
    """One carrier on a list, or one batch of boards.

    Args:
        code: of the carrier, or of the batch.
        part, lot, msl: of the carrier, or of the component of a batch that decides.
        quantity: pieces, or boards.
        mark: its mark.
        left: time left in a few words, as of the answer.
        ends_at: the moment a running floor life ends, for the screen to count down to; None where
            no time runs.
        expiry: that moment in words, or "".
        used: used share in words.
        bar: used share for a bar, 0 to 1.
        air: the air that the time left assumes, "" where no time is left or none runs.
        place: name of its place.
        turns_at: when it becomes one to use first; None where it will not, or is.
        clocks: what else runs out: an opened bag, a bake, a reset.
        bag_to_close: an opened bag that can still be closed in time.
        batch: name of the boards; "" for a carrier.
        parts: of boards, the part numbers on them, the worst first.
    """

    code: str
    part: str
    lot: str
    msl: str
    quantity: int
    mark: Mark
    left: str
    ends_at: int | None
    turns_at: int | None
    expiry: str
    used: str
    bar: float
    air: str
    place_code: str | None
    place: str
    next_step: str
    clocks: tuple[Clock, ...]
    bag_to_close: bool
    batch: str = ""
    parts: tuple[str, ...] = ()


def row_of(one: CarrierState | Glance, names: Mapping[str, str]) -> Row:
    """Return a carrier as a row.

    Args:
        one: the carrier now.
        names: place names by code.
    """
    seen = glance_of(one)
    left, ends_at, is_time = _left(seen)
    clocks, place = _clocks(seen), seen.place
    turns = ends_at is not None and seen.next_step.kind == "use"
    return Row(
        code=seen.code,
        part=seen.part,
        lot=seen.lot,
        msl=seen.msl,
        quantity=seen.quantity,
        mark=mark_of(seen),
        left=left,
        ends_at=ends_at,
        turns_at=ends_at - USE_FIRST_BELOW_H * HOUR_S + 1 if turns and ends_at else None,
        expiry="" if ends_at is None else near(ends_at, seen.at),
        used=percent(seen.used),
        bar=float(min(1, seen.used)),
        air=assumed_air_text(seen) if is_time else "",
        place_code=place,
        place="place not known" if place is None else names.get(place, place),
        next_step=next_step_text(seen, site().tz),
        clocks=clocks,
        bag_to_close=_can_be_closed(clocks, seen.at),
        batch=seen.batch.name if isinstance(seen, BatchGlance) else "",
        parts=_parts(seen),
    )


def has_bag_to_close(seen: Glance) -> bool:
    """Return whether a carrier is an opened bag that can still be closed in time."""
    opened_at = seen.opened_at
    if opened_at is None or seen.at - opened_at > SHOWN_AFTER_OPENING_S:
        return False
    return _can_be_closed(_clocks(seen), seen.at)


def rows_of(ones: Iterable[CarrierState | Glance], names: Mapping[str, str]) -> tuple[Row, ...]:
    """Return carriers as rows, in their order."""
    return tuple(row_of(one, names) for one in ones)


def _parts(seen: Glance) -> tuple[str, ...]:
    if not isinstance(seen, BatchGlance):
        return ()
    return tuple(dict.fromkeys(one.part for one in seen.on_it))


def _can_be_closed(clocks: Iterable[Clock], at: int) -> bool:
    return any(each.of_bag and each.ends_at > at for each in clocks)


def _clocks(seen: Glance) -> tuple[Clock, ...]:
    found = []
    for each in countdowns(seen):
        if each.name in _BRIEF:
            brief = _BRIEF[each.name]
            found.append(Clock(each.name, brief, each.ends_at, brief in _OF_AN_OPEN_BAG))
    return tuple(found)


def _left(seen: Glance) -> tuple[str, int | None, bool]:
    """Return the time left in words, the moment it ends if it runs now, and whether it is a time
    in some air at all."""
    word = _instead_of_time(seen)
    if word:
        return word, None, False
    if seen.left_h is None:
        return "no limit", None, True
    text = duration_text(int(seen.left_h * HOUR_S))
    runs = seen.status in ("exposed", "on_board")
    return text, (seen.expires_at if runs else None), True


def _instead_of_time(seen: Glance) -> str:
    """Return what stands where the time left would; "" if there is one."""
    bake, due = seen.bake, seen.reset_due_at
    if seen.status == "gone":
        return "gone"
    if seen.status == "baking" and bake is not None:
        if bake.need_h is None:
            return "no figure"
        return f"bake {float(bake.need_h):g} h" if bake.reached_at is None else "bake done"
    if "floor_life_exceeded" in seen.reasons:
        return "expired"
    if seen.next_step.kind == "bake":
        return "bake first"
    if "drying" in seen.reasons:
        return "drying" if due is None else f"dry {near(due, seen.at)}"
    return "do not use" if seen.verdict == "do_not_use" else ""
