"""An oven's scan field: what a scan, a number or a tap does there, and what is said to it."""

from __future__ import annotations

import uuid
from collections.abc import Sequence

from flask import url_for

from msdtrack.digits import whole_number
from msdtrack.exposure.bake_advice import CAUTIONS
from msdtrack.printing.codes import Action, BadCode, CodeKind, read_code
from msdtrack.services import carrier_states, catalog, oven_loads
from msdtrack.services.oven_loads import Draft
from msdtrack.services.scan_replies import Tone
from msdtrack.times import duration_text
from msdtrack.web import who
from msdtrack.web.desk import Said, named, say
from msdtrack.web.oven_rows import bake_words, choices
from msdtrack.web.site import site

DONE = ("done", "overdue")
"""How a complete bake stands."""

_NEXT = "Scan the next carrier, or key in the number of a choice."
_OUT_NEXT = "Scan where it goes, or key in the number of a choice."
_AFTER_STUCK = "Nothing was started. Leave it out, or do that first."


class OvenDesk:
    """An oven with what was scanned at it so far; the browser keeps that, the server nothing."""

    def __init__(
        self, code: str, put_in: Sequence[str], out: Sequence[str], load_id: str = ""
    ) -> None:
        self.code, self.now = code, site().now()
        self.load_id = load_id or str(uuid.uuid4())
        self.oven = oven_loads.oven_now(code, self.now)
        self.inside = {one.state.facts.code: one for one in self.oven.baking}
        self.put_in = list(dict.fromkeys(put_in))
        self.out = [one for one in dict.fromkeys(out) if one in self.inside]
        self.ended: list[str] = []
        self.name = f"oven {code}"

    def url(self) -> str:
        """Return the page of what there is now."""
        return url_for(
            "ovens.show", code=self.code, carrier=self.put_in, out=self.out, ended=self.ended
        )

    def draft(self) -> Draft | None:
        """Return the load that is being put together, None for none."""
        if not self.put_in:
            return None
        known = self.oven if self.oven.place.code == self.code else None
        return oven_loads.draft(self.code, self.put_in, self.now, known)

    def answer(self, text: str) -> None:
        """Do what a scan asks for, and say what came of it.

        Raises:
            MsdtrackError: it can't be done; nothing was.
        """
        number = whole_number(text, 2)
        if number is not None:
            self._choose(number)
            return
        try:
            code = read_code(text)
        except BadCode as error:
            self._say("refuse", "Code not valid", error.message, "Nothing was changed.")
            return
        if code.kind is CodeKind.CARRIER:
            self._carrier(code.text)
        elif code.kind is CodeKind.PLACE:
            self._place(code.text)
        elif code.kind is CodeKind.PERSON:
            person = who.from_badge(code.text)
            who.remember(person)
            self._say("ok", f"Hello {person.name}", "Bakes are started and ended in your name.")
        elif code.action is not None:
            self._action(code.action)
        else:
            message = f"{code.text} is a batch of boards: bake it from its own page."
            self._say("refuse", "Not here", message)

    def _carrier(self, code: str) -> None:
        state = carrier_states.state(code, self.now)
        part = f"{state.facts.part.number}, level {state.facts.part.msl}"
        if code in self.inside:
            self._take_out([code], part)
            return
        if self.out:
            message = "First finish taking out: choose a number below, or leave all in the oven."
            self._say("refuse", "Taking out", message, f"{code} was not put in.")
            return
        again = code in self.put_in
        self.put_in += [] if again else [code]
        draft = self.draft()
        assert draft is not None
        stuck = {one.code: f"{one.why} {one.first}" for one in draft.blocked}
        stuck |= dict(draft.plan.refused)
        if code in stuck:
            self._say("refuse", "Can't go in", f"{code}: {stuck[code]}", _AFTER_STUCK)
        elif draft.plan.groups:
            message = f"{code}, {part}. No single bake dries all of them."
            self._say("ask", "Split the load", message, "Choose one of the loads by its number.")
        elif again:
            self._say("ok", "In the load already", f"{code}, {part}. It counts once.")
        elif draft.bakes:
            words = bake_words(draft.bakes[0])
            message = f"{code}, {part}. All {len(draft.states)} together: {words}."
            self._say("ok", "In the load", message, _NEXT)
        else:
            self._say(
                "ask", "In the load", f"{code}, {part}.", "Others stand in the way: see below."
            )

    def _take_out(self, codes: Sequence[str], what: str) -> None:
        if self.put_in:
            message = "A load is being put together: start it or empty it first."
            self._say("refuse", "Not now", message, "Nothing was taken out.")
            return
        self.out += [code for code in codes if code not in self.out]
        early = [code for code in self.out if self.inside[code].standing not in DONE]
        if early:
            one = self.inside[early[-1]]
            message = f"{early[-1]}: {_counted(one.progress.done_s, one.needed_s)}."
            next_step = "Taken out now the bake resets nothing: key in the number to confirm."
            self._say("ask", "Not complete", message, next_step)
        else:
            self._say("ok", "Take out: done", f"{named(codes)}. {what}.", _OUT_NEXT)

    def _place(self, code: str) -> None:
        place = catalog.place(code)
        if self.out and code != self.code:
            early = [one for one in self.out if self.inside[one].standing not in DONE]
            if early:
                message = f"The bake of {named(early)} is not complete."
                self._say("ask", "Not complete", message, "Key in the number to confirm it first.")
            else:
                self._end(self.out, early=False, place=code)
        elif code == self.code:
            done = [one for one, inside in self.inside.items() if inside.standing in DONE]
            if done and not self.put_in:
                self._take_out(done, f"{len(done)} complete")
            else:
                self._say("ok", place.name, "Scan the carriers to put in or to take out.")
        elif place.kind == "oven" and not self.put_in:
            self.code = code
            self.name, self.out = f"oven {code}", []
            self._say("ok", place.name, "Scan the carriers to put in or to take out.")
        else:
            message = f"{place.name} has nothing to do with this load."
            self._say("refuse", "Not here", message, "Nothing was changed.")

    def _action(self, action: Action) -> None:
        if action.temp_c is not None and self.put_in:
            self._start(action.temp_c)
        elif action.event == "bake_end":
            done = [one for one, inside in self.inside.items() if inside.standing in DONE]
            offered = choices(None, self.oven, self.out)
            if not self.out and done:
                self._take_out(done, f"{len(done)} complete")
            elif offered and not offered[0].early and offered[0].act == "end":
                self._choose(1)
            else:
                message = "No bake is complete." if not self.out else "Its bake is not complete."
                self._say("ask", "Not complete", message, "Scan a carrier, then choose a number.")
        else:
            message = f'"{action.title}" does nothing at this oven now.'
            self._say("refuse", "Not now", message, "Scan the carriers first.")

    def _choose(self, number: int) -> None:
        offered = choices(self.draft(), self.oven, self.out)
        if not 1 <= number <= len(offered):
            message = f"There is no choice {number} now."
            self._say("refuse", "A number?", message, "Nothing was changed.")
            return
        chosen = offered[number - 1]
        if chosen.act == "start" and chosen.temp_c is not None:
            self._start(chosen.temp_c)
        elif chosen.act == "end":
            self._end(chosen.codes, chosen.early, None)
        elif chosen.act == "keep":
            aside = [code for code in self.put_in if code not in chosen.codes]
            self.put_in = list(chosen.codes)
            self._say("ok", "Load made smaller", f"Set aside: {named(aside)}.", _NEXT)
        else:
            self.put_in, self.out = [], []
            self._say("ok", "Ready", "Nothing was started or ended.")

    def _start(self, temp_c: float) -> None:
        put_in, by = self.put_in, who.present_code()
        oven_loads.start(self.code, put_in, temp_c, self.load_id, self.now, by)
        self.put_in = []
        message = f"{len(put_in)} at {temp_c:g} °C in {self.oven.place.name}: {named(put_in)}."
        next_step = "Set the oven, close it. The time counts once it is at its temperature."
        self._say("ok", "Bake started", message, next_step)

    def _end(self, codes: Sequence[str], early: bool, place: str | None) -> None:
        by = who.present_code()
        after = oven_loads.end(self.code, codes, self.load_id, self.now, place, early, by)
        cut = [code for code in codes if self.inside[code].standing not in DONE]
        self.ended = [code for code in codes if code not in cut]
        self.out = [code for code in self.out if code not in codes]
        where = {one.ledger.place for one in after.values()}
        names = [catalog.place(each).name for each in sorted(each for each in where if each)]
        to = f" Now at {', '.join(names)}." if names else ""
        if cut:
            message = f"Ended early, nothing is reset: {named(cut)}.{to}"
            self._say("ask", "Bake ended", message, CAUTIONS[2])
        else:
            message = f"Floor life whole again: {named(codes)}.{to}"
            self._say("ok", "Bake ended", message, CAUTIONS[2])

    def _say(self, tone: Tone, title: str, message: str = "", next_step: str = "") -> None:
        say(self.name, Said(tone, title, message, next_step))


def _counted(done_s: int, needed_s: int | None) -> str:
    if needed_s is None:
        return "the table has no figure for this bake"
    return f"{duration_text(done_s)} of {duration_text(needed_s)} have counted"
