"""What the inspector's screen waits for, and what can be answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.phrases import counted
from msdtrack.printing.codes import ACTIONS, make_action_code
from msdtrack.services.countdowns import desiccant_is_good
from msdtrack.services.sample_checks import SampleCheck, SampledBag
from msdtrack.services.scan_replies import CARD, Choice, card_is_unread

BACK = "BACK"
"""The word that brings pieces back into the carrier they came from; offered on the screen."""

MORE = "TAKE"
"""The action that asks for another number of pieces."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a check waits for.

    Args:
        title: in a few words.
        words: in a sentence.
        choices: what can be answered; a digit keyed in picks one, unless a number is wanted.
        wants_number: pieces taken are to be keyed in; `number` is how many there should be.
    """

    title: str
    words: str
    choices: tuple[Choice, ...] = ()
    wants_number: bool = False
    number: int = 0


def asked(check: SampleCheck) -> Asked:
    """Return what a check waits for; of one that is decided, what was decided and what is next."""
    state = check.in_hand
    if state is None:
        if check.decided:
            return _decided(check)
        return Asked("Scan the first bag", "Any carrier of the lot that pieces are taken from.")
    code = state.facts.code
    if state.status == "gone":
        if check.decided:
            return _decided(check)
        words = "Scan the next bag, or enter measurements."
        return Asked("Nothing in hand", f"{code} is used up. {words}")
    if any(one.code == code for one in check.pieces):
        return _asked_of_pieces(check, state)
    bag = next((one for one in check.bags if one.code == code), SampledBag(code, state, 0, 0))
    if not bag.is_open:
        return _asked_of_closed(check, bag)
    if card_is_unread(state):
        return Asked("The humidity card?", "What does it show?", _choices(CARD))
    closings = _choices(
        (["CLOSEQUICK", "CLOSEHEAT"] if desiccant_is_good(state) else []) + ["CLOSEFRESH"]
    )
    last = next((one.kind for one in reversed(check.progress.steps)), "")
    if last == "more" or (bag.taken == 0 and not check.decided):
        words = (
            f"Key in the number; {bag.wanted} are wanted from here."
            if bag.wanted
            else ("Key in the number. The sample is complete already.")
        )
        return Asked("How many taken?", words, closings, True, bag.wanted)
    if check.decided:
        so_far = _decided(check)
        words = f"Its clocks run. {so_far.title}. {so_far.words}"
        return Asked("Close the bag", words, closings)
    words = "Or scan the next bag. The clocks of this one run."
    more = Choice(make_action_code(MORE), "Take more out")
    return Asked("Close the bag", words, (*closings, more))


def _decided(check: SampleCheck, choices: tuple[Choice, ...] = ()) -> Asked:
    """Return what was decided about the lot, and what comes next."""
    what, then = _DECIDED[check.progress.stage]
    return Asked(f"Lot {check.record.lot} is {what}", then, choices)


_DECIDED: Mapping[str, tuple[str, str]] = {
    "accepted": (
        "accepted",
        "Nothing more is taken or measured. Pieces that come back: scan them.",
    ),
    "rejected": (
        "rejected",
        "Nothing more is taken or measured. What is left of it is on hold, below: put it apart. "
        "Quality releases it there with a name and a reason, or it is scrapped at a scan station.",
    ),
    "released": (
        "released after its rejection",
        "Nothing more is taken or measured. Pieces that come back: scan them.",
    ),
}


def _asked_of_pieces(check: SampleCheck, state: CarrierState) -> Asked:
    parent = next(one.parent for one in check.pieces if one.code == state.facts.code)
    choices = (Choice(BACK, f"Back into {parent}"), *_choices(["SCRAP"]))
    words = "Pieces of this check. A place moves them."
    if check.decided:
        words += f" {_decided(check).title}."
    return Asked(counted(state.ledger.quantity, "piece"), words, choices)


def _asked_of_closed(check: SampleCheck, bag: SampledBag) -> Asked:
    opening = _choices(["OPEN"])
    if bag.state.ledger.phase is Phase.BAKING:
        return Asked("In the oven", "End its bake at a scan station first, or scan another.")
    if check.decided:
        return _decided(check, opening)
    missing = check.record.sample_size - check.progress.taken
    if not bag.taken:
        return Asked("Open the bag", "The clocks start when it is opened.", opening)
    if missing > 0:
        wanted = f"{counted(missing, 'piece')} {'is' if missing == 1 else 'are'} still wanted."
        return Asked("Scan the next bag", wanted, opening)
    return Asked(
        "All pieces taken", "Enter the measurements. Pieces that come back: scan them.", opening
    )


def _choices(names: Sequence[str]) -> tuple[Choice, ...]:
    return tuple(Choice(make_action_code(name), ACTIONS[name].title) for name in names)
