"""What the humidity indicator card (HIC) says at the opening of a dry bag."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from msdtrack.errors import BadInput
from msdtrack.standard.figures import load
from msdtrack.standard.levels import known_level

SPOTS: Final[tuple[str, ...]] = tuple(load("indicator")["spots"])
"""The spots of a card by the relative humidity in % at which they turn, rising."""

SPOT_STATES: Final[tuple[str, ...]] = ("dry", "humid", "missing")
"""What a spot can show; missing: absent or unreadable."""

_DECIDING: Final[Mapping[str, str]] = load("indicator")["deciding_spot"]

Judgement = Literal["good", "failed", "missing"]


def _checked(spots: Mapping[str, str] | None) -> Mapping[str, str]:
    for spot, state in (spots or {}).items():
        if spot not in SPOTS:
            raise BadInput(f"{spot!r} is no spot of the card; give {', '.join(SPOTS)}.")
        if state not in SPOT_STATES:
            raise BadInput(f"{state!r} is no state of a spot; give {', '.join(SPOT_STATES)}.")
    return spots or {}


def judge(level: str, spots: Mapping[str, str] | None) -> Judgement:
    """Returns what the card means for a level.

    The deciding spot is the 60 % one for level 2 and the 10 % one for levels 2a to 6. A card
    whose deciding spot is dry while a higher one is humid contradicts itself: it counts as
    unreadable, "missing". Level 1 has no card to pass and is always "good".

    Args:
        level: One of `LEVELS`.
        spots: State ("dry", "humid" or "missing") by spot ("5", "10", "60"); spots left out are
            missing. None: no card.

    Returns:
        "good"; "failed": bake before use; "missing": nobody can tell, quality decides.

    Raises:
        BadInput: Unknown level, spot or state.

    Source: J-STD-033 (B.1 to D) section 3; level 2 from memory, level 6 is this program's rule.
    """
    card = _checked(spots)
    if known_level(level) == "1":
        return "good"
    deciding = _DECIDING[level]
    state = card.get(deciding, "missing")
    if state == "humid":
        return "failed"
    higher = SPOTS[SPOTS.index(deciding) + 1 :]
    if state == "missing" or any(card.get(spot) == "humid" for spot in higher):
        return "missing"
    return "good"


def fresh_desiccant_due(spots: Mapping[str, str] | None) -> bool:
    """Returns whether the card asks for fresh desiccant: the 5 % spot, or a higher one, is humid.

    Args:
        spots: As `judge`.

    Raises:
        BadInput: Unknown spot or state.

    Source: J-STD-033 (B.1 to D) section 3; a humid higher spot means 5 % was passed too.
    """
    return "humid" in _checked(spots).values()
