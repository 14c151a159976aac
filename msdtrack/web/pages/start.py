"""The start page: what needs a hand now, and the way to the three jobs."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from flask import Blueprint, Response

from msdtrack.services import (
    alarm_rules,
    board_glances,
    catalog,
    climate,
    people,
    receiving,
    watch_list,
)
from msdtrack.services.catalog import Place
from msdtrack.services.climate import AirNow
from msdtrack.services.glance import Glance
from msdtrack.store.records import AlarmRecord
from msdtrack.web.marks import Mark, air_mark, alarm_mark, mark_of
from msdtrack.web.names import all_places
from msdtrack.web.rendering import render_page
from msdtrack.web.rows import Row, has_bag_to_close, rows_of
from msdtrack.web.site import site

MOST_ALARMS = 5
MOST_CARRIERS = 6

pages = Blueprint("start", __name__)


@dataclass(frozen=True, slots=True)
class FirstSteps:
    """What has been done of what a new site begins with: people, places and parts on file."""

    people: bool
    places: bool
    parts: bool


@dataclass(frozen=True, slots=True)
class StartPage:
    """Today at a glance.

    Args:
        alarms: active alarms with their marks, the most pressing first.
        alarm_count: how many there are in all.
        unacknowledged: how many of them nobody has acknowledged.
        urgent: carriers and boards that must not be used as they are or should be used first.
        urgent_count: how many there are in all.
        open_bags: bags that can still be closed in time.
        counts: watched carriers and batches of boards by the kind of their mark.
        watched: how many there are in all.
        airs: the places that have air, with their newest reading and what it means.
        lines: the lines, for their screens.
        begin: until the first carrier has been received: which first steps are done.
    """

    alarms: tuple[tuple[Mark, AlarmRecord], ...]
    alarm_count: int
    unacknowledged: int
    urgent: tuple[Row, ...]
    urgent_count: int
    open_bags: tuple[Row, ...]
    counts: dict[str, int]
    watched: int
    airs: tuple[tuple[Place, AirNow, Mark], ...]
    lines: tuple[Place, ...]
    begin: FirstSteps | None


@pages.get("/")
def show() -> Response:
    """Answer the start page."""
    now, places = site().now(), all_places()
    names = {place.code: place.name for place in places}
    counts: Counter[str] = Counter()
    open_bags: list[Glance] = []
    urgent: list[Glance] = []
    carriers = watch_list.glances(now)
    for seen in board_glances.unfinished(now).among(carriers):
        mark = mark_of(seen)
        counts[mark.kind] += 1
        if mark.kind in ("stop", "soon") or mark.word == "Take out":
            urgent.append(seen)
        if has_bag_to_close(seen):
            open_bags.append(seen)
    alarms, alarm_count, unacknowledged = alarm_rules.most_pressing_alarms(MOST_ALARMS)
    airs = []
    for place in places:
        air = climate.air_now(place.code, now)
        airs.append((place, air, air_mark(place.kind, air)))
    return render_page(
        "start.html",
        StartPage(
            alarms=tuple((alarm_mark(alarm), alarm) for alarm in alarms),
            alarm_count=alarm_count,
            unacknowledged=unacknowledged,
            urgent=rows_of(board_glances.as_on_their_pages(urgent[:MOST_CARRIERS], now), names),
            urgent_count=len(urgent),
            open_bags=rows_of(open_bags[:MOST_CARRIERS], names),
            counts=counts,
            watched=counts.total(),
            airs=tuple(airs),
            lines=tuple(place for place in places if place.kind == "line"),
            begin=None if counts else _first_steps(places),
        ),
    )


def _first_steps(places: list[Place]) -> FirstSteps | None:
    if receiving.carriers(limit=1):
        return None
    return FirstSteps(
        people=bool(people.people(limit=1)),
        places=bool(places),
        parts=bool(catalog.parts(limit=1)),
    )
