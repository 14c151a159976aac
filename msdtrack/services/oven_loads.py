"""Loads of an oven: put together, started, followed by the oven's own readings, and ended.

A load is what went into one oven at one moment at one temperature. Nothing of it is stored: it is
read off the carriers' bakes.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal
from uuid import NAMESPACE_OID, uuid5

from msdtrack.errors import NotFound, Refused
from msdtrack.exposure import load_plan, oven
from msdtrack.exposure.events import Kind
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.load_plan import LoadBake, LoadPlan
from msdtrack.exposure.oven import Band, Progress
from msdtrack.exposure.places import Places
from msdtrack.exposure.spans import HOLDS_S
from msdtrack.exposure.state import CarrierState
from msdtrack.services import catalog, climate, event_recording, policies
from msdtrack.services.air_cache import all_places
from msdtrack.services.carrier_states import oven_limits, states, watch
from msdtrack.services.catalog import Place
from msdtrack.services.climate import AirNow
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import carriers, event_log
from msdtrack.store.connection import read, write

Standing = Literal["running", "not_counting", "done", "overdue", "no_figure"]


@dataclass(frozen=True, slots=True)
class InOven:
    """A carrier in a running bake.

    Args:
        progress: what of the bake has counted so far.
        needed_s: what must count; None: the bake has no figure and resets nothing.
        standing: running; not_counting: the oven is out of the band now; done; overdue: it has
            been done for longer than the site's policy; no_figure.
        ends_at: when it will be, or was, complete; None where that can't be said now.
        hot_h, limit_h: hours above 90 °C so far, over all bakes, and the site's limit.
    """

    state: CarrierState
    progress: Progress
    needed_s: int | None
    standing: Standing
    ends_at: int | None
    hot_h: Fraction
    limit_h: int

    @property
    def added_s(self) -> int:
        """Return the seconds of interruptions that are added to the bake."""
        return sum(end - start for start, end in self.progress.interrupted)


@dataclass(frozen=True, slots=True)
class Load:
    """What went into an oven together."""

    started_at: int
    temp_c: float
    band: Band
    carriers: tuple[InOven, ...]


@dataclass(frozen=True, slots=True)
class OvenNow:
    """An oven as it is.

    Args:
        air: its newest reading.
        loads: what bakes in it, the oldest first.
        idle: carriers that are in it without a running bake: they are exposed.
    """

    place: Place
    air: AirNow
    loads: tuple[Load, ...]
    idle: tuple[CarrierState, ...]

    @property
    def baking(self) -> tuple[InOven, ...]:
        """Return every carrier that bakes in it."""
        return tuple(one for load in self.loads for one in load.carriers)


@dataclass(frozen=True, slots=True)
class Blocked:
    """A carrier that can't go into an oven as it is, why, and what to do first."""

    code: str
    why: str
    first: str


@dataclass(frozen=True, slots=True)
class Draft:
    """A load that is being put together.

    Args:
        states: the carriers, as they are.
        blocked: those that can't go in as they are.
        plan: bakes for the others.
        needless: those that need no bake.
    """

    states: tuple[CarrierState, ...]
    blocked: tuple[Blocked, ...]
    plan: LoadPlan
    needless: tuple[str, ...]

    @property
    def bakes(self) -> tuple[LoadBake, ...]:
        """Return the bakes that the whole load may be started with; none while one is in the
        way."""
        return () if self.blocked or self.plan.refused else self.plan.bakes


def ovens(now: int) -> list[OvenNow]:
    """Return every oven, by name."""
    with read():
        found = [place for place in catalog.places(limit=10_000) if place.kind == "oven"]
        return [oven_now(place.code, now) for place in sorted(found, key=lambda one: one.name)]


