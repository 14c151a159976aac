"""Reflows, bakes and rework of a batch of boards."""

from __future__ import annotations

import pytest

from msdtrack.errors import BadInput, Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import boards, catalog
from msdtrack.services.carrier_states import state
from tests.services.board_floor import (
    FIX,
    HOUR,
    event,
    happens,
    now,
    opened,
    placed,
    readings,
)
from tests.services.conftest import NOW

# -- reflow -----------------------------------------------------------------------------------


def test_three_passes_are_allowed_and_a_fourth_is_flagged(shop: dict[str, str], batch: str) -> None:
    """Three reflows at most. Source: J-STD-020 classifies with three; common practice."""
    placed(batch, opened(shop["Bench"], 10), 9)
    for n in range(3):
        assert happens(batch, "reflow", 8 - n).verdict == "use"
    fourth = happens(batch, "reflow", 4)
    assert fourth.passes == 4
    assert "too_many_reflows" in fourth.reasons
    assert fourth.next_step.kind == "hold"


def test_a_body_hotter_than_its_part_is_rated_for_is_flagged(
    shop: dict[str, str], batch: str
) -> None:
    """The classification temperature of J-STD-020 is the part's; the hottest pass counts."""
    catalog.create_part(PartFacts("CO-0303", "3", body_mm=1.4, peak_body_c=245.0), NOW)
    placed(batch, opened(shop["Bench"], 10, part="CO-0303"), 9)
    placed(batch, opened(shop["Bench"], 10), 9)
    assert happens(batch, "reflow", 8, peak_c=245.0).verdict == "use"
    hot = happens(batch, "reflow", 7, peak_c=246.0)
    assert hot.reasons == ("peak_body_exceeded",)
    assert hot.peak_c == 246.0


def test_the_last_reflow_ends_it(shop: dict[str, str], batch: str) -> None:
    """Soldered: the account stands, the proof does not rise any more, no more passes."""
    child = placed(batch, opened(shop["Bench"], 30), 20)
    ended = happens(batch, "reflow", 10, last=True)
    assert ended.status == "finished"
    assert ended.finished_at == NOW - 10 * HOUR
    assert state(child, NOW).ledger.gone == "soldered"
    assert float(state(child, NOW).used_share) == pytest.approx(20 / 168)
    with pytest.raises(Refused, match="last reflow"):
        happens(batch, "reflow", 1)
    with pytest.raises(Refused, match="nothing more is placed"):
        placed(batch, opened(shop["Bench"], 1), 0)
    assert happens(batch, "move", 1, place=shop["Cabinet"]).reasons == ()


def test_a_wrong_last_reflow_is_struck_out(shop: dict[str, str], batch: str) -> None:
    """Then the clock has gone on all the time."""
    placed(batch, opened(shop["Bench"], 30), 20)
    reflow = event("", "reflow", 10, last=True)
    boards.record(batch, reflow, NOW)
    fixed = happens(batch, "correct", event=reflow.id, fields={"last": False}, **FIX)
    assert (fixed.status, fixed.passes, fixed.finished_at) == ("on_board", 1, None)
    assert float(fixed.used_share) == pytest.approx(30 / 168)


# -- bakes ------------------------------------------------------------------------------------


def test_a_batch_past_its_floor_life_needs_what_its_components_need(
    shop: dict[str, str], batch: str
) -> None:
    """The thickest of them takes longest, and its hours count for all.

    The hours themselves are held against the published Table 4-1 in the tests of `standard`.
    """
    catalog.create_part(PartFacts("CO-0303", "3", body_mm=2.0), NOW)
    thick = placed(batch, opened(shop["Bench"], 180, part="CO-0303"), 2)
    thin = placed(batch, opened(shop["Bench"], 180), 2)
    found = now(batch)
    assert found.next_step.kind == "bake"
    assert found.bake.needed
    hours = {option.temp_c: option.hours for option in found.bake.options}
    each = {
        p.placed.code: {option.temp_c: option.hours for option in p.bake.options}
        for p in found.placements
    }
    assert each[thick][125] > each[thin][125]
    assert hours[125] == each[thick][125]


def test_the_lowest_limit_of_its_components_decides(shop: dict[str, str], batch: str) -> None:
    """A part that stands 90 °C keeps the whole board below 125 °C, also one that needs no bake."""
    catalog.create_part(PartFacts("CO-0303", "2", body_mm=1.4, max_bake_c=90.0), NOW)
    placed(batch, opened(shop["Bench"], 180), 2)
    placed(batch, opened(shop["Bench"], 3, part="CO-0303"), 2)
    bake = now(batch).bake
    assert bake.max_c == 90.0
    assert [option.temp_c for option in bake.options] == [90, 40]
    assert any(temp_c == 125 and "CO-0303" in why for temp_c, why in bake.refused)
    assert any("connectors" in caution for caution in bake.cautions)
    with pytest.raises(BadInput, match="90 °C at most") as caught:
        happens(batch, "bake_start", 1, place=shop["Oven"], temp_c=125.0)
    assert [one.field for one in caught.value.errors] == ["temp_c"]


