"""The alert screen on the wall of a line: what is there, most urgent first, and its air."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response, current_app, url_for

from msdtrack.services import alarm_rules, board_glances, catalog, climate, watch_list
from msdtrack.services.catalog import Place
from msdtrack.services.climate import AirNow
from msdtrack.store.records import AlarmRecord
from msdtrack.web.marks import Mark, air_mark, alarm_mark
from msdtrack.web.names import all_places
from msdtrack.web.polling import polled
from msdtrack.web.rendering import render_fragment, render_page
from msdtrack.web.rows import Row, rows_of
from msdtrack.web.site import site

MOST_ROWS = 24
"""More than fit any wall screen at a height that can be read."""

MOST_ALARMS = 2

pages = Blueprint("line", __name__)


@dataclass(frozen=True, slots=True)
class LineScreen:
    """The alert screen of one place.

    Args:
        place: the place.
        data_url: where its script asks for the fragment.
        air: newest reading of the place.
        air_mark: what that reading means.
        rows: watched carriers and boards at the place, most urgent first, as many as may fit.
        beyond: how many more there are.
        alarms: active alarms of the place and of what is there, with their marks, what nobody
            acknowledged first, as many as fit.
        more_alarms: how many more there are.
    """

    place: Place
    data_url: str
    air: AirNow
    air_mark: Mark
    rows: tuple[Row, ...]
    beyond: int
    alarms: tuple[tuple[Mark, AlarmRecord], ...]
    more_alarms: int


@dataclass(frozen=True, slots=True)
class LineList:
    """The places whose screen can be shown.

    Args:
        lines: production lines and floor areas.
        others: stores and cabinets.
    """

    lines: tuple[Place, ...]
    others: tuple[Place, ...]


@pages.get("/line")
def list_all() -> Response:
    """Answer the choice of screens."""
    places = all_places()
    return render_page(
        "line_list.html",
        LineList(
            tuple(place for place in places if place.kind in ("line", "floor")),
            tuple(place for place in places if place.kind in ("store", "cabinet")),
        ),
    )


@pages.get("/line/<code>")
def show(code: str) -> Response:
    """Answer the screen of a place."""
    return render_page("line.html", _screen(code))


@pages.get("/line/<code>/data")
def data(code: str) -> Response:
    """Answer what of the screen changes, or 304."""
    return polled(
        current_app.extensions["fragments"],
        f"line {code}",
        lambda: render_fragment("line_data.html", _screen(code)),
        site().version_at(code),
    )


def _screen(code: str) -> LineScreen:
    now, place = site().now(), catalog.place(code)
    boards = board_glances.unfinished(now, code)
    most = MOST_ROWS + boards.watched_placements
    carriers, count = watch_list.most_urgent(now, code, most)
    seen = list(boards.among(carriers))[:MOST_ROWS]
    count += len(boards.watched) - boards.watched_placements
    alarms, alarm_count, _ = alarm_rules.most_pressing_alarms(MOST_ALARMS, code)
    air = climate.air_now(code, now)
    return LineScreen(
        place=place,
        data_url=url_for("line.data", code=code),
        air=air,
        air_mark=air_mark(place.kind, air),
        # All are here: no other place is named.
        rows=rows_of(board_glances.as_on_their_pages(seen, now), {code: place.name}),
        beyond=count - len(seen),
        alarms=tuple((alarm_mark(alarm), alarm) for alarm in alarms),
        more_alarms=alarm_count - len(alarms),
    )
