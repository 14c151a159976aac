"""Batches of boards: put on file, and what happens to them between and after the reflows.

A batch has no log of its own: what happens to it is on the log of every placement on it, recorded
in one transaction, the first being the cause of the others.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import Literal

from msdtrack.errors import BadInput, Conflict, FieldError, NotFound, Refused
from msdtrack.exposure.events import Event, Kind, effective
from msdtrack.phrases import counted
from msdtrack.printing import sheet
from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.printing.label import SignFacts
from msdtrack.services import (
    board_glances,
    board_states,
    event_recording,
    people,
    placements,
)
from msdtrack.services.board_conflicts import refuse_conflict
from msdtrack.services.board_states import BatchState
from msdtrack.services.carrier_states import oven_limits, state
from msdtrack.services.event_recording import LogLine, NewEvent, Recorded
from msdtrack.services.rework import AFTER_LAST_REFLOW
from msdtrack.store import boards, carriers, event_log, places, prints, request_log
from msdtrack.store.boards import BatchRecord
from msdtrack.store.canonical import content_hash
from msdtrack.store.connection import read, write

MOST_BOARDS = 1_000_000
LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class NewBatch:
    """A batch of boards.

    Args:
        name: what people call it: product, order, side.
        boards: how many circuit boards are in it.
        place: code of the place it is at; None is unknown.
        person: badge code or name of who put it on file.
    """

    name: str
    boards: int
    place: str | None = None
    person: str | None = None


@dataclass(frozen=True, slots=True)
class RecordedBatchEvent:
    """What became of an event of a batch."""

    id: str
    result: Literal["created", "duplicate"]
    state: BatchState


@dataclass(frozen=True, slots=True)
class Listed:
    """The batches that a page shows. `beyond`: how many more are between reflows, less urgent."""

    states: list[BatchState]
    beyond: int


def create(new: NewBatch, now: int, request_id: str | None = None) -> tuple[BatchRecord, bool]:
    """Put a batch on file; return it with its code, and whether this call did so.

    Args:
        new: the batch.
        now: the present moment.
        request_id: UUID made by the client; the same one with the same content creates nothing.

    Raises:
        BadInput: a field is wrong; the fields are named.
        Conflict: the request id was used for something else.
    """
    content = content_hash({k: v for k, v in asdict(new).items() if v is not None})
    with write():
        if request_id is not None:
            before = request_log.remembered(request_id)
            if before is not None:
                if (before.scope, before.content_hash) != ("board batch", content):
                    raise Conflict("This id was used for something else: make a new one.")
                return boards.batch(before.answer["code"]), False
        _check(new)
        code = make_code(CodeKind.JOB, carriers.next_serial("job"))
        person = None if new.person is None else people.person_code(new.person, now)
        batch = BatchRecord(code, new.name.strip(), new.boards, new.place, person, now)
        boards.insert_batch(batch)
        if request_id is not None:
            request_log.remember(request_id, "board batch", content, 201, {"code": code}, now)
    return batch, True


def batches(now: int, after: str | None = None, limit: int = 100) -> list[BatchState]:
    """Return the states of batches by code, those after `after` only."""
    with read():
        found = boards.batches(after, limit)
        return board_states.states_of_batches([batch.code for batch in found], now)


def listed(now: int, limit: int = 100) -> Listed:
    """Return the most urgent batches between reflows, then the newest of all others.

    Args:
        limit: so many of each.
    """
    at_work = [one.code for one in board_glances.unfinished(now).glances]
    with read():
        newest = [batch.code for batch in boards.newest_batches(limit)]
        others = [code for code in newest if code not in set(at_work)]
        states = board_states.states_of_batches([*at_work[:limit], *others], now)
    return Listed(states, len(at_work[limit:]))


def batch_state(code: str, now: int, at: int | None = None, oven: str | None = None) -> BatchState:
    """Return the state of a batch.

    Args:
        code: the batch.
        now: the present moment.
        at: the moment asked about; None is now.
        oven: code of the oven that the bake is for; None is any.

    Raises:
        NotFound: no such batch or oven.
    """
    with read():
        limits = None if oven is None else oven_limits(oven)
        return board_states.state_of_batch(code, now if at is None else at, limits)


def place(code: str, new: NewEvent, now: int) -> BatchState:
    """Place pieces of a carrier on a batch, as a person at a screen does, and return its state.

    Raises:
        NotFound, BadInput, Conflict: as for `event_recording.record`.
        Refused: the carrier is on hold, it contradicts the log of the carrier, or the boards can't
            take pieces.
    """
    with write():
        boards.batch(code)
        if not event_log.find([new.id]):
            _refuse_held(new.carrier, now)
        (recorded,) = event_recording.record([new], now)
        _refuse_conflicts(recorded)
        return board_states.state_of_batch(code, now)


def _refuse_held(carrier: str, now: int) -> None:
    held = state(carrier, now).ledger.held
    if held:
        raise Refused(
            f"{carrier} is on hold: {'; '.join(held)}. It passes no line until quality releases it."
        )


def record(
    code: str, new: NewEvent, now: int, refuse_conflicts: bool = False
) -> RecordedBatchEvent:
    """Record what happened to a batch on all its placements, or on none.

    Args:
        code: the batch.
        new: the event; its carrier is not looked at but found, also that of a correction.
        now: the present moment.
        refuse_conflicts: refuse what contradicts the log, as a screen does, instead of storing it.

    Raises:
        NotFound: no such batch.
        BadInput: a field is wrong; the fields are named.
        Conflict: the id is on the log with other content.
        Refused: the boards can't see this as they are.
    """
    with write():
        batch = boards.batch(code)
        known = event_log.find([new.id])
        if new.id in known:
            first = known[new.id][0]
            sent = replace(new, carrier=first.carrier, kind=first.kind.value)
        else:
            sent = _as_stored(replace(new, carrier=_carrier_of(batch, new, now)), batch, now)
        (recorded,) = event_recording.record([sent], now)
        state = board_states.state_of_batch(code, now)
        if refuse_conflicts:
            refuse_conflict(state, recorded.id)
    return RecordedBatchEvent(recorded.id, recorded.result, state)


def log_of(code: str) -> list[LogLine]:
    """Return what happened to a batch, placings among it, in order of receipt, each once.

    Raises:
        NotFound: no such batch.
    """
    with read():
        boards.batch(code)
        events = placements.roots(code)
        givers = {giver for giver, _ in carriers.parents(boards.placements(code)).values()}
        for log in event_log.logs(givers).values():
            placings = {e.id for e in log if e.kind is Kind.PLACE_ON_BOARD and e.board == code}
            for event in log:
                if event.id in placings or event.corrects in placings:
                    placings.add(event.id)
                    events.append(event)
    events.sort(key=lambda event: event.seq)
    stands = {event.id: event for event in effective(events)}
    return [_line(event, stands, events) for event in events]


def labels_pdf(codes: Iterable[str], now: int, person: str | None = None) -> bytes:
    """Return signs of batches on A4 sheets, to go with the boards; the print is on the log.

    Raises:
        NotFound: no such batch.
    """
    found = [boards.batch(code) for code in codes]
    signs = [
        SignFacts(code=one.code, title=one.name, detail=f"batch of {counted(one.boards, 'board')}")
        for one in found
    ]
    document = sheet.sheet_pdf(signs, "place")
    with write():
        who = None if person is None else people.person_code(person, now)
        for one in found:
            prints.log_print(one.code, "place", "boards", now, who)
    return document


def _refuse_conflicts(recorded: Recorded) -> None:
    """Undo the open transaction if the event that was just recorded contradicts the log."""
    for conflict in recorded.state.conflicts:
        if conflict.event_id == recorded.id:
            raise Refused(
                f"The log of {recorded.carrier} says otherwise: {conflict.message}. Nothing was "
                "changed: put the log right first."
            )


def _check(new: NewBatch) -> None:
    errors = []
    if not new.name.strip():
        errors.append(FieldError("name", "give it a name: product, order, side"))
    elif len(new.name.strip()) > LONGEST_NAME:
        errors.append(FieldError("name", f"at most {LONGEST_NAME} characters"))
    if not 1 <= new.boards <= MOST_BOARDS:
        errors.append(FieldError("boards", f"1 to {MOST_BOARDS}"))
    if new.place is not None:
        try:
            places.place(new.place)
        except NotFound:
            errors.append(FieldError("place", f"no place {new.place}"))
    if errors:
        raise BadInput(f"{errors[0].field}: {errors[0].message}.", errors)


def _carrier_of(batch: BatchRecord, new: NewEvent, now: int) -> str:
    """Return the carrier whose log the event belongs on."""
    if new.kind == Kind.CORRECT:
        found = event_log.find([new.event or ""])
        target = found[new.event or ""][0] if found else None
        ours = {*boards.placements(batch.code)}
        if target is None or (target.carrier not in ours and target.board != batch.code):
            message = f"Nothing on the log of batch {batch.code} has the id {new.event}."
            raise BadInput(message, [FieldError("event", "not on this batch's log")])
        return target.carrier
    at = now if new.at is None else new.at
    codes = placements.on_board_at(placements.placed_on(batch.code), at)
    if not codes:
        raise Refused(
            f"Nothing had been placed on batch {batch.code} by then: place the carriers first."
        )
    return codes[0]


def _as_stored(new: NewEvent, batch: BatchRecord, now: int) -> NewEvent:
    """Return the event as the log has it, if the boards can see it as they are."""
    at = now if new.at is None else new.at
    if new.kind == Kind.BAKE_START and new.temp_c is not None:
        _check_bake(batch, new.temp_c, at)
    last_at = placements.finished_at(batch.code)
    if last_at is None or at < last_at or new.kind == Kind.CORRECT:
        return new
    if new.kind in (Kind.BAKE_START, Kind.BAKE_END):
        if new.place is None:
            message = "place: say where the boards go."
            raise BadInput(message, [FieldError("place", "say where the boards go")])
        _check_oven(new)
        return replace(new, kind=Kind.MOVE.value)
    if new.kind not in AFTER_LAST_REFLOW:
        raise Refused(
            f"Batch {batch.code} had its last reflow. If that was wrong, strike it out on its log; "
            "finished boards are moved, baked for rework, held, released or scrapped."
        )
    return new


def _check_bake(batch: BatchRecord, temp_c: float, at: int) -> None:
    """Make sure that no component is baked hotter than its maker allows."""
    of = board_states.state_of_batch(batch.code, at).placements
    max_c = board_states.max_bake_c(of)
    if max_c is not None and temp_c > max_c:
        message = f"A component on these boards stands {max_c:g} °C at most: bake at that or less."
        raise BadInput(message, [FieldError("temp_c", f"at most {max_c:g} °C")])


def _check_oven(new: NewEvent) -> None:
    if new.kind == Kind.BAKE_START:
        try:
            kind = places.place(new.place or "").kind
        except NotFound:
            return
        if kind != "oven":
            message = f"place: {new.place} is no oven."
            raise BadInput(message, [FieldError("place", f"{new.place} is no oven")])


def _line(event: Event, stands: dict[str, Event], events: list[Event]) -> LogLine:
    corrections = tuple(
        one for one in events if one.kind is Kind.CORRECT and one.corrects == event.id
    )
    return LogLine(event, stands.get(event.id), corrections)
