"""What counts as the air of a place, at the edges of each rule."""

from __future__ import annotations

from fractions import Fraction

import pytest

from msdtrack.exposure.facts import AirSettings, Dated, Policies
from tests.exposure.histories import HOUR_S, T0, History, carrier, part, steady

THICK_3 = part("3", 3.5)
MINUTE = Fraction(1, 60)
ASSUMED_WORSE = AirSettings(3200, 6500)
"""35 °C / 70 % of Table 7-1: 4 days for a thick level 3, against 7 of the label."""


def out(*readings: tuple[float, float, float], **settings: AirSettings) -> History:
    """Return a thick level 3 carrier on the floor since T0; readings: minute, °C, % RH."""
    history = History(carrier(THICK_3))
    history.readings["floor"] = [
        (T0 + round(60 * minute), round(100 * temp), round(100 * rh))
        for minute, temp, rh in readings
    ]
    history.settings.update(settings)
    return history.add("open", 0)


def test_readings_exactly_30_minutes_apart_are_measured_air() -> None:
    history = out((0, 26, 50), (30, 26, 50), floor=ASSUMED_WORSE)
    state = history.state(0.5)
    assert state.used_share == Fraction(1, 2) / 168
    assert state.ledger.assumed == 0
    assert history.working(0.5).lines[0].basis == "measured"


def test_readings_31_minutes_apart_leave_a_gap_of_assumed_air() -> None:
    history = out((0, 26, 50), (31, 26, 50), floor=ASSUMED_WORSE)
    state = history.state(31 / 60)
    assert state.used_share == state.ledger.assumed == 31 * MINUTE / 96
    assert state.unknowns == ("gap",)


def test_a_gap_counts_no_better_than_the_readings_at_its_ends() -> None:
    history = out((0, 26, 75), (60, 33, 50))
    line = history.working(1).lines[0]
    assert line.raw == (3300, 7500)
    assert line.cell is not None
    assert (line.cell.temp_c, line.cell.rh_pct) == (35, 80)


def test_between_two_readings_the_higher_of_each_counts() -> None:
    history = out((0, 20, 70), (30, 29, 40))
    line = history.working(0.5).lines[0]
    assert line.raw == (2900, 7000)
    assert line.guarded == (2950, 7300)


def test_the_last_reading_holds_30_minutes_and_then_the_worse_of_it_and_the_assumed_air() -> None:
    history = out((0, 26, 50), floor=ASSUMED_WORSE)
    assert history.state(0.5).used_share == Fraction(1, 2) / 168
    state = history.state(0.5 + 1)
    assert state.used_share == Fraction(1, 2) / 168 + Fraction(1, 96)
    assert state.unknowns == ("no_reading_since",)


def test_before_the_first_reading_the_assumed_air_counts() -> None:
    history = out((60, 26, 50), floor=ASSUMED_WORSE)
    state = history.state(1)
    assert state.used_share == Fraction(1, 96)
    assert state.unknowns == ("no_reading_yet",)


def test_a_gap_that_a_later_reading_closes_lets_a_past_share_rise() -> None:
    """As of half an hour the last reading still held; the next one, later, was hotter."""
    history = out((0, 26, 50), (20, 34, 50))
    assert history.state(19 / 60).used_share == 19 * MINUTE / 168
    assert history.state(0.5).used_share > 30 * MINUTE / 168


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "cell"),
    [
        (24.5, 57, (25, 60)),
        (24.51, 57, (30, 60)),
        (24.5, 57.01, (25, 70)),
        (34.5, 87, (35, 90)),
        (19.5, 2, (20, 5)),
        (12, 1, (20, 5)),
        (19.51, 2.01, (25, 10)),
    ],
)
def test_the_cell_is_that_of_the_guarded_air_never_a_milder_one(
    temp_c: float, rh_pct: float, cell: tuple[int, int]
) -> None:
    line = out((0, temp_c, rh_pct)).working(0.5).lines[0]
    assert line.cell is not None
    assert (line.cell.temp_c, line.cell.rh_pct) == cell


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "within"),
    [(30, 60, True), (30.01, 60, False), (30, 60.01, False)],
)
def test_30_and_60_themselves_are_within_and_the_guard_does_not_move_that_edge(
    temp_c: float, rh_pct: float, within: bool
) -> None:
    history = out((0, temp_c, rh_pct))
    state = history.state(0.5)
    assert state.ledger.outside_30_60 is not within
    label = Fraction(1, 2) / 168
    assert (state.used_share == label) is within
    assert state.used_share >= label


def test_assumed_air_gets_no_guard() -> None:
    """30/60 assumed is the cell 30/60; with the sensor's tolerance it would be 35/70."""
    line = out().working(1).lines[0]
    assert line.raw == line.guarded == (3000, 6000)