def oven_now(code: str, now: int) -> OvenNow:
    """Return an oven with what is in it.

    Raises:
        NotFound: there is no such oven.
    """
    with read():
        place = _oven(code)
        air = climate.air_now(code, now)
        chosen, everywhere = policies.policies(now), all_places()
        there = watch(now, code)
    limits = int(chosen["cumulative_bake_h"]), int(chosen["bake_overdue_min"]) * 60
    baking = [_in_oven(state, everywhere, limits) for state in there if state.status == "baking"]
    baking.sort(key=lambda one: (_key(one), one.state.facts.code))
    loads = []
    for (started_at, temp_c), group in itertools.groupby(baking, key=_key):
        together = tuple(group)
        bake = together[0].state.ledger.bake
        assert bake is not None
        loads.append(Load(started_at, temp_c, bake.need.band, together))
    idle = tuple(state for state in there if state.status != "baking")
    return OvenNow(place, air, tuple(loads), idle)


def draft(
    code: str, put_in: Sequence[str], now: int, oven_as_it_is: OvenNow | None = None
) -> Draft:
    """Return what an oven can do for carriers that are put together for it.

    Args:
        code: the oven.
        put_in: the carriers, in the order of scanning.
        now: the present moment.
        oven_as_it_is: the oven as it is, None if it has not been read.

    Raises:
        NotFound: there is no such oven or carrier.
    """
    with read():
        here = oven_now(code, now) if oven_as_it_is is None else oven_as_it_is
        limits = oven_limits(code)
        found = _states(put_in, now)
        running = {load.temp_c for load in here.loads}
        cumulative_h = int(policies.policies(now)["cumulative_bake_h"])
    blocked = [one for state in found if (one := _blocked(state, here.place)) is not None]
    out = {one.code for one in blocked}
    able = [state for state in found if state.facts.code not in out]
    plan = load_plan.plan(
        [(state.facts, state.ledger) for state in able],
        cumulative_h,
        limits,
        next(iter(running)) if len(running) == 1 else None,
    )
    needless = tuple(state.facts.code for state in able if not state.bake.needed)
    return Draft(tuple(found), tuple(blocked), plan, needless)


def start(
    code: str,
    put_in: Sequence[str],
    temp_c: float,
    load_id: str,
    now: int,
    person: str | None = None,
) -> OvenNow:
    """Start the bake of a load: all of it or nothing.

    Args:
        code: the oven.
        put_in: the carriers.
        temp_c: oven temperature, °C.
        load_id: made by the client; sent again with the same one, it is done once.
        now: the present moment.
        person: badge code or name.

    Raises:
        NotFound: there is no such oven or carrier.
        Refused: the load may not be baked so; the message says why.
    """
    events = [
        _event(load_id, one, Kind.BAKE_START, place=code, temp_c=temp_c, person=person)
        for one in dict.fromkeys(put_in)
    ]
    with write():
        if not _sent_before(events):
            _check_start(draft(code, put_in, now), temp_c)
        for done in event_recording.record(events, now):
            if done.state.conflicts:
                raise Refused(f"{done.carrier}: {done.state.conflicts[0].message}.")
        return oven_now(code, now)


def end(
    code: str,
    taken_out: Sequence[str],
    load_id: str,
    now: int,
    place: str | None = None,
    early: bool = False,
    person: str | None = None,
) -> dict[str, CarrierState]:
    """End the bake of carriers, and return their states afterwards.

    Args:
        code: the oven.
        taken_out: the carriers.
        load_id: made by the client; sent again with the same one, it is done once.
        now: the present moment.
        place: where they go; None is where they came from.
        early: it was confirmed that bakes which are not complete reset nothing.
        person: badge code or name.

    Raises:
        NotFound: there is no such oven.
        Refused: one of them does not bake in it, or its bake is not complete and that was not
            confirmed; nothing was ended.
    """
    events = [
        _event(load_id, one, Kind.BAKE_END, place=place, person=person)
        for one in dict.fromkeys(taken_out)
    ]
    with write():
        if not _sent_before(events):
            inside = {one.state.facts.code: one for one in oven_now(code, now).baking}
            for one in taken_out:
                if one not in inside:
                    raise Refused(f"{one} does not bake in this oven: nothing was ended.")
                if not early and inside[one].standing not in ("done", "overdue"):
                    raise Refused(
                        f"The bake of {one} is not complete: taken out now it resets nothing. "
                        "Confirm that, or leave it in."
                    )
        event_recording.record(events, now)
        return states(list(dict.fromkeys(taken_out)), now)


