"""Carriers: receipt, state, working, bake advice, log and labels."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from flask import Response
from pydantic import Field

from msdtrack.services import answers, carrier_states, event_recording, labelling, receiving
from msdtrack.services.receiving import NewCarrier
from msdtrack.web.api import bodies, shapes
from msdtrack.web.api.calls import Calls
from msdtrack.web.api.fields import AsOf, Code, Moment, Page, PartNumber, Query, Text
from msdtrack.web.api.paging import page_of, rest_of
from msdtrack.web.api.things import log_answer

calls = Calls()

PNG, PDF = "image/png", "application/pdf"


class CarrierList(Page, AsOf):
    """Which carriers to list, as of when."""

    part: PartNumber | None = None
    lot: Text | None = None
    place: Code | None = None
    search: Annotated[Text | None, Field(description="in code, part and lot")] = None


class StateQuery(AsOf):
    """A state as of a moment."""

    until: Annotated[
        Moment | None,
        Field(description="end of a run: the verdict is for a last reflow at that moment"),
    ] = None


class BakeQuery(AsOf):
    """Bake advice as of a moment."""

    oven: Annotated[Code | None, Field(description="place code of the oven; left out: any")] = None


class LabelQuery(Query):
    """How to print a label."""

    layout: bodies.Layout = bodies.DEFAULT_LAYOUT
    dpi: Annotated[
        Literal["203", "300", "600"], Field(description="dots per inch of the printer")
    ] = "300"
    person: Text | None = None


@calls.add("POST", "/carriers", shapes.Received, created=True)
def create_carrier(body: bodies.NewCarrier, now: int) -> tuple[dict[str, Any], int]:
    """Receive a carrier and give it and its dry bag their codes.

    What is stated at receipt holds for all earlier time, and earlier events are accepted. Without
    `sealed_on` its history is unknown.
    """
    new = NewCarrier(**body.model_dump(exclude={"id"}))
    received, created = receiving.receive(new, now, body.id)
    return {"code": received.code, "bag": received.bag}, 201 if created else 200


@calls.add("GET", "/carriers", shapes.ListOf[shapes.State])
def list_carriers(query: CarrierList, now: int) -> dict[str, Any]:
    """Return the states of carriers by code."""
    found = receiving.carriers(
        query.after,
        query.limit + 1,
        part=query.part,
        lot=query.lot,
        place=query.place,
        search=query.search,
    )
    codes = [facts.code for facts in found]
    shown = codes[: query.limit]
    if query.at is None and query.known_at is None:
        states = carrier_states.states(shown, now)
    else:
        states = {code: carrier_states.state(code, now, query.at, query.known_at) for code in shown}
    # A carrier that was at the place and is there no more has been found too.
    here = [one for one in states.values() if query.place in (None, one.ledger.place)]
    return {
        "items": [answers.state_answer(one) for one in here],
        "next": shown[-1] if len(codes) > query.limit else None,
    }


@calls.add("GET", "/carriers/<code>", shapes.State)
def show_state(code: str, query: StateQuery, now: int) -> dict[str, Any]:
    """Return the state of a carrier."""
    state = carrier_states.state(code, now, query.at, query.known_at)
    return answers.state_answer(state, query.until)


@calls.add("GET", "/carriers/<code>/working", shapes.Working)
def show_working(code: str, query: AsOf, now: int) -> dict[str, Any]:
    """Return the intervals, cells and sums behind the used share of a carrier."""
    found = carrier_states.state_and_working(code, now, query.at, query.known_at)
    return answers.working_answer(*found)


@calls.add("GET", "/carriers/<code>/bake", shapes.Bake)
def show_bake(code: str, query: BakeQuery, now: int) -> dict[str, Any]:
    """Return whether a carrier needs a bake, which it may have, which not and why."""
    state = carrier_states.state(code, now, query.at, query.known_at, query.oven)
    return answers.bake_answer(state)


@calls.add("GET", "/carriers/<code>/events", shapes.ListOf[shapes.LogLine])
def show_log(code: str, query: Page) -> dict[str, Any]:
    """Return the log of a carrier in order of receipt, corrections in place."""
    log = rest_of(event_recording.log_of(code), query.after, lambda line: line.event.id)
    return page_of(log, query.limit, lambda line: line.event.id, log_answer)


@calls.add("GET", "/carriers/<code>/label.png", None, media=PNG)
def show_label_png(code: str, query: LabelQuery, now: int) -> Response:
    """Print a carrier's label on the dots of a label printer; a reprint is on the log."""
    png = labelling.label_png(code, query.layout, int(query.dpi), now, query.person)
    return Response(png, mimetype=PNG)


@calls.add("GET", "/carriers/<code>/label.pdf", None, media=PDF)
def show_label_pdf(code: str, query: LabelQuery, now: int) -> Response:
    """Print a carrier's label as vectors; a reprint is on the log."""
    pdf = labelling.labels_pdf([code], query.layout, now, query.person, dpi=int(query.dpi))
    return Response(pdf, mimetype=PDF)


@calls.add("POST", "/labels", None, media=PDF)
def print_labels(body: bodies.LabelOrder, now: int) -> Response:
    """Print labels, a page each; reprints are on the log."""
    pdf = labelling.labels_pdf(
        body.codes, body.layout, now, body.person, both=body.both, dpi=body.dpi
    )
    return Response(pdf, mimetype=PDF)
