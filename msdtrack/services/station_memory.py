"""What a scan station remembers from one scan to the next, and for how long."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from msdtrack.store import scans
from msdtrack.store.records import StationContext

IDLE_S = 120
"""After this long without a scan, carriers, action and place are forgotten."""

OPENING_S = 10 * 60
"""For this long after an opening its card may be read, or an earlier time given, unasked."""

SEALING_S = 15 * 60
"""For this long a bag that is being filled is waited for."""

BADGE_S = 8 * 3600
"""At a scanner without a screen a badge holds for a shift: it could not say that it ended before,
and whoever carries it has it in hand."""

IN_BROWSER_S = 60 * 60
"""In a browser a badge holds for this long after the last entry that was made there. Tablets are
shared and lie about: work that goes on keeps the name, and whoever picks one up after a pause is
not taken for the one before, whose name would be believed. Much shorter, and the entries of a quiet
bench would have no name."""


TAKE = "TAKE"
"""The action that asks for a quantity."""


@dataclass(frozen=True, slots=True)
class Opening:
    """An opening that this station recorded a short time ago."""

    event: str
    carrier: str
    scanned_at: int


@dataclass(frozen=True, slots=True)
class Browser:
    """Who is at the browser that a scan comes from: the code of the badge, None for nobody."""

    person: str | None


@dataclass(slots=True)
class Memory:
    """What a station has heard.

    Args:
        at: when it last heard something; 0 is never.
        person: code of the badge, scanned at `person_at`.
        action: name of the action that waits for carriers, a place or a number.
        in_series: the action came before its carriers, and goes on with the next one.
        chosen: carriers scanned last, the last one last.
        unspent: those carriers still wait for an action.
        in_hand: they came before their action, so the next action is theirs too.
        done: carriers the series is done with.
        place: the place the action is for, or one scanned by itself.
        together: the carriers of this closing go into one bag.
        openings: by recency.
        choices: what was offered last, as (code, text).
        completed: name of the action that the last scan completed.
        asked_undo: id of the scan that "Undo" asked about.
        in_browser: the browser knows who is there; what the station knew of it is forgotten.
    """

    station: str
    at: int = 0
    person: str | None = None
    person_at: int = 0
    action: str | None = None
    in_series: bool = False
    chosen: list[str] = field(default_factory=list)
    unspent: bool = False
    in_hand: bool = False
    done: list[str] = field(default_factory=list)
    place: str | None = None
    together: bool = False
    openings: list[Opening] = field(default_factory=list)
    choices: list[tuple[str, str]] = field(default_factory=list)
    completed: str | None = None
    asked_undo: str | None = None
    in_browser: bool = False

    def copy(self) -> Memory:
        """Return a copy that can be changed without changing this one."""
        return replace(
            self,
            chosen=list(self.chosen),
            done=list(self.done),
            openings=list(self.openings),
            choices=list(self.choices),
        )

    def take(self, codes: list[str]) -> None:
        """Hold carriers that can get any action."""
        self.chosen, self.unspent, self.in_hand = codes, True, True

    def forget_work(self) -> None:
        """Forget carriers, action and place, as when a series is done."""
        self.action = self.place = self.completed = self.asked_undo = None
        self.in_series = self.unspent = self.in_hand = self.together = False
        self.chosen, self.done = [], []

    def expect(self, action: str, chosen: list[str]) -> None:
        """Wait with an action for what it still needs."""
        self.action, self.chosen, self.unspent = action, chosen, bool(chosen)

    def opening(self, event: str) -> Opening | None:
        """Return the opening with this event id if this station recorded it a moment ago."""
        return next((one for one in self.openings if one.event == event), None)

    @property
    def waiting(self) -> list[str]:
        """Return the carriers that an action is still to be done with."""
        return self.chosen if self.unspent and self.action is not None else []

    @property
    def wants_number(self) -> bool:
        """Return whether a quantity is to be keyed in next."""
        return self.unspent and self.action == TAKE


_OPTIONS = (
    "person_at",
    "in_series",
    "chosen",
    "unspent",
    "in_hand",
    "done",
    "place",
    "together",
    "completed",
    "asked_undo",
)
"""What is kept as it is, beside what has a column of its own; left out where there is nothing."""


def recalled(station: str, at: int) -> Memory:
    """Return what a station still remembers at a moment."""
    return recalled_from(scans.station_context(station), at)


def recalled_from(context: StationContext, at: int, browser: Browser | None = None) -> Memory:
    """Return the same from what is kept of the station, and of who is at the browser."""
    options = context.options
    kept = {name: options[name] for name in _OPTIONS if name in options}
    memory = Memory(context.station, context.at, context.person, action=context.action, **kept)
    memory.choices = [(code, text) for code, text in options.get("choices", ())]
    memory.openings = [
        Opening(**one) for one in options.get("openings", ()) if at - one["scanned_at"] <= OPENING_S
    ]
    if at - memory.at > (SEALING_S if memory.together else IDLE_S):
        memory.forget_work()
        memory.choices = []
    if at - memory.person_at > BADGE_S:
        memory.person = None
    if browser is not None:
        memory.person, memory.person_at, memory.in_browser = browser.person, 0, True
    return memory


def remember(memory: Memory, at: int) -> None:
    """Keep what a station knows after a scan at the moment `at`."""
    options: dict[str, object] = {
        name: value for name in (*_OPTIONS, "choices") if (value := getattr(memory, name))
    }
    if memory.openings:
        options["openings"] = [
            {"event": one.event, "carrier": one.carrier, "scanned_at": one.scanned_at}
            for one in memory.openings
        ]
    carrier = memory.chosen[-1] if memory.chosen else None
    person = None if memory.in_browser else memory.person
    latest = max(at, memory.at)
    scans.set_station_context(
        StationContext(memory.station, latest, carrier, memory.action, person, options)
    )
