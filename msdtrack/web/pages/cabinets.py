"""Dry cabinets: their air against both limits, what lies in them, and what a fault does to it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from flask import Blueprint, Response, current_app, url_for

from msdtrack.services import cabinets, climate
from msdtrack.services.cabinets import CabinetInBrief, CabinetNow, Excursion, InCabinet, Limit
from msdtrack.standard import recovery
from msdtrack.standard.drypack import CABINET_RECOVERS_WITHIN_MIN
from msdtrack.times import duration_text
from msdtrack.web.charts import Chart, air_chart
from msdtrack.web.marks import Mark, air_mark, mark_of
from msdtrack.web.polling import polled
from msdtrack.web.rendering import near, percent, render_fragment, render_page
from msdtrack.web.site import site

STEP_S = 15 * 60
GAP_S = 30 * 60 + STEP_S

pages = Blueprint("cabinets", __name__)

MOST_ON_LIST = 5
MOST_ROWS = 200
"""A list of thousands would not be read."""

MIND = (
    "A cabinet flooded with nitrogen displaces the air you breathe: keep the room ventilated and "
    "follow its maker's instructions.",
    "Very dry air charges up: ground yourself, the shelves and what you put in (ESD).",
    "Cardboard, foam and paper bring moisture in: leave them outside.",
)


@dataclass(frozen=True, slots=True)
class InsideRow:
    """A carrier in a cabinet.

    Args:
        now: what the cabinet does for it.
        clock: what its clock does, in plain words.
        resets_at: when its floor life is whole again, None if that is not under way.
        fault: what a fault of the cabinet has cost it, or would.
        left: floor life left once it is out.
    """

    code: str
    part: str
    lot: str
    msl: str
    mark: Mark
    now: Mark
    used: str
    clock: str
    resets_at: int | None
    fault: str
    left: str
    next_step: str


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit of dry storage and whether the cabinet keeps it."""

    pct: int
    levels: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class CabinetPage:
    """One dry cabinet.

    Args:
        data_url: where its script asks for the live part.
        now: the cabinet.
        mark: what its newest reading means.
        limits: both limits.
        rows: what is in it, what must be moved first at the top, as much as a page can hold.
        harmed: as many of those that the present air harms.
        excursions: above either limit in the last days, newest first.
        chart: humidity of the last days, None without a reading.
        saved_until: back within its limits by then, the excursion that is on will not have
            counted; None where it is too late, or there is none.
        mind: what can hurt or ruin goods.
    """

    data_url: str
    now: CabinetNow
    mark: Mark
    limits: tuple[LimitRow, ...]
    rows: tuple[InsideRow, ...]
    harmed: tuple[InsideRow, ...]
    excursions: tuple[tuple[Excursion, Mark], ...]
    chart: Chart | None = None
    saved_until: int | None = None
    mind: tuple[str, ...] = MIND
    recovers_min: int = CABINET_RECOVERS_WITHIN_MIN


@dataclass(frozen=True, slots=True)
class CabinetRow:
    """A dry cabinet on the list. `harmed` is what to move first, as much as the list can hold."""

    now: CabinetInBrief
    limits: tuple[LimitRow, ...]
    harmed: tuple[InsideRow, ...]


@dataclass(frozen=True, slots=True)
class CabinetList:
    """The dry cabinets."""

    cabinets: tuple[CabinetRow, ...]
    mind: tuple[str, ...] = MIND


@pages.get("/cabinets")
def list_all() -> Response:
    """Answer the dry cabinets."""
    rows = [
        CabinetRow(one, _limits(one.limits), tuple(map(_row, one.faulty_for[:MOST_ON_LIST])))
        for one in cabinets.cabinets(site().now())
    ]
    return render_page("cabinets.html", CabinetList(tuple(rows)))


@pages.get("/cabinets/<code>")
def show(code: str) -> Response:
    """Answer one dry cabinet."""
    now = site().now()
    found = cabinets.cabinet_now(code, now)
    return render_page("cabinet.html", _page(found, _chart(code, now)))


@pages.get("/cabinets/<code>/data")
def data(code: str) -> Response:
    """Answer what of a cabinet changes, or 304."""

    def made() -> str:
        return render_fragment("cabinet_data.html", _page(cabinets.cabinet_now(code, site().now())))

    return polled(current_app.extensions["fragments"], f"cabinet {code}", made)


def _page(found: CabinetNow, chart: Chart | None = None) -> CabinetPage:
    return CabinetPage(
        data_url=url_for("cabinets.data", code=found.place.code),
        now=found,
        mark=air_mark("cabinet", found.air),
        limits=_limits(found.limits),
        rows=tuple(map(_row, found.carriers[:MOST_ROWS])),
        harmed=tuple(map(_row, found.faulty_for[:MOST_ROWS])),
        excursions=tuple((one, excursion_mark(one)) for one in found.excursions),
        chart=chart,
        saved_until=_saved_until(found),
    )


