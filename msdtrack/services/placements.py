"""Placements: the pieces of a carrier that were placed on a batch of boards.

A placement is a carrier of its own, split off the one it came from. What happens to a batch is on
the log of each placement that was on it by then: one event of its own (the root) on one of them,
and what it brought on the others.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from msdtrack.errors import BadInput, FieldError, NotFound, Refused
from msdtrack.exposure.events import Event, Kind, effective
from msdtrack.exposure.ledger import Phase
from msdtrack.phrases import counted
from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.services.accounts import account
from msdtrack.store import boards, carriers, event_log
from msdtrack.store.records import CarrierRecord

BOARD = "board"
"""What stands in the record of a placement where other carriers have reel, tray, tube or strip."""

HAPPENS_TO_BATCHES = frozenset({
    Kind.OPEN, Kind.CLOSE, Kind.MOVE, Kind.BAKE_START, Kind.BAKE_END, Kind.REFLOW, Kind.HOLD,
    Kind.RELEASE, Kind.SCRAP, Kind.CORRECT,
})  # fmt: skip
"""Kinds that a batch of boards can see."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A placement that stands.

    Args:
        code: its own code.
        giver: the carrier its pieces came from.
        event: the placing, as corrected.
    """

    code: str
    giver: str
    event: Event


@dataclass(frozen=True, slots=True)
class NewPlacement:
    """What a placing makes.

    Args:
        code: the new placement.
        move_to: where it goes at once, if the boards are elsewhere than its carrier; else None.
        later: what had happened to the batch after the placing, if that is told late.
    """

    code: str
    move_to: str | None
    later: list[Event]


def placed_on(batch: str) -> list[Placed]:
    """Return the placements of a batch that stand, in the order they were placed."""
    return placed_on_each([batch])[batch]


def placed_on_each(batches: Iterable[str]) -> dict[str, list[Placed]]:
    """Return the same of several batches, from a handful of queries."""
    of_batch = boards.placements_of(batches)
    origins = carriers.parents(code for codes in of_batch.values() for code in codes)
    givers = {giver for giver, _ in origins.values()}
    logs = event_log.logs(givers, (Kind.PLACE_ON_BOARD, Kind.CORRECT))
    standing = {event.id: event for log in logs.values() for event in effective(log)}
    found = {}
    for batch, codes in of_batch.items():
        given = [(code, *origins[code]) for code in codes if code in origins]
        placed = [
            Placed(code, giver, standing[placing])
            for code, giver, placing in given
            if placing in standing
        ]
        found[batch] = sorted(placed, key=lambda one: (one.event.at, one.event.seq))
    return found


def on_board_at(placed: Iterable[Placed], at: int) -> list[str]:
    """Return the codes of those that had been placed by a moment, first placed first."""
    return [one.code for one in placed if one.event.at <= at]


def roots(batch: str) -> list[Event]:
    """Return what happened to a batch and the corrections of it, each once, in order of receipt.

    A root may be on a placement that was struck out since: it happened to the others all the same.
    """
    return _roots_of_each([batch])[batch]


def standing_roots(batch: str) -> dict[str, Event]:
    """Return what happened to a batch as it stands, corrected, by id."""
    return {event.id: event for event in effective(roots(batch))}


def finished_at(batch: str) -> int | None:
    """Return when the last reflow of a batch was; None if others follow."""
    return finished_at_each([batch])[batch]


def finished_at_each(batches: Iterable[str]) -> dict[str, int | None]:
    """Return the same of several batches, from two queries."""
    return {
        batch: min(
            (e.at for e in effective(events) if e.kind is Kind.REFLOW and e.last), default=None
        )
        for batch, events in _roots_of_each(batches).items()
    }


def passes_of_each(codes: Iterable[str], at: int) -> dict[str, int]:
    """Return how many reflows each placement had seen by a moment, in one query."""
    logs = event_log.logs(codes, (Kind.REFLOW, Kind.CORRECT))
    return {
        code: sum(event.kind is Kind.REFLOW and event.at <= at for event in effective(log))
        for code, log in logs.items()
    }


def _roots_of_each(batches: Iterable[str]) -> dict[str, list[Event]]:
    of_batch = boards.placements_of(batches)
    logs = event_log.logs(code for codes in of_batch.values() for code in codes)
    return {
        batch: sorted(
            (event for code in codes for event in logs[code] if event.cause is None),
            key=lambda event: event.seq,
        )
        for batch, codes in of_batch.items()
    }


def place_of(batch: str, placed: Iterable[Placed], at: int) -> str | None:
    """Return the code of the place a batch is at; None is not known."""
    codes = on_board_at(placed, at)
    return account(codes[0]).state(at).ledger.place if codes else boards.batch(batch).place


def new_placement(event: Event, giver: CarrierRecord, where: str) -> NewPlacement:
    """Put a placement on file.

    Args:
        event: the placing.
        giver: the carrier whose pieces are placed.
        where: put before the names of fields in errors.

    Raises:
        BadInput: there is no such batch, or there are not so many pieces.
        Refused: the batch can't take pieces as it is.
    """
    assert event.board is not None
    assert event.quantity is not None
    try:
        boards.batch(event.board)
    except NotFound as error:
        raise BadInput(error.message, [FieldError(f"{where}board", "no such batch")]) from error
    now = account(giver.code).state(event.at).ledger
    if event.quantity > now.quantity:
        raise BadInput(
            f"{giver.code} holds {counted(now.quantity, 'piece')}: no {event.quantity} can be "
            "placed.",
            [FieldError(f"{where}quantity", f"at most {now.quantity}")],
        )
    placed = placed_on(event.board)
    _check_takes_pieces(event.board, placed, event.at)
    target = event.place or place_of(event.board, placed, event.at)
    later = _since(event.board, event.at)
    code = make_code(CodeKind.CARRIER, carriers.next_serial("carrier"))
    carriers.insert_carrier(
        replace(
            giver,
            code=code,
            quantity=event.quantity,
            kind=BOARD,
            parent=giver.code,
            split_event=event.id,
        )
    )
    boards.insert_placement(code, event.board)
    return NewPlacement(code, None if target == now.place else target, later)


def others_on(event: Event, where: str) -> list[str]:
    """Return the other placements of its batch that see what is to be recorded of one.

    Raises:
        BadInput: boards can't see this kind of event, or the placement was not on them by then.
    """
    batch = boards.batch_of(event.carrier)
    assert batch is not None
    word = event.kind.value.replace("_", " ")
    if event.kind not in HAPPENS_TO_BATCHES:
        raise BadInput(
            f"{event.carrier} is on the boards of {batch}: a {word} can't happen to it.",
            [FieldError(f"{where}kind", "not of pieces on a board")],
        )
    codes = on_board_at(placed_on(batch), event.at)
    if event.carrier not in codes:
        raise BadInput(
            f"{event.carrier} was not on the boards of {batch} at that time.",
            [FieldError(f"{where}at", "before it was placed, or its placing was struck out")],
        )
    return [code for code in codes if code != event.carrier]


def check_order_stays(target: Event, at: int, where: str) -> None:
    """Make sure that a correction of a time keeps what came before a placing, and what after.

    Args:
        target: the event to be corrected, as recorded.
        at: its right time.

    Raises:
        BadInput: it would change which placements saw what.
    """
    if target.kind is Kind.PLACE_ON_BOARD and target.board is not None:
        placed = placed_on(target.board)
        before = next((one.event.at for one in placed if one.event.id == target.id), target.at)
        others = [event.at for event in standing_roots(target.board).values()]
    else:
        batch = boards.batch_of(target.carrier)
        if batch is None:
            return
        before = standing_roots(batch).get(target.id, target).at
        others = [one.event.at for one in placed_on(batch)]
    first, last = min(before, at), max(before, at)
    if any(first < other <= last for other in others):
        raise BadInput(
            "Between the two times something happened to these boards, so the order would change: "
            "strike this entry out and record it anew with its right time.",
            [FieldError(f"{where}fields.at", "would change what came before the placing")],
        )


def _check_takes_pieces(batch: str, placed: list[Placed], at: int) -> None:
    last_at = finished_at(batch)
    if last_at is not None and last_at <= at:
        raise Refused(f"Batch {batch} had its last reflow before: nothing more is placed on it.")
    codes = on_board_at(placed, at)
    if not codes:
        return
    now = account(codes[0]).state(at)
    if now.ledger.phase is Phase.BAKING:
        where = "in the oven"
    elif now.ledger.phase is not Phase.OPEN:
        where = "in a closed dry bag"
    elif now.status == "dry_storage":
        where = "in dry storage"
    else:
        return
    raise Refused(f"Batch {batch} is {where}: take it out first, then place on it.")


def _since(batch: str, at: int) -> list[Event]:
    """Return what happened to a batch after a moment, with its corrections, as recorded."""
    standing = standing_roots(batch)
    wanted: dict[str, Event] = {}
    for event in roots(batch):
        if event.kind is Kind.CORRECT:
            follows = event.corrects in wanted
        else:
            follows = standing.get(event.id, event).at > at
        if follows:
            wanted[event.id] = event
    return list(wanted.values())
