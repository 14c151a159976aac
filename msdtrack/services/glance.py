"""A carrier at a glance: what lists, screens and alarms say of it.

A state gives it exactly; a standing gives it without the fold. What of it does not move with time
is kept with the standing.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from fractions import Fraction
from typing import Any, NamedTuple

from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.ledger import Conflict
from msdtrack.exposure.lines import UNIT, Line
from msdtrack.exposure.spans import Air, Missing
from msdtrack.exposure.state import CarrierState, NextStep, Status, Verdict, use_step
from msdtrack.store.standings import Urgent


class BakeNow(NamedTuple):
    """A running bake.

    Attributes:
        need_h: hours that it needs; None: there is no figure.
    """

    oven: str | None
    started_at: int
    reached_at: int | None
    need_h: Fraction | float | None


class More(NamedTuple):
    """What only the whole answer says of a carrier.

    Attributes:
        bag: the closed dry bag it is in.
        provisional, assumed: what of the used share is provisional, and what stands on assumed air.
        bakes: how many were started. hot_s: seconds in an oven above 90 °C.
    """

    bag: str | None = None
    provisional: Fraction | float = 0
    assumed: Fraction | float = 0
    bakes: int = 0
    hot_s: int = 0
    unknowns: tuple[str, ...] = ()
    conflicts: tuple[Conflict, ...] = ()


_NO_MORE = More()


class Glance(NamedTuple):
    """A carrier at the moment `at`.

    Attributes:
        label_h: floor life that counts, hours; None: no limit, or not known.
        used: share used, provisional hours included. From a standing it may be above the exact one
            by what rounding up each second gives, 1e-15 of the floor life, and never below.
        left_h: hours left in `air`; None: it sets no limit.
        expires_at: when they are over.
        air: hundredths of °C and % RH that the time left assumes; None: 30 °C / 60 % RH at most.
        missing: why that air is assumed; None is measured.
        opened_at: when the bag was opened, None while it is closed.
        desiccant_out_s: how long its desiccant was in the air at earlier openings, seconds.
        was_exposed: it has been exposed since the last reset.
        baked_at: when the last bake that reset it was complete.
    """

    code: str
    part: str
    lot: str
    msl: str
    quantity: int
    label_h: Fraction | float | None
    at: int
    status: Status
    verdict: Verdict
    reasons: tuple[str, ...]
    next_step: NextStep
    used: Fraction | float
    left_h: Fraction | float | None
    expires_at: int | None
    air: Air | None
    missing: Missing | None
    place: str | None
    opened_at: int | None
    desiccant_out_s: int
    was_exposed: bool
    last_reset_at: int | None
    baked_at: int | None
    reset_due_at: int | None
    shelf_life_ends: date | None
    bake: BakeNow | None
    bake_needed: bool
    more: More = _NO_MORE


def glance_of(one: CarrierState | Glance) -> Glance:
    """Return a state at a glance; a glance is what it is."""
    if isinstance(one, Glance):
        return one
    facts, ledger, forecast = one.facts, one.ledger, one.forecast
    bake = ledger.bake
    return Glance(
        code=facts.code,
        part=facts.part.number,
        lot=facts.lot,
        msl=facts.part.msl,
        quantity=ledger.quantity,
        label_h=facts.part.label_hours,
        at=one.at,
        status=one.status,
        verdict=one.verdict,
        reasons=one.reasons,
        next_step=one.next_step,
        used=one.used_share,
        left_h=forecast.remaining_h,
        expires_at=one.expires_at,
        air=forecast.raw,
        missing=forecast.missing,
        place=ledger.place,
        opened_at=one.opened_at,
        desiccant_out_s=ledger.desiccant_out_s,
        was_exposed=ledger.exposure_s > 0,
        last_reset_at=ledger.last_reset_at,
        baked_at=ledger.baked_at,
        reset_due_at=one.reset_due_at,
        shelf_life_ends=one.shelf_life_ends,
        bake=None
        if bake is None
        else BakeNow(bake.oven, bake.started_at, bake.reached_at, bake.need.hours),
        bake_needed=one.bake.needed,
        more=More(
            ledger.bag if one.status == "in_dry_bag" else None,
            ledger.provisional,
            ledger.assumed,
            ledger.bakes,
            ledger.hot_s,
            one.unknowns,
            one.conflicts,
        ),
    )


def kept(state: CarrierState, line: Line) -> str:
    """Return what of a glance does not move with time, as JSON, and what moves with its line."""
    seen = glance_of(state)
    step, ends, bake, more = seen.next_step, seen.shelf_life_ends, seen.bake, seen.more
    uses = step.kind in ("use", "use_first")
    moving = (line.provisional, line.assumed, line.hot)
    return json.dumps(
        (
            seen.part,
            seen.lot,
            seen.msl,
            seen.quantity,
            _number(seen.label_h),
            seen.status,
            seen.verdict,
            seen.reasons,
            None if uses else (step.kind, step.text, step.at),
            seen.air,
            seen.missing,
            seen.place,
            seen.opened_at,
            seen.desiccant_out_s,
            seen.was_exposed,
            seen.last_reset_at,
            seen.baked_at,
            seen.reset_due_at,
            None if ends is None else ends.isoformat(),
            None if bake is None else (*bake[:-1], _number(bake.need_h)),
            seen.bake_needed,
            None
            if more == _NO_MORE
            else (
                more.bag,
                float(more.provisional),
                float(more.assumed),
                *more[3:-1],
                [(one.event_id, one.at, one.message) for one in more.conflicts],
            ),
            (float(seen.used), *moving) if any(moving) else None,
        )
    )


def of_standing(one: Urgent, now: int) -> Glance:
    """Return a carrier at a glance from its standing.

    Args:
        one: what moves, and what `kept` gave.
        now: the present moment.
    """
    (
        part, lot, msl, quantity, label_h, status, verdict, reasons, step, air, missing, place,
        opened_at, desiccant_out_s, was_exposed, last_reset_at, baked_at, reset_due_at, ends, bake,
        bake_needed, more, moving,
    ) = json.loads(one.kept)  # fmt: skip
    left_s = one.left_s
    left_h = None if left_s is None else left_s / HOUR_S
    if one.temp_c100 is not None and one.rh_c100 is not None:
        air, missing = (one.temp_c100, one.rh_c100), one.missing
    elif air is not None:
        air = (air[0], air[1])
    return Glance(
        one.carrier, part, lot, msl, quantity, label_h, now, status, verdict, tuple(reasons),
        # Whether to use it first changes as time goes by.
        use_step(left_h) if step is None else NextStep(*step),
        one.used / UNIT,
        left_h,
        None if left_s is None else now + int(left_s),
        air, missing, place, opened_at, desiccant_out_s, was_exposed, last_reset_at, baked_at,
        reset_due_at,
        None if ends is None else date.fromisoformat(ends),
        None if bake is None else BakeNow(*bake),
        bake_needed,
        _NO_MORE if more is moving is None else _more(one, now, more, moving),
    )  # fmt: skip


def _more(
    one: Urgent,
    now: int,
    kept: Sequence[Any] | None,
    moving: tuple[float, bool, bool, bool] | None,
) -> More:
    more = _NO_MORE
    if kept is not None:
        bag, provisional_was, assumed_was, bakes, hot_s, unknowns, conflicts = kept
        more = More(
            bag,
            provisional_was,
            assumed_was,
            bakes,
            hot_s,
            tuple(unknowns),
            tuple(Conflict(*each) for each in conflicts),
        )
    if moving is None:
        return more
    used, provisional, assumed, hot = moving
    grown = one.used / UNIT - used
    return more._replace(
        provisional=more.provisional + grown * provisional,
        assumed=more.assumed + grown * assumed,
        hot_s=more.hot_s + (now - one.since) * hot,
    )


def _number(value: Fraction | float | None) -> float | None:
    return None if value is None else float(value)
