"""Events that contradict the history, turned into the longer exposure.

Conflicts are derived from the log each time, so a late event or a correction can settle them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.ledger import Conflict

NEEDS_OPEN = {
    Kind.CLOSE: "closed, but no opening is on record",
    Kind.TAKE: "pieces were taken from a bag with no opening on record",
    Kind.SPLIT: "it was split with no opening on record",
    Kind.LOAD: "it was loaded with no opening on record",
    Kind.PLACE_ON_BOARD: "it was placed on a board with no opening on record",
    Kind.JOIN: "it was joined with no opening on record",
    Kind.REFLOW: "it was reflowed with no opening on record",
    Kind.BAKE_START: "a bake was started with the bag closed",
    Kind.BAKE_END: "a bake was ended that never began, with the bag closed",
}

ENDS_OUTSIDE_THE_OVEN = {
    Kind.CLOSE: "closed while its bake was running",
    Kind.JOIN: "joined while its bake was running",
    Kind.PLACE_ON_BOARD: "placed on a board while its bake was running",
    Kind.REFLOW: "reflowed while its bake was running",
    Kind.BAKE_START: "a bake was started while another was running",
}

GONE = {
    Kind.SCRAP: "it was scrapped before",
    Kind.JOIN: "it was joined into another before",
    Kind.REFLOW: "its last reflow was before",
}
AGAINST_A_HOLD = {
    Kind.LOAD: "it was loaded while on hold",
    Kind.PLACE_ON_BOARD: "it was placed on a board while on hold",
    Kind.REFLOW: "it was reflowed while on hold",
}
"""What a hold forbids; a release settles it, for quality decides knowing of it."""

HAPPENS_TO_BOARDS = frozenset({Kind.MOVE, Kind.HOLD, Kind.RELEASE, Kind.SCRAP})
"""Kinds that do not contradict an earlier last reflow."""


_PLAIN = {
    "bag": {Kind.OPEN: "air", Kind.MOVE: "bag"},
    "air": {
        Kind.CLOSE: "bag",
        Kind.MOVE: "air",
        Kind.TAKE: "air",
        Kind.SPLIT: "air",
        Kind.LOAD: "air",
    },
}
"""Kinds that contradict nothing in a bag and in the air, and where the carrier is after them."""


@dataclass(slots=True)
class _Walk:
    inside: Literal["bag", "air", "oven"]
    known_closed_at: int | None
    closed_index: int
    bake_index: int = -1
    gone: list[int] = field(default_factory=list)
    held: bool = False


def settle(events: Sequence[Event], received_at: int) -> tuple[list[Event], tuple[Conflict, ...]]:
    """Return events the fold can take one after the other, and what contradicted.

    A closing, take, split, load or bake of a bag with no opening on record puts an opening (without
    an id) where the bag was last known closed; a bake that something contradicts becomes a move to
    the oven, which is exposure.

    Args:
        events: effective events, in order.
        received_at: when the carrier was received in its closed bag.
    """
    if _is_plain(events):
        return list(events), ()
    out: list[Event] = []
    conflicts: list[Conflict] = []
    walk = _Walk("bag", None, 0)

    def conflict(event: Event, message: str) -> None:
        conflicts.append(Conflict(event.id, event.at, message))

    def open_since_closed(event: Event) -> None:
        since = walk.known_closed_at
        since = min(received_at, event.at) if since is None else since
        index = walk.closed_index
        while index < len(out) and out[index].at < since:
            index += 1
        out.insert(index, event._replace(id="", kind=Kind.OPEN, at=since, place=None, hic=None))
        walk.inside = "air"

    def undo_bake() -> None:
        out[walk.bake_index] = out[walk.bake_index]._replace(kind=Kind.MOVE)
        walk.inside = "air"

    for event in events:
        kind = event.kind
        if kind in AGAINST_A_HOLD and walk.held:
            conflict(event, AGAINST_A_HOLD[kind])
        elif kind is Kind.RELEASE:
            conflicts = [one for one in conflicts if one.message not in AGAINST_A_HOLD.values()]
        if kind in (Kind.HOLD, Kind.RELEASE):
            walk.held = kind is Kind.HOLD
        if walk.gone and not (kind in HAPPENS_TO_BOARDS and out[walk.gone[0]].kind is Kind.REFLOW):
            conflict(event, GONE[out[walk.gone[-1]].kind])
            for i in walk.gone:
                undone = out[i]._replace(last=False)
                out[i] = (
                    undone if undone.kind is Kind.REFLOW else undone._replace(kind=Kind.CORRECT)
                )
            walk.gone = []
        if kind in NEEDS_OPEN and walk.inside == "bag":
            conflict(event, NEEDS_OPEN[kind])
            open_since_closed(event)
            if kind is Kind.BAKE_START:
                event = event._replace(kind=Kind.MOVE)
        elif kind is Kind.OPEN and walk.inside != "bag":
            conflict(event, "opened, but it was not in a closed bag")
            if walk.inside == "oven":
                undo_bake()
            continue
        elif kind in ENDS_OUTSIDE_THE_OVEN and walk.inside == "oven":
            conflict(event, ENDS_OUTSIDE_THE_OVEN[kind])
            undo_bake()
        elif kind is Kind.BAKE_END and walk.inside != "oven":
            conflict(event, "a bake was ended that never began")
            event = event._replace(kind=Kind.MOVE) if event.place else event
        if event.kind is Kind.BAKE_END and walk.inside != "oven" and event.place is None:
            continue
        out.append(event)
        if event.kind is Kind.OPEN:
            walk.inside = "air"
        elif event.kind is Kind.CLOSE:
            walk.inside, walk.known_closed_at, walk.closed_index = "bag", event.at, len(out)
        elif event.kind is Kind.BAKE_START:
            walk.inside, walk.bake_index = "oven", len(out) - 1
        elif event.kind in (Kind.MOVE, Kind.LOAD, Kind.BAKE_END) and walk.inside == "oven":
            walk.inside = "air"
        elif (
            event.kind is Kind.SCRAP
            or (event.kind is Kind.JOIN and event.joined is None)
            or (event.kind is Kind.REFLOW and event.last)
        ):
            walk.gone.append(len(out) - 1)
    return out, tuple(conflicts)


def _is_plain(events: Sequence[Event]) -> bool:
    """Return whether a carrier came out of its bag and into it again and no more, as most do."""
    after = _PLAIN["bag"]
    for event in events:
        where = after.get(event.kind)
        if where is None:
            return False
        after = _PLAIN[where]
    return True
