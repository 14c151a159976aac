"""Batches of boards on the lists of what runs out: one line each, instead of its placements.

A batch whose components may all be reflowed is made from their standings; of any other each
component is folded, as for its own page.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from heapq import merge
from math import inf
from typing import cast

from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import CarrierState, Status, Verdict
from msdtrack.exposure.urgency import is_watched
from msdtrack.services import placements, standings
from msdtrack.services.board_states import BatchState, states_of_batches, use_step
from msdtrack.services.glance import BakeNow, Glance, More, glance_of, of_standing
from msdtrack.store import boards
from msdtrack.store import standings as table
from msdtrack.store.boards import BatchRecord
from msdtrack.store.connection import read


class BatchGlance(Glance):
    """A batch of boards at a glance: a `Glance` whose `code` is the batch's.

    The part, lot and level are those of the component that decides, `quantity` is the number of
    boards. A reset or a bake is reached when all components have reached theirs.

    Attributes:
        batch: as it was put on file.
        on_it: its components at a glance, the worst first, each under the code of the batch.
        folded: it is exact, as its own page is; from standings it may be a second off.
    """

    batch: BatchRecord
    on_it: tuple[Glance, ...]
    folded: bool


@dataclass(frozen=True, slots=True)
class Batches:
    """The batches that face another reflow.

    Args:
        glances: each of them that anything is placed on, most urgent first.
        placements: codes of what is placed on them.
        watched_placements: how many of these would stand on the watch list by themselves.
    """

    glances: tuple[BatchGlance, ...]
    placements: frozenset[str]
    watched_placements: int

    @property
    def watched(self) -> tuple[BatchGlance, ...]:
        """Return those that belong on the watch list: out, baking, or dry after an exposure."""
        return tuple(
            one for one in self.glances if one.status in ("on_board", "baking") or one.used > 0
        )

    def without(self, carriers: Iterable[Glance]) -> Iterator[Glance]:
        """Yield carriers without those that are placed on the batches."""
        return (one for one in carriers if one.code not in self.placements)

    def among(self, carriers: Iterable[Glance]) -> Iterator[Glance]:
        """Yield watched carriers and batches, most urgent first.

        Args:
            carriers: most urgent first, placements among them, which are left out.
        """
        return merge(self.without(carriers), self.watched, key=_urgency)


def unfinished(now: int, place: str | None = None) -> Batches:
    """Return the batches that face another reflow.

    Args:
        now: the present moment; the standings should be up to date, or a batch that has just come
            to the place may be missing.
        place: only those that are at this place; None is everywhere.
    """
    standings.answering(now, place)
    with read():
        # In a transaction they may not be built.
        built = table.build() is not None
        codes = boards.perhaps_unfinished(now, place) if built else boards.all_with_placements()
        usable = _usable(codes, now) if standings.answering(now, place).stale is not None else {}
        states = states_of_batches([code for code in codes if code not in usable], now)
    at_work = [state for state in states if state.finished_at is None and state.placements]
    on_them = [one for state in at_work for one in state.placements]
    here = [state for state in at_work if place is None or state.place == place]
    found = [glance_of_batch(state) for state in here if state.status != "gone"]
    found += [seen for seen, _ in usable.values() if place is None or seen.place == place]
    codes_on_them = {one.placed.code for one in on_them}
    return Batches(
        tuple(sorted(found, key=_urgency)),
        frozenset(codes_on_them.union(*(placed for _, placed in usable.values()))),
        # What is usable on boards is on no list by itself.
        sum(
            is_watched(one.state)
            for one in on_them
            if place is None or one.state.ledger.place == place
        ),
    )


def as_on_their_pages(shown: Iterable[Glance], now: int) -> list[Glance]:
    """Return the same, in their order, with each batch to the second as its own page has it."""
    seen = list(shown)
    codes = [one.code for one in seen if isinstance(one, BatchGlance) and not one.folded]
    with read():
        states = {one.batch.code: one for one in states_of_batches(codes, now)}
    return [glance_of_batch(states[one.code]) if one.code in states else one for one in seen]


def _usable(codes: Sequence[str], now: int) -> dict[str, tuple[BatchGlance, list[str]]]:
    """Return the batches between reflows whose components may all be reflowed as they are, by
    their standings, each with the codes of what is placed on it; inside the caller's transaction.
    """
    last_at = placements.finished_at_each(codes)
    placed = {
        code: placements.on_board_at(each, now)
        for code, each in placements.placed_on_each(codes).items()
        if last_at[code] is None
    }
    lines = table.lines_of({one for each in placed.values() for one in each}, now)
    glances = {line.carrier: of_standing(line, now) for line in lines}
    usable = {
        code: each
        for code, each in placed.items()
        if each and all(one in glances and _may_be_reflowed(glances[one]) for one in each)
    }
    batches = boards.batches_by_code(usable)
    passes = placements.passes_of_each((one for each in usable.values() for one in each), now)
    return {
        code: (
            _glance_of_usable(
                batches[code], [glances[one] for one in each], max(passes[one] for one in each)
            ),
            each,
        )
        for code, each in usable.items()
    }


def _may_be_reflowed(seen: Glance) -> bool:
    return seen.status == "on_board" and seen.verdict == "use" and not seen.bake_needed


def _glance_of_usable(batch: BatchRecord, ones: Sequence[Glance], passes: int) -> BatchGlance:
    """Return what `glance_of_batch` does, of components that may all be reflowed.

    Args:
        ones: they at a glance.
        passes: reflows of the batch so far.
    """
    listed = sorted(ones, key=_least_left)
    worst = listed[0]
    due = [one.reset_due_at for one in ones if one.was_exposed]
    whole = not any(one.used for one in ones)
    ends = [one.shelf_life_ends for one in ones if one.shelf_life_ends is not None]
    left_h = worst.left_h
    found = BatchGlance(
        *worst._replace(
            code=batch.code,
            quantity=batch.boards,
            next_step=use_step(left_h, passes),
            used=max(one.used for one in ones),
            opened_at=None,
            desiccant_out_s=0,
            was_exposed=bool(due),
            last_reset_at=_last(one.last_reset_at for one in ones) if whole else None,
            baked_at=_last(one.baked_at for one in ones),
            reset_due_at=None if None in due else _last(due),
            shelf_life_ends=min(ends, default=None),
            bake=None,
            more=More(),
        )
    )
    found.batch = batch
    found.on_it = tuple(one._replace(code=batch.code) for one in listed)
    found.folded = False
    return found


def _least_left(one: Glance) -> tuple[float, float, str]:
    """Return what the usable components of a batch are sorted by, the worst first."""
    return inf if one.left_h is None else float(one.left_h), -float(one.used), one.code


def glance_of_batch(state: BatchState) -> BatchGlance:
    """Return a batch that faces another reflow, and that something is placed on, at a glance."""
    assert state.worst is not None
    worst = state.worst.state
    ones = [one.state for one in state.placements]
    exposed = [one for one in ones if one.ledger.exposure_s > 0]
    due = [one.reset_due_at for one in exposed]
    whole = not any(one.used_share for one in ones)
    ends = [one.shelf_life_ends for one in ones if one.shelf_life_ends is not None]
    code = state.batch.code
    found = BatchGlance(
        code=code,
        part=worst.facts.part.number,
        lot=worst.facts.lot,
        msl=worst.facts.part.msl,
        quantity=state.batch.boards,
        label_h=worst.facts.part.label_hours,
        at=state.at,
        status=cast(Status, state.status),
        verdict=cast(Verdict, state.verdict),
        reasons=state.reasons,
        next_step=state.next_step,
        used=state.used_share,
        left_h=state.remaining_h,
        expires_at=state.expires_at,
        air=worst.forecast.raw,
        missing=worst.forecast.missing,
        place=state.place,
        opened_at=None,
        desiccant_out_s=0,
        was_exposed=bool(exposed),
        last_reset_at=_last(one.ledger.last_reset_at for one in ones) if whole else None,
        baked_at=_last(one.ledger.baked_at for one in ones),
        reset_due_at=None if None in due else _last(due),
        shelf_life_ends=min(ends, default=None),
        bake=_bake(ones),
        bake_needed=state.bake.needed,
    )
    found.batch = state.batch
    found.on_it = tuple(glance_of(one)._replace(code=code) for one in ones)
    found.folded = True
    return found


def _bake(ones: Iterable[CarrierState]) -> BakeNow | None:
    """Return the running bake of the component that has longest to go."""
    bakes = [
        (one.facts.part.msl != "1", one.ledger.bake)
        for one in ones
        if one.status == "baking" and one.ledger.bake is not None
    ]
    if not bakes:
        return None
    # A level 1 component needs no bake and waits for none.
    of = [bake for sensitive, bake in bakes if sensitive] or [bake for _, bake in bakes]
    reached = [bake.reached_at for bake in of]
    hours = [bake.need.hours for bake in of]
    return BakeNow(
        of[0].oven,
        min(bake.started_at for bake in of),
        None if None in reached else _last(reached),
        None if None in hours else max(one for one in hours if one is not None),
    )


def _last(moments: Iterable[int | None]) -> int | None:
    return max((one for one in moments if one is not None), default=None)


def _urgency(seen: Glance) -> tuple[int, float, str]:
    """Return what the watch list is sorted by, as `exposure.urgency` has it: boards are out."""
    left_s = inf if seen.left_h is None else round(seen.left_h * HOUR_S)
    if seen.status not in ("exposed", "on_board"):
        rank = 2
    elif seen.verdict == "do_not_use":
        rank = 0
    else:
        rank = 3 if seen.left_h is None else 1
    return rank, left_s, seen.code
