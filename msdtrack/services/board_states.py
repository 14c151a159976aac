"""The state of a batch of boards: the worst of what is placed on it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from msdtrack.exposure.bake_advice import CAUTIONS, BakeAdvice, BakeOption, OvenLimits, advise
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import USE_FIRST_BELOW_H, CarrierState, NextStep, reflow_step
from msdtrack.services import placements
from msdtrack.services.accounts import Account, accounts
from msdtrack.services.placements import Placed
from msdtrack.services.rework import HEAT_C, Rework, rework_of
from msdtrack.store import boards
from msdtrack.store.boards import BatchRecord

CARRIER_CAUTIONS = ("Plastic carriers", "Long bakes oxidise", "Take it out")
"""How the cautions begin that are about carriers, not boards."""

BOARD_CAUTIONS = (
    "The board, connectors, batteries, electrolytic capacitors, labels, coatings and paste have "
    "limits of their own that are not on file here: ask their makers; the lowest of all counts.",
    "Take the boards out of the dry bag and of any plastic or cardboard rack.",
    "Long or repeated bakes cost the solderability of pads and of what is still to be soldered.",
)


@dataclass(frozen=True, slots=True)
class PlacementState:
    """One component of a batch.

    Args:
        placed: the placement.
        state: its floor life account, which ends with the last reflow.
        rework: what it needs before rework heat.
        bake: the bakes the component itself allows, wherever its carrier could not go.
    """

    placed: Placed
    state: CarrierState
    rework: Rework
    bake: BakeAdvice

    @property
    def counting(self) -> CarrierState:
        """Return the account that goes on: after the last reflow the one for rework."""
        return self.rework.state


@dataclass(frozen=True, slots=True)
class BoardBake:
    """The bakes that all components of a batch allow.

    Args:
        needed: a component needs one before its next reflow.
        max_c: the lowest of the components' highest bake temperatures, °C; None is not stated.
        options: what all allow, shortest first; hours are those of the component that needs most.
        refused: temperature and why not.
    """

    needed: bool
    max_c: float | None
    options: tuple[BakeOption, ...]
    refused: tuple[tuple[float | None, str], ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BatchState:
    """A batch as of a moment.

    Args:
        placements: its components, the worst first.
        worst: the component that decides; None while nothing is placed.
        used_share, remaining_h: the largest share used and the least time left of all components;
            no hours: no limit.
        passes: reflows so far; `peak_c` the hottest body temperature of them, °C.
        finished_at: when the last reflow was, by `at`.
        needs_rework_bake: it must be baked before any component is heated above 200 °C.
    """

    batch: BatchRecord
    at: int
    place: str | None
    status: str
    verdict: str
    reasons: tuple[str, ...]
    next_step: NextStep
    placements: tuple[PlacementState, ...]
    worst: PlacementState | None
    used_share: Fraction
    remaining_h: Fraction | None
    passes: int
    peak_c: float | None
    finished_at: int | None
    bake: BoardBake
    needs_rework_bake: bool

    @property
    def expires_at(self) -> int | None:
        """Return when the first component's floor life runs out in its present air."""
        return None if self.remaining_h is None else self.at + int(self.remaining_h * HOUR_S)


def state_of_batch(code: str, at: int, oven: OvenLimits | None = None) -> BatchState:
    """Return the state of a batch as of `at`, inside the caller's transaction.

    Args:
        code: the batch.
        at: the moment asked about.
        oven: the oven that the bake is for; None is any.

    Raises:
        NotFound: no such batch.
    """
    boards.batch(code)
    return states_of_batches([code], at, oven)[0]


def states_of_batches(
    codes: Iterable[str], at: int, oven: OvenLimits | None = None
) -> list[BatchState]:
    """Return the states of batches that exist, in the order given, from a handful of queries;
    arguments as for `state_of_batch`."""
    wanted = list(codes)
    if not wanted:
        return []
    batches, last_at = boards.batches_by_code(wanted), placements.finished_at_each(wanted)
    placed = {
        code: [one for one in each if one.event.at <= at]
        for code, each in placements.placed_on_each(wanted).items()
    }
    every = accounts(one.code for code in wanted for one in placed[code])
    states = []
    for code in wanted:
        finished_at = last_at[code]
        if finished_at is not None and finished_at > at:
            finished_at = None
        found = [_placement(one, next(every), at, finished_at, oven) for one in placed[code]]
        states.append(_state_of(batches[code], found, at, finished_at))
    return states


