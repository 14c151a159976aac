"""Sample checks: the list, the plan, the inspector's desk, the values and the proof."""

from __future__ import annotations

import uuid
from collections.abc import Mapping

from flask import Blueprint, Response, current_app, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.digits import whole_number
from msdtrack.errors import BadInput, FieldError, MsdtrackError
from msdtrack.phrases import counted
from msdtrack.printing.codes import BadCode, CodeKind, read_code
from msdtrack.services import (
    measurements,
    receiving,
    sample_checks,
    sample_decisions,
    sample_scans,
)
from msdtrack.services.sample_checks import NewCheck
from msdtrack.services.sample_decisions import Saved
from msdtrack.services.sample_scans import CheckScan
from msdtrack.services.value_tables import PieceValues, read_number, read_values
from msdtrack.standard import sampling
from msdtrack.store.sample_checks import CheckRecord
from msdtrack.web import who
from msdtrack.web.check_pages import (
    STAGES,
    ChecksPage,
    MeasurePage,
    PlanPage,
    channel_words,
    check_page,
    live_check,
    part_numbers,
    proof_page,
)
from msdtrack.web.desk import MOST_TOLD, Said, named, say, typed
from msdtrack.web.errors import status_of
from msdtrack.web.forms import Form
from msdtrack.web.names import all_people, person_names
from msdtrack.web.pages import limits
from msdtrack.web.polling import polled
from msdtrack.web.rendering import render_fragment, render_page
from msdtrack.web.site import site

PAGE_LENGTH = 50

pages = Blueprint("checks", __name__)
pages.register_blueprint(limits.pages)
pages.add_app_template_filter(channel_words, "channel_words")


# -- the list and the plan ----------------------------------------------------------------------


@pages.get("/checks")
def list_all() -> Response:
    """Answer the checks; `search` finds the lot of a new one."""
    search, older = request.args.get("search", "").strip(), request.args.get("before", "")
    before = whole_number(older, 15)
    found = sample_checks.newest(PAGE_LENGTH + 1, before)
    shown = found[:PAGE_LENGTH]
    return render_page(
        "checks.html",
        ChecksPage(
            checks=tuple((one, STAGES[one.stage]) for one in shown),
            names=person_names(),
            search=search,
            lots=tuple(sample_checks.find_lots(search, site().now())),
            older=shown[-1].record.number if len(found) > PAGE_LENGTH else None,
            parts=part_numbers(),
        ),
    )


@pages.post("/checks/scan")
def find() -> AnyResponse:
    """Take a scan on the list: a carrier leads to the plan of its lot, pieces to their check."""
    text = Form(request.form).text("scan")
    try:
        code = read_code(text)
    except BadCode:
        return redirect(url_for("checks.list_all", search=text), 303)
    try:
        if code.kind is CodeKind.PERSON:
            who.remember(who.from_badge(code.text))
            return redirect(url_for("checks.list_all"), 303)
        if code.kind is not CodeKind.CARRIER:
            raise BadInput(f"That is the code of a {code.kind.word}: scan a carrier of the lot.")
        facts = receiving.carrier_facts(code.text)
    except MsdtrackError as error:
        flash(error.message, "stop")
        return redirect(url_for("checks.list_all"), 303)
    number = sample_checks.check_of_pieces(code.text)
    if number is not None:
        return redirect(url_for("checks.show", number=number), 303)
    return redirect(url_for("checks.plan", part=facts.part.number, lot=facts.lot), 303)


@pages.get("/checks/plan")
def plan() -> Response:
    """Answer the plan of a check of a lot; AQL, level and size in the address change it."""
    values = {"person": who.present_code() or "", "request_id": str(uuid.uuid4())}
    names = ("lot_size", "level", "aql_pct", "variant")
    values |= {name: request.args[name] for name in names if request.args.get(name)}
    return _plan_page(request.args.get("part", ""), request.args.get("lot", ""), values, {})


