"""What happens: events, readings and scans."""

from __future__ import annotations

from itertools import groupby
from typing import Annotated, Any

from flask import abort, request
from pydantic import Field, TypeAdapter, ValidationError

from msdtrack.exposure.events import Kind
from msdtrack.services import answers, climate, event_recording, readings_file, scanning
from msdtrack.services.climate import NewReading, ReadingsResult, RefusedRow
from msdtrack.services.scanning import NewScan
from msdtrack.web.api import bodies, shapes
from msdtrack.web.api.calls import JSON, Calls
from msdtrack.web.api.event_bodies import Events, new_events
from msdtrack.web.api.fields import Query
from msdtrack.web.api.things import scan_answer
from msdtrack.web.api.validation import bad_input, findings, validated_json
from msdtrack.web.site import site

calls = Calls()

CSV = "text/csv"

# Each row is checked by itself: the good ones are kept.
_ROWS = TypeAdapter(list[Any])
_ROW = TypeAdapter(bodies.NewReading)


class ReadingsQuery(Query):
    """How to take readings."""

    replaces: Annotated[
        bool,
        Field(description="all take the place of other values for the same place and second"),
    ] = False


@calls.add("POST", "/events", shapes.Recorded, created=True)
def record_events(body: Events, now: int) -> tuple[dict[str, Any], int]:
    """Record one event or a list of them, all or none.

    201 if any was created, 200 if all of them were on the log with the same content. What
    contradicts the history is recorded, counts as the longer exposure, and answers
    `history_conflict` until it is corrected.
    """
    recorded = event_recording.record(new_events(body, _kind_on_log, now), now)
    results = []
    for one in recorded:
        result = {"id": one.id, "result": one.result, "carrier": one.carrier}
        if one.child is not None:
            result["child"] = one.child
        results.append(result | {"state": answers.state_answer(one.state)})
    created = any(one.result == "created" for one in recorded)
    return {"results": results}, 201 if created else 200


@calls.add("POST", "/readings", shapes.Readings, takes={JSON: list[bodies.NewReading], CSV: None})
def add_readings(query: ReadingsQuery, now: int) -> dict[str, Any]:
    """Take readings: a JSON list, or CSV whose first line is place,at,temp_c,rh_pct.

    Good rows are kept, whatever the others are; a row sent twice counts once. Other values for the
    same place and second are refused unless the row, or the query, says `replaces`. Rows count
    from 1; in CSV they are the lines of the file, its header included.
    """
    if request.mimetype == CSV:
        result = readings_file.add_csv(_csv_text(), site().tz, now, query.replaces)
    elif request.is_json:
        result = _add_rows(validated_json(_ROWS, request.get_data(), now), now, query.replaces)
    else:
        abort(415, f"Send readings as {JSON} or {CSV}.")
    return {
        "accepted": result.accepted,
        "duplicates": result.duplicates,
        "refused": [{"row": one.row, "message": one.message} for one in result.refused],
    }


@calls.add("POST", "/scans", shapes.Scan)
def record_scan(body: bodies.NewScan, now: int) -> dict[str, Any]:
    """Take one scan of a station and say what happened and what to do next.

    A scan that is refused, or that asks for more, is an answer like any other; its `tone` says so.
    """
    return scan_answer(scanning.scan(NewScan(**body.model_dump()), now, site().tz))


def _kind_on_log(carrier: str, event_id: str) -> Kind | None:
    log = event_recording.log_of(carrier)
    return next((line.event.kind for line in log if line.event.id == event_id), None)


def _csv_text() -> str:
    charset = request.mimetype_params.get("charset", "utf-8")
    try:
        return request.get_data().decode(charset)
    except LookupError:
        abort(415, f"There is no charset {charset!r}.")
    except UnicodeError as error:
        abort(400, f"The file is no text in {charset}: {error}.")


def _add_rows(rows: list[Any], now: int, replaces: bool) -> ReadingsResult:
    refused: list[RefusedRow] = []
    good: list[tuple[int, bodies.NewReading]] = []
    for number, row in enumerate(rows, 1):
        try:
            good.append((number, _ROW.validate_python(row, context={"now": now})))
        except ValidationError as error:
            refused.append(RefusedRow(number, str(bad_input(findings(error)))))
    accepted = duplicates = 0
    for replacing, group in groupby(good, lambda one: replaces or one[1].replaces):
        taken = list(group)
        readings = [NewReading(r.place, r.at, r.temp_c, r.rh_pct) for _, r in taken]
        result = climate.add_readings(readings, now, replacing, [number for number, _ in taken])
        accepted += result.accepted
        duplicates += result.duplicates
        refused += result.refused
    return ReadingsResult(accepted, duplicates, sorted(refused, key=lambda one: one.row))