def _limits(limits: Iterable[Limit]) -> tuple[LimitRow, ...]:
    return tuple(
        LimitRow(limit.pct, ", ".join(limit.levels), _limit_mark(limit.spell, limit.out_since))
        for limit in limits
    )


def _saved_until(found: CabinetNow) -> int | None:
    since = [limit.out_since for limit in found.limits if limit.out_since is not None]
    until = min(since, default=0) + CABINET_RECOVERS_WITHIN_MIN * 60
    return until if since and until > site().now() else None


def _chart(code: str, now: int) -> Chart | None:
    start = now - cabinets.LOOK_BACK_S
    history = climate.history(code, start, now, STEP_S)
    rhs = [(at, rh_pct) for at, _, rh_pct in history if rh_pct is not None]
    narrow = recovery.storage_limit_rh_pct("5")
    limit = (float(narrow), f"{narrow} %: levels 4 to 5a")
    return air_chart(rhs, start, now, "% RH", limit, GAP_S, site().tz)


def _limit_mark(spell: str, out_since: int | None) -> Mark:
    if spell == "dry":
        return Mark("ok", "kept")
    now = site().now()
    if out_since is None or out_since < 0:
        return Mark("soon", "not known: no reading yet")
    lasting = duration_text(now - out_since)
    if now - out_since <= CABINET_RECOVERS_WITHIN_MIN * 60:
        return Mark("soon", f"above it for {lasting}")
    return Mark("stop", f"above it for {lasting}")


def excursion_mark(one: Excursion) -> Mark:
    """Return the mark of an excursion."""
    if not one.over:
        late = one.end - one.start > CABINET_RECOVERS_WITHIN_MIN * 60
        return Mark("stop" if late else "soon", "going on")
    if one.breaks:
        return Mark("stop", "over 60 min: it was exposure")
    return Mark("ok", "back within 60 min")


def _row(one: InCabinet) -> InsideRow:
    state = one.state
    facts = state.facts
    return InsideRow(
        code=facts.code,
        part=facts.part.number,
        lot=facts.lot,
        msl=facts.part.msl,
        mark=mark_of(state),
        now=_now_mark(one),
        used=percent(state.used_share),
        clock=_clock(one),
        resets_at=state.reset_due_at,
        fault=_fault(one),
        left="no limit" if one.left_h is None else duration_text(int(one.left_h * 3600)),
        next_step=state.next_step.text.replace("{at}", _at(state.reset_due_at, state.at)),
    )


def _now_mark(one: InCabinet) -> Mark:
    if one.inside == "closed_bag":
        return Mark("bag", "In a closed dry bag of its own")
    if one.inside == "no_clock":
        return Mark("bag", "Level 1: no clock")
    if one.inside == "dry":
        return Mark("ok", f"Dry storage: {one.limit_pct} % RH is kept")
    level = one.state.facts.part.msl
    if one.inside == "brief":
        return Mark("soon", f"Above {one.limit_pct} % RH just now")
    return Mark("stop", f"Not dry enough for level {level}: it needs {one.limit_pct} % RH or less")


def _clock(one: InCabinet) -> str:
    """Return what the clock of a carrier does, in plain words."""
    state, level = one.state, one.state.facts.part.msl
    if one.inside == "no_clock":
        return "It has none."
    if one.inside == "too_humid":
        return "Running: it counts as exposed here."
    if not state.ledger.exposure_s and not state.used_share:
        return "Not begun."
    if not one.clock_runs:
        return "Stands still in dry storage."
    if state.ledger.provisional:
        hours = percent(state.ledger.provisional)
        return (
            f"In dry storage, clock running: {hours} so far, struck when its floor life is whole "
            "again."
        )
    if state.reset_due_at is None:
        return (
            f"In dry storage, clock running: moisture inside level {level} goes on moving, and it "
            "was out too long to be dried here."
        )
    return f"In dry storage, clock running until the reset: level {level}."


def _fault(one: InCabinet) -> str:
    """Return what a fault of the cabinet has cost a carrier, or would cost it now."""
    if one.inside in ("closed_bag", "no_clock"):
        return "Nothing while its bag stays closed." if one.inside == "closed_bag" else "Nothing."
    loss = one.loss
    if loss is not None:
        lasting = duration_text(one.state.at - max(loss.since, 0))
        parts = [f"Exposed for {lasting}: {percent(loss.share)} of its floor life used."]
        if loss.reset_lost:
            parts.append("The drying that was under way is lost.")
        if loss.provisional:
            parts.append(f"{percent(loss.provisional)} of storage hours became final.")
        return " ".join(parts)
    parts = []
    if one.state.reset_due_at is not None:
        done = duration_text(one.done_s)
        parts.append(f"It would lose {done} of drying.")
    if one.state.ledger.provisional:
        parts.append(f"{percent(one.state.ledger.provisional)} would become final.")
    if one.state.bake.needed:
        return "Nothing more: it is baked anyway."
    parts.append("Its clock would run.")
    return " ".join(parts)


def _at(moment: int | None, now: int) -> str:
    return "" if moment is None else near(moment, now)