@pages.post("/checks/plan")
def create() -> AnyResponse:
    """Put a planned check on file."""
    form = Form(request.form)
    part, lot = form.text("part", required=True), form.text("lot", required=True)
    new = NewCheck(
        part=part,
        lot=lot,
        variant=form.text("variant", required=True),
        lot_size=form.whole("lot_size", required=True, least=1) or 0,
        level=form.choice("level", sampling.LEVELS) or "",
        aql_pct=form.choice("aql_pct", sampling.AQLS_PCT) or "",
        sample_size=form.whole("sample_size", required=True, least=1) or 0,
        accept=form.whole("accept", required=True) or 0,
        bags=form.whole("bags", required=True, least=1) or 0,
        person=form.text("person", required=True),
        deviation=form.text("deviation"),
    )
    try:
        form.check()
        record, _ = sample_checks.create(new, site().now(), form.text("request_id") or None)
    except BadInput as error:
        form.take_over(error)
        return _plan_page(part, lot, form.values, form.errors)
    who.signed(new.person)
    flash(f"Check {record.number} is planned. Scan the first bag.", "ok")
    return redirect(url_for("checks.show", number=record.number), 303)


def _plan_page(
    part: str, lot: str, values: Mapping[str, str], errors: Mapping[str, str]
) -> Response:
    now = site().now()
    found = sample_checks.lot(part, lot, now)
    variants = tuple(measurements.variants(part))
    shown = {
        "lot_size": str(found.pieces),
        "level": sampling.USUAL_LEVEL,
        "aql_pct": sample_checks.usual_aql_pct(now),
        "variant": variants[0].variant if variants else "",
    } | dict(values)
    suggested, bags = None, 1
    try:
        suggested = sampling.sampling_plan(int(shown["lot_size"]), shown["aql_pct"], shown["level"])
        bags = sample_checks.suggested_bags(suggested, found.bags)
        proposed = {
            "sample_size": suggested.sample_size,
            "accept": suggested.accept,
            "bags": bags,
        }
        shown = {name: str(value) for name, value in proposed.items()} | shown
    except (BadInput, ValueError) as error:
        told = error.message if isinstance(error, BadInput) else "Give whole pieces."
        errors = {"lot_size": told} | dict(errors)
    page = PlanPage(found, variants, suggested, bags, tuple(all_people()), shown, errors)
    response = render_page("check_plan.html", page)
    response.status_code = 422 if errors else 200
    return response


# -- the inspector's desk -----------------------------------------------------------------------


@pages.get("/checks/<int:number>")
def show(number: int) -> Response:
    """Answer a check at work; `taken` names pieces whose label is to be printed."""
    return check_page(number, print_child=request.args.get("taken", ""))


@pages.get("/checks/<int:number>/data")
def data(number: int) -> Response:
    """Answer what of a check changes, or 304."""
    return polled(
        current_app.extensions["fragments"],
        f"check {number}",
        lambda: render_fragment("check_data.html", live_check(number)),
    )


@pages.post("/checks/<int:number>/scan")
def scan(number: int) -> AnyResponse:
    """Do what a scan, a number or a tap asks for in a check."""
    code, at = typed(request.form.getlist("code")), request.form.get("scanned_at", "")
    scanned_at = whole_number(at, 12)
    person = who.present(scanned_at)
    child = None
    if code:
        try:
            answer = sample_scans.scan(
                CheckScan(
                    id=request.form.get("request_id") or str(uuid.uuid4()),
                    check=number,
                    code=code,
                    at=scanned_at,
                ),
                site().now(),
                None if person is None else person.code,
                site().tz,
            )
            if answer.person is not None:
                who.signed(answer.person, scanned_at)
            child = answer.child
            said = Said(answer.tone, answer.title, answer.message, answer.next_step)
        except MsdtrackError as error:
            if status_of(error) >= 500 or status_of(error) == 404:
                raise
            said = Said("refuse", "Not recorded", error.message, "Scan it again.")
        say(f"check {number}", said)
    return redirect(url_for("checks.show", number=number, taken=child), 303)


@pages.post("/checks/<int:number>/release")
def release(number: int) -> AnyResponse:
    """Release the whole lot, or one carrier of it."""
    form = Form(request.form)
    which = form.text("which").upper()
    person, reason = form.text("person", required=True), form.text("reason", required=True)
    try:
        form.check()
        released, left = sample_decisions.release(
            number,
            [which] if which else None,
            person,
            reason,
            site().now(),
            form.text("request_id") or None,
        )
    except MsdtrackError as error:
        form.take_over(error)
        return check_page(number, form.values, form.errors)
    who.signed(person)
    flash(f"Released: {named(released) or 'none'}.", "ok")
    for code, why in list(left.items())[:MOST_TOLD]:
        flash(
            f"{code} stays on hold: {why}. Decide about it on its page or at a scan station.",
            "soon",
        )
    beyond = len(left) - MOST_TOLD
    if beyond > 0:
        stay = "stays" if beyond == 1 else "stay"
        flash(f"{beyond} more {stay} on hold, each for a reason of its own.", "soon")
    return redirect(url_for("checks.show", number=number), 303)


