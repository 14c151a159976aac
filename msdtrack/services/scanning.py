"""One scan at a station: what it means after the scans before it, done once and answered.

Carrier then action does it. Action then carriers does it to each, until "Done" or another action.
A place moves the carriers scanned last. A badge says who. What needs more (a place, a number, the
humidity card) asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from msdtrack.errors import BadInput, Conflict, MsdtrackError, NotFound, Refused
from msdtrack.exposure.events import Kind
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import ACTIONS, BadCode
from msdtrack.services import carrier_states, refused_loads
from msdtrack.services.countdowns import Countdown, countdowns, next_step_text, time_left_text
from msdtrack.services.event_recording import AHEAD_S
from msdtrack.services.scan_desk import Desk
from msdtrack.services.scan_replies import Choice, Reply, Stop, Tone
from msdtrack.services.scan_work import Work
from msdtrack.services.station_memory import Browser, Memory, recalled, recalled_from, remember
from msdtrack.store import catalog, scans
from msdtrack.store.canonical import content_hash
from msdtrack.store.connection import read, write
from msdtrack.store.records import ScanBrief, ScanRecord
from msdtrack.times import zone

LONGEST_STATION = 40
LONGEST_CODE = 200


@dataclass(frozen=True, slots=True)
class NewScan:
    """A scan as sent.

    Args:
        id: UUID made by the client.
        station: name of the scan station.
        code: what the scanner typed, or a number keyed in.
        at: when it was scanned; None is when it is received.
        browser: who is at the browser it comes from; None: the station remembers who is there.
    """

    id: str
    station: str
    code: str
    at: int | None = None
    browser: Browser | None = None


@dataclass(frozen=True, slots=True)
class ScanAnswer:
    """What a station answers.

    Args:
        message: what happened, or why nothing did, in sentences that name the carrier.
        detail: the same for a screen that shows the carrier beside it.
        tone: see `scan_replies.Tone`.
        title: the same in a few words, for the largest line.
        time_left: floor life left and the air it assumes; empty where no carrier is named.
        caution: what can hurt or ruin goods in what comes next.
        choices: what can be answered now; a digit keyed in picks one by its place, from 1.
        series: carriers that a running series is done with.
        person: name of who is at work.
        action: what the station waits with, in words.
        wants_number: a quantity is to be keyed in.
        took_back: id of the scan that this one has undone.
        boards: code of the batch of boards it names instead of a carrier.
    """

    scan_id: str
    code: str
    at: int
    message: str
    tone: Tone
    title: str
    detail: str = ""
    next_step: str = ""
    time_left: str = ""
    caution: str = ""
    carrier: str | None = None
    state: CarrierState | None = None
    choices: tuple[Choice, ...] = ()
    countdowns: tuple[Countdown, ...] = ()
    series: tuple[str, ...] = ()
    person: str | None = None
    action: str | None = None
    wants_number: bool = False
    took_back: str | None = None
    boards: str | None = None


@dataclass(frozen=True, slots=True)
class StationNow:
    """What a station waits with, for a screen that has just been switched on."""

    station: str
    person: str | None
    action: str | None
    chosen: tuple[str, ...]
    choices: tuple[Choice, ...]
    wants_number: bool


def scan(new: NewScan, now: int, tz: tzinfo | None = None) -> ScanAnswer:
    """Do what a scan asks for and return the answer, once it is on record.

    A scan that can't be done changes nothing but is on record too, with its reason.

    Args:
        new: the scan. Sent again with the same id, it does nothing and gets the first answer.
        now: the present moment, seconds UTC.
        tz: zone of the times in the answer; None is the computer's own.

    Raises:
        BadInput: no station, or a time more than two minutes ahead.
        Conflict: the id was used for another scan.
        StoreUnavailable: it could not be written; send it again.
    """
    station, code = new.station.strip(), new.code.strip()
    _check(new, station, code, now)
    at = now if new.at is None else min(new.at, now)
    content = content_hash({"station": station, "code": code, "at": new.at})
    with write():
        before, context = scans.before(new.id, station)
        if before is not None:
            return _first_answer(before, content)
        memory = recalled_from(context, at, new.browser)
        memory, work, reply = _answered(new.id, code, memory, at, now, tz or zone(""))
        answer = _answer(work, code, reply, memory)
        remember(memory, at)
        events = () if work.takes_back else tuple(work.events)
        scans.log_scan(
            ScanRecord(
                new.id, station, code, at, now, content, answer.tone, _as_json(answer), events
            )
        )
        if work.takes_back:
            scans.mark_undone(work.takes_back, new.id)
    return answer


def recent(station: str, limit: int = 12) -> list[ScanBrief]:
    """Return a station's newest scans, newest first."""
    return scans.briefly(station, limit)


