"""What a scan station says: replies, refusals, and the choices that make sense next."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from msdtrack.errors import Refused
from msdtrack.exposure.bake_advice import CAUTIONS
from msdtrack.exposure.events import Kind
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import (
    ACTIONS,
    Action,
    BadCode,
    CodeKind,
    make_action_code,
    read_code,
)
from msdtrack.services.countdowns import desiccant_is_good
from msdtrack.store import places

Tone = Literal["ok", "ask", "stop", "refuse"]
"""ok; ask: it needs something more, or an eye; stop: what was scanned must not be used, and
what was done with it, if anything, is on record; refuse: nothing was changed."""

CARD = ("HICDRY", "HIC5", "HIC10", "HIC60", "HICMISSING")
EARLIER = ("AGO5", "AGO15", "AGO30", "AGO60")


HOT_OUT = CAUTIONS[2]
_HOT = " ".join(CAUTIONS[1:5])


class Choice(NamedTuple):
    """An answer that a person may give next.

    Attributes:
        code: what to scan or send for it.
        text: what it says on its button.
    """

    code: str
    text: str


@dataclass(slots=True)
class Reply:
    """What a station says to one scan.

    Args:
        carrier: the carrier it is about; boards: the batch of boards it is about instead.
    """

    tone: Tone
    title: str
    message: str
    next_step: str = ""
    carrier: str | None = None
    choices: tuple[Choice, ...] = ()
    caution: str = ""
    boards: str | None = None


class Stop(Refused):
    """An action is impossible in the present state; nothing was changed.

    Args:
        title: a few words for the screen's largest line.
        message: why, for a person.
        next_step: what to do instead.
        carrier: the carrier it is about.

    Attributes:
        of_several: others were to be done with it, and could be without it.
        action: what was to be done, None where it is not about a carrier's state.
    """

    def __init__(
        self, title: str, message: str, next_step: str = "", carrier: str | None = None
    ) -> None:
        super().__init__(message)
        self.title = title
        self.next_step = next_step
        self.carrier = carrier
        self.of_several = False
        self.action: Action | None = None


def caution_of(action: Action) -> str:
    """Return what can hurt or ruin goods in an action; empty where nothing does."""
    return _HOT if action.event == Kind.BAKE_START else ""


def where(state: CarrierState) -> str:
    """Return where a carrier is, in words."""
    place = state.ledger.place
    return "place not known" if place is None else f"at {places.place(place).name}"


def card_choices(state: CarrierState) -> tuple[Choice, ...]:
    """Return what a person may say of a bag just opened: the card, and since when it is open."""
    if state.facts.part.msl == "1":
        return ()
    return _choices_of(state.facts.code, [*CARD, *EARLIER])


def choices_for(state: CarrierState) -> tuple[Choice, ...]:
    """Return what makes sense to do with a carrier now, the likeliest first."""
    ledger, names = state.ledger, list[str]()
    if state.status == "gone":
        return ()
    if ledger.phase is Phase.BAKING:
        names += ["BAKEEND"]
    elif ledger.board is not None:
        names += ["MOVE"]
    elif ledger.phase is Phase.OPEN:
        bakes = [f"BAKE{option.temp_c:g}" for option in state.bake.options]
        if state.bake.needed:
            names += [] if ledger.held else bakes
        elif card_is_unread(state):
            names += CARD
        if state.verdict == "use":
            names += ["LOAD", "TAKE"]
        names += ["CLOSEQUICK", "CLOSEHEAT"] if desiccant_is_good(state) else []
        names += ["CLOSEFRESH", "MOVE"]
    else:
        names += ["OPEN", "MOVE"]
    names += ["RELEASE", "SCRAP"] if ledger.held else ["HOLD"]
    return _choices_of(state.facts.code, [name for name in names if name in ACTIONS][:9])


def card_is_unread(state: CarrierState) -> bool:
    """Return whether an open bag's humidity card is still to be read."""
    return state.opened_at is not None and state.ledger.hic is None and state.ledger.hic_missing


def choice(name: str) -> Choice:
    """Return the choice of an action by itself."""
    return Choice(make_action_code(name), ACTIONS[name].title)


def _choices_of(carrier: str, names: Iterable[str]) -> tuple[Choice, ...]:
    return tuple(
        Choice(f"{carrier} {make_action_code(name)}", ACTIONS[name].title) for name in names
    )


def after(name: str) -> str:
    """Return that an action has to be done first."""
    return f'Scan "{ACTIONS[name].title}" first.'


def carrier_and_action(text: str) -> tuple[str, Action] | None:
    """Return the carrier and the action of a text that holds both codes, apart by a space."""
    words = text.split()
    if len(words) != 2:
        return None
    try:
        carrier, action = (read_code(word) for word in words)
    except BadCode:
        return None
    if carrier.kind is not CodeKind.CARRIER or action.action is None:
        return None
    return carrier.text, action.action
