"""What a scan station asks when it needs more, and how it presents what was scanned by itself."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from msdtrack.exposure.events import Kind
from msdtrack.exposure.state import CarrierState
from msdtrack.phrases import counted
from msdtrack.printing.codes import ACTIONS, Action
from msdtrack.services.countdowns import next_step_text
from msdtrack.services.scan_replies import (
    Choice,
    Reply,
    Stop,
    Tone,
    card_is_unread,
    caution_of,
    choice,
    choices_for,
    where,
)
from msdtrack.store.records import PlaceRecord, ScanRecord
from msdtrack.times import duration_text

TOGETHER = "TOGETHER"
"""The word that puts all carriers of a closing into one bag; offered on the screen."""

WITH_PLACE = (Kind.MOVE, Kind.BAKE_START)
"""What can't be done without a place."""

READY = "Scan a carrier, or an action."

_NEXT = 'Scan the carriers, one after the other; "Done" ends it.'


def present(state: CarrierState, tz: tzinfo) -> Reply:
    """Return what a carrier is and may be used for."""
    reply = Reply(
        _tone(state),
        _title(state),
        f"Lot {state.facts.lot}, {counted(state.ledger.quantity, 'piece')}, {where(state)}.",
        next_step_text(state, tz),
        state.facts.code,
        choices_for(state),
    )
    if card_is_unread(state):
        reply.next_step = "What does the humidity card show?"
    return reply


def _tone(state: CarrierState) -> Tone:
    if state.verdict == "use":
        return "ok"
    elsewhere = state.status in ("gone", "baking", "on_board")
    waits = card_is_unread(state) or state.next_step.kind == "wait"
    return "ask" if elsewhere or waits else "stop"


def _title(state: CarrierState) -> str:
    if state.status in ("gone", "baking", "on_board"):
        return state.status.replace("_", " ").capitalize()
    if state.verdict == "do_not_use":
        return "Do not use"
    return {"in_dry_bag": "In dry bag", "dry_storage": "In dry storage"}.get(state.status, "Usable")


def present_place(place: PlaceRecord) -> Reply:
    """Return what a place is and how carriers get there."""
    return Reply(
        "ask",
        place.name,
        f"Place {place.code}, {place.kind}.",
        f'To bring carriers here: "{ACTIONS["MOVE"].title}", then the carriers.',
        choices=(choice("MOVE"),),
    )


def ask_carriers(action: Action, needs_place: bool = False, at: str | None = None) -> Reply:
    """Ask for the carriers of a series.

    Args:
        needs_place: it has not heard where yet.
        at: name of the place it is for.
    """
    reply = Reply("ask", action.title, "Waiting for carriers.", _NEXT, choices=(choice("DONE"),))
    if at is not None:
        reply.message = f"At {at}. Waiting for carriers."
    elif action.event in WITH_PLACE and needs_place:
        reply.next_step = f"Scan {_the_place(action)}, and the carriers."
    elif action.event == Kind.TAKE:
        reply.next_step = "Scan the carrier, then key in how many were taken."
    elif action.event == Kind.CLOSE:
        reply.choices += (Choice(TOGETHER, "All in one bag"),)
    reply.caution = caution_of(action)
    return reply


def ask_place(action: Action, codes: Sequence[str]) -> Reply:
    """Ask where carriers go."""
    which = f"{counted(len(codes), 'carrier')}: {', '.join(codes)}. " if len(codes) > 1 else ""
    return Reply(
        "ask",
        action.title,
        f"{which}Not recorded yet.",
        f"Scan {_the_place(action)}.",
        codes[-1],
        caution=caution_of(action),
    )


def _the_place(action: Action) -> str:
    return "the oven" if action.event == Kind.BAKE_START else "the place"


def ask_bake(
    oven: PlaceRecord, codes: Sequence[str], names: Sequence[str], why_none: Stop | None
) -> Reply:
    """Ask which bake starts; the oven was scanned first.

    Args:
        oven: the oven.
        codes: the carriers.
        names: of the bakes that all of them may have there.
        why_none: why there is none, if so.
    """
    reply = Reply(
        "ask",
        "Which bake?",
        f"{', '.join(codes)}: {oven.name}.",
        f"Scan which bake starts, or that {'it is' if len(codes) == 1 else 'they are'} only put "
        "there.",
        codes[-1],
        tuple(choice(name) for name in [*names, "MOVE"]),
    )
    if why_none is not None:
        reply.title, reply.message = "No bake to start", why_none.message
        them = "it" if len(codes) == 1 else "them"
        only_there = f'"{ACTIONS["MOVE"].title}" only puts {them} there.'
        reply.next_step = f"{why_none.next_step} {only_there}".strip()
    return reply


def ask_number(code: str, action: Action) -> Reply:
    """Ask for a quantity."""
    return Reply("ask", action.title, "How many?", "Key in the number and press Enter.", code)


def ask_bag(action: Action) -> Reply:
    """Ask for the carriers that go into one bag."""
    return Reply(
        "ask",
        "All in one bag",
        f"{action.title}.",
        'Scan each carrier that goes in, then "Done" once the bag is sealed.',
        choices=(choice("DONE"),),
    )


def in_the_bag(codes: Sequence[str]) -> Reply:
    """Return what is in a bag that is not sealed yet."""
    return Reply(
        "ask",
        f"{len(codes)} in the bag",
        f"Not closed yet: {', '.join(codes)}.",
        'Scan the next one, or "Done" once the bag is sealed.',
        codes[-1],
        (choice("DONE"),),
    )


def ask_undo(scan: ScanRecord, age_s: int) -> Reply:
    """Ask before an older scan is taken back.

    Args:
        age_s: how long ago it was, seconds.
    """
    carrier = scan.answer["carrier"]
    label = carrier or scan.answer.get("boards")
    what = f"{scan.answer['title']}: {label}" if label else str(scan.answer["title"])
    return Reply(
        "ask",
        "Take this back?",
        f"{what}, scanned {duration_text(age_s)} ago.",
        f'"{ACTIONS["UNDO"].title}" again takes it back. Any other scan leaves it.',
        carrier,
        (choice("UNDO"),),
    )
