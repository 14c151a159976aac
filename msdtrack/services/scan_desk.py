"""What a scan means after the scans before it."""

from __future__ import annotations

from msdtrack.digits import whole_number
from msdtrack.errors import NotFound
from msdtrack.exposure.events import Kind
from msdtrack.exposure.state import CarrierState
from msdtrack.phrases import counted
from msdtrack.printing.codes import ACTIONS, Action, Code, CodeKind, read_code
from msdtrack.services.badges import NOT_ME, say_nobody, say_who
from msdtrack.services.board_scans import boards_scanned, by_label, with_it
from msdtrack.services.scan_actions import perform, take_back
from msdtrack.services.scan_checks import check_all, check_oven, possible_bakes
from msdtrack.services.scan_openings import opened_earlier, read_card
from msdtrack.services.scan_questions import (
    READY,
    TOGETHER,
    WITH_PLACE,
    ask_bag,
    ask_bake,
    ask_carriers,
    ask_number,
    ask_place,
    ask_undo,
    in_the_bag,
    present,
    present_place,
)
from msdtrack.services.scan_replies import (
    Choice,
    Reply,
    Stop,
    card_is_unread,
    carrier_and_action,
    choice,
    choices_for,
)
from msdtrack.services.scan_work import Work
from msdtrack.services.station_memory import TAKE, Memory, Opening
from msdtrack.store import places, scans
from msdtrack.store.records import PlaceRecord

TWICE_S = 3
"""The same action again within this time is a scanner that read it twice."""

UNDO_UNASKED_S = 10 * 60
"""An older scan is taken back only after asking."""

_SOMEWHERE = (Kind.OPEN, Kind.CLOSE, Kind.LOAD, Kind.BAKE_END)
_BY_NAME = (Kind.RELEASE, Kind.SCRAP)


