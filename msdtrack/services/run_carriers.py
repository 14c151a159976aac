"""A carrier as the plan of a run sees it: as it is now, before it is asked about, and with what the
run may expect of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from msdtrack.exposure.run import Outlook
from msdtrack.services.glance import Glance
from msdtrack.store.run_stock import Resting

OPENED_FOR_ANOTHER = "Its bag is opened before that for another carrier."
"""A reason, as a sentence."""

Alike = tuple[object, ...]
"""What decides about a bag that nothing happened to."""


@dataclass(frozen=True, slots=True)
class OnHand:
    """A carrier as it is now.

    Args:
        pieces: how many are in it.
        place: code of its place; None: nobody knows.
        bag: the closed bag it is in, None for none.
        shelf_life_ends: last day of it in that bag.
        begun: some of its floor life is used up.
    """

    code: str
    part: str
    lot: str
    msl: str
    pieces: int
    place: str | None
    bag: str | None
    shelf_life_ends: date | None
    begun: bool


@dataclass(frozen=True, slots=True)
class Candidate:
    """A carrier that a run might have, not yet asked about.

    Args:
        in_order: what sealed bags are sorted by: the last day of shelf life, the last ever if that
            is not known; the bag; the code.
        seen: the carrier at a glance; None for one that was never out.
        row: its receipt, for one that was never out.
        alike: what decides about it, if nothing has happened to it in its bag since.
        use_class: the air it is in and the rate at which that uses it up; None: not known.
    """

    code: str
    in_order: tuple[date, str, str]
    seen: Glance | None = None
    row: Resting | None = None
    alike: Alike | None = None
    use_class: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """A carrier with what the run may expect of it.

    Args:
        bake_done_at: when its running bake is complete if its oven stays hot; None: none runs, it
            is complete, or that can't be said.
        used: share of its floor life that is used now.
        bakes: a bake of it runs.
    """

    candidate: Candidate
    own: OnHand
    outlook: Outlook
    bake_done_at: int | None = None
    used: Fraction | float = 0
    bakes: bool = False


def as_seen(one: Candidate) -> Asked:
    """Return a carrier whose standing says that it may not be used."""
    seen = one.seen
    assert seen is not None
    bakes = seen.status == "baking"
    return Asked(one, on_hand(seen), Outlook("take", seen.reasons, None), None, seen.used, bakes)


def on_hand(seen: Glance) -> OnHand:
    """Return a carrier as its standing has it."""
    return OnHand(
        seen.code,
        seen.part,
        seen.lot,
        seen.msl,
        seen.quantity,
        seen.place,
        seen.more.bag,
        seen.shelf_life_ends if seen.status == "in_dry_bag" else None,
        seen.was_exposed or seen.used > 0,
    )