def _state_of(
    batch: BatchRecord, found: list[PlacementState], at: int, finished_at: int | None
) -> BatchState:
    listed = tuple(sorted(found, key=lambda one: _urgency(one.counting)))
    counting = [one.counting for one in listed]
    ledgers = [one.state.ledger for one in listed]
    reasons = tuple(dict.fromkeys(reason for one in found for reason in one.state.reasons))
    if finished_at is not None:
        reasons = tuple(reason for reason in reasons if reason != "gone")
    left = [one.forecast.remaining_h for one in counting]
    bake = _bake(listed, finished_at is not None)
    status = _status(listed, finished_at)
    passes = max((ledger.passes for ledger in ledgers), default=0)
    return BatchState(
        batch=batch,
        at=at,
        place=ledgers[0].place if ledgers else batch.place,
        status=status,
        verdict="use" if listed and not reasons else "do_not_use",
        reasons=reasons,
        next_step=_next_step(status, listed, reasons, bake, passes),
        placements=listed,
        worst=listed[0] if listed else None,
        used_share=max((one.used_share for one in counting), default=Fraction(0)),
        remaining_h=min((one for one in left if one is not None), default=None),
        passes=passes,
        peak_c=max((one.peak_c for one in ledgers if one.peak_c is not None), default=None),
        finished_at=finished_at,
        bake=bake,
        needs_rework_bake=any(one.rework.needs_bake for one in listed),
    )


def max_bake_c(of: tuple[PlacementState, ...]) -> float | None:
    """Return the lowest of the highest bake temperatures that the makers state, °C."""
    stated = [one.state.facts.part.max_bake_c for one in of]
    return min((one for one in stated if one is not None), default=None)


def _placement(
    placed: Placed, account: Account, at: int, finished_at: int | None, oven: OvenLimits | None
) -> PlacementState:
    state = account.state(at)
    rework = rework_of(account, state, finished_at)
    by = rework.baked_by
    part = replace(by.facts.part, carrier_max_c=math.inf)
    limit_h = account.policies.cumulative_bake_h.at(at)
    bake = advise(replace(by.facts, part=part), by.ledger, limit_h, oven)
    return PlacementState(placed, state, rework, bake)


def _urgency(state: CarrierState) -> tuple[bool, float, Fraction, str]:
    left_h = state.forecast.remaining_h
    hours = math.inf if left_h is None else float(left_h)
    return state.verdict == "use", hours, -state.used_share, state.facts.code


def _status(listed: tuple[PlacementState, ...], finished_at: int | None) -> str:
    if not listed:
        return "empty"
    if all(one.counting.ledger.gone is not None for one in listed):
        return "gone"
    status = listed[0].counting.status
    return "finished" if finished_at is not None and status != "baking" else status


