"""The kinds of event, and the log with its corrections in place.

A log is append-only. `effective` answers what it says once every correction is applied: the newest
recorded correction of an event wins, a voided event is gone, a voided correction no longer counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from operator import attrgetter
from types import MappingProxyType
from typing import Any, NamedTuple


class Kind(StrEnum):
    """What happened to a carrier."""

    OPEN = "open"
    CLOSE = "close"
    MOVE = "move"
    BAKE_START = "bake_start"
    BAKE_END = "bake_end"
    SPLIT = "split"
    JOIN = "join"
    TAKE = "take"
    LOAD = "load"
    PLACE_ON_BOARD = "place_on_board"
    REFLOW = "reflow"
    HOLD = "hold"
    RELEASE = "release"
    SCRAP = "scrap"
    CORRECT = "correct"


class Event(NamedTuple):
    """One entry of the log. A tuple, as a log of dozens is read to answer for one carrier.

    Attributes:
        id: UUID made by the client.
        carrier: code of the carrier it happened to.
        at: when it happened.
        seq: order of receipt; settles events at the same second.
        recorded_at: when it was received.
        cause: id of the event that brought this one (opening a bag opens all that share it).
        hic: spot ("5", "10", "60") to dry, humid or missing; None: not read.
        child: of a split or a placing on boards, the new carrier.
        into, joined: of a join, the carrier it goes into (on the giver's log) and the one that
            came (on the taker's).
        board: the board batch that pieces were placed on.
        peak_c, last: of a reflow, the highest body temperature and whether no other follows.
        corrects, void, fields: of a correction, the event it corrects and how.
    """

    id: str
    carrier: str
    kind: Kind
    at: int
    seq: int
    recorded_at: int
    person: str | None = None
    station: str | None = None
    cause: str | None = None
    place: str | None = None
    bag: str | None = None
    hic: Mapping[str, str] | None = None
    only_this: bool = False
    desiccant: str | None = None
    new_hic: str | None = None
    seal: str | None = None
    temp_c: float | None = None
    quantity: int | None = None
    child: str | None = None
    reason: str | None = None
    into: str | None = None
    joined: str | None = None
    board: str | None = None
    peak_c: float | None = None
    last: bool = False
    corrects: str | None = None
    void: bool = False
    fields: Mapping[str, Any] = MappingProxyType({})


CORRECTABLE = (
    "at", "person", "place", "hic", "only_this", "desiccant", "new_hic", "seal", "temp_c",
    "quantity", "reason", "peak_c", "last",
)  # fmt: skip


def effective(log: Iterable[Event]) -> list[Event]:
    """Return the events of one carrier that stand, corrected, by moment, then order of receipt.

    Args:
        log: every event of the carrier, corrections among them, in any order.
    """
    events = sorted(log, key=attrgetter("seq"))
    # Without corrections, as most logs are, all of them stand.
    if any(event.kind is Kind.CORRECT for event in events):
        events = _corrected(events)
    return sorted(events, key=attrgetter("at"))


def _corrected(events: Sequence[Event]) -> list[Event]:
    """Return the events that stand, corrected, of those in order of receipt."""
    corrections: dict[str, Event] = {}
    voided: set[str] = set()
    for event in reversed(events):
        if event.kind is not Kind.CORRECT or event.id in voided or event.corrects is None:
            continue
        if event.corrects not in corrections:
            corrections[event.corrects] = event
            if event.void:
                voided.add(event.corrects)
    standing = []
    for event in events:
        correction = corrections.get(event.id)
        if event.kind is Kind.CORRECT or (correction is not None and correction.void):
            continue
        standing.append(event if correction is None else event._replace(**correction.fields))
    return standing


def lineage(
    code: str, logs: Mapping[str, Iterable[Event]], parents: Mapping[str, tuple[str, str]]
) -> list[Event]:
    """Return the effective history of a carrier, its parents' up to the split included.

    Args:
        code: the carrier.
        logs: log of the carrier and of each ancestor.
        parents: child code to (parent code, id of the split event).
    """
    own = effective(logs.get(code, ()))
    if code not in parents:
        return own
    parent, split_id = parents[code]
    inherited = []
    for event in lineage(parent, logs, parents):
        inherited.append(event)
        if event.id == split_id:
            return inherited + own
    never = Event(split_id, code, Kind.SCRAP, 0, 0, 0, reason="the split it came from was voided")
    return [never, *own]
