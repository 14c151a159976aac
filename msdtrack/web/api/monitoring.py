"""What needs attention: the watch list, alarms, and the health of the server."""

from __future__ import annotations

from typing import Annotated, Any

from flask import Response, request
from pydantic import Field

from msdtrack.exposure.facts import HOUR_S
from msdtrack.services import alarm_acknowledging, alarm_rules, watch_list
from msdtrack.services import health as health_service
from msdtrack.services.alarm_acknowledging import SeenAlarm
from msdtrack.times import utc_text
from msdtrack.web.api import bodies, shapes
from msdtrack.web.api.calls import Calls, json_response
from msdtrack.web.api.fields import LAST_ID, AsOf, Code, Limit, Page, Query
from msdtrack.web.api.paging import page_of, rest_of
from msdtrack.web.api.things import alarm_answer
from msdtrack.web.site import site

calls = Calls()

SAME_FOR_S = 30
"""The watch list is made anew after this long even if nothing was written: time changes it."""


class WatchQuery(Page, AsOf):
    """Which carriers to watch, as of when."""

    place: Code | None = None


class AlarmList(Query):
    """Which alarms to list."""

    limit: Limit = 100
    after: Annotated[
        int | None, Field(ge=0, le=LAST_ID, description="`next` of the page before")
    ] = None

    ended: Annotated[
        bool, Field(description="those that have ended too, newest first, in pages")
    ] = False


@calls.add("GET", "/watch", shapes.WatchList)
def show_watch_list(query: WatchQuery, now: int) -> Response:
    """Return every exposed, drying or baking carrier, most urgent first.

    Batches of boards between their reflows are under `/boards`.

    Shares may be above those of the carrier itself by some 1e-15 a second of exposure, never below.
    It carries an ETag: ask again with If-None-Match, and 304 is the answer while nothing was
    written, for half a minute at most.
    """
    tag = f"{site().version()}-{now // SAME_FOR_S}-{query.at}-{query.known_at}"
    if tag in request.if_none_match:
        response = Response(status=304)
    else:
        at = now if query.at is None else query.at
        first = query.limit + 1 if query.after is None else None
        watched = watch_list.lines(at, query.place, first, query.known_at)
        rest = rest_of(watched, query.after, lambda line: line.code)
        page = page_of(rest, query.limit, lambda line: line.code, lambda line: line.answer)
        response = json_response(page | {"at": utc_text(at)})
    response.set_etag(tag)
    return response


@calls.add("GET", "/alarms", shapes.ListOf[shapes.Alarm])
def list_alarms(query: AlarmList, now: int) -> dict[str, Any]:
    """Return the alarms that have not ended, most pressing first and shelved ones last, or all of
    them, newest first.

    An alarm ends when it is acknowledged and its cause is gone.
    """
    if query.ended:
        found = alarm_rules.alarm_history(query.after, query.limit + 1)
    else:
        listed = alarm_rules.active_alarms() + alarm_rules.shelved_alarms()
        found = list(rest_of(listed, query.after, lambda alarm: alarm.id))
    return page_of(
        found, query.limit, lambda alarm: alarm.id, lambda alarm: alarm_answer(alarm, now)
    )


@calls.add("POST", "/alarms/<int(max=2147483647):alarm_id>/acknowledge", shapes.Alarm)
def acknowledge_alarm(alarm_id: int, body: bodies.Acknowledgement, now: int) -> dict[str, Any]:
    """Note who has taken notice of an alarm."""
    return alarm_answer(alarm_rules.acknowledge(alarm_id, body.person, now), now)


@calls.add("POST", "/alarms/acknowledge", shapes.AcknowledgedAlarms)
def acknowledge_alarms(body: bodies.Acknowledgements, now: int) -> dict[str, Any]:
    """Note who has taken notice of alarms, in one transaction.

    State, priority and times are those listed when the person looked. What differs by now is left
    unacknowledged, and told. The same person may send it again: it counts once.
    """
    seen = [SeenAlarm(one.id, one.state, one.priority, one.times) for one in body.alarms]
    found = alarm_acknowledging.acknowledge_seen(seen, body.person, now)
    return {
        "acknowledged": [alarm_answer(alarm, now) for alarm in found.alarms],
        "left": [
            {"change": one.change, "alarm": alarm_answer(one.alarm, now)} for one in found.left
        ],
    }


@calls.add("POST", "/alarms/<int(max=2147483647):alarm_id>/shelve", shapes.Alarm)
def shelve_alarm(alarm_id: int, body: bodies.Shelving, now: int) -> dict[str, Any]:
    """Put an alarm aside by name, with a reason, for a time that the site allows.

    It comes back by itself; what it is about stays as it is.
    """
    until = body.until
    if until is None:
        until = now + round((body.hours or 0) * HOUR_S)
    return alarm_answer(alarm_rules.shelve(alarm_id, body.person, body.reason, until, now), now)


@calls.add("POST", "/alarms/<int(max=2147483647):alarm_id>/unshelve", shapes.Alarm)
def unshelve_alarm(alarm_id: int, body: bodies.Unshelving, now: int) -> dict[str, Any]:
    """Take an alarm off the shelf before its time; if its cause stands it is unacknowledged."""
    return alarm_answer(alarm_rules.unshelve(alarm_id, body.person, now), now)


@calls.add("GET", "/health", shapes.Health)
def show_health(now: int) -> dict[str, Any]:
    """Return 200 whenever the database answers, with scheduler and readings as fields."""
    return health_service.health(now)