def _bake(of: tuple[PlacementState, ...], finished: bool) -> BoardBake:
    """Return the bakes that every component allows, long enough for each that needs one."""
    sensitive = [one for one in of if one.state.facts.part.msl != "1"]
    needing = [one for one in sensitive if (one.rework.needs_bake if finished else one.bake.needed)]
    refused: dict[float | None, str] = {}
    offers: list[dict[float, BakeOption]] = []
    for one in needing or sensitive:
        for refusal in one.bake.refused:
            refused.setdefault(refusal.temp_c, f"{one.state.facts.part.number}: {refusal.why}")
        offers.append({option.temp_c: option for option in one.bake.options})
    shared = set.intersection(*(set(offer) for offer in offers)) if offers else set()
    max_c = max_bake_c(of)
    options = []
    for temp_c in sorted(shared):
        if max_c is not None and temp_c > max_c:
            limit = f"The component stands {max_c:g} °C at most."
            refused[temp_c] = f"{', '.join(_parts_limited_to(of, max_c))}: {limit}"
            continue
        longest = max((offer[temp_c] for offer in offers), key=lambda option: option.hours)
        dry = [offer[temp_c].max_rh_pct for offer in offers]
        driest = min((one for one in dry if one is not None), default=None)
        options.append(replace(longest, max_rh_pct=driest))
    kept = {option.temp_c for option in options}
    for offer in offers:
        for temp_c in offer.keys() - kept - refused.keys():
            refused[temp_c] = "Not every component has a figure for this temperature."
    cautions = [one for one in CAUTIONS if not one.startswith(CARRIER_CAUTIONS)]
    return BoardBake(
        bool(needing),
        max_c,
        tuple(sorted(options, key=lambda option: option.hours)),
        tuple(refused.items()),
        (*BOARD_CAUTIONS, *cautions),
    )


def _parts_limited_to(of: tuple[PlacementState, ...], max_c: float) -> list[str]:
    parts = [one.state.facts.part for one in of]
    return sorted({part.number for part in parts if part.max_bake_c == max_c})


def _next_step(
    status: str,
    listed: tuple[PlacementState, ...],
    reasons: tuple[str, ...],
    bake: BoardBake,
    passes: int,
) -> NextStep:
    if not listed:
        return NextStep("place", "Scan the carriers whose pieces are placed on these boards.")
    if status == "gone":
        return NextStep("none", "Nothing: the boards are scrapped.")
    held = dict.fromkeys(reason for one in listed for reason in one.state.ledger.held)
    if held:
        return NextStep("hold", f"Hold for quality: {'; '.join(held)}.")
    for one in listed:
        if one.state.next_step.kind in ("hold", "correct"):
            return one.state.next_step
    after_reflow = reflow_step(reasons, passes)
    if after_reflow is not None:
        return after_reflow
    if status == "baking":
        return _baking_step(listed)
    if status == "finished":
        heat = f"heat above {HEAT_C} °C"
        line = f"Before any {heat} {bake_line(bake)}" if bake.needed else ""
        if reasons:
            return NextStep(
                "quality", f"Soldered outside the rules: quality decides. {line}".strip()
            )
        if bake.needed:
            return NextStep("rework", f"Soldered. {line}")
        return NextStep("done", f"Soldered. No bake needed now before {heat}.")
    if bake.needed:
        return NextStep("bake", f"Before the next reflow {bake_line(bake)}")
    worst = listed[0].state
    if reasons or status in ("in_dry_bag", "dry_storage"):
        return worst.next_step
    return use_step(worst.forecast.remaining_h, passes)


def use_step(left_h: Fraction | float | None, passes: int) -> NextStep:
    """Return the next step of boards that may be reflowed: so many hours left, so many passes so
    far."""
    if left_h is not None and left_h < USE_FIRST_BELOW_H:
        return NextStep("use_first", f"Reflow pass {passes + 1} first, or dry storage now.")
    return NextStep("use", f"Reflow pass {passes + 1}, or dry storage until then.")


def _baking_step(listed: tuple[PlacementState, ...]) -> NextStep:
    """Return the step of the component that has longest to go."""

    def to_go(one: PlacementState) -> tuple[bool, float]:
        bake = one.counting.ledger.bake
        if bake is None or one.counting.facts.part.msl == "1":
            return False, 0.0
        hours = math.inf if bake.need.hours is None else float(bake.need.hours)
        return bake.reached_at is None, hours

    return max(listed, key=to_go).counting.next_step


def bake_line(bake: BoardBake) -> str:
    """Return the shortest bake that all components allow, in a sentence."""
    if not bake.options:
        return "it must be baked, and no temperature suits all components: ask their makers."
    option = bake.options[0]
    dry = "" if option.max_rh_pct is None else f" in air of at most {option.max_rh_pct:g} % RH"
    return f"bake {float(option.hours):g} h at {option.temp_c:g} °C{dry}."