# -- values -------------------------------------------------------------------------------------


@pages.get("/checks/<int:number>/measure")
def measure(number: int) -> Response:
    """Answer where values are pasted or typed."""
    values = {"person": who.present_code() or "", "request_id": str(uuid.uuid4())}
    return _measure_page(number, values, {}, typed_piece=request.args.get("how") == "typed")


@pages.post("/checks/<int:number>/measure/<any(table, piece):how>")
def save(number: int, how: str) -> AnyResponse:
    """Save a pasted table, or one piece that was typed."""
    form = Form(request.form)
    person = form.text("person", required=True)
    progress = sample_checks.progress(number)
    record = progress.record
    known = [piece.piece for piece in progress.verdict.pieces]
    findings: tuple[FieldError, ...] = ()
    try:
        if how == "table":
            try:
                pieces = read_values(request.form.get("table", ""), record.channels, known)
            except BadInput as error:
                findings = tuple(error.errors)
                raise
        else:
            pieces = [_typed_piece(form, record)]
        form.check()
        saved = sample_decisions.save_values(
            number,
            pieces,
            person,
            site().now(),
            form.text("reason"),
            form.text("request_id") or None,
        )
    except BadInput as error:
        if findings:
            form.fault("table", error.message)
        else:
            form.take_over(error, {"values": "table" if how == "table" else "piece"})
        return _measure_page(number, form.values, form.errors, findings, typed_piece=how == "piece")
    who.signed(person)
    _tell(record, pieces, saved)
    if saved.verdict.decision is None and how == "piece":
        return redirect(url_for("checks.measure", number=number, how="typed"), 303)
    return redirect(url_for("checks.proof", number=number), 303)


@pages.get("/checks/<int:number>/proof")
def proof(number: int) -> Response:
    """Answer what was found, to look at and to print."""
    return render_page("check_proof.html", proof_page(number))


def _typed_piece(form: Form, record: CheckRecord) -> PieceValues:
    found = []
    for n, _channel in enumerate(record.channels):
        value, fault = read_number(form.text(f"value_{n}"))
        if value is None:
            form.fault(f"value_{n}", f"It {fault}." if fault.startswith("is") else f"{fault}.")
        else:
            found.append(value)
    return PieceValues(form.text("piece", required=True), tuple(found))


def _tell(record: CheckRecord, pieces: list[PieceValues], saved: Saved) -> None:
    verdict, size = saved.verdict, counted(record.sample_size, "piece")
    measured = f"{verdict.measured} of {size} {'is' if verdict.measured == 1 else 'are'} measured"
    fail = f"{verdict.failing} {'fails' if verdict.failing == 1 else 'fail'}"
    flash(f"{len(pieces)} saved; {measured}, {fail}.", "ok")
    if saved.decision == "rejected":
        count = len(saved.carriers)
        held = "its only carrier is" if count == 1 else f"all its {count} carriers are"
        flash(f"Lot {record.lot} is rejected: {held} on hold now.", "stop")
    elif saved.decision == "accepted":
        flash(f"Lot {record.lot} is accepted.", "ok")


def _measure_page(
    number: int,
    values: Mapping[str, str],
    errors: Mapping[str, str],
    findings: tuple[FieldError, ...] = (),
    typed_piece: bool = False,
) -> Response:
    progress = sample_checks.progress(number)
    known = {piece.piece for piece in progress.verdict.pieces}
    next_piece = next(str(n) for n in range(1, 100_000) if str(n) not in known)
    page = MeasurePage(
        progress=progress,
        mark=STAGES[progress.stage],
        next_piece=next_piece,
        left=progress.record.sample_size - progress.verdict.measured,
        people=tuple(all_people()),
        values={"piece": next_piece} | dict(values),
        errors=errors,
        findings=findings,
        typed=typed_piece,
    )
    response = render_page("check_measure.html", page)
    response.status_code = 422 if errors else 200
    return response
