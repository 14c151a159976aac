"""Holds a plan of a run against folding every carrier by itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.run import Run, Supposed, outlook
from msdtrack.exposure.state import CarrierState
from msdtrack.services import (
    carrier_states,
    oven_loads,
    run_carriers,
)
from msdtrack.services.accounts import account
from msdtrack.services.run_choice import Step
from msdtrack.services.run_plan import RunPlan
from msdtrack.store import carriers
from tests.services.floor import DRY


def supposed(code: str) -> Supposed:
    one = account(code)

    def fold(events: Sequence[Event], at: int) -> Any:
        return replace(one, events=[*events]).state(at)

    return Supposed(one.events, fold)


def check(found: RunPlan, now: int) -> None:
    """Hold a plan that needs everything against folding every carrier there is."""
    run = found.run
    every = carrier_states.states(carriers.carrier_codes(), now)
    done_at = {
        one.state.facts.code: one.ends_at for oven in oven_loads.ovens(now) for one in oven.baking
    }
    for part in found.parts:
        mine = {
            code: one
            for code, one in every.items()
            if one.facts.part.number == part.part.number and one.status not in ("gone", "on_board")
        }
        taken = {step.own.code: step for step in part.steps if step.bake is None}
        opened = {code: at for code, at in openings(found, every).items() if code in mine}
        expected = {code: outlook(supposed(code), run) for code in mine}
        for code, at in opened.items():
            if expected[code].from_at is not None:
                expected[code] = outlook(supposed(code).opened(code, *at), run)
        for barred in part.barred:
            # What was to be opened for another may not be, once that is not taken either.
            if run_carriers.OPENED_FOR_ANOTHER in barred.reasons and barred.own.code not in opened:
                assert expected.pop(barred.own.code).from_at is not None
        for code, moment in done_at.items():
            in_time = moment is not None and moment <= run.begins_at
            if code in mine and expected[code].reasons and in_time:
                expected[code] = outlook(supposed(code).in_a_steady_oven(), run)
                assert code not in taken or taken[code].bake_done_at == moment
        usable = {code: look for code, look in expected.items() if look.from_at is not None}
        assert taken.keys() == usable.keys()
        for code, step in taken.items():
            look = usable[code]
            if step.act == "take" and step.own.bag and code not in opened:
                continue
            assert (step.act, step.from_at) == (look.act, look.from_at)
            assert step.ends_early_at == look.ends_early_at
            # From a standing it may be a second earlier, never later.
            if step.lasts_until != look.lasts_until:
                assert None not in (step.lasts_until, look.lasts_until)
                assert step.lasts_until == look.lasts_until - 1
        others = [one.own.code for one in part.barred] + [step.own.code for step in part.steps]
        assert sorted(others) == sorted(mine)
        assert part.spare == 0
        for each in (*part.steps, *part.barred):
            ledger = mine[each.own.code].ledger
            assert (each.own.pieces, each.own.place) == (ledger.quantity, ledger.place)
            if each.own.bag is not None:
                assert each.own.bag == ledger.bag
        for step in part.steps:
            before = openings(found, every).get(step.own.code)
            assert step.bake_done_at is not None or as_planned(step, run, before) == "use"


def openings(
    found: RunPlan, every: Mapping[str, CarrierState]
) -> dict[str, tuple[int, str | None]]:
    """Return when and where bags are opened for another carrier before their own are wanted."""
    own: dict[str, tuple[int, str | None]] = {}
    for step in (step for part in found.parts for step in part.steps if step.own.bag):
        if step.bake is not None and step.bake.start_by is not None:
            own[step.own.code] = step.bake.start_by, None
        elif step.act == "open":
            own[step.own.code] = step.from_at, found.run.place
    first: dict[str, tuple[int, str | None]] = {}
    for code, at in own.items():
        bag = every[code].ledger.bag or code
        first[bag] = min(first.get(bag, at), at, key=lambda one: one[0])
    return {
        code: first[bag]
        for code, one in every.items()
        if one.ledger.phase in ("bagged", "tired_bag")
        and (bag := one.ledger.bag or code) in first
        and (code not in own or own[code][0] > first[bag][0])
    }


def as_planned(step: Step, run: Run, opened: tuple[int, str | None] | None) -> str:
    """Return the verdict at the last reflow if what was planned is put on the log.

    Args:
        opened: when its bag is opened for another, and where.
    """
    code, act = step.own.code, step.act
    what: list[Event] = []

    def add(kind: Kind, at: int, **more: Any) -> None:
        what.append(Event(f"p{len(what)}", code, kind, at, 10**9 + len(what), at, **more))

    bake = step.bake
    if opened is not None and (bake is None or (bake.start_by or 0) > opened[0]):
        add(Kind.OPEN, opened[0], hic=DRY, place=opened[1])
    elif act == "take" and step.own.bag:
        act = "open"
    if bake is not None:
        assert bake.start_by is not None
        if what == [] and account(code).state(bake.start_by).ledger.phase in (
            "bagged",
            "tired_bag",
        ):
            add(Kind.OPEN, bake.start_by, hic=DRY, place=run.place)
        add(Kind.BAKE_START, bake.start_by, temp_c=bake.option.temp_c)
        act = "take_out"
    if act == "open":
        add(Kind.OPEN, step.from_at, hic=DRY, place=run.place)
    elif act == "take_out":
        add(Kind.BAKE_END, step.from_at, place=run.place)
    else:
        add(Kind.MOVE, step.from_at, place=run.place)
    return account(code, provisional={code: what}).state(run.ends_at).verdict
