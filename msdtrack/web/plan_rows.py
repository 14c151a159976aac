"""The plan of a run in rows and words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from msdtrack.exposure.run import MINUTE_S, PlannedBake
from msdtrack.services.run_carriers import OPENED_FOR_ANOTHER
from msdtrack.services.run_choice import Barred, PartPlan, Step
from msdtrack.services.run_plan import OvenLoad, RunPlan
from msdtrack.times import day_text
from msdtrack.web.marks import Mark
from msdtrack.web.rendering import near
from msdtrack.web.wording import reason_text

MOST_BARRED = 12
"""So many carriers that must not be used are named for a part; the others are counted."""

MOST_TAKEN = 200
"""So many are named that are taken of a part, or baked together: a page with thousands would take
long to come and longer to read. The API names all."""

_REASONS = {
    "shelf_life_over": "The shelf life of its sealed bag will be over: open it, read its card and "
    "compute again.",
}


@dataclass(frozen=True, slots=True)
class StepRow:
    """A carrier that the run takes.

    Args:
        number: its place in the order.
        place: where it is.
        mark: what to do with it.
        why: why so.
        also: what else is in its bag, "" for nothing.
    """

    number: int
    code: str
    lot: str
    place: str
    pieces: int
    mark: Mark
    why: str
    also: str


@dataclass(frozen=True, slots=True)
class BarredRow:
    """A carrier that the run must not use, and why."""

    code: str
    lot: str
    place: str
    pieces: int
    why: str


@dataclass(frozen=True, slots=True)
class PartRow:
    """A part of the run.

    Args:
        number, msl, description: of the part.
        mark: how its need is met.
        needed, found, from_start: pieces.
        steps: carriers in the order to take them. more: how many follow that are not shown.
        reasons: why others must not be used, each with how many.
        barred: the first of those.
        beyond: how many of them are not named.
        unasked: how many of them nobody asked about a bake.
        spare: how many more carriers are on hand and not needed.
    """

    number: str
    msl: str
    description: str
    mark: Mark
    needed: int
    found: int
    from_start: int
    steps: tuple[StepRow, ...]
    more: int
    reasons: tuple[tuple[str, int], ...]
    barred: tuple[BarredRow, ...]
    beyond: int
    unasked: int
    spare: int


@dataclass(frozen=True, slots=True)
class LoadRow:
    """Carriers to put into one oven together.

    Args:
        oven_code, oven: the oven. bake: temperature and time. air: what its air must be, or "".
        start_by: the latest moment they must be in it, in words.
        carriers: code, part, lot, place and pieces of each. more: how many follow.
    """

    oven_code: str
    oven: str
    bake: str
    air: str
    start_by: str
    carriers: tuple[tuple[str, str, str, str, int], ...]
    more: int


def part_rows(plan: RunPlan, names: Mapping[str, str]) -> tuple[PartRow, ...]:
    """Return the parts of a plan as rows.

    Args:
        plan: the plan.
        names: place names by code.
    """
    return tuple(_Words(plan, names).part(one) for one in plan.parts)


def load_rows(plan: RunPlan, names: Mapping[str, str]) -> tuple[LoadRow, ...]:
    """Return what is baked before a run as rows; arguments as for `part_rows`."""
    words = _Words(plan, names)
    return tuple(words.load(one) for one in plan.loads)


class _Words:
    def __init__(self, plan: RunPlan, names: Mapping[str, str]) -> None:
        self.plan, self.names = plan, names

    def part(self, one: PartPlan) -> PartRow:
        reasons = Counter(self._why_not(each) for each in one.barred)
        rows = [
            BarredRow(
                each.own.code,
                each.own.lot,
                self._place(each.own.place),
                each.own.pieces,
                self._why_not(each),
            )
            for each in one.barred[:MOST_BARRED]
        ]
        return PartRow(
            number=one.part.number,
            msl=one.part.msl,
            description=one.part.description,
            mark=self._verdict(one),
            needed=one.needed,
            found=one.found,
            from_start=one.from_start,
            steps=tuple(
                self._step(number, step) for number, step in enumerate(one.steps[:MOST_TAKEN], 1)
            ),
            more=max(0, len(one.steps) - MOST_TAKEN),
            reasons=tuple(reasons.most_common()),
            barred=tuple(rows),
            beyond=len(one.barred) - len(rows),
            unasked=one.unasked,
            spare=one.spare,
        )

    def load(self, one: OvenLoad) -> LoadRow:
        dry = one.max_rh_pct
        return LoadRow(
            oven_code=one.oven.code,
            oven=one.oven.name,
            bake=f"{one.temp_c:g} °C, {float(one.hours):g} h",
            air="" if dry is None else f"its air at {dry:g} % RH or less",
            start_by=self._by(one.start_by),
            carriers=tuple(
                (each.code, each.part, each.lot, self._place(each.place), each.pieces)
                for each in one.carriers[:MOST_TAKEN]
            ),
            more=max(0, len(one.carriers) - MOST_TAKEN),
        )

    def _verdict(self, one: PartPlan) -> Mark:
        if one.verdict == "short":
            return Mark("stop", f"Short by {one.short}")
        if one.verdict == "covered_after_bake":
            return Mark("do", "Covered after a bake")
        if one.verdict == "covered_later":
            return Mark("soon", f"Covered from {self._not_before(one.covered_from)} only")
        return Mark("ok", "Covered")

    def _step(self, number: int, step: Step) -> StepRow:
        mark, why = self._what(step)
        others = ", ".join(step.opens_too)
        return StepRow(
            number=number,
            code=step.own.code,
            lot=step.own.lot,
            place=self._place(step.own.place),
            pieces=step.own.pieces,
            mark=mark,
            why=why,
            also=f"Its bag holds {others} too: opening it opens all." if others else "",
        )

    def _what(self, step: Step) -> tuple[Mark, str]:
        """Return what to do with its mark, and why."""
        lasts = "No limit."
        if step.lasts_until is not None:
            lasts = f"Lasts until {self._by(step.lasts_until)}."
        bake, done_at = step.bake, step.bake_done_at
        if bake is not None and bake.start_by is not None:
            why = " ".join(map(_reason, step.reasons))
            what = f"Bake it before: {_bake(bake)}, in the oven by {self._by(bake.start_by)}"
            return Mark("do", what), f"{why} {lasts}"
        if done_at is not None:
            what = f"Leave it in the oven until {self._not_before(done_at)}"
            return Mark("do", what), f"Its bake is done then if the oven stays hot. {lasts}"
        if step.from_at > self.plan.run.begins_at:
            verb, early = "Open" if step.act == "open" else "Take out", step.ends_early_at
            why = "Earlier it would not last."
            if early is not None:
                why = f"From the beginning it would last until {self._by(early)} only."
            return Mark("soon", f"{verb} not before {self._not_before(step.from_at)}"), why
        if step.act == "open":
            ends = step.own.shelf_life_ends
            if step.own.begun or ends is None:
                return Mark("bag", "Open it first: its floor life has begun"), lasts
            why = f"Shelf life ends {day_text(ends)}. {lasts}"
            return Mark("bag", "Open its bag at the line, read the card"), why
        if step.act == "take_out":
            return Mark("do", "Take it out of the oven"), f"Its bake is done. {lasts}"
        if step.own.bag is not None:
            return Mark("bag", "Use it: its bag is open by then for another carrier"), lasts
        begun = step.own.begun and step.lasts_until is not None
        what = "Use it first: its floor life has begun" if begun else "Use it: it is out already"
        return Mark("ok", what), lasts

    def _why_not(self, one: Barred) -> str:
        if one.bake is None and one.ready_at is not None:
            return f"Its bake runs until {self._by(one.ready_at)}, too late."
        why = " ".join(map(_reason, one.reasons))
        if one.ends_early_at is not None and "floor_life_ends_before_the_run" in one.reasons:
            opened = f" {OPENED_FOR_ANOTHER}" if OPENED_FOR_ANOTHER in one.reasons else ""
            end = self._by(one.ends_early_at)
            why = f"Its floor life would end {end}, before the last reflow.{opened}"
        if one.bake is not None and one.ready_at is not None:
            ready = (
                f"{_bake(one.bake)} begun now: ready {self._not_before(one.ready_at)}, too late."
            )
            return f"{why} {ready}"
        return why

    def _place(self, code: str | None) -> str:
        return "place not known" if code is None else self.names.get(code, code)

    def _by(self, moment: int) -> str:
        """Return a moment by which something ends or must be done, to the minute before."""
        return near(moment, self.plan.at)

    def _not_before(self, moment: int) -> str:
        """Return a moment that something must wait for, to the minute after."""
        return near(-(-moment // MINUTE_S) * MINUTE_S, self.plan.at)


def _reason(reason: str) -> str:
    """Return the sentence behind a reason, which may be one already."""
    return reason if " " in reason else _REASONS.get(reason) or reason_text(reason)


def _bake(bake: PlannedBake) -> str:
    return f"{float(bake.option.hours):g} h at {bake.option.temp_c:g} °C"
