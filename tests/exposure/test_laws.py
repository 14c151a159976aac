"""Laws that every history keeps, whatever happened in it."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from msdtrack.exposure.contradictions import settle
from msdtrack.exposure.events import Event, Kind, effective, lineage
from msdtrack.exposure.facts import Dated, Policies
from msdtrack.exposure.history import Fold
from msdtrack.exposure.ledger import Ledger, Phase
from msdtrack.exposure.places import Places
from msdtrack.exposure.state import CarrierState, state_of, usable_until
from msdtrack.exposure.working import working_of
from msdtrack.standard import derating
from msdtrack.standard.levels import LEVELS
from tests.exposure.histories import T0, History, carrier, part, steady
from tests.exposure.slow import Slow
from tests.exposure.slow_air import World
from tests.exposure.worlds import (
    ROOMS,
    amended,
    moments,
    places_of,
    voided,
    with_events,
    worlds,
)

LAW = settings(
    max_examples=30,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
MORE = st.integers(0, 300)


def state(world: World, at: int, places: Places | None = None) -> CarrierState:
    places = places_of(world) if places is None else places
    return state_of(world.facts, world.events, places, world.policies, at)


def sums(ledger: Ledger) -> tuple[object, ...]:
    """Return all of an account but the lines of its working, which a cut may split."""
    return (
        ledger.now, ledger.phase, ledger.place, ledger.used, ledger.provisional, ledger.assumed,
        ledger.exposure_s, ledger.outside_30_60, ledger.beyond_run_s, ledger.beyond_table,
        ledger.full_since, ledger.hot_s, ledger.last_reset_at, ledger.unknowns, ledger.stays,
        ledger.shelf_life_ends, sum(line.share for line in ledger.intervals),
    )  # fmt: skip


def same(one: CarrierState, other: CarrierState) -> bool:
    """Return whether two states say the same."""
    return (
        sums(one.ledger) == sums(other.ledger)
        and one.ledger.intervals == other.ledger.intervals
        and (one.status, one.verdict, one.reasons) == (other.status, other.verdict, other.reasons)
        and (one.reset_due_at, one.forecast) == (other.reset_due_at, other.forecast)
        and (one.unknowns, one.bake, one.conflicts) == (other.unknowns, other.bake, other.conflicts)
    )


# -- splitting -----------------------------------------------------------------------------


@LAW
@given(st.data())
def test_splitting_an_interval_changes_nothing(data: st.DataObject) -> None:
    """A running bake alone is judged as a whole, so no cut falls into one."""
    world = data.draw(worlds())
    at = data.draw(moments(world))
    events, _ = settle([e for e in world.events if e.at <= at], world.facts.received_at)
    cuts = sorted(T0 + n for n in data.draw(st.lists(st.integers(0, max(1, at - T0)), max_size=12)))
    places, policies = places_of(world), world.policies
    whole, cut = (Fold(world.facts, places, policies, at) for _ in range(2))
    for event in events:
        whole.apply(event)
        for moment in cuts:
            if cut.ledger.phase is not Phase.BAKING and moment <= event.at:
                cut.advance(moment)
        cut.apply(event)
    whole.advance(at)
    for moment in cuts:
        if cut.ledger.phase is not Phase.BAKING and moment <= at:
            cut.advance(moment)
    cut.advance(at)
    assert sums(whole.ledger) == sums(cut.ledger)


# -- never more generous -------------------------------------------------------------------


@LAW
@given(st.data())
def test_worse_air_in_the_rooms_never_leaves_more_life(data: st.DataObject) -> None:
    world = data.draw(worlds())
    at = data.draw(moments(world))
    worse = dict(world.readings)
    for room in ROOMS:
        hotter, damper = data.draw(MORE), data.draw(MORE)
        some = data.draw(st.sets(st.integers(0, 120), max_size=40))
        worse[room] = [
            (t, temp + hotter, rh + damper) if n in some else (t, temp, rh)
            for n, (t, temp, rh) in enumerate(world.readings.get(room, ()))
        ]
    before, after = state(world, at), state(replace(world, readings=worse), at)
    assert after.used_share >= before.used_share
    assert not (after.verdict == "use" and before.verdict == "do_not_use")


@LAW
@given(st.data())
def test_a_wider_tolerance_never_leaves_more_life(data: st.DataObject) -> None:
    world = data.draw(worlds())
    at = data.draw(moments(world))
    wider = {
        place: Dated(
            replace(dated.first, tolerance_rh_c100=dated.first.tolerance_rh_c100 + 500),
            tuple(
                (moment, replace(value, tolerance_temp_c100=value.tolerance_temp_c100 + 200))
                for moment, value in dated.changes
            ),
        )
        for place, dated in world.settings.items()
        if place in ROOMS
    }
    before = state(world, at)
    after = state(replace(world, settings={**world.settings, **wider}), at)
    assert after.used_share >= before.used_share


@LAW
@given(
    msl=st.sampled_from(LEVELS),
    hours=st.integers(1, 20),
    longer=st.integers(1, 8),
    stored=st.integers(1, 100),
    again=st.integers(0, 20),
    air=st.sampled_from([(24, 50), (26, 62), (34, 80)]),
)
def test_longer_exposure_never_leaves_more_life(
    msl: str, hours: int, longer: int, stored: int, again: int, air: tuple[int, int]
) -> None:
    """Taken to the cabinet later, taken out again at the same moment."""

    def used(out_h: int) -> Fraction:
        history = History(carrier(part(msl, 1.4, label_floor_life_hours=30)))
        history.readings = {"floor": steady(*air, 200, 1800), "cabinet": steady(24, 2, 200, 1800)}
        history.add("open", 0).add("move", out_h, place="cabinet")
        history.add("move", hours + longer + stored, place="floor")
        return history.state(hours + longer + stored + again).used_share

    assert used(hours + longer) >= used(hours)


@LAW
@given(st.data())
def test_a_place_nobody_measures_never_leaves_more_life_than_a_good_room(
    data: st.DataObject,
) -> None:
    world = data.draw(worlds())
    at = data.draw(moments(world))
    good = {**world.readings, **{room: steady(23, 45, 200, 1800) for room in ROOMS}}
    # Where drier air is credited, nothing measured may count as drier than what is assumed.
    without = replace(world, policies=Policies(), settings={})
    measured = state(replace(without, readings=good), at)
    unmeasured = state(
        replace(without, readings={p: r for p, r in good.items() if p not in ROOMS}), at
    )
    assert unmeasured.used_share >= measured.used_share


@LAW
@given(st.data())
def test_credit_only_ever_lowers_a_share_of_exposure_and_only_with_a_confirmed_compound(
    data: st.DataObject,
) -> None:
    world = data.draw(worlds())
    at = data.draw(moments(world))
    on = replace(world, policies=Policies(credit=Dated(True)))
    off = replace(world, policies=Policies(credit=Dated(False)))
    if world.facts.part.compound_confirmed:
        assert state(on, at).used_share <= state(off, at).used_share
    else:
        assert state(on, at).used_share == state(off, at).used_share


# -- order and time ------------------------------------------------------------------------


@LAW
@given(st.data())
def test_the_order_in_which_events_arrive_changes_nothing(data: st.DataObject) -> None:
    world = data.draw(worlds())
    at = data.draw(moments(world))
    spread = [event._replace(at=event.at + n) for n, event in enumerate(world.events)]
    seqs = data.draw(st.permutations(range(1, len(spread) + 1)))
    arrived = data.draw(
        st.permutations(
            [
                event._replace(seq=seq, recorded_at=event.at + 86400 * seq)
                for event, seq in zip(spread, seqs, strict=True)
            ]
        )
    )
    in_order, late = with_events(world, spread), replace(world, events=effective(arrived))
    assert same(state(in_order, at), state(late, at))


@LAW
@given(st.data())
def test_what_is_dated_later_does_not_change_an_earlier_state(data: st.DataObject) -> None:
    world = data.draw(worlds())
    at = data.draw(moments(world))
    until = replace(
        world,
        events=[event for event in world.events if event.at <= at],
        readings={p: [r for r in rs if r[0] <= at] for p, rs in world.readings.items()},
    )
    assert same(state(world, at), state(until, at))


# -- corrections ---------------------------------------------------------------------------


@LAW
@given(st.data())
def test_a_voided_event_is_as_if_never_recorded(data: st.DataObject) -> None:
    world = data.draw(worlds())
    at = data.draw(moments(world))
    gone = data.draw(st.sampled_from(world.events))
    corrected = effective([*world.events, voided(gone, 1000)])
    never = [event for event in world.events if event is not gone]
    assert same(state(replace(world, events=corrected), at), state(with_events(world, never), at))


@LAW
@given(st.data())
def test_an_amended_event_is_as_if_recorded_that_way(data: st.DataObject) -> None:
    world = data.draw(worlds())
    at = data.draw(moments(world))
    wrong = data.draw(st.sampled_from(world.events))
    moment = T0 + data.draw(st.integers(0, 100)) * world.step_s
    corrected = effective([*world.events, amended(wrong, 1000, at=moment)])
    right = [e._replace(at=moment) if e is wrong else e for e in world.events]
    assert same(state(replace(world, events=corrected), at), state(with_events(world, right), at))


@LAW
@given(st.data())
def test_a_child_starts_as_its_parent_stands_and_follows_its_corrections(
    data: st.DataObject,
) -> None:
    world = data.draw(worlds())
    split_at = max(event.at for event in world.events) + world.step_s
    split = Event("s", "C1", Kind.SPLIT, split_at, 500, split_at, child="C2", quantity=3)
    log = [*world.events, split]
    if data.draw(st.booleans()):
        log.append(voided(data.draw(st.sampled_from(world.events)), 1000))
    parent = replace(world, events=lineage("C1", {"C1": log}, {}))
    child = replace(
        world,
        facts=replace(world.facts, code="C2"),
        events=lineage("C2", {"C1": log, "C2": []}, {"C2": ("C1", "s")}),
    )
    for at in (split_at, split_at + 5 * 3600):
        ours, theirs = state(child, at), state(parent, at)
        assert sums(ours.ledger) == sums(theirs.ledger)
        assert ours.conflicts == theirs.conflicts
        assert "gone" in theirs.reasons or ours.ledger.quantity == 3


# -- the next step -------------------------------------------------------------------------


@LAW
@given(st.data())
def test_the_next_step_is_to_use_it_or_keep_it_only_if_it_may_be_used(data: st.DataObject) -> None:
    world = data.draw(worlds())
    found = state(world, data.draw(moments(world)))
    assert (found.next_step.kind in ("use", "use_first", "keep")) == (found.verdict == "use")


# -- the working ---------------------------------------------------------------------------


@LAW
@given(st.data())
def test_the_lines_of_a_working_sum_to_the_share_and_each_cell_is_in_the_table(
    data: st.DataObject,
) -> None:
    world = data.draw(worlds())
    at = data.draw(moments(world))
    found = state(world, at)
    working = working_of(found, places_of(world))
    plain = Slow(world, at)
    assert working.used_share == found.used_share
    for line in (*working.lines, *working.before_reset):
        assert line.hours == Fraction(line.end - line.start, 3600)
        if line.raw is None or line.guarded is None:
            assert line.cell is None
            continue
        assert line.guarded[0] >= line.raw[0]
        assert line.guarded[1] >= line.raw[1]
        rate = plain.rate(line.raw, line.guarded, line.basis == "assumed", line.start)
        assert line.share == rate * line.hours
        if line.cell is None:
            assert world.facts.part.msl in ("1", "6")
            continue
        cell = min(derating.cell_for(*line.guarded), derating.WORST_CELL)
        assert (line.cell.temp_c, line.cell.rh_pct) == derating.cell_air(cell)
        days = derating.life_days(line.cell.group, line.cell.level, cell)
        assert line.cell.days == days


@LAW
@given(st.data())
def test_each_line_of_a_working_can_be_computed_from_its_own_words(data: st.DataObject) -> None:
    world = data.draw(worlds())
    found = state(world, data.draw(moments(world)))
    working = working_of(found, places_of(world))
    for line in (*working.lines, *working.before_reset):
        rate_from, _, factor = line.rate_from.removesuffix(" (credit)").partition(" × ")
        if rate_from.startswith("Table 7-1"):
            assert line.cell is not None
            assert line.cell.days is not None
            of, by = factor.removesuffix(" of the label").split("/") if factor else ("1", "1")
            assert line.share == line.hours / (24 * line.cell.days * Fraction(of) / Fraction(by))
        elif rate_from.startswith("label"):
            assert line.share == line.hours / Fraction(rate_from.split()[-2])
        else:
            assert line.share == 0


@LAW
@given(st.data())
def test_the_lines_of_a_working_follow_each_other_without_overlap(data: st.DataObject) -> None:
    world = data.draw(worlds())
    found = state(world, data.draw(moments(world)))
    working = working_of(found, places_of(world))
    lines = (*working.before_reset, *working.lines)
    for line, following in itertools.pairwise(lines):
        assert line.start < line.end <= following.start


@LAW
@given(st.data())
def test_a_run_that_ends_later_is_never_easier_to_make(data: st.DataObject) -> None:
    world = data.draw(worlds())
    found = state(world, data.draw(moments(world)))
    sooner, later = sorted(found.at + data.draw(st.integers(0, 500)) * 3600 for _ in range(2))
    if usable_until(found, sooner)[0] == "do_not_use":
        assert usable_until(found, later)[0] == "do_not_use"
    assert usable_until(found, found.at)[0] == found.verdict
