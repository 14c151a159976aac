"""The mark beside every state: a colour, a shape and a word that always go together.

Colours mean what they mean on machines: red act now, yellow caution, green normal, blue a thing
that must be done, white neutral.

Source: IEC 60073 / IEC 60204-1 (indicator colours); the shapes are this program's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from msdtrack.exposure.spans import MAX_RH_C100, MAX_TEMP_C100
from msdtrack.exposure.state import CarrierState
from msdtrack.services.climate import AirNow
from msdtrack.services.glance import Glance
from msdtrack.standard.recovery import storage_limit_rh_pct
from msdtrack.store.records import AlarmRecord

MAX_TEMP_C, MAX_RH_PCT = MAX_TEMP_C100 // 100, MAX_RH_C100 // 100

MarkKind = Literal["stop", "soon", "ok", "do", "bag"]


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark and its word.

    Args:
        kind: stop (red octagon), soon (yellow triangle), ok (green circle), do (blue square) or
            bag (white diamond).
        word: what it says.
    """

    kind: MarkKind
    word: str


_OF_STEP: dict[str, Mark] = {
    "none": Mark("bag", "Gone"),
    "hold": Mark("stop", "Hold"),
    "correct": Mark("stop", "Log conflict"),
    "bake": Mark("stop", "Bake first"),
    "open": Mark("stop", "Check card"),
    "ask": Mark("stop", "Ask maker"),
    "take_out": Mark("do", "Take out"),
    "use_first": Mark("soon", "Use first"),
    "use": Mark("ok", "Usable"),
}
ON_BOARD = {"use_first": Mark("soon", "Reflow first"), "use": Mark("ok", "In time")}
"""What is on a board is not taken and used."""


def mark_of(one: CarrierState | Glance) -> Mark:
    """Return the mark of a carrier, or of a batch of boards between reflows."""
    step = one.next_step.kind
    if one.status == "on_board" and step in ON_BOARD:
        return ON_BOARD[step]
    if step == "wait":
        return Mark("do", "Baking" if one.status == "baking" else "Leave dry")
    if step == "keep":
        return Mark("bag", "In dry bag" if one.status == "in_dry_bag" else "In dry storage")
    found = _OF_STEP.get(step)
    if found is not None:
        return found
    return Mark("stop", "Do not use") if one.verdict == "do_not_use" else Mark("ok", "Usable")


_OF_ALARM = {
    "unacknowledged": "Unacknowledged",
    "acknowledged": "Acknowledged",
    "returned_to_normal": "Returned to normal, unacknowledged",
    "shelved": "Shelved",
    "ended": "Normal",
}


def alarm_mark(alarm: AlarmRecord) -> Mark:
    """Return the mark of an alarm with its state in the words of ISA-18.2 / IEC 62682."""
    word = _OF_ALARM[alarm.state]
    if alarm.state in ("shelved", "ended"):
        return Mark("bag", word)
    if alarm.state == "returned_to_normal":
        return Mark("do", word)
    return Mark("stop" if alarm.priority == "high" else "soon", word)


def air_mark(kind: str, air: AirNow) -> Mark:
    """Return the mark of the air of a place of this kind.

    Source: J-STD-033: floor life at 30 °C / 60 % RH or less; dry storage as Table 4-3.
    """
    if air.temp_c is None:
        return Mark("soon", "no reading yet")
    if air.missing is not None:
        return Mark("soon", "no reading since")
    if kind == "oven":
        return Mark("bag", "oven, no floor air")
    if air.rh_pct is None:
        return Mark("soon", "no humidity measured")
    if kind == "cabinet":
        return _cabinet_mark(air.rh_pct)
    if air.temp_c <= MAX_TEMP_C and air.rh_pct <= MAX_RH_PCT:
        return Mark("ok", f"within {MAX_TEMP_C} °C / {MAX_RH_PCT} % RH")
    return Mark("soon", f"outside {MAX_TEMP_C} °C / {MAX_RH_PCT} % RH")


def _cabinet_mark(rh_pct: float) -> Mark:
    if rh_pct <= storage_limit_rh_pct("5a"):
        return Mark("ok", "dry storage for all levels")
    if rh_pct <= storage_limit_rh_pct("3"):
        return Mark("ok", "dry storage for levels 2, 2a, 3")
    return Mark("soon", "too humid for dry storage")
