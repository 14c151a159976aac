"""The derating table: its cells, its laws and the rate taken from it."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from msdtrack.errors import BadInput
from msdtrack.standard import derating, levels
from msdtrack.standard.package_groups import GROUPS

TABLE_LEVELS = ("2", "2a", "3", "4", "5", "5a")
CELLS = range(derating.WORST_CELL + 1)
NO_LIMIT = Fraction(10**9)

temps = st.integers(-4000, 9000)
humidities = st.integers(0, 10000)


def life(group: str, level: str, cell: int) -> Fraction:
    """A life that can be compared: no limit is longer than any."""
    days = derating.life_days(group, level, cell)
    return NO_LIMIT if days is None else days


def test_the_table_has_the_published_steps() -> None:
    assert derating.TEMPS_C == (20, 25, 30, 35)
    assert derating.RHS_PCT == (5, 10, 20, 30, 40, 50, 60, 70, 80, 90)
    assert (derating.WORST_CELL, derating.BEYOND) == (39, 40)
    assert derating.cell_air(derating.WORST_CELL) == (35, 90)


@pytest.mark.parametrize("cell", CELLS)
def test_a_tabulated_air_is_answered_by_its_own_cell(cell: int) -> None:
    temp_c, rh_pct = derating.cell_air(cell)
    assert derating.cell_for(100 * temp_c, 100 * rh_pct) == cell


@pytest.mark.parametrize(
    ("temp_c100", "rh_c100", "air"),
    [
        (2000, 500, (20, 5)),
        (-500, 0, (20, 5)),
        (2001, 501, (25, 10)),
        (2550, 5500, (30, 60)),
        (3000, 6000, (30, 60)),
        (3000, 6001, (30, 70)),
        (3001, 6000, (35, 60)),
        (3500, 9000, (35, 90)),
    ],
)
def test_air_between_the_steps_is_rounded_up(
    temp_c100: int, rh_c100: int, air: tuple[int, int]
) -> None:
    assert derating.cell_air(derating.cell_for(temp_c100, rh_c100)) == air


@pytest.mark.parametrize(("temp_c100", "rh_c100"), [(3501, 500), (2000, 9001), (6000, 9500)])
def test_air_past_the_last_step_is_beyond_the_table(temp_c100: int, rh_c100: int) -> None:
    assert derating.cell_for(temp_c100, rh_c100) == derating.BEYOND


@given(temps, humidities)
def test_the_answering_cell_is_never_milder_than_the_air(temp_c100: int, rh_c100: int) -> None:
    cell = derating.cell_for(temp_c100, rh_c100)
    if cell == derating.BEYOND:
        assert temp_c100 > 3500 or rh_c100 > 9000
    else:
        temp_c, rh_pct = derating.cell_air(cell)
        assert 100 * temp_c >= temp_c100
        assert 100 * rh_pct >= rh_c100


@given(temps, humidities, st.integers(0, 3000), st.integers(0, 3000))
def test_worse_air_never_leaves_more_life(
    temp_c100: int, rh_c100: int, hotter: int, wetter: int
) -> None:
    mild = derating.cell_for(temp_c100, rh_c100)
    harsh = derating.cell_for(temp_c100 + hotter, rh_c100 + wetter)
    for group, level in product(GROUPS, TABLE_LEVELS):
        assert life(group, level, harsh) <= life(group, level, mild)


@pytest.mark.parametrize("group", GROUPS)
def test_no_life_rises_with_humidity_or_temperature(group: str) -> None:
    for level, cell in product(TABLE_LEVELS, CELLS):
        row, column = divmod(cell, 10)
        if column < 9:
            assert life(group, level, cell + 1) <= life(group, level, cell), (level, cell)
        if row < 3:
            assert life(group, level, cell + 10) <= life(group, level, cell), (level, cell)


@pytest.mark.parametrize("group", GROUPS)
def test_no_life_rises_with_the_level(group: str) -> None:
    for (milder, stricter), cell in product(pairwise(TABLE_LEVELS), CELLS):
        assert life(group, stricter, cell) <= life(group, milder, cell), (stricter, cell)


@pytest.mark.parametrize(("group", "level"), [*product(GROUPS, TABLE_LEVELS[1:])])
def test_at_30_c_and_60_pct_each_level_has_its_floor_life(group: str, level: str) -> None:
    days = derating.life_days(group, level, derating.cell_for(3000, 6000))
    assert days is not None
    assert 24 * days == levels.floor_life_h(level)


@pytest.mark.parametrize(("group", "cell"), [*product(GROUPS, CELLS)])
def test_level_2_is_answered_by_the_row_of_level_2a(group: str, cell: int) -> None:
    assert derating.life_days(group, "2", cell) == derating.life_days(group, "2a", cell)


@pytest.mark.parametrize(("group", "level"), [*product(GROUPS, TABLE_LEVELS)])
def test_air_beyond_the_table_takes_the_shortest_life_of_the_level(group: str, level: str) -> None:
    shortest = min(life(group, level, cell) for cell in CELLS)
    assert derating.life_days(group, level, derating.BEYOND) == shortest


def test_half_days_are_exact() -> None:
    assert derating.life_days("thin", "3", derating.WORST_CELL) == Fraction(1, 2)


@pytest.mark.parametrize("level", ["1", "6", "7", "2A"])
def test_levels_outside_the_table_are_refused(level: str) -> None:
    with pytest.raises(BadInput):
        derating.life_days("thin", level, 0)
    with pytest.raises(BadInput):
        derating.table_rate_per_h(level, ("thin",), 0)


@pytest.mark.parametrize("cell", [-1, 41, 400])
def test_an_unknown_cell_is_refused(cell: int) -> None:
    with pytest.raises(BadInput):
        derating.cell_air(cell)
    with pytest.raises(BadInput):
        derating.life_days("thin", "3", cell)


def test_beyond_has_no_air_of_its_own() -> None:
    with pytest.raises(BadInput):
        derating.cell_air(derating.BEYOND)


def test_an_unknown_group_and_no_group_are_refused() -> None:
    with pytest.raises(BadInput):
        derating.life_days("flat", "3", 0)
    with pytest.raises(BadInput):
        derating.table_rate_per_h("3", (), 0)


@pytest.mark.parametrize(
    ("level", "groups", "temp_c", "rh_pct", "hours", "governs"),
    [
        ("3", ("thin",), 30, 70, 24, "thin"),
        ("3", ("thick",), 30, 70, 120, "thick"),
        ("3", ("thin", "thick"), 30, 70, 24, "thin"),
        ("3", ("thin", "thick"), 30, 20, 240, "thick"),
        ("3", ("thin", "medium", "thick"), 30, 60, 168, "thin"),
        ("3", ("thick", "medium"), 30, 60, 168, "medium"),
    ],
)
def test_the_highest_rate_governs_and_a_tie_goes_to_the_thinner_group(
    level: str, groups: tuple[str, ...], temp_c: int, rh_pct: int, hours: int, governs: str
) -> None:
    cell = derating.cell_for(100 * temp_c, 100 * rh_pct)
    assert derating.table_rate_per_h(level, groups, cell) == (Fraction(1, hours), governs)


def test_no_limit_is_a_rate_of_zero() -> None:
    assert derating.table_rate_per_h("3", ("medium", "thick"), 0) == (Fraction(0), "medium")


@given(
    st.sampled_from(TABLE_LEVELS),
    st.sets(st.sampled_from(GROUPS), min_size=1),
    st.sampled_from(GROUPS),
    st.integers(0, derating.BEYOND),
)
def test_one_more_group_in_question_never_lowers_the_rate(
    level: str, groups: set[str], more: str, cell: int
) -> None:
    few, _ = derating.table_rate_per_h(level, tuple(groups), cell)
    many, governs = derating.table_rate_per_h(level, (*groups, more), cell)
    assert many >= few
    assert many == derating.table_rate_per_h(level, (governs,), cell)[0]
