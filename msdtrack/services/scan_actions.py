"""What the actions of a scan do to carriers: checked first, put on the log, then told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msdtrack.exposure.events import Kind
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import Action
from msdtrack.services.countdowns import next_step_text
from msdtrack.services.event_recording import record
from msdtrack.services.scan_checks import check_all
from msdtrack.services.scan_replies import (
    HOT_OUT,
    Reply,
    card_choices,
    caution_of,
    choices_for,
    where,
)
from msdtrack.services.scan_work import Work
from msdtrack.standard import indicator
from msdtrack.store import event_log, places
from msdtrack.store.records import ScanRecord
from msdtrack.times import day_text, duration_text


def perform(
    work: Work,
    action: Action,
    codes: Sequence[str],
    place: str | None = None,
    quantity: int | None = None,
) -> Reply:
    """Do an action with carriers, all or none of them, and return what happened to the last.

    Args:
        place: where; of a move or a bake, where to.
        quantity: of a taking, pieces.

    Raises:
        Stop: it is impossible for one of the carriers; nothing was done.
    """
    assert action.event is not None
    kind = Kind(action.event)
    given = _fields(work, action, place, quantity)
    before = check_all(work, action, codes, place, quantity)
    new = []
    for code in codes:
        stays = kind is Kind.MOVE and before[code].ledger.place == place
        if not stays or before[code].status == "baking":
            new.append(work.event(code, kind, **given))
    recorded = work.put(new)
    after = work.hand.states(codes)
    last = codes[-1]
    reply = _told(work, action, before[last], after[last], quantity)
    if kind is Kind.MOVE:
        _warn_at_the_line(reply, [after[code] for code in codes], work)
    if kind is Kind.OPEN and recorded[0].brought:
        sharers = ", ".join(recorded[0].brought)
        reply.message += f" Opened with it, for they share its bag: {sharers}."
    if len(codes) > 1:
        labels = [after[code].ledger.board or code for code in codes]
        what = "carriers" if labels == [*codes] else "carriers and boards"
        reply.message = f"{len(codes)} {what}, {', '.join(labels)}. {reply.message}"
    return reply


def _fields(work: Work, action: Action, place: str | None, quantity: int | None) -> dict[str, Any]:
    given: dict[str, Any] = {"place": place}
    if action.event == Kind.CLOSE:
        given |= {"desiccant": action.desiccant, "new_hic": action.hic, "seal": action.seal}
    elif action.event == Kind.BAKE_START:
        given["temp_c"] = action.temp_c
    elif action.event == Kind.TAKE:
        given["quantity"] = quantity
    elif action.event is not None and Kind(action.event) in _QUALITY:
        given["reason"] = f"{_QUALITY[Kind(action.event)][0].lower()} at {work.station}"
    return given


def _told(
    work: Work,
    action: Action,
    before: CarrierState,
    after: CarrierState,
    quantity: int | None,
) -> Reply:
    """Return what happened to a carrier, and what needs an eye on it."""
    reply = Reply("ok", "", "", next_step_text(after, work.tz), after.facts.code)
    kind = Kind(action.event or "")
    if kind is Kind.OPEN:
        reply.title, reply.message = "Opened", "The bag is open."
        reply.choices = card_choices(after)
        if reply.choices:
            reply.tone, reply.next_step = "ask", "What does the humidity card show?"
    elif kind is Kind.CLOSE:
        _tell_closed(reply, before, after)
    elif kind is Kind.MOVE:
        reply.title, reply.message = "Moved", f"Now {where(after)}."
        _warn_of_wet_cabinet(reply, after)
        if before.status == "baking":
            _tell_bake_ended(reply, before, after)
    elif kind is Kind.BAKE_START:
        bake = after.ledger.bake
        need = None if bake is None else bake.need.hours
        hours = "ask the maker how long" if need is None else f"{float(need):g} h needed"
        reply.title = "Bake started"
        reply.message = f"{action.temp_c} °C, {hours}, {where(after)}."
        reply.caution = caution_of(action)
        if not before.bake.needed:
            reply.message += " It needed no bake, and each one costs solderability."
    elif kind is Kind.BAKE_END:
        _tell_bake_ended(reply, before, after)
    elif kind is Kind.TAKE:
        left = after.ledger.quantity
        reply.title = f"{quantity} taken"
        reply.message = f"{left} left." if left else "It is empty now."
    elif kind is Kind.LOAD:
        reply.title, reply.message = "Loaded", f"It feeds the line, {where(after)}."
        place = after.ledger.place
        if place is None or places.place(place).kind != "line":
            reply.next_step = "Scan the line's code too: the clock runs by the air there."
    else:
        reply.title, reply.message = _QUALITY[kind]
    return reply


_QUALITY = {
    Kind.HOLD: ("Held", "Nobody uses it until quality releases it."),
    Kind.RELEASE: ("Released", "Quality has ended the hold."),
    Kind.SCRAP: ("Scrapped", "It is gone for good."),
}


def _tell_closed(reply: Reply, before: CarrierState, after: CarrierState) -> None:
    reply.title = "Closed"
    ends = after.shelf_life_ends
    fresh = ends is not None and ends != before.shelf_life_ends
    until = "not known" if ends is None else f"{day_text(ends)}{', new' if fresh else ''}"
    reply.message = f"Shelf life until {until}."
    if after.ledger.phase is Phase.TIRED_BAG:
        out_s = after.ledger.desiccant_out_s
        why = (
            "the 5 % spot was not seen dry"
            if (after.ledger.hic or {}).get(indicator.SPOTS[0]) != "dry"
            else f"it was in the air for {duration_text(out_s)} in all"
        )
        reply.tone, reply.title = "ask", "Closed, clock runs"
        reply.message = f"The old desiccant does not count, {why}. The clock goes on."
        reply.next_step = "Open it again and close it with fresh desiccant."


def _tell_bake_ended(reply: Reply, before: CarrierState, after: CarrierState) -> None:
    reply.title, reply.caution = "Bake ended", HOT_OUT
    bake = before.ledger.bake
    assert bake is not None
    if bake.reached_at is not None:
        reply.message = "Its hours were reached, the floor life is whole again."
        return
    done_h = (before.at - bake.started_at) / HOUR_S
    need = bake.need.hours
    of = "no figure for it" if need is None else f"{float(need):g} h needed"
    reply.tone, reply.title = "ask", "Bake ended early"
    reply.message = f"{done_h:.1f} h done, {of}. It resets nothing. Now {where(after)}."


def _warn_of_wet_cabinet(reply: Reply, after: CarrierState) -> None:
    place = after.ledger.place
    if after.status == "exposed" and place is not None and places.place(place).kind == "cabinet":
        reply.tone, reply.title = "ask", "Moved, clock runs"
        reply.message += " This cabinet is over its humidity limit: the clock goes on."


def _warn_at_the_line(reply: Reply, moved: Sequence[CarrierState], work: Work) -> None:
    """Say so in red if something was brought to a line that must not be used there: it is where it
    is, so that stays on record."""
    place = moved[-1].ledger.place
    wrong = [one for one in moved if one.verdict == "do_not_use"]
    if not wrong or place is None or places.place(place).kind != "line":
        return
    boards = {one.ledger.board for one in wrong}
    reply.tone = "stop"
    reply.title = f"{reply.title}, do not {'use' if None in boards else 'reflow'}"
    one_wrong = len(wrong) == 1
    apart = "Put it apart: as it is it" if one_wrong else "Put them apart: as they are they"
    reply.next_step = f"{apart} must not be mounted."
    if len(moved) == 1:
        reply.message += f" {next_step_text(wrong[0], work.tz)}"
        return
    for code in dict.fromkeys(one.ledger.board or one.facts.code for one in wrong):
        one = next(one for one in wrong if code in (one.ledger.board, one.facts.code))
        verb = "use" if one.ledger.board is None else "reflow"
        reply.message += f" Do not {verb} {code}: {next_step_text(one, work.tz)}"


def take_back(work: Work, scan: ScanRecord) -> tuple[Reply, str]:
    """Void the events of a scan by corrections, the newest first.

    Returns:
        What was undone, and the code of the last carrier it was done with.
    """
    found = event_log.find(scan.events)
    undone = []
    for id_ in reversed(scan.events):
        event = found[id_][0]
        undone.append(event.carrier)
        record(
            [
                work.event(
                    event.carrier, Kind.CORRECT, event=id_, void=True,
                    reason="undone at the station",
                )
            ],
            work.now,
            work.hand,
        )  # fmt: skip
    codes = list(dict.fromkeys(reversed(undone)))
    after = work.hand.states(codes)
    last = after[codes[-1]]
    labels = dict.fromkeys(after[code].ledger.board or code for code in codes)
    what = f"{scan.answer['title']}: {', '.join(labels)}"
    age = duration_text(max(0, work.at - scan.at))
    reply = Reply(
        "ok",
        "Taken back",
        f"{what}, scanned {age} ago, no longer counts. The log keeps both.",
        next_step_text(last, work.tz),
        last.facts.code,
        choices_for(last),
    )
    conflicts = [c for code in codes for c in after[code].conflicts]
    if conflicts:
        reply.tone = "ask"
        reply.message += f" But now the log contradicts itself: {conflicts[0].message}."
    return reply, last.facts.code
