"""Ovens: loads put together by scanning, started, followed and ended; bakes before dry packing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from flask import Blueprint, Response, current_app, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from msdtrack.errors import MsdtrackError
from msdtrack.exposure.bake_advice import CAUTIONS, carrier_limit_c
from msdtrack.exposure.load_plan import LoadPlan
from msdtrack.exposure.state import CarrierState
from msdtrack.services import carrier_states, catalog, dry_packing, labelling, oven_loads
from msdtrack.services.dry_packing import SupplierBake
from msdtrack.services.labelling import LabelLayout
from msdtrack.services.oven_loads import Draft, OvenNow
from msdtrack.web import who
from msdtrack.web.desk import Said, refusal, said, say, typed
from msdtrack.web.errors import status_of
from msdtrack.web.label_choice import PDF, carrier_layouts, printed
from msdtrack.web.marks import Mark
from msdtrack.web.oven_desk import DONE, OvenDesk
from msdtrack.web.oven_rows import BakeRow, Choice, bake_row, choices
from msdtrack.web.polling import polled
from msdtrack.web.rendering import percent, render_fragment, render_page
from msdtrack.web.site import site

pages = Blueprint("ovens", __name__)

MORE_CAUTIONS = (
    "Some components may not be baked at all, and some only below a temperature of their own: "
    "batteries, electrolytic capacitors, displays, connectors. Their maker decides.",
)


@dataclass(frozen=True, slots=True)
class OvenRow:
    """An oven on the list."""

    now: OvenNow
    mark: Mark
    rows: tuple[BakeRow, ...]


@dataclass(frozen=True, slots=True)
class OvenList:
    """The ovens, and the bake before dry packing.

    Args:
        ovens: each with what is in it.
        parts: numbers to choose from.
        part: the one that was asked about, "" for none.
        supplier: its bake before dry packing, None if none was asked for.
        finding: why there is none.
        cautions: what can hurt or ruin goods.
    """

    ovens: tuple[OvenRow, ...]
    parts: tuple[str, ...]
    part: str
    supplier: SupplierBake | None
    finding: str
    cautions: tuple[str, ...] = (*CAUTIONS, *MORE_CAUTIONS)


@dataclass(frozen=True, slots=True)
class DraftRow:
    """A carrier of the load that is being put together.

    Args:
        stands: how hot the carrier and its components may get, in words.
        used: used share in words.
        need: what it needs, in words.
        problem: why it can't go in as it is, "" for nothing.
        first: what to do about that.
        note: what to think about, "" for nothing.
    """

    code: str
    part: str
    msl: str
    kind: str
    stands: str
    used: str
    need: str
    problem: str
    first: str
    note: str


@dataclass(frozen=True, slots=True)
class OutRow:
    """A carrier that was scanned to be taken out. `early`: its bake is not complete."""

    row: BakeRow
    early: bool


@dataclass(frozen=True, slots=True)
class OvenPage:
    """One oven.

    Args:
        data_url: where its script asks for the live part.
        now: the oven with what is in it.
        mark: what that means.
        rows: what bakes in it, by load.
        said: the answer to the last scan, None for none.
        load_id: makes the next start or ending happen once.
        put_in: codes of the load that is being put together.
        out: codes scanned to be taken out.
        draft: that load, in rows.
        plan: how it can be baked, in words: one bake, or why none.
        out_rows: what is to be taken out.
        choices: what can be chosen now.
        ended: carriers whose bake was just ended, for their labels.
        layouts: label layouts for carriers.
        cautions: what can hurt or ruin goods.
    """

    data_url: str
    now: OvenNow
    mark: Mark
    rows: tuple[tuple[BakeRow, ...], ...]
    said: Said | None = None
    load_id: str = ""
    put_in: tuple[str, ...] = ()
    out: tuple[str, ...] = ()
    draft: tuple[DraftRow, ...] = ()
    plan: LoadPlan | None = None
    out_rows: tuple[OutRow, ...] = ()
    choices: tuple[Choice, ...] = ()
    ended: tuple[CarrierState, ...] = ()
    layouts: tuple[LabelLayout, ...] = ()
    cautions: tuple[str, ...] = field(default=(*CAUTIONS, *MORE_CAUTIONS))


@pages.get("/ovens")
def list_all() -> Response:
    """Answer the ovens; with `part`, how that part is baked before dry packing."""
    number, supplier, finding = request.args.get("part", "").strip(), None, ""
    if number:
        try:
            supplier = dry_packing.supplier_bake(number)
        except MsdtrackError as error:
            finding = error.message
    found = [
        OvenRow(one, _mark(one), tuple(bake_row(each) for each in one.baking))
        for one in oven_loads.ovens(site().now())
    ]
    parts = tuple(part.number for part in catalog.parts(limit=10_000))
    page = OvenList(tuple(found), parts, number, supplier, finding)
    return render_page("ovens.html", page)


@pages.get("/ovens/<code>")
def show(code: str) -> Response:
    """Answer one oven with the load that is being put together in the query."""
    desk = OvenDesk(code, request.args.getlist("carrier"), request.args.getlist("out"))
    return render_page("oven.html", _page(desk, request.args.getlist("ended")))


@pages.get("/ovens/<code>/data")
def data(code: str) -> Response:
    """Answer what of an oven changes, or 304."""
    return polled(
        current_app.extensions["fragments"],
        f"oven {code}",
        lambda: render_fragment("oven_data.html", _live(oven_loads.oven_now(code, site().now()))),
    )


@pages.post("/ovens/<code>/scan")
def scan(code: str) -> AnyResponse:
    """Do what a scan, a number or a tap asks for at an oven."""
    sent = request.form
    desk = OvenDesk(code, sent.getlist("carrier"), sent.getlist("out"), sent.get("load", ""))
    try:
        desk.answer(typed(sent.getlist("code")))
    except MsdtrackError as error:
        if status_of(error) >= 500:
            raise
        say(desk.name, refusal(error))
    return redirect(desk.url(), 303)


@pages.post("/ovens/labels")
def labels() -> Response:
    """Answer the labels of carriers after their bake."""
    codes, layout = request.form.getlist("carrier"), request.form.get("layout", "")
    pdf = labelling.labels_pdf(codes, layout, site().now(), who.present_code())
    return printed(pdf, PDF, "after-bake.pdf")


def _page(desk: OvenDesk, ended: Sequence[str]) -> OvenPage:
    draft = desk.draft()
    live = _live(desk.oven)
    after = carrier_states.states(ended, desk.now) if ended else {}
    return OvenPage(
        data_url=live.data_url,
        now=live.now,
        mark=live.mark,
        rows=live.rows,
        said=said(desk.name),
        load_id=desk.load_id,
        put_in=tuple(desk.put_in),
        out=tuple(desk.out),
        draft=() if draft is None else _draft_rows(draft),
        plan=None if draft is None else draft.plan,
        out_rows=tuple(_out_row(desk.oven, one) for one in desk.out),
        choices=choices(draft, desk.oven, desk.out),
        ended=tuple(after[one] for one in ended if one in after),
        layouts=carrier_layouts(),
    )


def _live(now: OvenNow) -> OvenPage:
    rows = tuple(tuple(bake_row(one) for one in load.carriers) for load in now.loads)
    return OvenPage(url_for("ovens.data", code=now.place.code), now, _mark(now), rows)


def _mark(now: OvenNow) -> Mark:
    standings = {one.standing for one in now.baking}
    if "overdue" in standings:
        return Mark("stop", "Bake overdue: take it out")
    if "done" in standings:
        return Mark("ok", "Bake complete: take it out")
    if "not_counting" in standings or "no_figure" in standings:
        return Mark("soon", "Baking, time not counting")
    if standings:
        return Mark("do", "Baking")
    if now.idle:
        return Mark("soon", "Something is in it without a bake")
    return Mark("bag", "Empty")


def _draft_rows(draft: Draft) -> tuple[DraftRow, ...]:
    stuck = {one.code: (one.why, one.first) for one in draft.blocked}
    refused = dict(draft.plan.refused)
    rows = []
    for state in draft.states:
        code, part = state.facts.code, state.facts.part
        why, first = stuck.get(code, (refused.get(code, ""), ""))
        limits = [f"{state.facts.kind} {carrier_limit_c(state.facts.part, state.facts.kind):g} °C"]
        if part.max_bake_c is not None:
            limits.append(f"component {part.max_bake_c:g} °C")
        chosen = state.bake.chosen
        need = "" if chosen is None else f"{float(chosen.hours):g} h at {chosen.temp_c:g} °C"
        if part.maker_bake is not None and need:
            need += ", its maker's own"
        costs = "It needs no bake, and each one costs solderability."
        rows.append(
            DraftRow(
                code=code,
                part=part.number,
                msl=part.msl,
                kind=state.facts.kind,
                stands=", ".join(limits),
                used=percent(state.used_share),
                need=need,
                problem=why,
                first=first,
                note=costs if code in draft.needless and not why else "",
            )
        )
    return tuple(rows)


def _out_row(oven: OvenNow, code: str) -> OutRow:
    one = next(each for each in oven.baking if each.state.facts.code == code)
    return OutRow(bake_row(one), one.standing not in DONE)
