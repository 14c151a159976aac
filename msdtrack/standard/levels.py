"""Moisture sensitivity levels (MSL) and their floor life."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from msdtrack.errors import BadInput
from msdtrack.standard.figures import load

LEVELS: Final[tuple[str, ...]] = ("1", "2", "2a", "3", "4", "5", "5a", "6")
"""Every level, from the least to the most sensitive."""

_WRITTEN = re.compile(r"(?:(?:MSL|LEVEL)[\s:.\-]*)?([1346]|[25]A?)", re.IGNORECASE)

_CONDITION: Final[Mapping[str, list[int]]] = load("floor_life")["condition"]
_FLOOR_LIFE_H: Final[Mapping[str, int]] = {
    level: hours for level, hours in load("floor_life")["hours"].items() if isinstance(hours, int)
}


def condition(level: str) -> tuple[int, int]:
    """Returns the air that the floor life holds at: °C and % RH at most.

    Raises:
        BadInput: Unknown level.

    Source: J-STD-033 (B.1 to D) Table 5-1.
    """
    temp_c, rh_pct = _CONDITION.get(known_level(level), _CONDITION["others"])
    return temp_c, rh_pct


def parse_level(text: str) -> str:
    """Returns the level a person or a file wrote, as one of `LEVELS`.

    Args:
        text: The level alone or after "MSL" or "Level", in any case: "2A", "MSL 3", "msl-5a".

    Raises:
        BadInput: It names no level.
    """
    match = _WRITTEN.fullmatch(text.strip())
    if match is None:
        raise BadInput(f"{text!r} is no moisture sensitivity level; give one of {_choices()}.")
    return match[1].lower()


def known_level(level: str) -> str:
    """Returns the level unchanged if it is one of `LEVELS`.

    Raises:
        BadInput: It is not; `parse_level` reads the other ways of writing one.
    """
    if level not in LEVELS:
        raise BadInput(f"{level!r} is no moisture sensitivity level; give one of {_choices()}.")
    return level


def floor_life_h(level: str) -> int | None:
    """Returns the floor life in air within `condition`, in hours.

    Args:
        level: One of `LEVELS`.

    Returns:
        Hours; None where no figure exists: level 1 (`is_unlimited`), and level 6
        (`is_label_timed`), where the label alone gives the time.

    Raises:
        BadInput: Unknown level.

    Source: J-STD-033 (B.1 to D) Table 5-1, J-STD-020.
    """
    return _FLOOR_LIFE_H.get(known_level(level))


def is_unlimited(level: str) -> bool:
    """Returns whether the level has no floor life limit: level 1, at 30 °C and 85 % RH or less.

    Raises:
        BadInput: Unknown level.

    Source: J-STD-033 (B.1 to D) Table 5-1.
    """
    return known_level(level) == "1"


def is_label_timed(level: str) -> bool:
    """Returns whether only the label gives the time on the floor: level 6, baked before use.

    Raises:
        BadInput: Unknown level.

    Source: J-STD-033 (B.1 to D) Table 5-1.
    """
    return known_level(level) == "6"


def _choices() -> str:
    return ", ".join(LEVELS)
