"""The plan of a run: which carriers it takes, which bags it opens and what is baked before.

Nothing of it is stored: it is what is known at the moment it is asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from msdtrack.errors import BadInput, FieldError, NotFound
from msdtrack.exposure.bake_advice import OvenLimits
from msdtrack.exposure.facts import PartFacts
from msdtrack.exposure.places import Places
from msdtrack.exposure.run import Run
from msdtrack.exposure.spans import Air, Missing
from msdtrack.services import catalog, standings
from msdtrack.services.catalog import Place
from msdtrack.services.run_carriers import OnHand
from msdtrack.services.run_choice import VERDICTS, Choosing, PartPlan, Step
from msdtrack.services.run_stock import Stock
from msdtrack.standard.recovery import storage_limit_rh_pct
from msdtrack.store import run_stock
from msdtrack.store.catalog import parts_by_number
from msdtrack.store.connection import read

MOST_PARTS = 200
"""A run of more parts is planned in two."""

MOST_PIECES = 1_000_000_000

FARTHEST_S = 92 * 86_400
"""Who plans farther ahead plans without knowing what is on hand then."""

DRY_RH_PCT = storage_limit_rh_pct("5a")
"""Dry storage for every level."""

RUN_PLACES = ("line", "floor")
"""Kinds of place where parts are used up."""


@dataclass(frozen=True, slots=True)
class Need:
    """What a run needs of a part."""

    part: str
    pieces: int


@dataclass(frozen=True, slots=True)
class OvenLoad:
    """Carriers that need the same bake before the run.

    Args:
        hours: how long. max_rh_pct: driest air that the oven must have.
        start_by: the latest moment they must be in the hot oven.
    """

    oven: Place
    temp_c: float
    hours: Fraction
    max_rh_pct: float | None
    start_by: int
    carriers: tuple[OnHand, ...]


@dataclass(frozen=True, slots=True)
class RunPlan:
    """The plan of a run.

    Args:
        line: where.
        run: as it was asked for, begun now if that has passed.
        at: the moment it was made.
        air: the worst that the line's air may be from its beginning to its end, hundredths.
        missing: why the last of it is assumed.
        parts: the most critical first.
        loads: what is baked before, by temperature, the shortest first.
        damp: dry cabinets with carriers of its parts that nobody says will stay dry, and the air
            that they count with.
    """

    line: Place
    run: Run
    at: int
    air: Air
    missing: Missing | None
    parts: tuple[PartPlan, ...]
    loads: tuple[OvenLoad, ...]
    damp: tuple[tuple[Place, Air], ...] = ()

    @property
    def bags(self) -> int:
        """Return how many bags are opened."""
        steps = [step for part in self.parts for step in part.steps if step.act == "open"]
        return len({step.own.bag or step.own.code for step in steps})

    @property
    def bakes(self) -> int:
        """Return how many carriers are baked before."""
        return sum(len(load.carriers) for load in self.loads)

    @property
    def short(self) -> int:
        """Return how many parts are short."""
        return sum(part.verdict == "short" for part in self.parts)


def summed(needs: Iterable[Need]) -> dict[str, int]:
    """Return the pieces of each part, in the order they were named first."""
    found: dict[str, int] = {}
    for need in needs:
        found[need.part] = found.get(need.part, 0) + need.pieces
    return found


def most_on_hand(limit: int, now: int) -> list[Need]:
    """Return the parts of which most carriers are on hand, with half of their pieces on record."""
    standings.answering(now)
    with read():
        return [
            Need(part, -(-pieces // 2)) for part, pieces in run_stock.most_on_hand(limit) if pieces
        ]


def line_of(code: str) -> Place:
    """Return a place where a run can be.

    Raises:
        BadInput: there is none with this code, or parts are not used up there.
    """
    try:
        place = catalog.place(code)
    except NotFound as error:
        raise _wrong("place", error.message) from error
    if place.kind not in RUN_PLACES:
        raise _wrong("place", f"{place.name} is neither a line nor a floor area.")
    return place


def plan(place: str, begins_at: int, ends_at: int, needs: Sequence[Need], now: int) -> RunPlan:
    """Return the plan of a run. A part that is named twice needs the sum.

    Args:
        place: code of the line, or of a floor area.
        begins_at: when it begins; if that has passed, what is still to be taken is taken now.
        ends_at: its last reflow.
        needs: what it needs.
        now: the present moment.

    Raises:
        BadInput: a value is wrong; `place`, `begins_at`, `ends_at` or `needs` is named.
    """
    line = line_of(place)
    _check_times(begins_at, ends_at, now)
    wanted = summed(needs)
    known = parts_by_number(wanted)
    _check_needs(wanted, known)
    now = standings.answering(now).at
    run = Run(line.code, max(begins_at, now), ends_at)
    with read():
        places = {one.code: one for one in catalog.places(limit=10_000)}
        stock = Stock(wanted, run, now, standings.answering(now).stale)
        ovens = {
            one.code: OvenLimits(one.max_temp_c, one.max_rh_pct)
            for one in places.values()
            if one.kind == "oven"
        }
        limit_h = stock.policies.cumulative_bake_h.at(now)
        while True:
            found = [
                Choosing(stock, run, known[number], pieces, ovens, limit_h).plan()
                for number, pieces in wanted.items()
            ]
            shared = stock.shared_bags(_bags(found))
            if not shared or not stock.suppose_opened(_openings(found, shared, run.place)):
                break
        parts = sorted(_with_bags(found, shared), key=_criticality)
        air, missing = _air(stock.places, run)
        damp = _damp(parts, places, stock.places, run)
    return RunPlan(line, run, now, air, missing, tuple(parts), _loads(parts, places), damp)


def _criticality(part: PartPlan) -> tuple[int, Fraction, int]:
    return (
        VERDICTS.index(part.verdict),
        -Fraction(part.short, part.needed),
        -part.covered_from,
    )


def _bags(parts: Iterable[PartPlan]) -> set[str]:
    """Return the bags that plans open."""
    return {step.own.bag for part in parts for step in part.steps if step.own.bag is not None}


def _openings(
    parts: Iterable[PartPlan], shared: Mapping[str, Sequence[str]], line: str
) -> dict[str, tuple[int, str | None]]:
    """Return the carriers whose bag is opened for another before they are wanted: when, and at
    which place; None: where it is then."""
    steps = [step for part in parts for step in part.steps if step.own.bag in shared]
    opens: dict[str, dict[str, tuple[int, str | None]]] = {bag: {} for bag in shared}
    for step in steps:
        mine = opens[step.own.bag or ""]
        if step.bake is not None and step.bake.start_by is not None:
            mine[step.own.code] = step.bake.start_by, None
        elif step.act == "open":
            mine[step.own.code] = step.from_at, line
    found = {}
    for bag, mine in opens.items():
        first = min(mine.values(), key=lambda opening: opening[0], default=None)
        if first is not None:
            late = [c for c in shared[bag] if c not in mine or mine[c][0] > first[0]]
            found.update(dict.fromkeys(late, first))
    return found


def _with_bags(parts: Iterable[PartPlan], shared: Mapping[str, Sequence[str]]) -> list[PartPlan]:
    """Return the plans with what else is in the bags they open."""

    def told(step: Step) -> Step:
        others = [code for code in shared.get(step.own.bag or "", ()) if code != step.own.code]
        return replace(step, opens_too=tuple(others)) if others else step

    return [replace(part, steps=tuple(map(told, part.steps))) for part in parts]


def _loads(parts: Iterable[PartPlan], places: Mapping[str, Place]) -> tuple[OvenLoad, ...]:
    loads: dict[tuple[float, Fraction, str], OvenLoad] = {}
    for step in (step for part in parts for step in part.steps):
        bake = step.bake
        if bake is None or bake.start_by is None:
            continue
        option = bake.option
        key = (option.temp_c, option.hours, bake.oven)
        load = loads.get(key)
        if load is None:
            oven = places[bake.oven]
            load = OvenLoad(oven, option.temp_c, option.hours, option.max_rh_pct, bake.start_by, ())
        limits = [rh for rh in (load.max_rh_pct, option.max_rh_pct) if rh is not None]
        loads[key] = replace(
            load,
            max_rh_pct=min(limits, default=None),
            start_by=min(load.start_by, bake.start_by),
            carriers=(*load.carriers, step.own),
        )
    return tuple(loads[key] for key in sorted(loads, key=lambda key: (-key[0], key[1], key[2])))


def _air(places: Places, run: Run) -> tuple[Air, Missing | None]:
    air = places.air(run.place)
    raw, _ = air.worst(run.begins_at, run.ends_at, run.ends_at)
    return raw, air.spans(run.ends_at - 1, run.ends_at, run.ends_at)[-1].key.missing


def _damp(
    parts: Sequence[PartPlan], places: Mapping[str, Place], airs: Places, run: Run
) -> tuple[tuple[Place, Air], ...]:
    codes = {step.own.place for part in parts for step in part.steps}
    codes |= {one.own.place for part in parts for one in part.barred}
    found = []
    for code in sorted(code for code in codes if code is not None and airs.is_cabinet(code)):
        span = airs.air(code).spans(run.begins_at, run.begins_at + 1, run.begins_at)[0]
        if span.key.missing is not None and span.raw[1] > DRY_RH_PCT * 100:
            found.append((places[code], span.raw))
    return tuple(found)


def _check_times(begins_at: int, ends_at: int, now: int) -> None:
    if ends_at <= begins_at:
        raise _wrong("ends_at", "The last reflow must be later than the beginning.")
    if ends_at <= now:
        raise _wrong("ends_at", "That has passed: there is nothing left to plan.")
    if ends_at > now + FARTHEST_S:
        raise _wrong("ends_at", f"At most {FARTHEST_S // 86_400} days ahead.")


def _check_needs(wanted: Mapping[str, int], known: Mapping[str, PartFacts]) -> None:
    if not wanted:
        raise _wrong("needs", "Name at least one part and its pieces.")
    if len(wanted) > MOST_PARTS:
        raise _wrong("needs", f"At most {MOST_PARTS} parts: plan the run in two.")
    found = [
        FieldError("needs", f"There is no part {part}.") for part in wanted if part not in known
    ]
    found += [
        FieldError("needs", f"{part}: from 1 to {MOST_PIECES} pieces.")
        for part, pieces in wanted.items()
        if not 1 <= pieces <= MOST_PIECES
    ]
    if found:
        raise BadInput(" ".join(one.message for one in found), found)


def _wrong(field: str, message: str) -> BadInput:
    return BadInput(message, [FieldError(field, message)])
