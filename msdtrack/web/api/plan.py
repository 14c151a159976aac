"""The plan of a run: asked for, computed, and not stored."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import Field

from msdtrack.exposure.run import Act, PlannedBake
from msdtrack.exposure.spans import Missing
from msdtrack.services import run_plan
from msdtrack.services.run_choice import Barred, PartPlan, Step, Verdict
from msdtrack.services.run_plan import MOST_PARTS, OvenLoad, RunPlan
from msdtrack.times import utc_text
from msdtrack.web.api.calls import Calls
from msdtrack.web.api.fields import Code, Moment, Msl, PartNumber, Pieces, Strict
from msdtrack.web.api.shapes import Shape, Time

calls = Calls()


class Need(Strict):
    """What a run needs of a part."""

    part: PartNumber
    pieces: Pieces


class NewPlan(Strict):
    """A run of a line, and what it needs."""

    place: Annotated[Code, Field(description="place code of a line or a floor area")]
    begins_at: Annotated[Moment, Field(description="when its carriers are taken to the line")]
    ends_at: Annotated[Moment, Field(description="the last reflow, at most 92 days ahead")]
    needs: Annotated[
        list[Need],
        Field(min_length=1, max_length=MOST_PARTS, description="of a part named twice, the sum"),
    ]


class AssumedAir(Shape):
    """The worst that the line's air is taken to be during the run."""

    temp_c: float
    rh_pct: float
    missing: Annotated[
        Literal["no_reading_yet", "gap", "no_reading_since", "place_unknown"] | None,
        Field(description="why the last of it is assumed; null: measured"),
    ]


class Bake(Shape):
    """A bake that makes a carrier usable."""

    oven: Annotated[str, Field(description="place code")]
    temp_c: float
    hours: float
    max_rh_pct: float | None
    start_by: Annotated[
        Time | None,
        Field(description="latest moment in the hot oven; null: too late for this run"),
    ]
    done_at: Annotated[Time, Field(description="if it starts then, or now if it is too late")]


class RunCarrier(Shape):
    """A carrier that the run takes."""

    code: str
    lot: str
    place: str | None
    pieces: int
    bag: str | None
    opens_too: Annotated[list[str], Field(description="other carriers in its bag")]
    do: Act
    from_at: Annotated[Time, Field(description="not to be taken or opened before")]
    lasts_until: Annotated[Time | None, Field(description="in the line's forecast air")]
    shelf_life_ends: date | None
    bake: Bake | None
    bake_done_at: Annotated[Time | None, Field(description="of the bake that runs")]


class BarredCarrier(Shape):
    """A carrier that the run must not use."""

    code: str
    lot: str
    place: str | None
    pieces: int
    reasons: Annotated[list[str], Field(description="their names, or sentences")]
    ends_early_at: Time | None
    bake: Bake | None
    ready_at: Time | None


class RunPart(Shape):
    """What the run takes of a part."""

    part: str
    msl: Msl
    verdict: Verdict
    needed: int
    found: int
    short: int
    from_start: Annotated[int, Field(description="pieces usable, unbaked, when the run begins")]
    carriers: Annotated[list[RunCarrier], Field(description="in the order to take them")]
    barred: list[BarredCarrier]
    spare: Annotated[int, Field(description="carriers on hand and not needed")]
    unasked: Annotated[int, Field(description="barred ones not asked about a bake")]


class Load(Shape):
    """Carriers that need the same bake before the run."""

    oven: str
    temp_c: float
    hours: float
    max_rh_pct: float | None
    start_by: Time
    carriers: list[str]


class Plan(Shape):
    """The plan of a run, its parts by how critical they are."""

    at: Time
    place: str
    begins_at: Time
    ends_at: Time
    air: AssumedAir
    bags: Annotated[int, Field(description="how many are opened")]
    bakes: Annotated[int, Field(description="how many carriers are baked before")]
    short: Annotated[int, Field(description="how many parts are short")]
    parts: list[RunPart]
    loads: list[Load]


@calls.add("POST", "/plan", Plan)
def plan_run(body: NewPlan, now: int) -> dict[str, Any]:
    """Return which carriers a run takes, what is opened and baked for it, and what is short.

    Nothing is stored or reserved. A bag counts if its humidity card is dry when it is opened, a
    bake if the oven keeps its temperature.
    """
    needs = [run_plan.Need(one.part, one.pieces) for one in body.needs]
    return _answer(run_plan.plan(body.place, body.begins_at, body.ends_at, needs, now))


def _answer(plan: RunPlan) -> dict[str, Any]:
    temp_c100, rh_c100 = plan.air
    missing: Missing | None = plan.missing
    return {
        "at": utc_text(plan.at),
        "place": plan.line.code,
        "begins_at": utc_text(plan.run.begins_at),
        "ends_at": utc_text(plan.run.ends_at),
        "air": {"temp_c": temp_c100 / 100, "rh_pct": rh_c100 / 100, "missing": missing},
        "bags": plan.bags,
        "bakes": plan.bakes,
        "short": plan.short,
        "parts": [_part(one) for one in plan.parts],
        "loads": [_load(one) for one in plan.loads],
    }


def _part(one: PartPlan) -> dict[str, Any]:
    return {
        "part": one.part.number,
        "msl": one.part.msl,
        "verdict": one.verdict,
        "needed": one.needed,
        "found": one.found,
        "short": one.short,
        "from_start": one.from_start,
        "carriers": [_step(step) for step in one.steps],
        "barred": [_barred(each) for each in one.barred],
        "spare": one.spare,
        "unasked": one.unasked,
    }


def _step(step: Step) -> dict[str, Any]:
    own = step.own
    ends = own.shelf_life_ends
    return {
        "code": own.code,
        "lot": own.lot,
        "place": own.place,
        "pieces": own.pieces,
        "bag": own.bag,
        "opens_too": list(step.opens_too),
        "do": step.act,
        "from_at": utc_text(step.from_at),
        "lasts_until": _moment(step.lasts_until),
        "shelf_life_ends": None if ends is None else ends.isoformat(),
        "bake": _bake(step.bake),
        "bake_done_at": _moment(step.bake_done_at),
    }


def _barred(one: Barred) -> dict[str, Any]:
    return {
        "code": one.own.code,
        "lot": one.own.lot,
        "place": one.own.place,
        "pieces": one.own.pieces,
        "reasons": list(one.reasons),
        "ends_early_at": _moment(one.ends_early_at),
        "bake": _bake(one.bake),
        "ready_at": _moment(one.ready_at),
    }


def _bake(bake: PlannedBake | None) -> dict[str, Any] | None:
    if bake is None:
        return None
    return {
        "oven": bake.oven,
        "temp_c": bake.option.temp_c,
        "hours": float(bake.option.hours),
        "max_rh_pct": bake.option.max_rh_pct,
        "start_by": _moment(bake.start_by),
        "done_at": utc_text(bake.done_at),
    }


def _load(load: OvenLoad) -> dict[str, Any]:
    return {
        "oven": load.oven.code,
        "temp_c": load.temp_c,
        "hours": float(load.hours),
        "max_rh_pct": load.max_rh_pct,
        "start_by": utc_text(load.start_by),
        "carriers": [one.code for one in load.carriers],
    }


def _moment(at: int | None) -> str | None:
    return None if at is None else utc_text(at)
