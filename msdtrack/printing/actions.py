"""The actions a scanner can ask for: what each records and the words printed beside its bars.

Source of the figures in the words: IPC/JEDEC J-STD-033D. Bake temperatures and 5 % RH: Table 4-1.
Spots of the humidity indicator card: 10 % for levels 2a to 5a published, 60 % for level 2 from
memory. 30 minutes for desiccant and one hour for closing: from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from msdtrack.standard.indicator import SPOTS

Spot = Literal["dry", "humid", "missing"]

# Every letter and sign class that common national keyboard layouts move, and two digits (some
# layouts type signs for unshifted digits).
_TEST_CHARACTERS = "AQZWYM17"


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One action code of the card.

    Attributes:
        name: Its name in code and logs, A-Z and 0-9.
        title: A few words, printed large.
        instruction: One sentence, printed below the title.
        event: The kind of event it records; None if it steers the scan station instead.
        desiccant: For a closing, "fresh" or "reused".
        hic: For a closing, the humidity indicator card: "fresh" or "kept".
        seal: For a closing, "heat" or "clip".
        temp_c: For the start of a bake, the oven's temperature in °C.
        minutes_ago: How long before the scan the bag was opened, in minutes.
        spots: What the spots of the humidity indicator card show, in the order of `SPOTS`.
        extra: Characters after the name in the code, for the keyboard test only.
    """

    name: str
    title: str
    instruction: str
    event: str | None = None
    desiccant: Literal["fresh", "reused"] | None = None
    hic: Literal["fresh", "kept"] | None = None
    seal: Literal["heat", "clip"] | None = None
    temp_c: int | None = None
    minutes_ago: int | None = None
    spots: tuple[Spot, Spot, Spot] | None = None
    extra: str = ""

    @property
    def body(self) -> str:
        """What stands between the kind letter and the check character of its code."""
        return self.name + self.extra

    def hic_spots(self) -> dict[str, Spot] | None:
        """Return what each of `SPOTS` shows, or None for other actions."""
        if self.spots is None:
            return None
        return dict(zip(SPOTS, self.spots, strict=True))


_ALL = (
    Action(
        name="OPEN",
        event="open",
        title="Open the dry bag",
        instruction="Scan the carrier, then this. Next scan what the humidity card shows.",
    ),
    Action(
        name="HICDRY",
        spots=("dry", "dry", "dry"),
        title="All spots dry",
        instruction="The dry pack was good.",
    ),
    Action(
        name="HIC5",
        spots=("humid", "dry", "dry"),
        title="5 % humid only",
        instruction="Usable. Fresh desiccant when closing.",
    ),
    Action(
        name="HIC10",
        spots=("humid", "humid", "dry"),
        title="5 and 10 % humid",
        instruction="Levels 2a to 5a: bake before use.",
    ),
    Action(
        name="HIC60",
        spots=("humid", "humid", "humid"),
        title="All spots humid",
        instruction="Levels 2 to 5a: bake before use.",
    ),
    Action(
        name="HICMISSING",
        spots=("missing", "missing", "missing"),
        title="No card, or unreadable",
        instruction="Do not use until quality decides.",
    ),
    *(
        Action(
            name=f"AGO{minutes}",
            minutes_ago=minutes,
            title=f"Opened {minutes} minutes ago",
            instruction="Scan after an opening that was not scanned at once.",
        )
        for minutes in (5, 15, 30, 60)
    ),
    Action(
        name="CLOSEFRESH",
        event="close",
        desiccant="fresh",
        hic="fresh",
        seal="heat",
        title="Close: all new, heat seal",
        instruction="New desiccant, new humidity card, heat seal.",
    ),
    Action(
        name="CLOSEQUICK",
        event="close",
        desiccant="reused",
        hic="kept",
        seal="clip",
        title="Close: quick check, clip",
        instruction="Same desiccant and humidity card, clip, within the hour. Only if the 5 % spot "
        "is dry and the desiccant was out 30 minutes at most in all.",
    ),
    Action(
        name="CLOSEHEAT",
        event="close",
        desiccant="reused",
        hic="kept",
        seal="heat",
        title="Close: same desiccant, heat seal",
        instruction="Same desiccant and humidity card, heat seal. Only if the 5 % spot is dry and "
        "the desiccant was out 30 minutes at most in all.",
    ),
    Action(
        name="MOVE",
        event="move",
        title="Move to a place",
        instruction="Scan the carriers, then this, then the code of the place.",
    ),
    Action(
        name="LOAD",
        event="load",
        title="Load on the line",
        instruction="The carrier feeds the line now. Its clock goes on.",
    ),
    Action(
        name="TAKE",
        event="take",
        title="Take some out",
        instruction="Then key in how many components were taken and press Enter.",
    ),
    Action(
        name="BAKE125",
        event="bake_start",
        temp_c=125,
        title="Start bake at 125 °C",
        instruction="Out of bag, tape and tube. Only trays marked for 125 °C or more.",
    ),
    Action(
        name="BAKE90",
        event="bake_start",
        temp_c=90,
        title="Start bake at 90 °C",
        instruction="At 5 % RH or drier. Only carriers marked for 90 °C or more.",
    ),
    Action(
        name="BAKE40",
        event="bake_start",
        temp_c=40,
        title="Start bake at 40 °C",
        instruction="At 5 % RH or drier. Reels, tapes and tubes, out of the bag.",
    ),
    Action(
        name="BAKEEND",
        event="bake_end",
        title="End the bake",
        instruction="Only a bake that reached its hours resets the floor life.",
    ),
    Action(
        name="HOLD",
        event="hold",
        title="Hold for quality",
        instruction="Nobody uses the carrier until it is released.",
    ),
    Action(
        name="RELEASE",
        event="release",
        title="Release",
        instruction="Quality ends the hold. Scan your badge first.",
    ),
    Action(
        name="SCRAP",
        event="scrap",
        title="Scrap",
        instruction="The carrier leaves for good. Scan your badge first.",
    ),
    Action(
        name="DONE",
        title="Done",
        instruction="Ends a series: one action, then many carriers, then this.",
    ),
    Action(
        name="UNDO",
        title="Undo the last scan",
        instruction="Takes back this station's last scan. The log keeps both.",
    ),
    Action(
        name="TEST",
        extra=_TEST_CHARACTERS,
        title="Scanner test",
        instruction="Scan on the set-up page: it shows whether the scanner types every character "
        "as printed.",
    ),
)

ACTIONS: Mapping[str, Action] = MappingProxyType({action.name: action for action in _ALL})
"""Every action by its name, in the order of the card."""
