"""End of shift: what is out, boards between two reflows among it, and where boards should go."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from msdtrack.exposure.clock import can_reset_by_storage
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import CarrierState
from msdtrack.services import board_glances, cabinets, catalog, shift, watch_list
from msdtrack.services.board_glances import BatchGlance
from msdtrack.services.board_states import BatchState, state_of_batch, states_of_batches
from msdtrack.services.carrier_states import oven_limits, states
from msdtrack.services.catalog import Place
from msdtrack.services.glance import Glance
from msdtrack.services.shift import ALL_PLACES, Destination, StillOut, runs_in_storage
from msdtrack.standard import recovery
from msdtrack.store import boards
from msdtrack.store.connection import read
from msdtrack.times import duration_text

_OUT = ("exposed", "on_board")


@dataclass(frozen=True, slots=True)
class BoardsOut:
    """A batch of boards that is out between two reflows, and where it should go."""

    seen: BatchGlance
    destination: Destination


@dataclass(frozen=True, slots=True)
class OutNow:
    """What is out and has a clock.

    Args:
        first: carriers and batches of boards, most urgent first, so many as were asked for.
        at_place: how many there are in all, by the code of the place; None: place not known.
    """

    first: tuple[StillOut | BoardsOut, ...]
    at_place: Mapping[str | None, int]

    @property
    def count(self) -> int:
        """Return how many there are in all."""
        return sum(self.at_place.values())


def everything_out(now: int, place: str | None = None, limit: int | None = None) -> OutNow:
    """Return every carrier and every batch of boards that is out and has a clock.

    Args:
        now: the present moment.
        place: only what is at this place; None is everywhere.
        limit: only the most urgent ones; None is all.
    """
    batches = board_glances.unfinished(now, place)
    found = [one for one in batches.among(watch_list.glances(now, place)) if _is_out(one)]
    first = found[:limit]
    with read():
        boards_first = [one.code for one in first if isinstance(one, BatchGlance)]
        of_batch = dict(zip(boards_first, states_of_batches(boards_first, now), strict=True))
        known = states((one.code for one in first if not isinstance(one, BatchGlance)), now)
        places = catalog.places(limit=ALL_PLACES)
        out: list[StillOut | BoardsOut] = []
        for one in first:
            if isinstance(one, BatchGlance):
                state = of_batch[one.code]
                out.append(BoardsOut(board_glances.glance_of_batch(state), destination(state)))
            else:
                carrier = known[one.code]
                out.append(StillOut(carrier, shift.destination(carrier, places)))
    return OutNow(tuple(out), Counter(one.place for one in found))


def goal_of(code: str, now: int) -> Destination | None:
    """Return where a batch should go; None if it is not out between two reflows.

    Raises:
        NotFound: no such batch.
    """
    with read():
        state = state_of_batch(code, now)
        out = state.finished_at is None and state.status in _OUT and _sensitive(state)
        return destination(state) if out else None


def label_of(code: str) -> str:
    """Return the code on the label of what was scanned: of a placement that of its batch."""
    with read():
        return boards.batch_of(code) or code


def destination(state: BatchState) -> Destination:
    """Return where a batch that is out between two reflows should go, inside the caller's
    transaction: an oven, a cabinet or a bag that suits all of its components."""
    step = state.next_step
    if step.kind in ("hold", "correct"):
        return Destination("quality", "Hold for quality", step.text)
    everywhere = sorted(catalog.places(limit=ALL_PLACES), key=lambda one: one.name)
    if state.bake.needed:
        return _to_oven(state, [one for one in everywhere if one.kind == "oven"])
    if state.verdict != "use":
        return Destination("quality", "Quality decides", step.text)
    return _to_dry_storage(state, [one for one in everywhere if one.kind == "cabinet"])


def _is_out(seen: Glance) -> bool:
    levels = [one.msl for one in seen.on_it] if isinstance(seen, BatchGlance) else [seen.msl]
    return seen.status in _OUT and any(level != "1" for level in levels)


def _sensitive(state: BatchState) -> list[CarrierState]:
    """Return the components that have a clock."""
    return [one.state for one in state.placements if one.state.facts.part.msl != "1"]


def _to_oven(state: BatchState, ovens: Sequence[Place]) -> Destination:
    text = state.next_step.text
    for oven in ovens:
        able = state_of_batch(state.batch.code, state.at, oven_limits(oven.code)).bake.options
        if able:
            bake = f"{float(able[0].hours):g} h at {able[0].temp_c:g} °C"
            why = f"{bake} make the floor life of all parts on them whole, before the next reflow."
            return Destination("oven", oven.name, why, oven.code)
    if state.bake.options:
        return Destination("oven", "No oven here fits", text)
    return Destination("quality", "Ask the makers how to bake them", text)


def _to_dry_storage(state: BatchState, dry: Sequence[Place]) -> Destination:
    step, of = state.next_step.text, _sensitive(state)
    levels = {one.facts.part.msl for one in of}
    if any(recovery.dry_storage_rule(level) is None for level in levels):
        title = "Reflow them or bake them"
        return Destination("use", title, f"{step} Nothing stops their clock: {_left_text(of)}.")
    why = f"{step} {_effect(of)}"
    for cabinet in dry:
        if all(cabinets.fits(cabinet.code, level, state.at) for level in levels):
            return Destination("cabinet", cabinet.name, why, cabinet.code)
    limit = min(recovery.storage_limit_rh_pct(level) for level in levels)
    words = "Dry bag: fresh desiccant, fresh card, heat seal"
    return Destination("bag", words, f"No cabinet is at {limit} % RH or less. {why}")


def _effect(of: Sequence[CarrierState]) -> str:
    """Return what dry storage does for all components: what it does for the one it helps least."""
    exposed = [one for one in of if one.ledger.exposure_s]
    unhelped = [one for one in exposed if not can_reset_by_storage(one.facts.part, one.ledger)]
    running = dict.fromkeys(one.facts.part.number for one in unhelped if runs_in_storage(one))
    if running:
        left = _left_text(of)
        return f"The clock of {', '.join(running)} runs on in dry storage too: {left}."
    if unhelped or not exposed:
        return f"In dry storage their clock stands, with {_left_text(of)}."
    rules = [(one, recovery.dry_storage_rule(one.facts.part.msl)) for one in exposed]
    due_s = max(rule.factor * one.ledger.exposure_s for one, rule in rules if rule is not None)
    return f"After {duration_text(due_s)} of dry storage their floor life is whole again."


def _left_text(of: Sequence[CarrierState]) -> str:
    left_s: list[Fraction] = []
    for one in of:
        label_h = one.facts.part.label_hours
        if label_h is None:
            return "no limit known"
        left_s.append(max(Fraction(0), 1 - one.used_share) * label_h * HOUR_S)
    return f"{duration_text(int(min(left_s)))} left"