@pytest.mark.parametrize(("temp_c", "rh_pct"), [(34.51, 40), (20, 87.01), (60, 60)])
def test_air_beyond_the_table_counts_as_its_worst_cell_and_says_so(
    temp_c: float, rh_pct: float
) -> None:
    history = out((0, temp_c, rh_pct))
    line = history.working(0.25).lines[0]
    assert line.cell is not None
    assert (line.cell.temp_c, line.cell.rh_pct, line.cell.days) == (35, 90, 3)
    assert "beyond the table" in line.note
    assert line.share == Fraction(1, 4) / 72


def test_15_minutes_beyond_the_table_may_dry_again_and_a_second_more_needs_a_bake() -> None:
    history = out((0, 36, 50), (20, 36, 50))
    assert "beyond_table" not in history.state(0.25).reasons
    assert "beyond_table" in history.state(0.25 + 1 / 3600).reasons


def test_two_short_spells_beyond_the_table_with_a_break_between_are_not_one() -> None:
    spell = [(0, 36, 50), (14, 36, 50), (14.5, 25, 50), (15.5, 25, 50), (16, 36, 50), (27, 36, 50)]
    history = out(*spell)
    assert "beyond_table" not in history.state(27 / 60).reasons


def test_a_spell_beyond_the_table_ends_where_dry_storage_begins() -> None:
    history = out((0, 36, 50), (30, 36, 50))
    history.readings["cabinet"] = steady(24, 2, 1)
    history.add("move", 10 / 60, place="cabinet").add("move", 11 / 60, place="floor")
    assert "beyond_table" not in history.state(26 / 60).reasons
    assert "beyond_table" in history.state(26 / 60 + 1 / 3600).reasons


def test_level_1_takes_no_harm_beyond_the_table() -> None:
    history = History(carrier(part("1", 1.4)))
    history.readings["floor"] = steady(40, 95, 100, 1800)
    state = history.add("open", 0).state(100)
    assert (state.verdict, state.used_share) == ("use", 0)


def test_a_changed_assumed_air_and_tolerance_hold_from_their_date() -> None:
    history = out()
    change = Dated(AirSettings(), ((T0 + 2 * HOUR_S, ASSUMED_WORSE),))
    air = history.places.air("floor")
    air.settings = change
    spans = list(air.spans(T0, T0 + 4 * HOUR_S, T0 + 4 * HOUR_S))
    assert [(s.start - T0, s.end - T0, s.raw) for s in spans] == [
        (0, 2 * HOUR_S, (3000, 6000)),
        (2 * HOUR_S, 4 * HOUR_S, (3200, 6500)),
    ]


def test_a_changed_credit_policy_holds_from_its_date_in_the_middle_of_a_span() -> None:
    history = History(carrier(part("3", 3.5, compound_confirmed=True)))
    history.readings["floor"] = steady(22, 42, 12)
    history.policies = Policies(credit=Dated(False, ((T0 + 4 * HOUR_S, True),)))
    history.add("open", 0)
    assert history.state(12).used_share == Fraction(4, 168) + Fraction(8, 24 * 9)


def test_an_ovens_readings_are_never_the_air_of_a_carrier_that_only_stands_in_it() -> None:
    history = History(carrier(THICK_3))
    history.readings["oven"] = steady(125, 1, 10)
    state = history.add("open", 0).add("move", 0, place="oven").state(10)
    assert state.used_share == state.ledger.assumed == Fraction(10, 168)
    assert state.unknowns == ("no_reading_yet",)


@pytest.mark.parametrize("place", [None, "never heard of"])
def test_a_carrier_whose_place_is_not_known_is_at_the_default_assumed_air(
    place: str | None,
) -> None:
    history = History(carrier(THICK_3, place=place))
    history.settings["floor"] = ASSUMED_WORSE
    state = history.add("open", 0).state(12)
    assert state.used_share == Fraction(12, 168)
    assert state.unknowns == ("place_unknown",)
    assert "place not known" in history.working(12).lines[0].note


def test_what_is_not_known_stands_in_the_working_and_in_the_state() -> None:
    history = History(carrier(part("3"), sealed_on=None))
    history.readings["floor"] = [(T0 + m * 60, 2600, 6500) for m in (60, 80, 200)]
    history.add("open", 0).add("move", 5, place=None)
    assert history.state(6).unknowns == (
        "gap",
        "history_unknown",
        "no_reading_since",
        "no_reading_yet",
        "place_unknown",
        "thickness_unknown",
    )
    notes = " ".join(line.note for line in history.working(6).lines)
    for words in ("no reading yet", "a gap", "no reading since", "place not known", "not certain"):
        assert words in notes
