"""A level is read however it is written, and nothing else passes for one."""

from __future__ import annotations

import pytest

from msdtrack.errors import BadInput
from msdtrack.standard import levels


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("1", "1"),
        ("2A", "2a"),
        (" 5a ", "5a"),
        ("MSL 3", "3"),
        ("msl-5A", "5a"),
        ("MSL2a", "2a"),
        ("Level 4", "4"),
        ("level: 6", "6"),
    ],
)
def test_a_written_level_is_read(text: str, level: str) -> None:
    assert levels.parse_level(text) == level


@pytest.mark.parametrize("level", levels.LEVELS)
def test_every_level_reads_as_itself(level: str) -> None:
    assert levels.parse_level(level) == level
    assert levels.parse_level(f"MSL {level.upper()}") == level


@pytest.mark.parametrize("text", ["", "0", "7", "3a", "2b", "MSL", "33", "3 h", "five", "2 a", "٣"])
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(BadInput, match="5a"):
        levels.parse_level(text)


def test_only_level_1_is_unlimited_and_only_level_6_goes_by_its_label() -> None:
    assert [level for level in levels.LEVELS if levels.is_unlimited(level)] == ["1"]
    assert [level for level in levels.LEVELS if levels.is_label_timed(level)] == ["6"]
    without = [level for level in levels.LEVELS if levels.floor_life_h(level) is None]
    assert without == ["1", "6"]


def test_floor_life_falls_from_level_to_level() -> None:
    lives = [hours for level in levels.LEVELS if (hours := levels.floor_life_h(level)) is not None]
    assert lives == sorted(set(lives), reverse=True)


@pytest.mark.parametrize(
    "ask",
    [
        levels.floor_life_h,
        levels.is_unlimited,
        levels.is_label_timed,
        levels.known_level,
        levels.condition,
    ],
)
def test_an_unknown_level_has_no_answer(ask: object) -> None:
    assert callable(ask)
    with pytest.raises(BadInput):
        ask("2A")


def test_the_air_that_a_floor_life_holds_at() -> None:
    # J-STD-033 Table 5-1.
    assert {levels.condition(level) for level in levels.LEVELS[1:]} == {(30, 60)}
    assert levels.condition("1") == (30, 85)
