"""One scan at the inspector's screen: a bag opened, pieces taken out, the bag closed again.

Carrier, then what is done with it. A number says how many pieces were taken; they become a carrier
of their own that has the exposure of the one they came from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import tzinfo

from msdtrack.digits import whole_number
from msdtrack.errors import BadInput, Conflict, MsdtrackError, NotFound, Refused
from msdtrack.exposure.events import Kind
from msdtrack.exposure.ledger import Phase
from msdtrack.phrases import counted
from msdtrack.printing.codes import ACTIONS, Action, BadCode, CodeKind, read_code
from msdtrack.services import sample_checks
from msdtrack.services.carrier_states import account, states
from msdtrack.services.event_recording import AHEAD_S
from msdtrack.services.people import badge
from msdtrack.services.sample_checks import SampleCheck, standing_steps
from msdtrack.services.sample_questions import BACK, MORE, asked
from msdtrack.services.scan_actions import perform
from msdtrack.services.scan_openings import opened_earlier, read_card
from msdtrack.services.scan_replies import Reply, Stop, Tone, after
from msdtrack.services.scan_work import Work
from msdtrack.services.station_memory import OPENING_S, Memory, Opening
from msdtrack.store import carriers, event_log, places, request_log
from msdtrack.store import sample_checks as table
from msdtrack.store.canonical import content_hash
from msdtrack.store.connection import write
from msdtrack.store.sample_checks import StepRecord
from msdtrack.times import zone

LONGEST_CODE = 200

_SCOPE = "sample scan"
_STEP_OF = {Kind.OPEN: "open", Kind.CLOSE: "close", Kind.MOVE: "move", Kind.SCRAP: "scrap"}


@dataclass(frozen=True, slots=True)
class CheckScan:
    """A scan as sent.

    Args:
        id: UUID made by the client; sent again, nothing is done twice.
        check: number of the check.
        at: when it was scanned; None is when it is received.
    """

    id: str
    check: int
    code: str
    at: int | None = None


@dataclass(frozen=True, slots=True)
class CheckAnswer:
    """What became of a scan.

    Args:
        tone: see `scan_replies.Tone`.
        child: code of the new carrier, if pieces were taken: its label is to be printed.
        person: badge code, if a badge was scanned.
    """

    tone: Tone
    title: str
    message: str
    next_step: str = ""
    child: str | None = None
    person: str | None = None


def scan(
    new: CheckScan, now: int, person: str | None = None, tz: tzinfo | None = None
) -> CheckAnswer:
    """Do what a scan asks for and return what became of it, once it is on record.

    Args:
        new: the scan.
        now: the present moment.
        person: badge code of who is at the screen.
        tz: zone of the times in the answer; None is the computer's own.

    Raises:
        NotFound: no such check.
        BadInput: it is too long, or its time is ahead.
        Conflict: the id was used for another scan.
    """
    code = new.code.strip()
    if len(code) > LONGEST_CODE:
        raise BadInput(f"A code has at most {LONGEST_CODE} characters.")
    if new.at is not None and new.at > now + AHEAD_S:
        raise BadInput("The time of the scan is more than 2 minutes ahead: check that clock.")
    at = now if new.at is None else min(new.at, now)
    content = content_hash({"check": new.check, "code": code, "at": new.at})
    with write():
        before = request_log.remembered(new.id)
        if before is not None:
            if (before.scope, before.content_hash) != (_SCOPE, content):
                raise Conflict("This id was used for another scan: make a new one.")
            return CheckAnswer(**before.answer)
        work = Work(new.id, f"Check {new.check}", person, at, now, tz or zone(""))
        try:
            with write():
                answer = _Inspection(sample_checks.check(new.check, now), work).answer(code)
        except (BadInput, NotFound, Conflict, Refused) as error:
            table.check(new.check)
            answer = _refusal(error)
        request_log.remember(new.id, _SCOPE, content, 200, asdict(answer), now)
    return answer


class _Inspection:
    """Answers one scan; what it raises undoes what it did."""

    def __init__(self, check: SampleCheck, work: Work) -> None:
        self.check = check
        self.work = work
        self.asked = asked(check)

    def answer(self, text: str) -> CheckAnswer:
        """Do what the text asks for."""
        if text.upper() == BACK:
            return self._back(self._in_hand())
        number = whole_number(text, 6)
        if number is not None:
            return self._number(number)
        code = read_code(text)
        if code.kind is CodeKind.CARRIER:
            return self._carrier(code.text)
        if code.kind is CodeKind.PERSON:
            name = badge(code.text).name
            return CheckAnswer("ok", name, "At work now.", person=code.text)
        if code.kind is CodeKind.PLACE:
            return self._move(code.text)
        if code.action is not None:
            return self._action(code.action)
        raise Stop(
            "Nothing to do",
            f"A {code.kind.word} code does nothing here.",
            "Scan a carrier of the lot, or what is done with it.",
        )

    def _carrier(self, code: str) -> CheckAnswer:
        state = account(code).state(self.work.now)
        facts, record = state.facts, self.check.record
        if (facts.part.number, facts.lot) != (record.part, record.lot):
            raise Stop(
                "Another lot",
                f"{code} is {facts.part.number}, lot {facts.lot}. This check is of "
                f"{record.part}, lot {record.lot}.",
                "Scan a carrier of this lot.",
                code,
            )
        if state.status == "gone":
            raise Stop("Gone", f"{code}: {state.ledger.gone or 'used up'}.", "Scan another.", code)
        if state.status == "on_board" or facts.kind == "board":
            raise Stop("On a board", f"{code} is placed on boards.", "Scan another.", code)
        self._step("pick", code)
        held = "; ".join(state.ledger.held)
        tone: Tone = "ask" if held else "ok"
        return CheckAnswer(
            tone,
            "In hand",
            f"{code}, {counted(state.ledger.quantity, 'piece')}."
            + (f" On hold: {held}." if held else ""),
        )

    def _number(self, number: int) -> CheckAnswer:
        if self.asked.wants_number:
            return self._take(self._in_hand(), number)
        if not 1 <= number <= len(self.asked.choices):
            raise Stop(
                "Which one?",
                f"Nothing with the number {number} is offered.",
                'To take more pieces out: "Take more out" first.',
            )
        return self.answer(self.asked.choices[number - 1].code)

    def _take(self, code: str, quantity: int) -> CheckAnswer:
        state = account(code).state(self.work.at)
        if quantity < 1:
            raise Stop("None taken?", "Key in how many pieces were taken out.", "", code)
        if quantity > state.ledger.quantity:
            raise Stop(
                "Too many",
                f"{code} holds {state.ledger.quantity}: no {quantity} came out.",
                "",
                code,
            )
        if quantity > self.check.record.sample_size:
            raise Stop(
                "Too many",
                f"The sample is {counted(self.check.record.sample_size, 'piece')}, not {quantity}.",
                "Key in the number of pieces.",
                code,
            )
        event = self.work.event(code, Kind.SPLIT, quantity=quantity)
        self.work.put([event])
        child = event_log.find([event.id])[event.id][0].child
        self._step("take", code, child=child, quantity=quantity)
        total = self.check.progress.taken + quantity
        size = self.check.record.sample_size
        over = total > size
        return CheckAnswer(
            "ask" if over else "ok",
            f"{quantity} taken",
            f"They are {child} now. {total} of {size} are out."
            + (f" That is {total - size} more than the sample." if over else ""),
            "Put its label on the pieces. Then close the bag.",
            child,
        )

    def _back(self, code: str) -> CheckAnswer:
        pieces = next((one for one in self.check.pieces if one.code == code), None)
        if pieces is None:
            raise Stop("No pieces", f"{code} holds no pieces of this check.", "Scan them.", code)
        for one in (pieces.parent, code):
            if account(one).state(self.work.at).ledger.phase is not Phase.OPEN:
                raise Stop(
                    "Bag is closed",
                    f"{one} is in its closed bag, and joining is done in the open.",
                    f"Scan {one} and open it, or keep the pieces under their own label.",
                    code,
                )
        self.work.put([self.work.event(code, Kind.JOIN, into=pieces.parent)])
        self._step("back", code)
        self._step("pick", pieces.parent, events=())
        share = account(pieces.parent).state(self.work.now).used_share
        return CheckAnswer(
            "ok",
            "Back together",
            f"{code} is in {pieces.parent} again, which has the worse share of the two, "
            f"{float(share) * 100:.1f} %. Take the label of {code} off.",
            "Close the bag.",
        )

    def _move(self, place: str) -> CheckAnswer:
        code = self._in_hand()
        places.place(place)
        reply = perform(self.work, ACTIONS["MOVE"], [code], place)
        self._step("move", code)
        return _answer(reply)

    def _action(self, action: Action) -> CheckAnswer:
        if action.name == "UNDO":
            return self._undo()
        code = self._in_hand()
        if action.name == MORE:
            if not any(one.code == code and one.is_open for one in self.check.bags):
                raise Stop(
                    "Bag is closed", f"{code}: nothing can be taken out.", after("OPEN"), code
                )
            self._step("more", code)
            return CheckAnswer("ask", "How many more?", f"Out of {code}.")
        if action.spots is not None:
            reply = read_card(self.work, code, action, self._memory())
            self._step("card", code)
            return _answer(reply)
        if action.minutes_ago is not None:
            reply = opened_earlier(self.work, code, action, self._memory())
            self._step("ago", code)
            return _answer(reply)
        kind = None if action.event is None else Kind(action.event)
        if kind not in _STEP_OF or kind is Kind.MOVE:
            raise Stop(
                "Not here",
                f'"{action.title}" is done at a scan station.',
                "Here bags are opened, sampled and closed.",
                code,
            )
        if kind is Kind.SCRAP:
            self._check_scrap(code)
        together = self._in_same_bag(code)
        if kind is Kind.CLOSE:
            # What came in one bag goes back into one.
            reply = perform(self.work, action, [*together, code])
        else:
            reply = perform(self.work, action, [code])
        if kind is Kind.OPEN:
            for other in together:
                self._step("with", other, events=())
        self._step(_STEP_OF[kind], code)
        return _answer(reply)

    def _in_same_bag(self, code: str) -> list[str]:
        """Return what else lies in the bag of a carrier, or lay in it until it was opened."""
        now = account(code).state(self.work.at)
        bag, pieces = now.ledger.bag, {one.code for one in self.check.pieces}
        if bag is None or code in pieces:
            return []
        codes = [
            other
            for other in carriers.codes_that_had_bag(bag)
            if other != code and other not in carriers.parents([other])
        ]
        others = states(codes, self.work.now)
        return [
            other
            for other, state in others.items()
            if state.status != "gone"
            and (state.ledger.bag, state.ledger.phase, state.opened_at, state.ledger.place)
            == (bag, now.ledger.phase, now.opened_at, now.ledger.place)
        ]

    def _check_scrap(self, code: str) -> None:
        if not any(one.code == code for one in self.check.pieces):
            raise Stop(
                "Not here",
                f"{code} is no piece of this check.",
                "Scrap it at a scan station.",
                code,
            )
        if self.work.person is None:
            raise Stop("Who scraps it?", "Scrapping needs a name.", "Scan your badge first.", code)

    def _undo(self) -> CheckAnswer:
        steps = [one for one in standing_steps(self.check.progress.steps) if one.events]
        if not steps:
            raise Stop("Nothing to undo", "Nothing was done in this check yet.")
        last = steps[-1]
        found = event_log.find(last.events)
        for id_ in reversed(last.events):
            self.work.put([
                self.work.event(
                    found[id_][0].carrier, Kind.CORRECT, event=id_, void=True,
                    reason=f"undone in sample check {self.check.record.number}",
                )
            ])  # fmt: skip
        self._step("undo", last.carrier, undoes=last.id)
        self._step("pick", last.carrier, events=())
        return CheckAnswer(
            "ok",
            "Taken back",
            f"{WORDS[last.kind]}, {last.carrier}, no longer counts. The log keeps both."
            + (f" Throw the label of {last.child} away." if last.child else ""),
        )

    def _in_hand(self) -> str:
        if self.check.in_hand is None:
            raise Stop("No carrier", "Nothing is in hand.", "Scan the label of the bag first.")
        return self.check.in_hand.facts.code

    def _memory(self) -> Memory:
        """Return what a scan station would remember of the bags opened here a moment ago."""
        memory = Memory(self.work.station)
        memory.openings = [
            Opening(one.events[0], one.carrier, one.at)
            for one in standing_steps(self.check.progress.steps)
            if one.kind == "open" and self.work.at - one.at <= OPENING_S
        ]
        return memory

    def _step(
        self,
        kind: str,
        carrier: str,
        child: str | None = None,
        quantity: int | None = None,
        undoes: int | None = None,
        events: Sequence[str] | None = None,
    ) -> None:
        ids = tuple(self.work.events) if events is None else tuple(events)
        table.insert_step(
            StepRecord(
                0, self.check.record.number, kind, carrier, child, quantity, ids, undoes,
                self.work.person, self.work.at, self.work.now,
            )
        )  # fmt: skip


WORDS = {
    "open": "Opened",
    "card": "Card read",
    "ago": "Time of opening given",
    "take": "Pieces taken",
    "close": "Closed",
    "move": "Moved",
    "back": "Pieces put back",
    "scrap": "Scrapped",
}
"""What a step did, by its kind; other kinds put nothing on the log."""


def _answer(reply: Reply) -> CheckAnswer:
    return CheckAnswer(reply.tone, reply.title, reply.message, "")


def _refusal(error: MsdtrackError) -> CheckAnswer:
    if isinstance(error, Stop):
        return CheckAnswer("refuse", error.title, error.message, error.next_step)
    title = "Code not valid" if isinstance(error, BadCode) else "Not possible"
    return CheckAnswer("refuse", title, error.message, "Nothing was changed.")
