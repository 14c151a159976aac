"""The scan station: one field, one answer that fills the screen."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any
from uuid import UUID

from flask import Blueprint, Response, jsonify, request
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from msdtrack.errors import MsdtrackError
from msdtrack.printing.codes import ACTIONS, Action, BadCode, make_action_code, read_code
from msdtrack.services import scanning
from msdtrack.services.badges import NOT_ME
from msdtrack.services.scan_replies import Choice
from msdtrack.services.scanning import LONGEST_CODE, LONGEST_STATION, NewScan, ScanAnswer
from msdtrack.services.station_memory import IDLE_S
from msdtrack.web import who
from msdtrack.web.errors import status_of
from msdtrack.web.marks import mark_of
from msdtrack.web.rendering import clock, render_page
from msdtrack.web.site import site

pages = Blueprint("scan", __name__)

GROUPS = (
    ("Dry bag", ("OPEN", "CLOSEFRESH", "CLOSEQUICK", "CLOSEHEAT")),
    ("Use", ("LOAD", "TAKE", "MOVE")),
    ("Oven", ("BAKE125", "BAKE90", "BAKE40", "BAKEEND")),
    ("Quality", ("HOLD", "RELEASE", "SCRAP")),
)
"""The actions as they stand on the screen, under their headings."""


@dataclass(frozen=True, slots=True)
class ActionButton:
    """An action that can be tapped instead of scanned."""

    code: str
    title: str


@dataclass(frozen=True, slots=True)
class ScanPage:
    """The scan station.

    Args:
        groups: headings, each with its buttons.
        done: ends a series.
        undo: takes the last scan back.
        idle_s: seconds after which the station forgets carriers and action.
        longest_station, longest_code: most characters of a name and of a code.
        not_me: ends the work in a name.
    """

    groups: tuple[tuple[str, tuple[ActionButton, ...]], ...]
    done: ActionButton
    undo: ActionButton
    idle_s: int
    longest_station: int
    longest_code: int
    not_me: str = NOT_ME


def _is_uuid(text: str) -> str:
    UUID(text)
    return text


class SentScan(BaseModel):
    """A scan as the page sends it."""

    model_config = ConfigDict(strict=True, extra="forbid")

    id: Annotated[str, AfterValidator(_is_uuid)]
    station: str
    code: str
    at: Annotated[int, Field(ge=0)]


@pages.get("/scan")
def show() -> Response:
    """Answer the scan station."""
    groups = tuple((name, tuple(map(_button, names))) for name, names in GROUPS)
    page = ScanPage(groups, _button("DONE"), _button("UNDO"), IDLE_S, LONGEST_STATION, LONGEST_CODE)
    return render_page("scan.html", page)


@pages.post("/scan")
def answer() -> tuple[Response, int]:
    """Do one scan; the answer is everything the screen shows of it."""
    try:
        sent = SentScan.model_validate_json(request.get_data())
    except ValidationError as error:
        fields = ", ".join(str(one["loc"][0]) if one["loc"] else "body" for one in error.errors())
        return jsonify(message=f"The page sent something wrong ({fields}): load it again."), 422
    try:
        done = who.scan(NewScan(sent.id, sent.station, sent.code, sent.at))
    except MsdtrackError as error:
        # What the database could not do may go well in a moment: the page sends it again.
        if status_of(error) >= 500:
            raise
        return jsonify(message=error.message), status_of(error)
    return jsonify(_shown(done)), 200


@pages.get("/scan/station")
def station() -> Response:
    """Answer what a station waits with and what was scanned there."""
    name = request.args.get("name", "")
    now = site().now()
    waits = scanning.station_now(name, now)
    return jsonify(
        now=now,
        **_who(),
        action=waits.action,
        chosen=waits.chosen,
        choices=[_choice(one) for one in waits.choices],
        wants_number=waits.wants_number,
        recent=[one._asdict() | {"time": clock(one.at)} for one in scanning.recent(name.strip())],
    )


def _button(name: str) -> ActionButton:
    return ActionButton(make_action_code(name), ACTIONS[name].title)


def _shown(done: ScanAnswer) -> dict[str, Any]:
    state = done.state
    mark = None if state is None else mark_of(state)
    return {
        "now": site().now(),
        "scan_id": done.scan_id,
        "code": done.code,
        "time": clock(done.at),
        "tone": done.tone,
        "title": done.title,
        "message": done.detail,
        "next_step": done.next_step,
        "time_left": done.time_left,
        "caution": done.caution,
        "carrier": done.carrier,
        "part": None if state is None else state.facts.part.number,
        "msl": None if state is None else state.facts.part.msl,
        "mark": None if mark is None else {"kind": mark.kind, "word": mark.word},
        "choices": [_choice(one) for one in done.choices],
        "countdowns": [one._asdict() for one in done.countdowns],
        "series": done.series,
        **_who(),
        "action": done.action,
        "wants_number": done.wants_number,
        "took_back": done.took_back,
        "boards": done.boards,
    }


def _who() -> dict[str, Any]:
    """Return who is at this browser, and until when that holds without an entry."""
    found = who.here()
    return {
        "person": None if found.person is None else found.person.name,
        "person_until": found.until,
    }


def _choice(offered: Choice) -> dict[str, Any]:
    action = _action_of(offered.code.split()[-1])
    return {
        "code": offered.code,
        "text": offered.text,
        "spots": None if action is None else action.spots,
        "minutes": None if action is None else action.minutes_ago,
        "hint": "" if action is None else action.instruction,
    }


@lru_cache
def _action_of(code: str) -> Action | None:
    """Return the action that a choice ends in."""
    try:
        return read_code(code).action
    except BadCode:
        return None
