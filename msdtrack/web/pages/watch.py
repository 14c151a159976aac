"""The watch list: every exposed, recovering or baking carrier, most urgent first."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from flask import Blueprint, Response, current_app, request, url_for

from msdtrack.services import board_glances, catalog, climate, watch_list
from msdtrack.services.catalog import Place
from msdtrack.services.climate import AirNow
from msdtrack.services.glance import Glance
from msdtrack.web.marks import mark_of
from msdtrack.web.names import all_places
from msdtrack.web.polling import polled
from msdtrack.web.rendering import render_fragment, render_page
from msdtrack.web.rows import Row, rows_of
from msdtrack.web.site import site

MOST_ROWS = 200
"""A page with thousands would take longer to come than until it is asked for again."""

pages = Blueprint("watch", __name__)


@dataclass(frozen=True, slots=True)
class WatchList:
    """The watch list.

    Args:
        data_url: where its script asks for the fragment.
        place: the place it is limited to, None for all.
        places: the places to choose from.
        rows: watched carriers and batches of boards, most urgent first, as many as a page can hold.
        beyond: how many more there are.
        counts: how many of them have each mark, by the kind of mark.
        airs: newest reading of each place where something is exposed, with the place's name.
    """

    data_url: str
    place: Place | None
    places: tuple[Place, ...]
    rows: tuple[Row, ...]
    beyond: int
    counts: dict[str, int]
    airs: tuple[tuple[str, AirNow], ...]


@pages.get("/watch")
def show() -> Response:
    """Answer the watch list, of one place if `place` is given."""
    return render_page("watch.html", _list(request.args.get("place") or None))


@pages.get("/watch/data")
def data() -> Response:
    """Answer what of the watch list changes, or 304."""
    place = request.args.get("place") or None
    if place is not None:
        catalog.place(place)
    return polled(
        current_app.extensions["fragments"],
        f"watch {place}",
        lambda: render_fragment("watch_data.html", _list(place)),
    )


def _list(code: str | None) -> WatchList:
    now, places = site().now(), all_places()
    place = None if code is None else catalog.place(code)
    names = {each.code: each.name for each in places}
    first: list[Glance] = []
    counts: Counter[str] = Counter()
    exposed_at = set()
    carriers = watch_list.glances(now, code)
    for each in board_glances.unfinished(now, code).among(carriers):
        if len(first) < MOST_ROWS:
            first.append(each)
        counts[mark_of(each).kind] += 1
        if each.status in ("exposed", "on_board"):
            exposed_at.add(each.place)
    ovens = {each.code for each in places if each.kind == "oven"}
    with_air = sorted(at for at in exposed_at if at is not None and at not in ovens)
    return WatchList(
        data_url=url_for("watch.data", place=code),
        place=place,
        places=tuple(places),
        rows=rows_of(board_glances.as_on_their_pages(first, now), names),
        beyond=counts.total() - len(first),
        counts=counts,
        airs=tuple((names.get(at, at), climate.air_now(at, now)) for at in with_air),
    )