def test_level_1_neither_needs_nor_hinders_a_bake(shop: dict[str, str], batch: str) -> None:
    """A part without a floor life has no figure of its own to wait for."""
    catalog.create_part(PartFacts("CR-0001", "1", body_mm=1.0), NOW)
    placed(batch, opened(shop["Bench"], 180), 2)
    placed(batch, opened(shop["Bench"], 180, part="CR-0001"), 2)
    assert now(batch).bake.options[0].temp_c == 125


def test_a_bake_of_the_boards_resets_all_of_them(shop: dict[str, str], batch: str) -> None:
    """Without an oven's readings the stated temperature counts, and it says assumed."""
    placed(batch, opened(shop["Bench"], 300), 100)
    needed = now(batch, 90).bake.options[0]
    baking = happens(batch, "bake_start", 90, place=shop["Oven"], temp_c=needed.temp_c)
    assert now(batch, 89).status == "baking"
    assert baking.place == shop["Oven"]
    out = happens(batch, "bake_end", 90 - float(needed.hours) - 1, place=shop["Bench"])
    assert out.place == shop["Bench"]
    assert out.verdict == "use"
    assert float(out.used_share) < 0.6
    assert out.next_step.kind in ("use", "use_first")


# -- rework -----------------------------------------------------------------------------------


def test_a_finished_board_needs_a_bake_once_its_floor_life_has_passed_again(
    shop: dict[str, str], batch: str
) -> None:
    """Before heat above 200 °C body temperature. Source of the figure: `removal_body` of the data.

    Counted from the last reflow: common practice, no source.
    """
    placed(batch, opened(shop["Bench"], 300), 299)
    happens(batch, "reflow", 200, last=True)
    day_after = now(batch, 176)
    assert not day_after.needs_rework_bake
    assert day_after.next_step.kind == "done"
    assert float(day_after.used_share) == pytest.approx(24 / 168)
    late = now(batch)
    assert late.needs_rework_bake
    assert late.next_step.kind == "rework"
    assert "200 °C" in late.next_step.text
    assert late.placements[0].rework.why == "its floor life is exceeded"


def test_dry_storage_keeps_finished_boards_ready_for_rework(
    shop: dict[str, str], batch: str
) -> None:
    """The same tables count after the last reflow as before it."""
    placed(batch, opened(shop["Bench"], 300), 299)
    happens(batch, "reflow", 200, last=True)
    happens(batch, "move", 199, place=shop["Cabinet"])
    readings(shop["Cabinet"], 25.0, 4.0, 199)
    assert not now(batch).needs_rework_bake


def test_what_was_exceeded_before_the_last_reflow_is_baked_first(
    shop: dict[str, str], batch: str
) -> None:
    """Soldering wet parts did not dry them for sure."""
    placed(batch, opened(shop["Bench"], 200), 199)
    ended = happens(batch, "reflow", 1, last=True)
    assert ended.needs_rework_bake
    assert ended.placements[0].rework.why == "exceeded or unknown, and not baked since"


def test_a_history_that_is_not_known_is_baked_first(shop: dict[str, str], batch: str) -> None:
    """No seal date at receipt: unknown counts as exceeded, level 1 excepted."""
    placed(batch, opened(shop["Bench"], 2, sealed_on=None), 1)
    assert now(batch).needs_rework_bake
    assert happens(batch, "reflow", 0.5, last=True).needs_rework_bake


def test_finished_boards_are_baked_for_rework(shop: dict[str, str], batch: str) -> None:
    """The bake ends the need for one; what was soldered stays soldered and in order."""
    child = placed(batch, opened(shop["Bench"], 400), 399)
    happens(batch, "reflow", 390, last=True)
    assert now(batch, 100).needs_rework_bake
    hours = float(now(batch, 100).bake.options[0].hours)
    start = event("", "bake_start", 100, place=shop["Oven"], temp_c=125.0)
    assert boards.record(batch, start, NOW).result == "created"
    assert boards.record(batch, start, NOW).result == "duplicate"
    assert now(batch, 99).status == "baking"
    assert now(batch, 99).needs_rework_bake
    happens(batch, "bake_end", 100 - hours, place=shop["Bench"])
    after = now(batch, 50)
    assert not after.needs_rework_bake
    assert "since its bake" in after.placements[0].rework.why
    soldered = state(child, NOW)
    assert (soldered.ledger.gone, soldered.conflicts) == ("soldered", ())


def test_a_rework_bake_that_was_too_short_does_not_count(shop: dict[str, str], batch: str) -> None:
    """Ended early, the need stands."""
    placed(batch, opened(shop["Bench"], 400), 399)
    happens(batch, "reflow", 390, last=True)
    happens(batch, "bake_start", 100, place=shop["Oven"], temp_c=125.0)
    happens(batch, "bake_end", 98, place=shop["Bench"])
    assert now(batch).needs_rework_bake


@pytest.mark.parametrize(("place", "field"), [("Bench", "place"), (None, "place")])
def test_a_rework_bake_is_in_an_oven(
    shop: dict[str, str], batch: str, place: str | None, field: str
) -> None:
    """As every bake."""
    placed(batch, opened(shop["Bench"], 10), 9)
    happens(batch, "reflow", 5, last=True)
    with pytest.raises(BadInput) as caught:
        happens(batch, "bake_start", 1, place=shop.get(place or ""), temp_c=125.0)
    assert [one.field for one in caught.value.errors] == [field]
