"""The proof of a batch: what each component had used at each reflow, and what was decided."""

from __future__ import annotations

from fractions import Fraction

import pytest

from msdtrack.errors import NotFound
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import board_proof, boards, catalog, event_recording
from msdtrack.services.board_proof import BatchProof
from msdtrack.services.carrier_states import state
from tests.services.board_floor import FIX, HOUR, event, happens, opened, placed
from tests.services.conftest import NOW


def proof(batch: str) -> BatchProof:
    """Return the proof of a batch as of now."""
    return board_proof.proof_of(batch, NOW)


def shares(found: BatchProof) -> list[list[Fraction]]:
    """Return the shares of each component at each reflow."""
    return [[met.state.used_share for met in one.reflows] for one in found.components]


def test_each_component_counts_at_each_reflow(shop: dict[str, str], batch: str) -> None:
    """168 h of floor life at level 3, each hour at the line counts. Source: J-STD-020, level 3."""
    placed(batch, opened(shop["Bench"], 84), 20)
    happens(batch, "reflow", 14, peak_c=240.0)
    placed(batch, opened(shop["Bench"], 42), 10)
    assert proof(batch).finding == "within_so_far"
    happens(batch, "reflow", 0, peak_c=245.0, last=True)
    found = proof(batch)
    assert found.finding == "within"
    assert shares(found) == [[Fraction(70, 168), Fraction(84, 168)], [Fraction(42, 168)]]
    assert [reflow.peak_c for reflow in found.reflows] == [240.0, 245.0]


def test_the_clock_ends_with_the_last_reflow(shop: dict[str, str], batch: str) -> None:
    """What the soldered boards go through afterwards proves nothing."""
    placed(batch, opened(shop["Bench"], 160), 150)
    happens(batch, "reflow", 100, last=True)
    assert shares(proof(batch)) == [[Fraction(60, 168)]]


@pytest.mark.parametrize(("hours", "within"), [(167, True), (168, False)])
def test_a_whole_floor_life_is_outside(
    shop: dict[str, str], batch: str, hours: int, within: bool
) -> None:
    """The component that was late is named first, whatever the others had left."""
    placed(batch, opened(shop["Bench"], 20), 4)
    late = placed(batch, opened(shop["Bench"], hours), 3)
    happens(batch, "reflow", 0, last=True)
    found = proof(batch)
    assert (found.finding, found.outside) == (("within", 0) if within else ("outside", 1))
    (met,) = found.components[0].reflows
    assert found.components[0].placed.code == late
    assert met.reasons == (() if within else ("floor_life_exceeded",))


def test_a_bake_between_two_passes_is_in_it(shop: dict[str, str], batch: str) -> None:
    """A bake begins the floor life anew: the second pass counts from it."""
    catalog.create_part(PartFacts("BUOY-2", "3", body_mm=1.2, carrier_max_c=150.0), NOW)
    placed(batch, opened(shop["Bench"], 100, part="BUOY-2"), 90)
    happens(batch, "reflow", 80)
    happens(batch, "bake_start", 70, place=shop["Oven"], temp_c=125.0)
    happens(batch, "bake_end", 20, place=shop["Bench"])
    happens(batch, "reflow", 10, last=True)
    found = proof(batch)
    assert shares(found) == [[Fraction(20, 168), Fraction(10, 168)]]
    assert found.components[0].reflows[1].state.ledger.bakes == 1


def test_a_hold_at_the_reflow_is_outside_until_it_is_corrected(
    shop: dict[str, str], batch: str
) -> None:
    """What quality decided stands beside it; each decision is there once."""
    for _ in range(2):
        placed(batch, opened(shop["Bench"], 20), 10)
    happens(batch, "hold", 8, reason="bent lead", person="Ines")
    reflow = event("", "reflow", 4, last=True)
    boards.record(batch, reflow, NOW)
    found = proof(batch)
    assert (found.finding, found.outside) == ("outside", 2)
    assert "held" in found.components[0].reflows[0].reasons
    assert [(one.kind, one.reason) for one in found.decisions] == [("hold", "bent lead")]
    happens(batch, "correct", event=reflow.id, fields={"last": False}, **FIX)
    happens(batch, "release", 5, reason="straightened", person="Ines")
    found = proof(batch)
    assert found.finding == "within_so_far"
    assert [one.kind for one in found.decisions] == ["hold", "release"]
    assert found.corrected == 1


def test_what_comes_late_is_in_it(shop: dict[str, str], batch: str) -> None:
    """A corrected opening changes the share at the reflow, and says that it was corrected."""
    reel = opened(shop["Bench"], 20)
    placed(batch, reel, 10)
    happens(batch, "reflow", 2, last=True)
    (opening,) = [line.event for line in event_recording.log_of(reel) if line.event.kind == "open"]
    earlier = {"at": NOW - 100 * HOUR}
    event_recording.record([event(reel, "correct", event=opening.id, fields=earlier, **FIX)], NOW)
    found = proof(batch)
    assert shares(found) == [[Fraction(98, 168)]]
    assert found.corrected == 1


def test_the_share_is_the_one_of_its_own_page(shop: dict[str, str], batch: str) -> None:
    """Asked as of the reflow, the component says the same."""
    child = placed(batch, opened(shop["Bench"], 50), 10)
    happens(batch, "reflow", 3)
    happens(batch, "move", 2, place=shop["Cabinet"])
    then = state(child, NOW, NOW - 3 * HOUR)
    assert shares(proof(batch)) == [[then.used_share]]


def test_what_no_reflow_met_is_not_proved(shop: dict[str, str], batch: str) -> None:
    """The last reflow is told late, and before the second placing: nothing soldered that one."""
    placed(batch, opened(shop["Bench"], 20), 14)
    after = placed(batch, opened(shop["Bench"], 200), 5)
    happens(batch, "reflow", 10, last=True)
    found = proof(batch)
    assert (found.finding, found.unsoldered) == ("within_so_far", 1)
    assert [one.placed.code for one in found.components if not one.reflows] == [after]


def test_without_placing_or_reflow_nothing_is_proved(shop: dict[str, str], batch: str) -> None:
    """It says so instead of saying that all is well."""
    assert proof(batch).finding == "nothing_placed"
    placed(batch, opened(shop["Bench"], 5), 1)
    assert proof(batch).finding == "not_soldered"
    with pytest.raises(NotFound):
        proof("J000999X")
