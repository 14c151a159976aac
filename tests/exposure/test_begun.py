"""A fold that is carried on says what one made anew says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.begun import Begun
from msdtrack.exposure.contradictions import settle
from msdtrack.exposure.events import Event, Kind, effective
from msdtrack.exposure.facts import HOUR_S, AirSettings, CarrierFacts, Dated, Policies
from msdtrack.exposure.history import Fold, fold
from msdtrack.exposure.ledger import Ledger
from msdtrack.exposure.places import Places
from tests.exposure.histories import T0, carrier, part, steady
from tests.exposure.slow_air import World
from tests.exposure.worlds import KINDS, amended, moments, voided, worlds


def airs_of(world: World, silent_from: int) -> dict[str, PlaceAir]:
    """Return the air of every place, as it is while no reading comes from a moment on."""
    return {
        code: PlaceAir(
            code,
            [reading for reading in world.readings.get(code, ()) if reading[0] < silent_from],
            world.settings.get(code, Dated(AirSettings())),
        )
        for code in world.kinds
    }


@settings(
    max_examples=300,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
@given(st.data())
def test_it_says_what_a_new_one_says_whatever_has_changed_since(data: st.DataObject) -> None:
    world = data.draw(worlds())
    facts, policies, kinds = world.facts, world.policies, dict(world.kinds)
    silent_from = data.draw(moments(world))
    airs, log, begun = airs_of(world, silent_from), list(world.events), Begun()
    for n in range(data.draw(st.integers(2, 5))):
        change = data.draw(st.sampled_from(["none"] * 5 + CHANGES))
        if change == "readings":
            later = airs_of(world, data.draw(moments(world)))
            code = data.draw(st.sampled_from(sorted(airs)))
            airs = airs | {code: later[code]}
        elif change == "correction":
            event = data.draw(st.sampled_from(world.events))
            log.append(voided(event, 1000 + n))
        elif change == "later":
            event = data.draw(st.sampled_from(world.events))
            log.append(amended(event, 1000 + n, at=event.at + world.step_s))
        elif change == "facts":
            facts = replace(facts, part=replace(facts.part, msl="3"))
        elif change == "policies":
            policies = replace(policies, credit=Dated(not policies.credit.first))
        elif change == "kind":
            kinds["floor"] = "cabinet"
        at = data.draw(moments(world))
        events = [event for event in effective(log) if event.at <= at]
        settled, _ = settle(events, facts.received_at)
        assert told(facts, settled, airs, kinds, policies, at, begun) == told(
            facts, settled, airs, kinds, policies, at
        )


CHANGES = ["readings", "correction", "later", "facts", "policies", "kind"]


def told(
    facts: CarrierFacts,
    events: Sequence[Event],
    airs: dict[str, PlaceAir],
    kinds: dict[str, str],
    policies: Policies,
    at: int,
    begun: Begun | None = None,
) -> Ledger:
    places = Places(airs, kinds)
    return fold(facts, events, places, policies, at, working=False, begun=begun)


# -- what it spares ------------------------------------------------------------------------

NOW = T0 + HOUR_S
OPENED = Event("e1", "C1", Kind.OPEN, T0, 1, T0, place="floor")
MOVED = Event("e2", "C1", Kind.MOVE, T0 + 600, 2, T0, place="line")
CLOSED = Event("e3", "C1", Kind.CLOSE, NOW, 3, NOW, desiccant="fresh")
OUT = [OPENED, MOVED]
STEADY = Places({"floor": PlaceAir("floor", steady(25, 50, 1))}, KINDS)


def applied(
    monkeypatch: pytest.MonkeyPatch,
    *asked: tuple[Places, int, list[Event]],
) -> list[int]:
    """Return how many events each asking applies."""
    facts, begun, counts = carrier(part("3", 1.0)), Begun(), []
    apply = Fold.apply
    happened: list[Event] = []

    def counted(self: Fold, event: Event) -> None:
        happened.append(event)
        apply(self, event)

    monkeypatch.setattr(Fold, "apply", counted)
    for places, at, events in asked:
        happened.clear()
        fold(facts, events, places, Policies(), at, working=False, begun=begun)
        counts.append(len(happened))
    return counts


def test_only_what_follows_is_applied(monkeypatch: pytest.MonkeyPatch) -> None:
    later = (STEADY, NOW + 3, OUT)
    then = (STEADY, NOW + 3, [*OUT, CLOSED])
    assert applied(monkeypatch, (STEADY, NOW, OUT), later, then) == [2, 0, 1]


def test_other_readings_begin_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    other = Places({"floor": PlaceAir("floor", steady(25, 50, 1))}, KINDS)
    assert applied(monkeypatch, (STEADY, NOW, OUT), (other, NOW, OUT)) == [2, 2]


def test_a_reading_from_ahead_begins_anew_once_its_moment_has_come(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ahead = Places({"floor": PlaceAir("floor", steady(25, 50, 2))}, KINDS)
    assert applied(monkeypatch, (ahead, NOW, OUT), (ahead, NOW + 600, OUT)) == [2, 2]


def test_what_a_cabinet_did_is_judged_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    dry = Places({"cabinet": PlaceAir("cabinet", steady(25, 4, 1))}, KINDS)
    events = [OPENED._replace(place="cabinet"), MOVED]
    asked = [(dry, at, events) for at in (NOW, NOW, NOW + 3)]
    assert applied(monkeypatch, *asked) == [2, 0, 2]


def test_a_place_of_another_kind_begins_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    air = STEADY.air("floor")
    cabinet = Places({"floor": air}, KINDS | {"floor": "cabinet"})
    assert applied(monkeypatch, (STEADY, NOW, OUT), (cabinet, NOW, OUT)) == [2, 2]


def test_an_earlier_moment_begins_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    assert applied(monkeypatch, (STEADY, NOW + 3, OUT), (STEADY, NOW, OUT)) == [2, 2]
