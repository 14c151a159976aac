"""A batch of boards as a row of the list, its components as rows, and its log in words."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from msdtrack.exposure.events import Kind
from msdtrack.exposure.facts import HOUR_S
from msdtrack.phrases import counted
from msdtrack.services.board_states import BatchState
from msdtrack.services.event_recording import LogLine
from msdtrack.services.people import PersonNames
from msdtrack.times import duration_text, local_text
from msdtrack.web.marks import ON_BOARD, Mark, mark_of
from msdtrack.web.rendering import near, percent
from msdtrack.web.site import site
from msdtrack.web.wording import act_text

_OF_STEP = {
    "place": Mark("do", "Place parts"),
    "hold": Mark("stop", "Hold"),
    "correct": Mark("stop", "Log conflict"),
    "quality": Mark("stop", "Quality decides"),
    "bake": Mark("stop", "Bake first"),
    "rework": Mark("soon", "Bake before rework"),
    **ON_BOARD,
    "done": Mark("bag", "Soldered"),
    "none": Mark("bag", "Scrapped"),
    "take_out": Mark("do", "Take out"),
    "ask": Mark("stop", "Ask maker"),
}

_WHERE = {
    "empty": "nothing placed yet",
    "on_board": "between passes, clock running",
    "exposed": "between passes, clock running",
    "in_dry_bag": "in a closed dry bag",
    "dry_storage": "in dry storage",
    "baking": "baking",
    "finished": "soldered",
    "gone": "scrapped",
}


@dataclass(frozen=True, slots=True)
class BatchRow:
    """One batch on a list.

    Args:
        boards: number of circuit boards.
        parts: part numbers on it.
        left: time left to the next limit, in words; after the last reflow, to a bake before rework.
        expiry: when that ends, or "".
        used: the worst used share in words; `bar` the same for a bar, 0 to 1.
        where: what it is doing, in words.
        urgency: what the list is sorted by.
    """

    code: str
    name: str
    boards: int
    parts: str
    mark: Mark
    left: str
    expiry: str
    used: str
    bar: float
    passes: int
    peak_c: float | None
    place: str
    where: str
    next_step: str
    finished: bool
    finished_at: int | None
    needs_rework_bake: bool
    urgency: tuple[int, float]


@dataclass(frozen=True, slots=True)
class ComponentRow:
    """One placement on a batch.

    Args:
        giver: code of the carrier its pieces came from.
        rework: what it needs before rework heat, in words.
    """

    code: str
    giver: str
    part: str
    msl: str
    lot: str
    quantity: int
    placed_at: int
    mark: Mark
    left: str
    used: str
    bar: float
    passes: int
    max_bake_c: float | None
    peak_body_c: float | None
    rework: str
    needs_rework_bake: bool


@dataclass(frozen=True, slots=True)
class BatchLogEntry:
    """One line of a batch's log.

    Args:
        text: what it said when it was recorded; `now_says` what it says now, "" if the same.
        who: name of the person, or of the station.
        correctable: whether it can be corrected; `peaked`: it names a body temperature.
    """

    line: LogLine
    text: str
    now_says: str
    who: str
    correctable: bool
    peaked: bool


def batch_row(state: BatchState, names: Mapping[str, str]) -> BatchRow:
    """Return a batch as a row.

    Args:
        state: the batch now.
        names: place names by code.
    """
    mark = _mark(state)
    rank = {"stop": 0, "soon": 1, "do": 2, "ok": 3, "bag": 4}[mark.kind]
    left_h = state.remaining_h
    runs = state.status in ("on_board", "exposed") or state.finished_at is not None
    step = state.next_step
    text = step.text if step.at is None else step.text.replace("{at}", _local(step.at))
    parts = dict.fromkeys(one.state.facts.part.number for one in state.placements)
    return BatchRow(
        code=state.batch.code,
        name=state.batch.name,
        boards=state.batch.boards,
        parts=", ".join(parts),
        mark=mark,
        left=_left(state),
        expiry=near(state.expires_at, state.at)
        if runs and state.expires_at is not None and state.expires_at > state.at
        else "",
        used=percent(state.used_share) if state.placements else "–",
        bar=float(min(Fraction(1), state.used_share)),
        passes=state.passes,
        peak_c=state.peak_c,
        place="place not known" if state.place is None else names.get(state.place, state.place),
        where=_WHERE[state.status],
        next_step=text,
        finished=state.finished_at is not None or state.status == "gone",
        finished_at=state.finished_at,
        needs_rework_bake=state.needs_rework_bake and state.status != "gone",
        urgency=(rank, math.inf if left_h is None else float(left_h)),
    )


def component_rows(state: BatchState) -> tuple[ComponentRow, ...]:
    """Return the components of a batch as rows, the worst first."""
    found = []
    for one in state.placements:
        counting, part = one.counting, one.state.facts.part
        left_h = counting.forecast.remaining_h
        found.append(
            ComponentRow(
                code=one.placed.code,
                giver=one.placed.giver,
                part=part.number,
                msl=part.msl,
                lot=one.state.facts.lot,
                quantity=one.state.ledger.quantity,
                placed_at=one.placed.event.at,
                mark=Mark("soon" if one.rework.needs_bake else "bag", "Soldered")
                if state.finished_at is not None
                else mark_of(one.state),
                left=_hours(left_h),
                used=percent(counting.used_share),
                bar=float(min(Fraction(1), counting.used_share)),
                passes=one.state.ledger.passes,
                max_bake_c=part.max_bake_c,
                peak_body_c=part.peak_body_c,
                rework=one.rework.why,
                needs_rework_bake=one.rework.needs_bake,
            )
        )
    return tuple(found)


def log_entries(
    lines: Iterable[LogLine], names: Mapping[str, str], people: PersonNames
) -> tuple[BatchLogEntry, ...]:
    """Return a batch's log in words, newest first."""
    entries = []
    for line in lines:
        event, stands = line.event, line.stands
        said = act_text(event, names)
        if event.kind is Kind.PLACE_ON_BOARD:
            said = f"{counted(event.quantity or 0, 'piece')} of {event.carrier} placed"
        correction = event.kind is Kind.CORRECT
        now_says = ""
        if stands is not None and line.corrections and not correction:
            now_says = act_text(stands, names)
        if event.person is not None:
            by = people.signed(event.person, event.recorded_at)
        else:
            by = "" if event.station is None else f"station {event.station}"
        correctable = stands is not None and not correction
        peaked = event.kind is Kind.REFLOW
        entries.append(BatchLogEntry(line, said, now_says, by, correctable, peaked))
    return tuple(reversed(entries))


def _mark(state: BatchState) -> Mark:
    kind = state.next_step.kind
    if kind in _OF_STEP:
        return _OF_STEP[kind]
    if kind == "wait":
        return Mark("do", "Baking" if state.status == "baking" else "Leave dry")
    if kind == "keep":
        return Mark("bag", "In dry bag" if state.status == "in_dry_bag" else "In dry storage")
    return Mark("stop", "Do not reflow")


def _left(state: BatchState) -> str:
    if state.status in ("empty", "gone"):
        return "–"
    if state.status == "baking":
        return "baking"
    if state.bake.needed:
        return "bake first" if state.finished_at is None else "due now"
    if state.remaining_h is None:
        return "no limit"
    return duration_text(int(state.remaining_h * HOUR_S))


def _hours(left_h: Fraction | None) -> str:
    if left_h is None:
        return "no limit"
    return duration_text(int(left_h * HOUR_S)) if left_h > 0 else "none"


def _local(moment: int) -> str:
    return local_text(moment, site().tz)
