"""End of shift: what is still out and where it should go, ticked off by scanning."""

from __future__ import annotations

import secrets
import uuid
from dataclasses import dataclass

from flask import Blueprint, Response, current_app, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.digits import whole_number
from msdtrack.errors import MsdtrackError
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import BadCode, CodeKind, read_code
from msdtrack.services import catalog, scanning, shift, shift_boards
from msdtrack.services.catalog import Place
from msdtrack.services.scanning import NewScan, ScanAnswer
from msdtrack.services.shift import Destination
from msdtrack.store.records import ScanBrief
from msdtrack.times import duration_text
from msdtrack.web import who
from msdtrack.web.desk import Said, refusal, said, say, typed
from msdtrack.web.errors import status_of
from msdtrack.web.names import all_places, place_names
from msdtrack.web.polling import polled
from msdtrack.web.rendering import near, render_fragment, render_page
from msdtrack.web.rows import Row, row_of
from msdtrack.web.site import site

pages = Blueprint("shift", __name__)

DESK = "shift"
MOST_ROWS = 200
"""A page with thousands would take longer to come than until it is asked for again."""

_STATION = "shift_station"
_MINUTES = (5, 15, 30, 60)
_NOBODY, _CLOSED = "It was opened, nobody knows when", "Its bag is closed"


@dataclass(frozen=True, slots=True)
class Choice:
    """What can be chosen by its number or by a tap; `code` is what it scans, if it scans one."""

    text: str
    code: str


@dataclass(frozen=True, slots=True)
class OutRow:
    """A carrier or a batch of boards that is still out, and where it should go."""

    row: Row
    goal: Destination


@dataclass(frozen=True, slots=True)
class ShiftPage:
    """The end of a shift.

    Args:
        data_url: where its script asks for the live part.
        here: the place one is at, None for everywhere.
        places: the places to choose from.
        groups: what is still out, the most urgent first, as much as a page can hold: the name of
            the place, how many are out there in all, and rows.
        count: how many are out in all.
        beyond: how many of them the page does not hold.
        ticked: what was done here, newest first.
        said: the answer to the last scan, None for none.
        scan_id: makes the next scan happen once.
        asked: code of a carrier that was asked when it was opened, "" for none.
        opened: what was answered while the place is still asked for, "" for nothing.
        choices: what can be chosen now.
    """

    data_url: str
    here: Place | None
    places: tuple[Place, ...]
    groups: tuple[tuple[str, int, tuple[OutRow, ...]], ...]
    count: int
    beyond: int
    ticked: tuple[ScanBrief, ...]
    said: Said | None = None
    scan_id: str = ""
    asked: str = ""
    opened: str = ""
    choices: tuple[Choice, ...] = ()


@pages.get("/shift")
def show() -> Response:
    """Answer what is still out, of one place if `place` is given."""
    return render_page("shift.html", _page(complete=True))


@pages.get("/shift/data")
def data() -> Response:
    """Answer what of it changes, or 304."""
    return polled(
        current_app.extensions["fragments"],
        f"shift {request.args.get('place')}",
        lambda: render_fragment("shift_data.html", _page(complete=False)),
    )


@pages.post("/shift/scan")
def scan() -> AnyResponse:
    """Do one scan; a carrier that is in a closed bag on record is asked about first."""
    sent = request.form
    text, place = typed(sent.getlist("code")), sent.get("place", "")
    scan_id = sent.get("scan") or str(uuid.uuid4())
    desk = _Desk(place, scan_id, sent.get("asked", ""), sent.get("opened", ""))
    try:
        desk.answer(text)
    except MsdtrackError as error:
        if status_of(error) >= 500:
            raise
        say(DESK, refusal(error))
    url = url_for(
        "shift.show",
        place=desk.place or None,
        asked=desk.asked or None,
        opened=desk.opened or None,
    )
    return redirect(url, 303)