def _check_start(load: Draft, temp_c: float) -> None:
    if not load.states:
        raise Refused("The load is empty: scan its carriers first.")
    if load.blocked:
        first = load.blocked[0]
        raise Refused(f"{first.code}: {first.why} {first.first}".strip())
    if load.plan.refused:
        raise Refused(": ".join(load.plan.refused[0]))
    if not load.bakes:
        raise Refused("No single bake dries all of them: split the load.")
    if all(bake.temp_c != temp_c for bake in load.bakes):
        given = " or ".join(f"{bake.temp_c:g}" for bake in load.bakes)
        raise Refused(f"Not at {temp_c:g} °C: this load is baked at {given} °C.")


def _in_oven(state: CarrierState, places: Places, limits: tuple[int, int]) -> InOven:
    bake, at = state.ledger.bake, state.at
    assert bake is not None
    hours = bake.need.hours
    needed_s = None if hours is None else math.ceil(hours * HOUR_S)
    air = places.oven(bake.oven)
    done = oven.progress(air, bake.need.band, bake.started_at, at, at, needed_s)
    standing: Standing = "running"
    ends_at = done.reached_at
    if needed_s is None:
        standing = "no_figure"
    elif done.reached_at is not None:
        standing = "overdue" if at - done.reached_at > limits[1] else "done"
    else:
        newest = air.newest(at)
        hot = newest is not None and at < newest[0] + HOLDS_S
        hot = hot and newest is not None and _within(bake.need.band, newest[1])
        if done.basis == "assumed" or hot:
            ends_at = at + needed_s - done.done_s
        else:
            standing = "not_counting"
    hot_h = Fraction(state.ledger.hot_s, HOUR_S)
    return InOven(state, done, needed_s, standing, ends_at, hot_h, limits[0])


def _within(band: Band, temp_c100: int) -> bool:
    return band.low_c100 <= temp_c100 <= band.high_c100


def _key(one: InOven) -> tuple[int, float]:
    bake = one.state.ledger.bake
    assert bake is not None
    return bake.started_at, bake.temp_c


def _blocked(state: CarrierState, place: Place) -> Blocked | None:
    code, phase = state.facts.code, state.ledger.phase

    def because(why: str, first: str = "") -> Blocked:
        return Blocked(code, why, first)

    if state.status == "gone":
        return because("It is used up or scrapped.", "Leave it out.")
    if state.ledger.board is not None:
        return because("It is on a board.", "Bake the whole batch from its own page.")
    if phase is Phase.BAKING:
        where = "this oven" if state.ledger.place == place.code else "another oven"
        return because(f"It is baking in {where} already.", "Leave it out.")
    if phase in (Phase.BAGGED, Phase.TIRED_BAG):
        first = "Open it first: no bag, desiccant or card in the oven."
        return because("On record it is in a closed dry bag.", first)
    if state.ledger.held:
        return because(f"It is on hold: {'; '.join(state.ledger.held)}.", "Quality decides first.")
    if state.conflicts:
        first = "Correct it on the carrier's page first."
        return because(f"Its log contradicts itself: {state.conflicts[0].message}.", first)
    return None


def _oven(code: str) -> Place:
    place = catalog.place(code)
    if place.kind != "oven":
        raise NotFound(f"{place.name} is no oven.")
    return place


def _states(codes: Sequence[str], now: int) -> list[CarrierState]:
    wanted = list(dict.fromkeys(codes))
    known = carriers.carriers_by_code(wanted)
    for code in wanted:
        if code not in known:
            raise NotFound(f"There is no carrier {code}.")
    found = states(wanted, now)
    return [found[code] for code in wanted]


def _event(load_id: str, carrier: str, kind: Kind, **given: Any) -> NewEvent:
    id_ = str(uuid5(NAMESPACE_OID, f"oven {load_id} {kind} {carrier}"))
    return NewEvent(id_, carrier, kind, **given)


def _sent_before(events: Sequence[NewEvent]) -> bool:
    """Return whether this was done already; the events then say so themselves."""
    return bool(event_log.find([event.id for event in events]))
