"""What a standing holds besides its line."""

from __future__ import annotations

import json

from msdtrack.exposure import lines
from msdtrack.exposure.state import CarrierState
from msdtrack.services import answers
from msdtrack.store.standings import Standing


def gone(state: CarrierState, since: int, gone_at: int | None, until: int) -> Standing:
    """Return the standing of a carrier that is gone.

    Args:
        since, until: from when and up to when it answers.
        gone_at: when it was first seen gone; None: it will not stay so.
    """
    return Standing(
        carrier=state.facts.code,
        part=state.facts.part.number,
        place=state.ledger.place,
        listed=False,
        urgency=9,
        since=since,
        until=until,
        moves_at=until,
        share=0,
        rate=0,
        next_share=lines.NEVER,
        air_place=None,
        rate_class=None,
        in_air=False,
        left_rate=0,
        heeds_air=False,
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
