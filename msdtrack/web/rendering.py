"""How a page is made: one template, one frozen context, and the words for times and shares."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from fractions import Fraction

from flask import Flask, Response, make_response, render_template

from msdtrack import __version__
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.spans import Air
from msdtrack.phrases import counted
from msdtrack.times import day_text, duration_text, local_text, utc_text
from msdtrack.web.site import site
from msdtrack.web.static_files import static_url, static_version

NAVIGATION = (
    ("scan.show", "Scan"),
    ("goods_in.show", "Goods-in"),
    ("watch.show", "Watch"),
    ("line.list_all", "Line screens"),
    ("carriers.list_all", "Carriers"),
    ("alarms.show", "Alarms"),
)
"""The words of the navigation that every job needs, and the pages they lead to."""

MORE_NAVIGATION = (
    (
        "Dry",
        (
            ("ovens.list_all", "Ovens"),
            ("cabinets.list_all", "Cabinets"),
            ("closing.show", "Closing"),
        ),
    ),
    (
        "Work",
        (
            ("plan.show", "Plan a run"),
            ("checks.list_all", "Sample checks"),
            ("boards.list_all", "Boards"),
            ("shift.show", "End of shift"),
            ("counting.list_all", "Count a place"),
        ),
    ),
    (
        "On file",
        (
            ("receive.show", "Receive by hand"),
            ("parts.list_all", "Parts"),
            ("places.list_all", "Places"),
            ("tables.show", "Tables"),
            ("setup.show", "Set-up"),
        ),
    ),
)
"""The rest, by what it is about."""


def render_page(template: str, page: object) -> Response:
    """Return a page.

    Args:
        template: file in templates/.
        page: its context, a frozen dataclass; the template sees it as `page`.
    """
    return make_response(render_template(template, page=page))


def render_fragment(template: str, page: object) -> str:
    """Return the part of a page that a screen polls."""
    return render_template(template, page=page)


def local(moment: int | None) -> str:
    """Return a moment in the site's time: "Tue 24 Nov 14:05"; a dash for none."""
    return "–" if moment is None else local_text(moment, site().tz)


def dated(moment: int) -> str:
    """Return a moment in the site's time for paper that is kept: "24 Nov 2026 14:05"."""
    return f"{day_text(datetime.fromtimestamp(moment, site().tz).date())} {clock(moment)}"


def clock(moment: int) -> str:
    """Return a moment's time of day: "14:05"."""
    then = datetime.fromtimestamp(moment, site().tz)
    return f"{then.hour:02}:{then.minute:02}"


def near(moment: int, now: int) -> str:
    """Return a moment as people say it: the time of day alone within today, else day and time."""
    tz = site().tz
    then, today = (datetime.fromtimestamp(each, UTC).astimezone(tz) for each in (moment, now))
    if then.date() == today.date():
        return then.strftime("%H:%M")
    if abs(moment - now) < 6 * 24 * 3600:
        return then.strftime("%a %H:%M")
    return then.strftime("%d %b %H:%M")


def form_moment(moment: int) -> str:
    """Return a moment as an <input type="datetime-local"> wants it."""
    return datetime.fromtimestamp(moment, UTC).astimezone(site().tz).strftime("%Y-%m-%dT%H:%M")


def percent(share: Fraction | float) -> str:
    """Return a share of the floor life as "14.3 %"; it is rounded up, never in favour of use."""
    return f"{math.ceil(share * 1000) / 10:.1f} %"


def hours(length_h: Fraction | float | None) -> str:
    """Return hours as "5 h 20 min", rounded down; "no limit" for none."""
    return "no limit" if length_h is None else duration_text(int(length_h * HOUR_S))


def duration(seconds: int | None) -> str:
    """Return a length of time as "5 h 20 min"."""
    return "–" if seconds is None else duration_text(seconds)


def air(value: Air | None) -> str:
    """Return air in hundredths as "24.9 °C / 47.2 % RH"; a dash for none."""
    return "–" if value is None else f"{value[0] / 100:.1f} °C / {value[1] / 100:.1f} % RH"


def number(value: float | Fraction | None, digits: int = 1) -> str:
    """Return a number with so many digits after the point; a dash for none."""
    return "–" if value is None else f"{float(value):.{digits}f}"


def day(value: date | None) -> str:
    """Return a day as "24 Nov 2026"; a dash for none."""
    return "–" if value is None else day_text(value)


def register_rendering(app: Flask) -> None:
    """Give the templates their filters and the few things every page shows."""
    app.jinja_env.filters.update(
        air=air,
        clock=clock,
        counted=counted,
        dated=dated,
        day=day,
        duration=duration,
        form_moment=form_moment,
        hours=hours,
        iso=utc_text,
        local=local,
        near=near,
        number=number,
        percent=percent,
        zip=zip,
    )
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True

    @app.context_processor
    def every_page() -> dict[str, object]:
        here = site()
        return {
            "navigation": NAVIGATION,
            "more_navigation": MORE_NAVIGATION,
            "site_name": here.settings.site_name,
            "refresh_s": here.settings.line_refresh_s,
            "page_version": static_version(),
            "program_version": __version__,
            "served_at": here.now(),
            "zone_name": str(here.tz),
            "static": static_url,
        }
