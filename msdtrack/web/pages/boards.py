"""Boards between reflows: the batches in work, and one batch with what can be done with it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import BadInput, MsdtrackError
from msdtrack.exposure.events import Kind
from msdtrack.phrases import counted
from msdtrack.printing.codes import ACTIONS, CodeKind, read_code
from msdtrack.services import boards, carrier_states, catalog
from msdtrack.services.board_states import BatchState
from msdtrack.services.boards import NewBatch
from msdtrack.services.catalog import Place
from msdtrack.services.event_recording import NewEvent
from msdtrack.web import who
from msdtrack.web.board_pages import CARDS, SEALS, batch_page, list_page
from msdtrack.web.errors import status_of
from msdtrack.web.forms import Form
from msdtrack.web.label_choice import PDF, printed
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site

pages = Blueprint("boards", __name__)


# -- the list ---------------------------------------------------------------------------------


@pages.get("/boards")
def list_all() -> Response:
    """Answer the batches; `carrier` waits for the batch that is made or scanned next."""
    values = {"boards": "1", "request_id": str(uuid.uuid4())}
    carrier = request.args.get("carrier")
    if carrier:
        values["place"] = carrier_states.state(carrier, site().now()).ledger.place or ""
    return list_page(values, {})


@pages.post("/boards")
def create() -> AnyResponse:
    """Put a batch on file, and go on to place what was scanned."""
    form = Form(request.form)
    new = NewBatch(
        name=form.text("name", required=True),
        boards=form.whole("boards", required=True, least=1) or 0,
        place=form.text("place") or None,
        person=who.present_code(),
    )
    try:
        form.check()
        batch, _ = boards.create(new, site().now(), form.text("request_id") or None)
    except MsdtrackError as error:
        _take_over(form, error)
        return list_page(form.values, form.errors)
    flash(
        f"{batch.name} is on file as {batch.code}. Print its label so that it can be scanned.", "ok"
    )
    return redirect(_url(batch.code, carrier=form.text("carrier") or None), 303)


@pages.post("/boards/scan")
def scan() -> AnyResponse:
    """Take a scan on the list: a batch to go to, or a carrier to begin one with."""
    form = Form(request.form)
    try:
        code = read_code(form.text("scan", required=True))
        if code.kind is CodeKind.JOB:
            boards.batch_state(code.text, site().now())
            return redirect(_url(code.text, carrier=form.text("carrier") or None), 303)
        if code.kind is CodeKind.CARRIER:
            carrier_states.state(code.text, site().now())
            return redirect(url_for("boards.list_all", carrier=code.text), 303)
        if code.kind is CodeKind.PERSON:
            who.remember(who.from_badge(code.text))
            return redirect(url_for("boards.list_all"), 303)
        raise BadInput(
            f"That is the code of a {code.kind.word}: scan a batch of boards or a carrier."
        )
    except MsdtrackError as error:
        flash(error.message, "stop")
        return redirect(url_for("boards.list_all"), 303)


# -- one batch --------------------------------------------------------------------------------


@pages.get("/boards/<code>")
def show(code: str) -> Response:
    """Answer one batch; `carrier` or `oven` is what was scanned and waits for a number."""
    return render_page("board.html", batch_page(code))


@pages.post("/boards/<code>/scan")
def scan_on(code: str) -> AnyResponse:
    """Take a scan: a carrier is placed, a place moves the boards, an oven bakes them."""
    form = Form(request.form)
    try:
        read = read_code(form.text("scan", required=True))
        if read.kind is CodeKind.CARRIER:
            carrier_states.state(read.text, site().now())
            return redirect(_url(code, carrier=read.text), 303)
        if read.kind is CodeKind.JOB:
            boards.batch_state(read.text, site().now())
            return redirect(_url(read.text), 303)
        if read.kind is CodeKind.PERSON:
            person = who.from_badge(read.text)
            who.remember(person)
            flash(f"At work: {person.name}.", "ok")
        elif read.kind is CodeKind.PLACE:
            place = catalog.place(read.text)
            if place.kind == "oven":
                return redirect(_url(code, oven=read.text), 303)
            request_id = form.request_id()
            form.check()
            _move(code, place, request_id)
        else:
            raise BadInput(
                f"That is the code of a {read.kind.word}: scan a carrier to place, a place to "
                "move the boards to, an oven, or another batch."
            )
    except MsdtrackError as error:
        flash(error.message, "stop")
    return redirect(_url(code), 303)


@pages.post("/boards/<code>/place")
def place(code: str) -> AnyResponse:
    """Place pieces of a carrier on the boards."""
    form = Form(request.form)
    carrier = form.text("carrier", required=True)
    quantity = form.whole("quantity", required=True, least=1)
    request_id = form.request_id()
    try:
        form.check()
        new = NewEvent(
            request_id,
            carrier,
            Kind.PLACE_ON_BOARD,
            person=who.present_code(),
            quantity=quantity,
            board=code,
        )
        boards.place(code, new, site().now())
    except MsdtrackError as error:
        return _wrong(code, form, error)
    placed = f"{counted(quantity or 0, 'piece')} of {carrier} {'is' if quantity == 1 else 'are'}"
    flash(f"{placed} on the boards. Scan the next.", "ok")
    return redirect(_url(code), 303)


@pages.post(
    "/boards/<code>/<any(reflow, close, open, bake_start, bake_end, hold, release, scrap):kind>"
)
def act(code: str, kind: str) -> AnyResponse:
    """Do one thing with all boards of the batch."""
    form = Form(request.form)
    given = _given(form, kind)
    at, request_id = form.moment("at"), form.request_id()
    try:
        form.check()
        state = _record(code, kind, request_id, at=at, **given)
    except MsdtrackError as error:
        return _wrong(code, form, error)
    if "person" in given:
        who.signed(given["person"])
    flash(_DONE[kind].format(passes=state.passes), "ok")
    return redirect(_url(code), 303)


@pages.post("/boards/<code>/correct")
def correct(code: str) -> AnyResponse:
    """Correct or strike out an entry of the log; both stay on it."""
    form = Form(request.form)
    void = form.text("how") == "void"
    at, peak_c = form.moment("at"), form.number("peak_c", least=100, most=300)
    last = {"more": False, "last": True}.get(form.text("last"))
    fields = {"at": at, "peak_c": peak_c, "last": last}
    changes = {} if void else {name: value for name, value in fields.items() if value is not None}
    try:
        person = who.signer(form, "person")
        reason = form.text("reason", required=True)
        form.check()
        _record(
            code, Kind.CORRECT, str(uuid.uuid4()), event=form.text("event"), reason=reason,
            person=person, void=void, fields=changes,
        )  # fmt: skip
    except MsdtrackError as error:
        flash(f"The log was not corrected: {error.message}", "stop")
    else:
        who.signed(person)
        flash("The log is corrected; both entries stay on it.", "ok")
    return redirect(url_for("boards.show", code=code, _anchor="log"), 303)


@pages.post("/boards/<code>/label")
def label(code: str) -> Response:
    """Answer the sign that goes with the boards, as PDF."""
    return printed(boards.labels_pdf([code], site().now(), who.present_code()), PDF, f"{code}.pdf")


_DONE = {
    "reflow": "Reflow pass {passes} is on the log.",
    "close": "In the dry bag. Label the bag.",
    "open": "The bag is open: the clock runs.",
    "bake_start": "The bake has begun.",
    "bake_end": "Out of the oven. They are hot: let them cool.",
    "hold": "Held for quality.",
    "release": "Released.",
    "scrap": "Scrapped.",
}


def _given(form: Form, kind: str) -> dict[str, Any]:
    """Return what a kind of event needs beside its time."""
    if kind == "reflow":
        peak_c = form.number("peak_c", least=100, most=300)
        last = form.choice("last", ("more", "last")) == "last"
        return {"peak_c": peak_c, "last": last}
    if kind == "close":
        seal = ACTIONS[form.choice("seal", SEALS) or SEALS[0]]
        return {"desiccant": seal.desiccant, "new_hic": seal.hic, "seal": seal.seal}
    if kind == "open":
        return {"hic": ACTIONS[form.choice("hic", CARDS) or CARDS[0]].hic_spots()}
    if kind == "bake_start":
        place, temp_c = form.text("oven", required=True), form.number("temp_c", required=True)
        return {"place": place, "temp_c": temp_c}
    if kind == "bake_end":
        return {"place": form.text("place", required=True)}
    reason = form.text("reason", required=kind != "scrap") or None
    return {"reason": reason, "person": who.signer(form, "person")}


def _move(code: str, place: Place, request_id: str) -> None:
    state = boards.batch_state(code, site().now())
    if state.place == place.code and state.status != "baking":
        flash(f"The boards are at {place.name} already.", "do")
        return
    kind = Kind.BAKE_END if state.status == "baking" and state.finished_at is None else Kind.MOVE
    _record(code, kind, request_id, place=place.code)
    flash(f"The boards are at {place.name} now.", "ok")


def _record(code: str, kind: str, id_: str, **given: Any) -> BatchState:
    new = NewEvent(id_, "", kind, **{"person": who.present_code()} | given)
    return boards.record(code, new, site().now(), refuse_conflicts=True).state


def _url(code: str, **given: str | None) -> str:
    query: dict[str, Any] = {name: value for name, value in given.items() if value}
    return url_for("boards.show", code=code, **query)


_NAMES = {"place": "oven", "fields.at": "at"}


def _take_over(form: Form, error: MsdtrackError, names: Mapping[str, str] | None = None) -> None:
    if not form.errors:
        form.take_over(error, names)
        form.fault("", error.message)


def _wrong(code: str, form: Form, error: MsdtrackError) -> Response:
    _take_over(form, error, _NAMES if "oven" in form.values else None)
    response = render_page("board.html", batch_page(code, form.values, form.errors))
    response.status_code = status_of(error)
    return response
