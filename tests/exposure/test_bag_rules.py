"""Dry bags: their cards, their desiccant, their shelf life, and logs that contradict them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

import pytest

from msdtrack.exposure.events import effective, lineage
from msdtrack.exposure.state import CarrierState, state_of
from tests.exposure.histories import DRY_HIC, HOUR_S, T0, History, carrier, part, steady
from tests.exposure.worlds import amended, voided

SECOND = 1 / 3600
MINUTE = 1 / 60
GOOD_BAG = {"desiccant": "fresh", "new_hic": "fresh", "seal": "heat"}
REUSED = GOOD_BAG | {"desiccant": "reused"}
LAST_DAY = date(2026, 9, 21)
"""The day that begins at T0."""

SPOTS_5_HUMID = {"5": "humid", "10": "dry", "60": "dry"}
SPOTS_10_HUMID = {"5": "humid", "10": "humid", "60": "dry"}
SPOTS_60_HUMID = {"5": "humid", "10": "humid", "60": "humid"}
UNREADABLE = {"5": "missing", "10": "missing", "60": "missing"}


def bagged(msl: str = "3", **facts: Any) -> History:
    """Return a carrier in its bag on a mild floor."""
    history = History(carrier(part(msl, 1.4), **facts))
    history.readings["floor"] = steady(24, 50, 200, 900)
    return history


# -- the card --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("msl", "card", "reasons"),
    [
        ("2", SPOTS_10_HUMID, ()),
        ("2", SPOTS_60_HUMID, ("hic_failed",)),
        ("2a", SPOTS_10_HUMID, ("hic_failed",)),
        ("5a", SPOTS_10_HUMID, ("hic_failed",)),
        ("3", SPOTS_5_HUMID, ()),
        ("3", UNREADABLE, ("hic_missing",)),
        ("3", None, ("hic_missing",)),
        ("1", SPOTS_60_HUMID, ()),
    ],
)
def test_the_card_of_an_opened_bag_decides_by_level(
    msl: str, card: Mapping[str, str] | None, reasons: tuple[str, ...]
) -> None:
    state = bagged(msl).add("open", 0, hic=card).state(0)
    assert state.reasons == reasons
    assert state.verdict == ("do_not_use" if reasons else "use")


def test_quality_decides_about_a_missing_card_and_a_bake_about_a_failed_one() -> None:
    missing = bagged().add("open", 0, hic=UNREADABLE)
    assert missing.state(0).next_step.kind == "hold"
    assert missing.add("release", 1, reason="seen by quality").state(1).verdict == "use"
    failed = bagged().add("open", 0, hic=SPOTS_10_HUMID)
    assert failed.state(0).next_step.kind == "bake"
    assert failed.add("release", 1, reason="seen by quality").state(1).verdict == "do_not_use"


def test_a_good_card_later_does_not_undo_a_bad_one() -> None:
    history = bagged().add("open", 0, hic=SPOTS_10_HUMID).add("close", 1, **GOOD_BAG)
    assert history.add("open", 50).state(50).reasons == ("hic_failed",)


# -- closing ---------------------------------------------------------------------------------


def test_closing_keeps_the_share() -> None:
    history = bagged().add("open", 0).add("close", 8, **GOOD_BAG)
    state = history.state(20)
    assert (state.status, state.used_share) == ("in_dry_bag", Fraction(8, 168))


@pytest.mark.parametrize(("minutes", "status"), [(30, "in_dry_bag"), (31, "exposed")])
def test_desiccant_out_for_30_minutes_may_be_used_again_and_for_31_not(
    minutes: int, status: str
) -> None:
    history = bagged().add("open", 0).add("close", minutes * MINUTE, **REUSED)
    state = history.state(10)
    assert state.status == status
    if status == "exposed":
        assert state.used_share == Fraction(10, 168)
        assert "desiccant does not count" in history.working(10).lines[-1].note


def test_the_30_minutes_of_desiccant_are_over_all_openings_since_it_was_fresh() -> None:
    history = bagged()
    for hour in (0, 10):
        history.add("open", hour).add("close", hour + 16 * MINUTE, **REUSED)
    assert history.state(5).status == "in_dry_bag"
    assert history.state(15).status == "exposed"
    fresh = bagged().add("open", 0).add("close", 16 * MINUTE, **GOOD_BAG)
    fresh.add("open", 10).add("close", 10 + 16 * MINUTE, **REUSED)
    assert fresh.state(15).status == "in_dry_bag"


def test_desiccant_whose_5_percent_spot_is_humid_is_not_used_again() -> None:
    history = bagged().add("open", 0, hic=SPOTS_5_HUMID).add("close", 0.1, **REUSED)
    assert history.state(5).status == "exposed"
    fresh = bagged().add("open", 0, hic=SPOTS_5_HUMID).add("close", 0.1, **GOOD_BAG)
    assert fresh.state(5).status == "in_dry_bag"


# -- shelf life ------------------------------------------------------------------------------


def test_shelf_life_is_12_months_from_the_seal_date_unless_the_label_says_otherwise() -> None:
    assert bagged(sealed_on=date(2026, 9, 1)).state(0).shelf_life_ends == date(2027, 9, 1)
    assert bagged(shelf_life_ends=LAST_DAY).state(0).shelf_life_ends == LAST_DAY


def test_the_last_day_of_shelf_life_is_still_good_and_the_next_is_over() -> None:
    history = bagged(shelf_life_ends=LAST_DAY)
    assert history.state(24 - SECOND).verdict == "use"
    over = history.state(24)
    assert over.reasons == ("shelf_life_over",)
    assert over.next_step.kind == "open"
    assert not over.bake.needed


def test_an_over_aged_bag_with_a_good_card_may_be_used_and_sealed_for_another_12_months() -> None:
    history = bagged(shelf_life_ends=LAST_DAY).add("open", 30)
    assert history.state(30).verdict == "use"
    state = history.add("close", 31, **GOOD_BAG).state(40)
    assert (state.verdict, state.shelf_life_ends) == ("use", date(2027, 9, 22))
    assert state.ledger.sealed_on == date(2026, 9, 22)
    clipped = history.add("open", 41).add("close", 41.1, **REUSED).state(90)
    assert clipped.ledger.sealed_on == date(2026, 9, 22)


@pytest.mark.parametrize("card", [SPOTS_10_HUMID, UNREADABLE])
def test_an_over_aged_bag_with_a_bad_or_missing_card_is_baked(card: Mapping[str, str]) -> None:
    history = bagged(shelf_life_ends=LAST_DAY).add("open", 30, hic=card)
    state = history.state(30)
    assert state.bake.needed
    assert state.bake.column == "over_72h"
    for hour in (31, 41):
        history.add("close", hour, **GOOD_BAG).add("open", hour + 9)
        assert history.state(hour + 9).bake.needed


@pytest.mark.parametrize(
    ("card", "closing"),
    [
        (DRY_HIC, GOOD_BAG | {"seal": "clip"}),
        (DRY_HIC, GOOD_BAG | {"new_hic": "kept"}),
        (DRY_HIC, REUSED),
        (SPOTS_10_HUMID, GOOD_BAG),
        (UNREADABLE, GOOD_BAG),
    ],
)
def test_anything_less_than_a_whole_new_dry_pack_keeps_the_earlier_end(
    card: Mapping[str, str], closing: dict[str, str]
) -> None:
    history = bagged().add("open", 0, hic=card).add("close", 0.25, **closing)
    assert history.state(1).shelf_life_ends == date(2027, 9, 1)


def test_a_whole_new_dry_pack_after_a_good_card_or_a_reset_starts_12_months() -> None:
    good = bagged().add("open", 0).add("close", 0.25, **GOOD_BAG)
    assert good.state(1).shelf_life_ends == date(2027, 9, 21)
    baked = bagged().add("open", 0, hic=SPOTS_10_HUMID)
    baked.add("bake_start", 0, place="oven", temp_c=125.0).add("bake_end", 10)
    assert baked.add("close", 10, **GOOD_BAG).state(11).shelf_life_ends == date(2027, 9, 21)


# -- contradictions --------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["close", "take", "load", "split", "bake_start", "reflow"])
def test_what_needs_an_open_bag_means_it_was_open_since_it_was_last_known_closed(
    kind: str,
) -> None:
    history = bagged().add("open", 0).add("close", 1, **GOOD_BAG)
    what: dict[str, Any] = {"child": "C2", "quantity": 1} if kind == "split" else {}
    if kind == "bake_start":
        what = {"place": "oven", "temp_c": 125.0}
    state = history.add(kind, 11, **what).state(11)
    assert state.used_share == Fraction(11, 168)
    assert state.verdict == "do_not_use"
    assert "history_conflict" in state.reasons
    assert [conflict.event_id for conflict in state.conflicts] == ["e3"]


def test_a_carrier_that_turns_up_exposed_is_exposed_since_it_was_received() -> None:
    history = bagged(received_at=T0 - 5 * HOUR_S).add("take", 3, quantity=10)
    assert history.state(3).used_share == Fraction(8, 168)


def test_an_opening_nobody_recorded_gives_no_new_shelf_life_and_no_good_desiccant() -> None:
    history = bagged().add("open", 0).add("close", 0.1, **GOOD_BAG)
    again = replace(history, events=[*history.events]).add("close", 48, **GOOD_BAG)
    assert again.state(49).shelf_life_ends == date(2027, 9, 21)
    reused = replace(history, events=[*history.events]).add("close", 0.2, **REUSED)
    assert reused.state(1).status == "exposed"


def test_a_contradicted_bake_is_exposure_in_the_oven() -> None:
    history = bagged().add("open", 0).add("bake_start", 1, place="oven", temp_c=125.0)
    history.add("close", 30, **GOOD_BAG)
    state = history.state(30)
    assert state.used_share == Fraction(30, 168)
    assert [conflict.message for conflict in state.conflicts] == [
        "closed while its bake was running"
    ]


def corrected(history: History, *corrections: Any) -> History:
    """Return the history with its corrections in place."""
    return replace(history, events=effective([*history.events, *corrections]))


def test_voiding_or_supplying_the_missing_event_settles_a_conflict() -> None:
    history = bagged().add("open", 0).add("close", 1, **GOOD_BAG).add("close", 3, **GOOD_BAG)
    assert history.state(4).reasons == ("history_conflict",)
    settled = corrected(history, voided(history.events[2], 99)).state(4)
    assert (settled.reasons, settled.used_share) == ((), Fraction(1, 168))
    supplied = history.add("open", 2).state(4)
    assert (supplied.reasons, supplied.used_share) == ((), Fraction(2, 168))


def test_a_voided_correction_counts_no_more_and_the_one_before_it_stands_again() -> None:
    history = bagged().add("open", 0)
    earlier = amended(history.events[0], 10, at=T0 - 10 * HOUR_S)
    later = amended(history.events[0], 11, at=T0 - 20 * HOUR_S)
    assert corrected(history, earlier, later).state(1).used_share == Fraction(21, 168)
    undone = corrected(history, earlier, later, voided(later, 12))
    assert undone.state(1).used_share == Fraction(11, 168)


def test_a_scrapped_carrier_that_turns_up_again_was_there_all_the_time() -> None:
    history = bagged().add("open", 0).add("scrap", 5)
    gone = history.state(100)
    assert (gone.status, gone.used_share) == ("gone", Fraction(5, 168))
    history.add("move", 20, place="floor")
    back = history.state(100)
    assert back.used_share == Fraction(100, 168)
    assert back.reasons == ("history_conflict",)


@pytest.mark.parametrize(
    ("kind", "message"),
    [
        ("load", "it was loaded while on hold"),
        ("place_on_board", "it was placed on a board while on hold"),
        ("reflow", "it was reflowed while on hold"),
    ],
)
def test_what_was_used_while_on_hold_contradicts_the_hold_until_quality_releases_it(
    kind: str, message: str
) -> None:
    history = bagged().add("open", 0).add("hold", 1, reason="dropped").add(kind, 2, quantity=1)
    held = history.state(3)
    assert held.reasons == ("held", "history_conflict")
    assert [(one.event_id, one.message) for one in held.conflicts] == [
        (history.events[-1].id, message)
    ]
    assert history.state(1.5).reasons == ("held",)
    released = history.add("release", 4, reason="looked at").add(kind, 5, quantity=1).state(6)
    assert (released.reasons, released.conflicts) == ((), ())


def test_a_hold_and_another_contradiction_are_both_told() -> None:
    history = bagged().add("hold", 1, reason="dropped").add("load", 2)
    assert [one.message for one in history.state(3).conflicts] == [
        "it was loaded while on hold",
        "it was loaded with no opening on record",
    ]
    history.add("release", 4, reason="looked at")
    assert [one.message for one in history.state(5).conflicts] == [
        "it was loaded with no opening on record"
    ]


def test_a_last_reflow_while_on_hold_stays_one_and_a_release_after_it_settles_it() -> None:
    history = bagged().add("open", 0).add("hold", 1, reason="smear").add("reflow", 20, last=True)
    state = history.state(30)
    assert state.ledger.gone == "soldered"
    assert state.used_share == Fraction(20, 168)
    assert "history_conflict" in state.reasons
    released = history.add("release", 40, reason="wiped").state(50)
    assert (released.conflicts, released.used_share) == ((), Fraction(20, 168))


def test_a_reflow_while_on_hold_is_settled_by_correcting_it_or_the_hold() -> None:
    history = bagged().add("open", 0).add("hold", 5, reason="smear").add("reflow", 6)
    hold, reflow = history.events[-2:]
    assert [one.event_id for one in history.state(10).conflicts] == [reflow.id]
    earlier = amended(reflow, 11, at=T0 + 4 * HOUR_S)
    for mended in (earlier, voided(reflow, 11), voided(hold, 11)):
        assert corrected(history, mended).state(10).conflicts == ()


# -- boards and splits -------------------------------------------------------------------------


def test_the_share_of_a_soldered_carrier_is_the_one_at_its_last_reflow_for_ever() -> None:
    history = bagged().add("open", 0).add("reflow", 20).add("reflow", 30, last=True)
    state = history.state(1000)
    assert (state.status, state.used_share) == ("gone", Fraction(30, 168))
    assert "floor_life_exceeded" not in state.reasons


def test_a_reflow_after_the_last_one_contradicts_it_and_the_clock_ran_on() -> None:
    history = bagged().add("open", 0).add("reflow", 20, last=True).add("move", 25, place="floor")
    assert history.state(30).conflicts == ()
    state = history.add("reflow", 40).state(40)
    assert state.used_share == Fraction(40, 168)
    assert "history_conflict" in state.reasons


def child_state(history: History, hour: float) -> CarrierState:
    """Return the state of the child C2 that its parent's event "e2" split off."""
    events = lineage("C2", {"C1": history.events, "C2": []}, {"C2": ("C1", "e2")})
    facts = replace(history.facts, code="C2")
    at = T0 + round(hour * HOUR_S)
    return state_of(facts, events, history.places, history.policies, at)


def test_a_split_child_has_its_parents_share_history_and_its_own_quantity() -> None:
    history = bagged().add("open", 0, hic=UNREADABLE).add("split", 10, child="C2", quantity=300)
    child = child_state(history, 15)
    assert child.used_share == history.state(15).used_share == Fraction(15, 168)
    assert child.reasons == ("hic_missing",)
    assert (child.ledger.quantity, history.state(15).ledger.quantity) == (300, 700)


def test_a_child_follows_a_correction_of_its_parent() -> None:
    history = bagged().add("open", 0).add("split", 10, child="C2", quantity=300)
    history.events.append(amended(history.events[0], 99, at=T0 - 5 * HOUR_S))
    assert child_state(history, 15).used_share == Fraction(20, 168)


def test_a_child_whose_split_was_voided_is_gone() -> None:
    history = bagged().add("open", 0).add("split", 10, child="C2", quantity=300)
    history.events.append(voided(history.events[1], 99))
    assert child_state(history, 15).status == "gone"
