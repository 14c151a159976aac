"""States, workings and logs as JSON-ready values, for the API and for `--json` alike."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

from msdtrack.exposure.bake_advice import BakeOption
from msdtrack.exposure.events import Event
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.spans import Air
from msdtrack.exposure.state import CarrierState, usable_until
from msdtrack.exposure.working import Cell, Line, Working
from msdtrack.services.glance import Glance, glance_of
from msdtrack.times import utc_text

Answer = dict[str, Any]


def state_answer(state: CarrierState, until: int | None = None) -> Answer:
    """Return a state. Shares are of the floor life, times UTC.

    Args:
        state: the state.
        until: end of a run the verdict is asked for; None is now.
    """
    answer = glance_answer(glance_of(state))
    if until is not None:
        verdict, reasons = usable_until(state, until)
        answer |= {"verdict": verdict, "reasons": list(reasons)}
    return answer


def glance_answer(seen: Glance) -> Answer:
    """Return the same of a carrier at a glance."""
    label_h, more, ends = seen.label_h, seen.more, seen.shelf_life_ends
    return {
        "code": seen.code,
        "part": seen.part,
        "lot": seen.lot,
        "quantity": seen.quantity,
        "bag": more.bag,
        "place": seen.place,
        "msl": seen.msl,
        "status": seen.status,
        "verdict": seen.verdict,
        "reasons": list(seen.reasons),
        "next_step": next_step_text(seen),
        "floor_life": {
            "label_hours": _number(label_h),
            "used_share": float(seen.used),
            "provisional_share": float(more.provisional),
            "assumed_share": float(more.assumed),
            "used_hours_at_label": None if label_h is None else float(seen.used * label_h),
            "remaining_hours_now": _number(seen.left_h),
            "expires_at": _moment(seen.expires_at),
        },
        "forecast": {
            "air": _air(seen.air),
            "missing": seen.missing,
        },
        "shelf_life_ends": None if ends is None else ends.isoformat(),
        "dry_storage_reset": None
        if seen.reset_due_at is None
        else {"at": utc_text(seen.reset_due_at)},
        "opened_at": _moment(seen.opened_at),
        "bakes": {"count": more.bakes, "hours_above_90": more.hot_s / HOUR_S},
        "unknowns": list(more.unknowns),
        "conflicts": [
            {"event": one.event_id, "at": utc_text(one.at), "message": one.message}
            for one in more.conflicts
        ],
        "at": utc_text(seen.at),
    }


def next_step_text(seen: Glance) -> str:
    """Return the next step with its moment in UTC."""
    step = seen.next_step
    return step.text if step.at is None else step.text.replace("{at}", utc_text(step.at))


def working_answer(state: CarrierState, working: Working) -> Answer:
    """Return the working of a state; the shares of `intervals` sum to `used_share`."""
    return {
        "code": state.facts.code,
        "at": utc_text(state.at),
        "used_share": float(working.used_share),
        "intervals": [_line(line) for line in working.lines],
        "before_reset": [_line(line) for line in working.before_reset],
    }


def bake_answer(state: CarrierState) -> Answer:
    """Return the bake advice of a state."""
    advice = state.bake
    return {
        "code": state.facts.code,
        "at": utc_text(state.at),
        "needed": advice.needed,
        "reasons": list(advice.reasons),
        "column": advice.column,
        "options": [_option(option) for option in advice.options],
        "chosen": None if advice.chosen is None else _option(advice.chosen),
        "refused": [{"temp_c": one.temp_c, "why": one.why} for one in advice.refused],
        "cautions": list(advice.cautions),
    }


def watch_answer(states: Iterable[CarrierState], now: int) -> Answer:
    """Return the watch list."""
    return {"items": [state_answer(one) for one in states], "next": None, "at": utc_text(now)}


def event_answer(event: Event) -> Answer:
    """Return an event with the fields its kind uses, named as in the API."""
    answer: Answer = {
        "id": event.id,
        "carrier": event.carrier,
        "kind": event.kind.value,
        "at": utc_text(event.at),
        "recorded_at": utc_text(event.recorded_at),
    }
    optional: Mapping[str, Any] = {
        "person": event.person,
        "station": event.station,
        "cause": event.cause,
        "place": event.place,
        "bag": event.bag,
        "hic": event.new_hic if event.hic is None else dict(event.hic),
        "only_this": event.only_this or None,
        "desiccant": event.desiccant,
        "seal": event.seal,
        "temp_c": event.temp_c,
        "quantity": event.quantity,
        "child": event.child,
        "into": event.into,
        "joined": event.joined,
        "board": event.board,
        "peak_c": event.peak_c,
        "last": event.last or None,
        "reason": event.reason,
        "event": event.corrects,
        "void": event.void or None,
        "fields": _fields(event.fields) or None,
    }
    return answer | {name: value for name, value in optional.items() if value is not None}


def _fields(fields: Mapping[str, Any]) -> Answer:
    named = {"hic" if name == "new_hic" else name: value for name, value in fields.items()}
    if "at" in named:
        named["at"] = utc_text(named["at"])
    return named


def _line(line: Line) -> Answer:
    return {
        "from": utc_text(line.start),
        "to": utc_text(line.end),
        "place": line.place,
        "raw": _air(line.raw),
        "guarded": _air(line.guarded),
        "cell": _cell(line.cell),
        "hours": float(line.hours),
        "share": float(line.share),
        "basis": line.basis,
        "rate_from": line.rate_from,
        "note": line.note,
    }


def _cell(cell: Cell | None) -> Answer | None:
    if cell is None:
        return None
    return {
        "table": cell.table,
        "level": cell.level,
        "group": cell.group,
        "temp_c": cell.temp_c,
        "rh_pct": cell.rh_pct,
        "days": _number(cell.days),
    }


def _option(option: BakeOption) -> Answer:
    return {
        "temp_c": option.temp_c,
        "max_rh_pct": option.max_rh_pct,
        "hours": float(option.hours),
        "source": option.source,
    }


def _air(air: Air | None) -> Answer | None:
    return None if air is None else {"temp_c": air[0] / 100, "rh_pct": air[1] / 100}


def _moment(at: int | None) -> str | None:
    return None if at is None else utc_text(at)


def _number(value: Fraction | float | None) -> float | None:
    return None if value is None else float(value)