class Desk:
    """Answers one scan. It changes its copy of the memory; a refusal throws that copy away."""

    def __init__(self, memory: Memory, work: Work) -> None:
        self.memory = memory
        self.work = work

    def answer(self, text: str) -> Reply:
        """Do what the text asks for.

        Args:
            text: a code; a carrier's and an action's, apart by a space; or a number.

        Raises:
            BadCode: it is no code of ours.
            Stop: it is impossible now.
        """
        asked, self.memory.asked_undo = self.memory.asked_undo, None
        if text.upper() == TOGETHER:
            return self._together()
        if text.upper() == NOT_ME:
            return say_nobody(self.memory, self.work)
        number = whole_number(text, 6)
        if number is not None:
            return self._number(number, asked)
        pair = carrier_and_action(text)
        if pair is None:
            return self._code(read_code(text), asked)
        code, action = pair
        if action.spots is not None or action.minutes_ago is not None:
            self._state(code)
            return self._tell_opening(code, action)
        self.memory.forget_work()
        self._carrier(code)
        return self._action(action, asked)

    def _code(self, code: Code, asked_undo: str | None) -> Reply:
        if code.kind is CodeKind.CARRIER:
            return self._carrier(code.text)
        if code.kind is CodeKind.PLACE:
            return self._place(code.text)
        if code.kind is CodeKind.PERSON:
            return say_who(code.text, self.memory, self.work)
        if code.kind is CodeKind.JOB:
            return boards_scanned(code.text, self.work, self.memory, self._carrier)
        if code.action is not None:
            return self._action(code.action, asked_undo)
        raise Stop(
            "Nothing to do",
            f"A {code.kind.word} code does nothing here.",
            "Scan the label of a carrier or boards, a place, a badge or an action.",
        )

    # -- carriers --------------------------------------------------------------------------

    def _carrier(self, code: str) -> Reply:
        memory, state = self.memory, self._state(code)
        if memory.action is None:
            return self._picked(code, state)
        action = ACTIONS[memory.action]
        if memory.together:
            return self._put_in_bag(code, action)
        if action.event == Kind.TAKE:
            check_all(self.work, action, [code])
            memory.expect(action.name, [code])
            return ask_number(code, action)
        if action.event in WITH_PLACE and memory.place is None:
            check_all(self.work, action, [code])
            memory.expect(action.name, [*(c for c in memory.waiting if c != code), code])
            return ask_place(action, memory.chosen)
        return self._do(action, [code])

    def _picked(self, code: str, state: CarrierState) -> Reply:
        memory = self.memory
        others = [one for one in memory.chosen if one != code] if memory.unspent else []
        memory.take([*others, code])
        memory.place = memory.completed = None
        reply = present(state, self.work.tz)
        if others:
            reply.message += with_it(others, self.work)
        return reply

    def _put_in_bag(self, code: str, action: Action) -> Reply:
        memory = self.memory
        check_all(self.work, action, [code])
        memory.expect(action.name, [*(c for c in memory.waiting if c != code), code])
        return in_the_bag(memory.chosen)

    # -- actions ---------------------------------------------------------------------------

    def _action(self, action: Action, asked_undo: str | None) -> Reply:
        memory = self.memory
        if action.name == "UNDO":
            return self._undo(asked_undo)
        if action.name == "DONE":
            return self._done()
        if action.event is None:
            return self._tell(action)
        if memory.completed == action.name and self.work.at - memory.at <= TWICE_S:
            return Reply(
                "ok",
                "Scanned twice",
                f'"{action.title}" was done a moment ago and counts once.',
                choices=tuple(Choice(*choice) for choice in memory.choices),
            )
        if action.event in _BY_NAME and memory.person is None:
            raise Stop(
                "Who are you?",
                f'"{action.title}" goes by name.',
                "Scan your badge, then the action again.",
            )
        if memory.in_series or not memory.chosen or not memory.in_hand:
            return self._start_series(action)
        if action.event not in WITH_PLACE:
            memory.place = None
        # A place is heard before its action only where the carriers for it were named.
        several = action.event == Kind.MOVE or memory.place is not None
        codes = memory.chosen if several else memory.chosen[-1:]
        check_all(self.work, action, codes)
        if action.event == Kind.TAKE:
            memory.expect(action.name, codes)
            return ask_number(codes[-1], action)
        if action.event in WITH_PLACE and memory.place is None:
            memory.expect(action.name, codes)
            return ask_place(action, codes)
        memory.action = None
        return self._do(action, codes)

    def _start_series(self, action: Action) -> Reply:
        memory = self.memory
        left_over = memory.waiting
        place = memory.place if memory.action is None else None
        memory.forget_work()
        memory.action, memory.in_series = action.name, True
        if place is not None and action.event in WITH_PLACE:
            check_oven(action, places.place(place))
            memory.place = place
        reply = ask_carriers(action, needs_place=memory.place is None)
        if left_over:
            reply.message = f"Nothing was done with {', '.join(left_over)}."
        return reply

    def _do(self, action: Action, codes: list[str], quantity: int | None = None) -> Reply:
        """Do the action with carriers, and go on or be done."""
        memory, work = self.memory, self.work
        first = len(work.events)
        reply = by_label(perform(work, action, codes, memory.place, quantity), codes[-1], work)
        if action.event == Kind.OPEN:
            opened = zip(work.events[first:], codes, strict=True)
            memory.openings += [Opening(event, code, work.at) for event, code in opened]
        memory.unspent, memory.completed = False, action.name
        memory.chosen = list(codes)
        if memory.in_series:
            memory.done += [code for code in codes if code not in memory.done]
            memory.chosen = list(memory.done)
            count = len(memory.done)
            reply.message += f" {counted(count, 'carrier')} in this series."
            if reply.tone == "ok":
                reply.next_step = 'Scan the next carrier, or "Done".'
                reply.choices = (choice("DONE"), choice("UNDO"))
        else:
            memory.action = memory.place = None
            if not reply.choices:
                reply.choices = choices_for(work.hand.state(codes[-1]))
        return reply

    def _done(self) -> Reply:
        memory = self.memory
        waiting, done = memory.waiting, memory.done
        action = None if memory.action is None else ACTIONS[memory.action]
        if memory.together and waiting and action is not None:
            memory.forget_work()
            return self._do(action, waiting)
        memory.forget_work()
        if action is None:
            return Reply("ok", "Ready", "Nothing was waiting.", READY)
        if waiting:
            left = ", ".join(waiting)
            return Reply("ask", "Nothing done", f'"{action.title}": not done with {left}.', READY)
        memory.chosen = done
        reply = Reply("ok", "Done", f'"{action.title}": {len(done)} done.', READY)
        found = self.work.hand.states(done)
        unread = [code for code in done if card_is_unread(found[code])]
        if unread:
            reply.tone = "ask"
            reply.message += f" The humidity card was not read: {', '.join(unread)}."
            reply.next_step = "Scan each of them, then what its card shows."
        return reply

    def _tell(self, action: Action) -> Reply:
        """What the humidity card shows, since when a bag is open, or the scanner test."""
        memory = self.memory
        if action.spots is None and action.minutes_ago is None:
            return Reply("ok", "Scanner is right", "Every character came as printed.", READY)
        if memory.chosen:
            return self._tell_opening(memory.chosen[-1], action)
        if memory.openings:
            return self._tell_opening(memory.openings[-1].carrier, action)
        raise Stop(
            "Which carrier?",
            f'"{action.title}" is about a bag just opened.',
            "Scan the carrier first.",
        )

    def _tell_opening(self, code: str, action: Action) -> Reply:
        tell = read_card if action.spots else opened_earlier
        reply = tell(self.work, code, action, self.memory)
        if not self.memory.in_series:
            self.memory.take([code])
            self.memory.unspent = False
        elif reply.tone == "ok":
            reply.choices = (choice("DONE"), choice("UNDO"))
        return reply

    def _together(self) -> Reply:
        memory = self.memory
        action = None if memory.action is None else ACTIONS[memory.action]
        if action is None or action.event != Kind.CLOSE or memory.done or not memory.in_series:
            raise Stop(
                "Not now",
                "One bag together is for a closing that has just begun.",
                "Scan how the bag is closed first.",
            )
        memory.together = True
        return ask_bag(action)

    # -- numbers, places -------------------------------------------------------------------

    def _number(self, number: int, asked_undo: str | None) -> Reply:
        memory = self.memory
        if memory.wants_number:
            if number < 1:
                raise Stop("How many?", "At least one piece.", "Key in the number again.")
            if not memory.in_series:
                memory.action = None
            return self._do(ACTIONS[TAKE], memory.chosen, number)
        if 1 <= number <= len(memory.choices):
            chosen = memory.choices[number - 1][0]
            memory.asked_undo = asked_undo
            return self.answer(chosen)
        raise Stop(
            "A number?",
            f"No number is expected now, so {number} changed nothing.",
            "Scan a code.",
        )

    def _place(self, code: str) -> Reply:
        memory = self.memory
        try:
            place = places.place(code)
        except NotFound:
            raise Stop(
                "Unknown place",
                f"{code} is no place on file.",
                "Add it on the places page, or scan another.",
            ) from None
        if memory.action is not None:
            return self._place_for(ACTIONS[memory.action], place)
        if not memory.chosen:
            memory.place = code
            return present_place(place)
        memory.place = code
        if place.kind == "oven" and memory.in_hand:
            return ask_bake(place, memory.chosen, *possible_bakes(self.work, memory.chosen, code))
        return self._do(ACTIONS["MOVE"], memory.chosen)

    def _place_for(self, action: Action, place: PlaceRecord) -> Reply:
        """Take a place that was scanned while an action waits."""
        memory = self.memory
        if action.event in WITH_PLACE:
            check_oven(action, place)
            memory.place = place.code
            if memory.waiting:
                return self._do(action, memory.waiting)
        elif memory.waiting:
            raise Stop(
                "Not now",
                f'"{action.title}" is not finished for {", ".join(memory.waiting)}.',
                "Key in the number first." if action.event == Kind.TAKE else 'Scan "Done" first.',
            )
        elif memory.done:
            codes = memory.done
            memory.forget_work()
            memory.place = place.code
            reply = self._do(ACTIONS["MOVE"], codes)
            reply.message += f' "{action.title}" is ended.'
            return reply
        elif action.event not in _SOMEWHERE:
            raise Stop("Not now", f'"{action.title}" needs no place.', "Scan the carriers.")
        memory.place = place.code
        return ask_carriers(action, at=place.name)

    # -- undo ------------------------------------------------------------------------------

    def _undo(self, asked: str | None) -> Reply:
        """Take the last scan that changed anything back, after asking if it is not the very last
        one or not a recent one."""
        memory, work = self.memory, self.work
        last = scans.last_undoable_scan(memory.station)
        if last is None:
            raise Stop("Nothing to undo", "No scan of this station is left to take back.")
        newest = (one for one in scans.recent_scans(memory.station) if one.tone != "refuse")
        age_s = max(0, work.at - last.at)
        just_now = next(newest, last).id == last.id and age_s <= UNDO_UNASKED_S
        if asked != last.id and not just_now:
            memory.forget_work()
            memory.asked_undo = last.id
            return ask_undo(last, age_s)
        work.takes_back = last.id
        reply, last_carrier = take_back(work, last)
        memory.openings = [one for one in memory.openings if one.event not in last.events]
        memory.done = [code for code in memory.done if code != last_carrier]
        memory.completed = None
        memory.take(memory.done if memory.in_series else [last_carrier])
        memory.unspent, memory.in_hand = False, not memory.in_series
        return by_label(reply, last_carrier, work)

    # -- what is checked and asked ---------------------------------------------------------

    def _state(self, code: str) -> CarrierState:
        """Return the present state of a carrier that was scanned."""
        try:
            return self.work.hand.state(code)
        except NotFound:
            raise Stop(
                "Unknown carrier",
                f"{code} is no carrier on file.",
                "Receive it first, or scan another label.",
            ) from None
