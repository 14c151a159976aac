"""What a standing holds besides its line."""

from __future__ import annotations

import json
from dataclasses import replace

from msdtrack.exposure import lines
from msdtrack.exposure.state import CarrierState
from msdtrack.services import answers
from msdtrack.store.standings import Standing, unknown


def gone(state: CarrierState, since: int, gone_at: int | None, until: int) -> Standing:
    """Return the standing of a carrier that is gone.

    Args:
        since, until: from when and up to when it answers.
        gone_at: when it was first seen gone; None: it will not stay so.
    """
    return replace(
        unknown(state.facts.code),
        part=state.facts.part.number,
        place=state.ledger.place,
        since=since,
        until=until,
        moves_at=until,
        next_share=lines.NEVER,
        gone_at=gone_at,
        summary="{}",
        glance="[]",
    )


def summary(state: CarrierState, line: lines.Line) -> str:
    """Return as JSON what a carrier's answer says, and what of it moves with its line."""
    moves = [name for name in ("hot", "assumed", "provisional") if getattr(line, name)]
    if state.next_step.kind in ("use", "use_first"):
        moves.append("use")
    return json.dumps({"answer": answers.state_answer(state), "moves": moves})
