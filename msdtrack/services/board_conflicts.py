"""What contradicts the log of a batch of boards, each once, and how it is settled."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from msdtrack.errors import Refused
from msdtrack.exposure.contradictions import AGAINST_A_HOLD
from msdtrack.exposure.state import CarrierState
from msdtrack.services.board_states import BatchState
from msdtrack.store import event_log
from msdtrack.store.connection import read


@dataclass(frozen=True, slots=True)
class BoardConflict:
    """An event of a batch, or of a carrier before its pieces were placed, that contradicts.

    Args:
        event_id: the event as it was recorded, not what it brought on the other placements.
        carrier: code of the carrier or the placement on whose log it contradicts.
        at: when it happened.
        message: what it contradicts.
    """

    event_id: str
    carrier: str
    at: int
    message: str

    @property
    def against_a_hold(self) -> bool:
        """Return whether a release settles it, as a correction does."""
        return self.message in AGAINST_A_HOLD.values()


def conflicts_of(state: BatchState) -> tuple[BoardConflict, ...]:
    """Return what contradicts the logs of all that is placed on a batch, in order of time."""
    states = [one.state for one in state.placements]
    ids = {conflict.event_id for one in states for conflict in one.conflicts}
    if not ids:
        return ()
    with read():
        events = event_log.find(ids)
    found: dict[tuple[str, str], BoardConflict] = {}
    for one in states:
        for conflict in one.conflicts:
            event = events[conflict.event_id][0]
            root = event.cause or event.id
            said = BoardConflict(root, event.carrier, conflict.at, conflict.message)
            found.setdefault((root, conflict.message), said)
    return tuple(sorted(found.values(), key=lambda one: (one.at, one.event_id)))


def refuse_conflict(state: BatchState, event_id: str) -> None:
    """Undo the open transaction if the event that was just recorded contradicts the log.

    Args:
        state: the batch with the event.
        event_id: the event.

    Raises:
        Refused: it does.
    """
    for conflict in conflicts_of(state):
        if conflict.event_id != event_id:
            continue
        if conflict.against_a_hold:
            held = _held(one.state for one in state.placements)
            raise Refused(
                f"The boards are on hold: {held}. They pass no reflow until quality releases them."
            )
        raise Refused(
            f"The log of {conflict.carrier} says otherwise: {conflict.message}. Nothing was "
            "changed: put the log right first."
        )


def _held(states: Iterable[CarrierState]) -> str:
    return "; ".join(dict.fromkeys(reason for one in states for reason in one.ledger.held))
