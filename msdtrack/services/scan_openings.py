"""What a person says of a bag just opened: what its humidity card shows, and since when it is open.

Both are corrections of the opening, which was recorded at once when it was scanned.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from msdtrack.exposure.events import Event, Kind
from msdtrack.printing.codes import Action
from msdtrack.services.countdowns import next_step_text
from msdtrack.services.scan_replies import (
    Reply,
    Stop,
    after,
    card_choices,
    card_is_unread,
    choices_for,
)
from msdtrack.services.scan_work import Work
from msdtrack.services.station_memory import Memory
from msdtrack.standard import indicator
from msdtrack.store import event_log


def read_card(work: Work, code: str, action: Action, memory: Memory) -> Reply:
    """Put what the humidity card shows on the opening of a carrier, as a correction of it.

    A card may be read anew only where and while the station remembers the opening.

    Raises:
        Stop: the carrier is not open, or its card was read before.
    """
    opening = _opening(work, code)
    if opening.hic is not None and memory.opening(opening.id) is None:
        raise Stop(
            "Card was read",
            f"The card of {code} was read at the opening: {_spots(opening.hic)}.",
            "If that is wrong, correct it on the carrier's page.",
            code,
        )
    hic = action.hic_spots() or {}
    _amend(work, opening, {"hic": hic}, "humidity card read at the station")
    state = work.hand.state(code)
    judged = indicator.judge(state.facts.part.msl, hic)
    reply = Reply("ok", "Card read", "", next_step_text(state, work.tz), code, choices_for(state))
    if judged == "failed":
        reply.tone, reply.title = "stop", "Bake before use"
        reply.message = f"{_spots(hic).capitalize()}. The dry pack has failed."
    elif judged == "missing":
        reply.tone, reply.title = "stop", "Do not use"
        reply.message = f"{_spots(hic).capitalize()}. Quality decides."
    else:
        more = " Close it with fresh desiccant." if indicator.fresh_desiccant_due(hic) else ""
        reply.message = f"{_spots(hic).capitalize()}. The dry pack was good.{more}"
    return reply


def opened_earlier(work: Work, code: str, action: Action, memory: Memory) -> Reply:
    """Put an opening earlier by the action's minutes before the scan that recorded it.

    Raises:
        Stop: the carrier is not open, was still closed then, or was not opened here just now.
    """
    opening = _opening(work, code)
    here = memory.opening(opening.id)
    if here is None:
        raise Stop(
            "Too late to say",
            f"The opening of {code} was not scanned here a moment ago.",
            "Correct its time on the carrier's page.",
            code,
        )
    opened_at = here.scanned_at - (action.minutes_ago or 0) * 60
    closed_at = work.hand.state(code, opening.at - 1).ledger.known_closed_at
    if opened_at < closed_at:
        raise Stop(
            "Too early",
            f"{code} was in a closed bag at {work.local(closed_at)}, later than that.",
            "Say a shorter time, or correct it on the carrier's page.",
            code,
        )
    _amend(work, opening, {"at": opened_at}, "time of opening given at the station")
    state = work.hand.state(code)
    unread = card_is_unread(state)
    return Reply(
        "ask" if unread else "ok",
        f"Open for {action.minutes_ago} min",
        f"Opened {work.local(opened_at)}.",
        "What does the humidity card show?" if unread else next_step_text(state, work.tz),
        code,
        card_choices(state) if unread else choices_for(state),
    )


def _opening(work: Work, code: str) -> Event:
    """Return the opening that a carrier is open by; of a shared bag, the one that was scanned."""
    state = work.hand.state(code, work.at)
    events = work.hand.account(code).events
    openings = [e for e in events if e.kind is Kind.OPEN and e.at <= work.at]
    if state.opened_at is None or not openings:
        raise Stop("Not open", f"{code} is not open: no card to read, no time to say.",
                   after("OPEN"), code)  # fmt: skip
    opening = openings[-1]
    if opening.cause is None:
        return opening
    causing, _ = event_log.find([opening.cause])[opening.cause]
    return next(e for e in work.hand.account(causing.carrier).events if e.id == causing.id)


def _amend(work: Work, opening: Event, fields: Mapping[str, Any], reason: str) -> None:
    # The newest correction wins whole, so it repeats what an earlier one said.
    log = event_log.log(opening.carrier)
    voided = {event.corrects for event in log if event.void}
    standing: dict[str, Any] = {}
    for event in log:
        if event.corrects == opening.id and not event.void and event.id not in voided:
            standing = dict(event.fields)
    correction = work.event(
        opening.carrier,
        Kind.CORRECT,
        event=opening.id,
        reason=reason,
        fields={**standing, **fields},
    )
    work.put([correction])


def _spots(hic: Mapping[str, str]) -> str:
    return ", ".join(f"{spot} % {hic.get(spot, 'missing')}" for spot in indicator.SPOTS)
