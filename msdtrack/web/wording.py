"""Plain words for what the core answers in short names: reasons, states, events, air."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.state import CarrierState
from msdtrack.phrases import counted
from msdtrack.services.glance import Glance, glance_of
from msdtrack.times import local_text
from msdtrack.web.site import site

REASONS: Mapping[str, str] = {
    "floor_life_exceeded": "Its floor life is used up.",
    "beyond_table": "It was in air hotter or more humid than the tables cover for more than "
    "15 minutes.",
    "hic_failed": "The humidity indicator card failed at opening: moisture had come into the bag.",
    "hic_missing": "The humidity indicator card was missing or unreadable at opening.",
    "history_unknown": "Its history is not known: no confirmed dry bag and seal date at receipt.",
    "history_conflict": "The log contradicts itself. Until that is corrected the longer exposure "
    "counts.",
    "shelf_life_over": "The shelf life of the sealed bag is over: the indicator card decides.",
    "drying": "It is drying after a short exposure. Hours in dry storage count until it is done.",
    "baking": "It is in a running bake.",
    "bake_before_use": "Level 6: always baked before use.",
    "label_time_missing": "Level 6: the time limit on its label has not been entered.",
    "held": "Quality holds it.",
    "gone": "It is used up or scrapped.",
    "too_many_reflows": "It has been through more reflows than the three it is rated for.",
    "peak_body_exceeded": "In a reflow its body got hotter than its part is rated for.",
    "floor_life_ends_before_the_run": "Its floor life ends before the run does.",
}

UNKNOWNS: Mapping[str, str] = {
    "no_reading_yet": "No reading yet at its place: the assumed air counts.",
    "gap": "A gap in the readings: the worst of both ends and the assumed air counts.",
    "no_reading_since": "No reading for more than 30 minutes: the worse of the last one and the "
    "assumed air counts.",
    "place_unknown": "Its place is not known: the assumed air counts.",
    "history_unknown": "Its history before receipt is not known.",
    "thickness_unknown": "Its body thickness is not known: the worst thickness group counts.",
}

MISSING: Mapping[str, str] = {
    "no_reading_yet": "no reading yet",
    "gap": "a gap in the readings",
    "no_reading_since": "no reading since",
    "place_unknown": "place not known",
}

STATUSES: Mapping[str, str] = {
    "in_dry_bag": "in a closed dry bag",
    "exposed": "exposed",
    "dry_storage": "in dry storage",
    "baking": "baking",
    "on_board": "on a board",
    "gone": "gone",
}

BASES: Mapping[str, str] = {
    "measured": "measured",
    "assumed": "assumed",
    "dry_storage": "dry storage",
    "provisional": "provisional",
    "bake": "bake",
}

PLACE_KINDS: Mapping[str, str] = {
    "store": "store",
    "floor": "floor area",
    "line": "line",
    "cabinet": "dry cabinet",
    "oven": "oven",
}

_ACTS: Mapping[Kind, str] = {
    Kind.OPEN: "Opened",
    Kind.CLOSE: "Closed",
    Kind.MOVE: "Moved",
    Kind.BAKE_START: "Bake started",
    Kind.BAKE_END: "Bake ended",
    Kind.SPLIT: "Split",
    Kind.JOIN: "Joined",
    Kind.TAKE: "Taken out",
    Kind.LOAD: "Loaded on the line",
    Kind.PLACE_ON_BOARD: "Placed on a board",
    Kind.REFLOW: "Reflowed",
    Kind.HOLD: "Held for quality",
    Kind.RELEASE: "Released",
    Kind.SCRAP: "Scrapped",
    Kind.CORRECT: "Corrected",
}


def reason_text(reason: str) -> str:
    """Return the sentence behind a reason's short name."""
    return REASONS.get(reason, reason.replace("_", " ").capitalize() + ".")


def assumed_air_text(one: CarrierState | Glance) -> str:
    """Return the air that the time left assumes, in a few words."""
    seen = glance_of(one)
    if seen.air is None:
        return "dry storage" if seen.status in ("dry_storage", "in_dry_bag") else ""
    measured = f"{seen.air[0] / 100:.1f} °C {seen.air[1] / 100:.0f} % RH"
    if seen.missing is None:
        return f"{measured} measured"
    return f"{measured} assumed: {MISSING[seen.missing]}"


def act_text(event: Event, names: Mapping[str, str]) -> str:
    """Return what an event says happened, in one line.

    Args:
        event: an entry of the log, as recorded or as it stands.
        names: place names by code.
    """
    parts = [_ACTS[event.kind]]
    if event.kind is Kind.CORRECT:
        return _correction_text(event, names)
    if event.temp_c is not None:
        parts.append(f"at {event.temp_c:g} °C")
    if event.quantity is not None:
        parts.append(counted(event.quantity, "piece"))
    if event.joined is not None:
        parts.append(f"with {event.joined}, which was joined into it")
    elif event.into is not None:
        parts.append(f"into {event.into}")
    if event.child is not None:
        on = "" if event.board is None else f" of batch {event.board}"
        parts.append(f"into {event.child}" if not on else f"as {event.child}{on}")
    if event.peak_c is not None:
        parts.append(f"to {event.peak_c:g} °C")
    if event.last:
        parts.append("for the last time")
    if event.place is not None:
        word = "to" if event.kind in (Kind.MOVE, Kind.BAKE_END) else "at"
        parts.append(f"{word} {names.get(event.place, event.place)}")
    details = [
        None if event.hic is None else "card " + _spots(event.hic),
        None if event.desiccant is None else f"{event.desiccant} desiccant",
        None if event.new_hic is None else f"{event.new_hic} indicator card",
        None if event.seal is None else f"{event.seal} seal",
        event.reason,
    ]
    told = ", ".join(detail for detail in details if detail)
    return " ".join(parts) + (f": {told}" if told else "")


def _spots(hic: Mapping[str, str]) -> str:
    return ", ".join(f"{spot} % {hic[spot]}" for spot in sorted(hic, key=int))


def _correction_text(event: Event, names: Mapping[str, str]) -> str:
    if event.void:
        said = "Struck out"
    else:
        changes = ", ".join(
            f"{name} {_value(name, value, names)}" for name, value in event.fields.items()
        )
        said = f"Corrected: {changes}"
    return f"{said} ({event.reason})" if event.reason else said


def _value(name: str, value: object, names: Mapping[str, str]) -> str:
    if name == "at" and isinstance(value, int):
        return local_text(value, site().tz)
    if name == "hic" and isinstance(value, Mapping):
        return _spots(value)
    if isinstance(value, date):
        return value.isoformat()
    return names.get(str(value), str(value))