def station_now(station: str, now: int) -> StationNow:
    """Return what a station waits with."""
    with read():
        memory = recalled(station.strip(), now)
        return StationNow(
            memory.station,
            _name_of(memory.person),
            _title_of(memory.action),
            tuple(memory.chosen),
            tuple(Choice(*choice) for choice in memory.choices),
            memory.wants_number,
        )


def _check(new: NewScan, station: str, code: str, now: int) -> None:
    if not station or len(station) > LONGEST_STATION:
        raise BadInput(f"Give the station a name of at most {LONGEST_STATION} characters.")
    if len(code) > LONGEST_CODE:
        raise BadInput(f"A code has at most {LONGEST_CODE} characters.")
    if new.at is not None and new.at > now + AHEAD_S:
        raise BadInput("The time of the scan is more than 2 minutes ahead: check that clock.")


def _answered(
    scan_id: str, code: str, memory: Memory, at: int, now: int, tz: tzinfo
) -> tuple[Memory, Work, Reply]:
    """Return what the station knows afterwards, the work that was done, and what it says."""
    work = Work(scan_id, memory.station, memory.person, at, now, tz)
    desk = Desk(memory.copy(), work)
    try:
        with write():
            reply = desk.answer(code)
        desk.memory.choices = [(choice.code, choice.text) for choice in reply.choices]
        return desk.memory, work, reply
    except (BadInput, NotFound, Conflict, Refused) as error:
        reply = _refusal(error, memory)
        memory.asked_undo = None
        if isinstance(error, Stop):
            _report_refused_load(error, memory.station, at, now, tz)
        if isinstance(error, Stop) and error.of_several and error.carrier in memory.chosen:
            # The others can go on without the one that stands in the way.
            memory.chosen.remove(error.carrier)
            reply.next_step = f"{reply.next_step} Left out: scan again for the others.".strip()
        return memory, Work(scan_id, memory.station, memory.person, at, now, tz), reply


def _report_refused_load(stop: Stop, station: str, at: int, now: int, tz: tzinfo) -> None:
    """Raise the alarm if somebody tried to load what must not be used."""
    if stop.carrier is None or stop.action is None or stop.action.event != Kind.LOAD:
        return
    state = carrier_states.state(stop.carrier, now, at)
    if state.verdict == "do_not_use" and state.status != "gone":
        refused_loads.report(state, station, next_step_text(state, tz), now)


def _refusal(error: MsdtrackError, memory: Memory) -> Reply:
    choices = tuple(Choice(*choice) for choice in memory.choices)
    if isinstance(error, Stop):
        return Reply("refuse", error.title, error.message, error.next_step, error.carrier, choices)
    title = "Code not valid" if isinstance(error, BadCode) else "Not possible"
    return Reply("refuse", title, error.message, "Nothing was changed.", None, choices)


def _answer(work: Work, code: str, reply: Reply, memory: Memory) -> ScanAnswer:
    state = None if reply.carrier is None else work.hand.state(reply.carrier)
    message = reply.message
    if state is not None and state.facts.code not in message:
        part = state.facts.part
        message = f"{state.facts.code}, {part.number}, level {part.msl}. {message}"
    return ScanAnswer(
        work.scan_id,
        code,
        work.at,
        message,
        reply.tone,
        reply.title,
        reply.message,
        reply.next_step,
        "" if state is None else time_left_text(state),
        reply.caution,
        reply.carrier,
        state,
        reply.choices,
        () if state is None else tuple(countdowns(state)),
        tuple(memory.done),
        _name_of(memory.person),
        _title_of(memory.action),
        memory.wants_number,
        work.takes_back,
        reply.boards,
    )


def _as_json(answer: ScanAnswer) -> dict[str, Any]:
    plain = {name: getattr(answer, name) for name in _PLAIN}
    lists = {name: [one._asdict() for one in getattr(answer, name)] for name in _LISTS}
    return plain | lists | {"series": list(answer.series)}


_PLAIN = (
    "message",
    "tone",
    "title",
    "detail",
    "next_step",
    "time_left",
    "caution",
    "carrier",
    "person",
    "action",
    "wants_number",
    "took_back",
    "boards",
)
_LISTS = ("choices", "countdowns")


def _first_answer(record: ScanRecord, content: str) -> ScanAnswer:
    if record.content_hash != content:
        raise Conflict("This id was used for another scan: make a new one.")
    kept, then = record.answer, record.recorded_at
    carrier = kept["carrier"]
    return ScanAnswer(
        record.id,
        record.code,
        record.at,
        **{name: kept.get(name) for name in _PLAIN},
        state=None if carrier is None else carrier_states.state(carrier, then, known_at=then),
        choices=tuple(Choice(**one) for one in kept["choices"]),
        countdowns=tuple(Countdown(**one) for one in kept["countdowns"]),
        series=tuple(kept["series"]),
    )


def _name_of(person: str | None) -> str | None:
    return None if person is None else catalog.person(person).name


def _title_of(action: str | None) -> str | None:
    return None if action is None else ACTIONS[action].title
