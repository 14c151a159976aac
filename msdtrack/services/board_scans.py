"""What a scan station says of a batch of boards whose code was scanned."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import tzinfo

from msdtrack.errors import NotFound
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import MAX_PASSES
from msdtrack.phrases import counted
from msdtrack.services.board_states import BatchState, state_of_batch
from msdtrack.services.scan_replies import Reply, Stop, Tone, choices_for
from msdtrack.services.scan_work import Work
from msdtrack.services.station_memory import Memory
from msdtrack.store import places
from msdtrack.times import duration_text, local_text

_WHERE = {
    "empty": "Nothing placed",
    "on_board": "Between reflows",
    "in_dry_bag": "In dry bag",
    "dry_storage": "In dry storage",
    "baking": "Baking",
    "finished": "Soldered",
    "gone": "Scrapped",
}


def boards_scanned(code: str, work: Work, memory: Memory, pick: Callable[[str], Reply]) -> Reply:
    """Answer the code of a batch: show it and take it in hand, or do with it what waits.

    What happens to one of its placements happens to all, so the worst one stands for the batch.

    Args:
        code: the batch.
        work: the scan.
        memory: what the station knows.
        pick: answers the code of a carrier.

    Raises:
        Stop: there is no such batch, or what waits can't be done with it.
    """
    state = _state(code, work.at)
    reply = _shown(state, work.tz)
    waits = memory.action is not None
    if not _at_work(state):
        if waits:
            raise Stop(reply.title, f"Nothing was done with {code}.", "Open its page.")
        return reply
    assert state.worst is not None
    picked = pick(state.worst.placed.code)
    if waits:
        return picked
    if memory.chosen[:-1]:
        reply.message += with_it(memory.chosen[:-1], work)
    return reply


def by_label(reply: Reply, carrier: str, work: Work) -> Reply:
    """Return what was done with a carrier; if it is a placement, by the label of its batch.

    Args:
        reply: what was done.
        carrier: with which carrier or placement, the last one if there were several.
        work: the scan.
    """
    code = work.hand.state(carrier).ledger.board
    if code is None:
        return reply
    shown = _shown(_state(code, work.at), work.tz)
    shown.tone, shown.title, shown.caution = reply.tone, reply.title, reply.caution
    shown.message = f"{reply.message} {shown.message}"
    return shown


def with_it(others: Iterable[str], work: Work) -> str:
    """Return what else is in hand, by the codes that are on the labels: a batch's, not those of
    its placements."""
    labels = [work.hand.state(code).ledger.board or code for code in others]
    return f" With it: {', '.join(labels)}; a place moves them all."


def _state(code: str, at: int) -> BatchState:
    try:
        return state_of_batch(code, at)
    except NotFound:
        raise Stop(
            "Unknown boards",
            f"{code} is no batch of boards on file.",
            "Begin it on the page of the boards, or scan another label.",
        ) from None


def _at_work(state: BatchState) -> bool:
    return bool(state.placements) and state.finished_at is None and state.status != "gone"


def _shown(state: BatchState, tz: tzinfo) -> Reply:
    """Return what a batch is, how long it has, and what is to be done with it."""
    batch, worst, step = state.batch, state.worst, state.next_step
    where = "place not known" if state.place is None else f"at {places.place(state.place).name}"
    told = (
        f"{batch.code}, {batch.name}: {counted(batch.boards, 'board')}, {where}, {state.passes} of "
        f"{MAX_PASSES} passes done."
    )
    if worst is not None and _at_work(state):
        told += f" Worst {worst.state.facts.part.number}, {_left(state, tz)}."
    text = step.text if step.at is None else step.text.replace("{at}", local_text(step.at, tz))
    tone: Tone = "ok" if state.verdict == "use" else "ask"
    reply = Reply(tone, _WHERE[state.status], told, text, boards=batch.code)
    if worst is not None and _at_work(state):
        if state.status == "on_board" and state.verdict == "do_not_use":
            reply.tone, reply.title = "stop", "Do not reflow"
        elif step.kind == "use_first":
            reply.title = "Reflow first"
        reply.next_step += " Scan a place to move them."
        reply.choices = choices_for(worst.state)
    return reply


def _left(state: BatchState, tz: tzinfo) -> str:
    left_h = state.remaining_h
    if state.bake.needed or state.used_share >= 1:
        return "no floor life left"
    if left_h is None:
        return "no limit"
    left = f"{duration_text(int(left_h * HOUR_S))} left"
    runs = state.status == "on_board" and state.expires_at is not None
    return f"{left}, until {local_text(state.expires_at or 0, tz)}" if runs else left