class _Desk:
    """What was asked so far; the browser keeps that, the station's memory what it waits with."""

    def __init__(self, place: str, scan_id: str, asked: str, opened: str) -> None:
        self.place, self.scan_id = place, scan_id
        self.asked, self.opened = asked, opened
        self.now, self.tz = site().now(), site().tz

    def answer(self, text: str) -> None:
        """Do what a scan asks for, and say what came of it."""
        if self.asked and self._answered(text):
            return
        left, self.asked, self.opened = self.asked, "", ""
        code = self._carrier(text)
        if code is not None:
            found = shift.on_record_closed(code, self.now)
            if found is not None:
                self._ask(code)
                return
        self._scan(text, f" Nothing was recorded for {left}." if left and left != code else "")

    def _answered(self, text: str) -> bool:
        """Take what was said of the carrier that was asked about; False if it is something else."""
        choice = whole_number(text, 1) or 0
        if self.opened:
            place = self._place(text)
            if place is None:
                return False
            self._record(None if self.opened == "unknown" else int(self.opened), place)
            return True
        if choice == len(_MINUTES) + 2:
            code, self.asked = self.asked, ""
            self._scan(code)
            return True
        if choice == len(_MINUTES) + 1:
            at = None
        elif 1 <= choice <= len(_MINUTES):
            at = self.now - _MINUTES[choice - 1] * 60
        else:
            at = shift.opened_at(text, self.now, self.tz)
            if at is None:
                return False
        if self.place:
            self._record(at, self.place)
        else:
            self.opened = "unknown" if at is None else str(at)
            message = "Its clock runs by the air there."
            say(DESK, Said("ask", "Where is it?", message, "Scan the place it was found at."))
        return True

    def _ask(self, code: str) -> None:
        self.asked = code
        state = shift.on_record_closed(code, self.now)
        assert state is not None
        since = near(state.ledger.known_closed_at, self.now)
        part = f"{state.facts.part.number}, level {state.facts.part.msl}"
        message = f"{code}, {part}: on record its bag is closed, last known closed {since}."
        next_step = "If it is open: key in a number, or the time as 14:05."
        say(DESK, Said("ask", "When was it opened?", message, next_step))

    def _record(self, at: int | None, place: str) -> None:
        code, by = self.asked, who.present_code()
        state = shift.record_found_open(code, at, place, self.scan_id, self.now, self.tz, by)
        self.asked = self.opened = ""
        opened_at = state.ledger.opened_at
        assert opened_at is not None
        lasting = duration_text(self.now - opened_at)
        if at is None:
            message = (
                f"{code}: nobody knows when, so it counts as exposed since it was last known "
                f"closed, {near(opened_at, self.now)}: {lasting}."
            )
        else:
            message = f"{code}: opened {near(opened_at, self.now)}, {lasting} ago."
        # The station now has it in hand, and asks what its card shows.
        answer = self._scanned(code)
        say(DESK, Said("ask", "Opening recorded", message, answer.next_step))

    def _scan(self, text: str, more: str = "") -> None:
        answer = self._scanned(text)
        title, message, next_step = answer.title, f"{answer.message}{more}", answer.next_step
        state = answer.state
        if answer.tone != "refuse":
            goal = self._goal(answer.boards, state)
            is_safe = answer.boards is not None or (state is not None and state.status != "exposed")
            if goal is not None:
                next_step = f"To: {goal.title}. {goal.why}"
            elif is_safe and title in ("Moved", "Closed"):
                title = "Ticked off"
        say(DESK, Said(answer.tone, title, message, next_step))

    def _goal(self, board: str | None, state: CarrierState | None) -> Destination | None:
        """Return where what was scanned should go, None if it has no clock that runs."""
        if board is not None:
            return shift_boards.goal_of(board, self.now)
        if state is None or state.status != "exposed" or state.facts.part.msl == "1":
            return None
        return shift.destination(state)

    def _scanned(self, text: str) -> ScanAnswer:
        return who.scan(NewScan(self.scan_id, _station(), text))

    @staticmethod
    def _carrier(text: str) -> str | None:
        return None if " " in text.strip() else _read(text, CodeKind.CARRIER)

    @staticmethod
    def _place(text: str) -> str | None:
        code = _read(text, CodeKind.PLACE)
        return None if code is None else catalog.place(code).code


def _read(text: str, kind: CodeKind) -> str | None:
    """Return a code of a kind, None if it is of another or none at all."""
    try:
        code = read_code(text)
    except BadCode:
        return None
    return code.text if code.kind is kind else None


def _station() -> str:
    """Return the name of this browser's scan station: its memory is its own."""
    if _STATION not in session:
        session[_STATION] = f"End of shift {secrets.token_hex(3)}"
    return str(session[_STATION])


def _page(complete: bool) -> ShiftPage:
    now, code = site().now(), request.args.get("place") or None
    here = None if code is None else catalog.place(code)
    names = place_names()
    groups = []
    out = shift_boards.everything_out(now, code, MOST_ROWS)
    for place, found in shift.by_place(out.first).items():
        name = "Place not known" if place is None else names.get(place, place)
        rows = tuple(OutRow(row_of(one.seen, names), one.destination) for one in found)
        groups.append((name, out.at_place[place], rows))
    live = ShiftPage(
        data_url=url_for("shift.data", place=code),
        here=here,
        places=tuple(all_places()),
        groups=tuple(groups),
        count=out.count,
        beyond=out.count - len(out.first),
        ticked=(),
    )
    if not complete:
        return live
    asked, opened = request.args.get("asked", ""), request.args.get("opened", "")
    station = scanning.station_now(_station(), now)
    offered = [(one.text, one.code) for one in station.choices]
    if asked:
        offered = [] if opened else [(f"{n} minutes ago", "") for n in _MINUTES]
        offered += [] if opened else [(_NOBODY, ""), (_CLOSED, "")]
    return ShiftPage(
        data_url=live.data_url,
        here=here,
        places=live.places,
        groups=live.groups,
        count=live.count,
        beyond=live.beyond,
        ticked=tuple(
            one._replace(carrier=one.carrier and shift_boards.label_of(one.carrier))
            for one in scanning.recent(_station())
            if one.changed
        ),
        said=said(DESK),
        scan_id=str(uuid.uuid4()),
        asked=asked,
        opened=opened,
        choices=tuple(Choice(text, code) for text, code in offered),
    )
