"""The desk of a count: what a scan, a number, a time or a tap means, and what is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from flask import url_for

from msdtrack.digits import whole_number
from msdtrack.errors import BadInput
from msdtrack.printing.codes import BadCode, Code, CodeKind, read_code
from msdtrack.services import catalog, count_recording, counting, people, shift
from msdtrack.services.catalog import Place
from msdtrack.services.counting import Counted, CountNow, Decision
from msdtrack.services.people import Person
from msdtrack.services.scan_replies import Tone
from msdtrack.times import local_to_utc
from msdtrack.web import who
from msdtrack.web.count_rows import (
    CountRow,
    decision_words,
    found_words,
    place_word,
    rows,
    since_words,
)
from msdtrack.web.desk import Said, said, say
from msdtrack.web.names import all_people, all_places, place_names
from msdtrack.web.site import site

_MINUTES = (15, 60)
_PLACES_OFFERED = 6
_LISTED = 100
"""So many that were found last, and so many that are missing: a store holds thousands."""
_WHERE_NEXT = "Scan where it is, or key in a number."
_SINCE_NEXT = "Key in a number, or the time as 14:05 or 2026-05-04 14:05."


@dataclass(frozen=True, slots=True)
class Choice:
    """What can be chosen by its number or a tap; `act` is what the desk then does."""

    text: str
    act: str


@dataclass(frozen=True, slots=True)
class CountPage:
    """A place as it is counted.

    Args:
        begun_at: when the count began; None before its first scan.
        here: how many were found that the log has here; expected: how many it has here.
        missing, elsewhere, strange, found: rows; strange is gone on record or not on file.
        more_missing, more_found: so many besides, which are listed only when all is asked for.
        will: what will be recorded, in words; undecided: how many must be decided about first.
        said: the answer to the last scan, None for none.
        choices: what can be chosen now.
        about, to, stage: what is being asked about which carrier.
        person: who is at the browser.
    """

    place: Place
    begun_at: int | None
    here: int
    expected: int
    missing: tuple[CountRow, ...]
    elsewhere: tuple[CountRow, ...]
    strange: tuple[CountRow, ...]
    found: tuple[CountRow, ...]
    more_missing: int
    more_found: int
    will: tuple[tuple[str, str], ...]
    undecided: int
    said: Said | None
    choices: tuple[Choice, ...]
    about: str
    to: str
    stage: str
    person: Person | None


class CountDesk:
    """The count with what is being asked; the server keeps the count, the browser the question."""

    def __init__(self, place: str, sent: Mapping[str, str]) -> None:
        self.listed = None if "all" in sent else _LISTED
        self.place, self.now = place, site().now()
        self.about, self.to = sent.get("about", ""), sent.get("to", "")
        self.stage = sent.get("stage", "")
        self.names = place_names()
        self.name = f"count {place}"
        self.goes_to = ""

    @cached_property
    def count(self) -> CountNow:
        """The place as it is counted, folded only where it is shown or asked about."""
        return counting.count_now(self.place, self.now, self.listed)

    @property
    def url(self) -> str:
        """Return the page to go to."""
        return self.goes_to or url_for(
            "counting.show",
            place=self.place,
            about=self.about or None,
            to=self.to or None,
            stage=self.stage or None,
        )

    def page(self) -> CountPage:
        """Return the page."""
        of, begun = self.count.of, self.count.count
        return CountPage(
            place=self.count.place,
            begun_at=None if begun is None else begun.begun_at,
            here=self.count.found,
            expected=self.count.found + self.count.missing,
            missing=rows(of("missing"), self.names, self.now),
            elsewhere=rows(of("elsewhere"), self.names, self.now),
            strange=rows(of("gone", "unknown"), self.names, self.now),
            found=rows(
                sorted(of("here", "came"), key=lambda one: -(one.found_at or 0)),
                self.names,
                self.now,
            ),
            more_missing=len(self.count.more_missing),
            more_found=len(self.count.more_found),
            will=tuple(
                (one.code, decision_words(one, self.names, self.now)) for one in self.count.planned
            ),
            undecided=len(self.count.undecided),
            said=said(self.name),
            choices=self.choices(),
            about=self.about,
            to=self.to,
            stage=self.stage,
            person=who.present(),
        )

    def choices(self) -> tuple[Choice, ...]:
        """Return what can be chosen now."""
        if self.stage == "where":
            places = [one for one in all_places() if one.code != self.place and one.kind != "oven"]
            offered = [
                Choice(f"It is at {one.name}", f"to {one.code}") for one in places[:_PLACES_OFFERED]
            ]
            return (
                Choice("Not found: hold it for quality", "hold"),
                Choice("It is used up or scrapped", "ask gone"),
                *offered,
                Choice("Look for it first", "back"),
            )
        if self.stage == "gone":
            return (
                Choice("Used up", "gone used up"),
                Choice("Scrapped", "gone scrapped"),
                Choice("Back", "back"),
            )
        if self.stage in ("since", "open"):
            first = since_words(self._asked(), self.stage, self.now)
            minutes = [Choice(f"{each} minutes ago", f"ago {each}") for each in _MINUTES]
            back = "Its bag is closed" if self.stage == "open" else "Ask again later"
            return (
                Choice(f"Nobody knows: {first}", "nobody"),
                Choice("Just now", "ago 0"),
                *minutes,
                Choice(back, "back"),
            )
        if self.stage == "who":
            return tuple(Choice(one.name, f"who {one.code}") for one in all_people())
        if self.stage == "drop":
            return (Choice("Drop it, record nothing", "drop"), Choice("Go on counting", "back"))
        return self._steps()

    def _steps(self) -> tuple[Choice, ...]:
        found = []
        undecided = self.count.undecided
        missing = sum(one.decision is None for one in self.count.of("missing"))
        missing += len(self.count.more_missing)
        if undecided:
            found.append(Choice(f"All is scanned: decide about {undecided[0]}", "next"))
        if missing > 1:
            found.append(Choice(f"Hold all {missing} that were not found", "hold all"))
        if not undecided:
            number = len(self.count.planned)
            words = {0: "nothing to mend", 1: "1 entry for the log"}
            text = words.get(number, f"{number} entries for the log")
            found.append(Choice(f"All is scanned: record the count, {text}", "record"))
        if self.count.count is not None:
            found.append(Choice("Drop this count", "ask drop"))
        return tuple(found)

    def answer(self, text: str) -> None:
        """Do what was scanned, typed or tapped.

        Raises:
            MsdtrackError: it can't be done; nothing was.
        """
        number = whole_number(text, 4)
        if number is not None:
            offered = self.choices()
            if 1 <= number <= len(offered):
                self._do(offered[number - 1].act)
            elif self.stage in ("since", "open"):
                self._since(self.now - number * 60)
            else:
                raise BadInput(f"There is no choice {text} now.")
            return
        if text.split(" ")[0] in ("about", "leave", "open"):
            self._do(text)
            return
        try:
            code = read_code(text)
        except BadCode:
            if self.stage in ("since", "open"):
                self._since(self._moment(text))
            elif self.stage == "gone" and len(text) > 2:
                self._decide(Decision("gone", self.now, reason=text))
            else:
                raise
            return
        self._code(code)

    def _code(self, code: Code) -> None:
        if code.kind is CodeKind.CARRIER:
            again = counting.is_found(self.place, code.text)
            self._found(counting.found(self.place, code.text, self.now), again)
        elif code.kind is CodeKind.BAG:
            found = counting.found_bag(self.place, code.text, self.now)
            self._found(found[-1], again=False)
            if len(found) > 1:
                codes = ", ".join(one.code for one in found)
                self._say("ok", "Counted", f"{code.text}: {codes}.")
        elif code.kind is CodeKind.PLACE and self.stage == "where":
            self._to(code.text)
        elif code.kind is CodeKind.PLACE:
            place = catalog.place(code.text)
            self.goes_to = url_for("counting.show", place=place.code)
            say(f"count {place.code}", Said("ok", place.name, "Scan all that is in it."))
        elif code.kind is CodeKind.PERSON:
            self._who(code.text)
        elif code.action is not None and code.action.name == "DONE" and not self.stage:
            self._do(self._steps()[0].act)
        else:
            raise BadInput(
                f"{code.text} does nothing here: scan what is in the place that is counted."
            )

    def _do(self, act: str) -> None:
        verb, _, rest = act.partition(" ")
        if verb == "about":
            self._ask(rest)
        elif verb == "leave":
            counting.take_back(self.place, rest, self.now)
            self._done("Left out", f"{rest} is not counted.")
        elif verb == "open":
            self.about, self.stage = rest, "open"
            self._say("ask", "Open since when?", self._line(), _SINCE_NEXT)
        elif verb == "next":
            self._ask(self.count.undecided[0])
        elif act == "hold all":
            count_recording.hold_missing(self.place, self.now)
            self._done("Held for quality", "Those that were not found, once the count is recorded.")
        elif verb == "hold":
            self._decide(Decision("hold", self.now))
        elif act == "ask gone":
            self.stage = "gone"
            self._say("ask", "Why is it gone?", self.about, "Key in a number, or type the reason.")
        elif verb == "gone":
            self._decide(Decision("gone", self.now, reason=rest))
        elif verb == "to":
            self._to(rest)
        elif verb == "ago":
            self._since(self.now - int(rest) * 60)
        elif verb == "nobody":
            self._since(None)
        elif verb == "who":
            self._who(rest)
        elif verb == "record":
            self._record()
        elif act == "ask drop":
            self.stage, self.about = "drop", ""
            self._say("ask", "Drop this count?", "What was scanned in it is forgotten.")
        elif verb == "drop":
            count_recording.drop(self.place, who.present_code(), self.now)
            self._done("Dropped", "Nothing was recorded.")
        else:
            self.about = self.to = self.stage = ""

    # -- what is asked -------------------------------------------------------------------------

    def _asked(self) -> Counted:
        return counting.one_of(self.place, self.about, self.now)

    def _ask(self, code: str) -> None:
        self.about, self.to = code, ""
        one = self._asked()
        if one.where == "missing":
            self.stage = "where"
            self._say("ask", "Where is it?", self._line(), _WHERE_NEXT)
        elif one.asks == "since":
            self.stage, self.to = "since", self.place
            self._say("ask", "Since when is it here?", self._line(), _SINCE_NEXT)
        else:
            self.stage = self.about = ""
            self._say("ok", "Nothing to decide", f"{code} is counted.")

    def _line(self) -> str:
        one = self._asked()
        return f"{one.code}: {found_words(one, self.names, self.now)}"

    def _found(self, one: Counted, again: bool) -> None:
        left = self.about if self.about != one.code else ""
        self.about = self.to = self.stage = ""
        note = f" Nothing was decided about {left} yet." if left else ""
        words = f"{one.code}: {found_words(one, self.names, self.now)}{note}"
        if again and one.decision is None and one.asks is None:
            self._say("ok", "Counted already", words)
        elif one.where in ("here", "came"):
            self._say("ok", "Counted", words)
        elif one.where == "unknown":
            self._say("ask", "Not on file", words, "Put it aside, receive it, then scan it again.")
        elif one.where == "gone":
            self._say("ask", "Gone on record", words, "Put it aside: nobody uses it.")
        elif one.asks == "since" and one.decision is None:
            self._ask(one.code)
        else:
            self._say("ask", "Not where the log has it", words)

    def _to(self, place: str) -> None:
        one = self._asked()
        if place == self.place:
            raise BadInput(f"Scan {self.about} itself if it is here after all.")
        catalog.place(place)
        if count_recording.needs_since(one, place):
            self.to, self.stage = place, "since"
            name = place_word(place, self.names)
            self._say("ask", f"Since when is it at {name}?", self._line(), _SINCE_NEXT)
        else:
            self._decide(Decision("move", self.now, place, self.now))

    def _since(self, since: int | None) -> None:
        if self.stage == "open":
            self._decide(Decision("open", self.now, since=since))
        else:
            self._decide(Decision("move", self.now, self.to or self.place, since))

    def _moment(self, text: str) -> int:
        at = shift.opened_at(text, self.now, site().tz)
        return local_to_utc(text.replace(" ", "T", 1), site().tz, plain=True) if at is None else at

    def _decide(self, decision: Decision) -> None:
        one = count_recording.decide(self.place, self.about, decision, self.now)
        self._done("Decided", f"{one.code}: {decision_words(one, self.names, self.now)}")

    # -- the end -------------------------------------------------------------------------------

    def _who(self, code: str) -> None:
        person = people.badge(code)
        who.remember(person)
        if self.stage == "who":
            self.stage = ""
            self._record()
        else:
            self._say("ok", f"Hello {person.name}", "The count is recorded in your name.")

    def _record(self) -> None:
        person = who.present()
        if person is None:
            self.stage = "who"
            self._say("ask", "Who has counted?", "It goes on the log in a name.", "Scan a badge.")
            return
        count = self.count.count or counting.begin(self.place, self.now)
        count_recording.record(count.id, person.code, self.now)
        self.goes_to = url_for("counting.done", count_id=count.id)

    def _done(self, title: str, message: str) -> None:
        self.about = self.to = self.stage = ""
        self._say("ok", title, message)

    def _say(self, tone: Tone, title: str, message: str, next_step: str = "") -> None:
        say(self.name, Said(tone, title, message, next_step))
