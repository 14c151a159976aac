"""Reset of a short exposure by dry storage: J-STD-033 Table 4-3."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from msdtrack.standard.figures import load
from msdtrack.standard.levels import known_level


@dataclass(frozen=True, slots=True)
class DryStorageRule:
    """What dry storage does for one level after a short exposure.

    Attributes:
        max_exposure_h: Longest exposure, in hours, that dry storage can reset.
        factor: Hours of unbroken dry storage needed for each hour of exposure.
        max_storage_rh_pct: Highest relative humidity, in %, that counts as dry storage.
        pauses: Whether dry storage stops the floor life clock.

    Source: J-STD-033 (B.1 to D) Table 4-3; the numbers from memory.
    """

    max_exposure_h: int
    factor: int
    max_storage_rh_pct: int
    pauses: bool


_RULES: Final[Mapping[str, DryStorageRule]] = {
    level: DryStorageRule(**{key: value for key, value in rule.items() if key != "levels"})
    for rule in load("dry_storage")["rule"]
    for level in rule["levels"]
}


def dry_storage_rule(level: str) -> DryStorageRule | None:
    """Returns the rule of a level; None: dry storage resets nothing (levels 1 and 6).

    It holds only for exposure at 30 °C and 60 % RH or less.

    Raises:
        BadInput: Unknown level.

    Source: J-STD-033 (B.1 to D) Table 4-3; the numbers from memory.
    """
    return _RULES.get(known_level(level))


@lru_cache
def storage_limit_rh_pct(level: str) -> int:
    """Returns the highest relative humidity that counts as dry storage, in %.

    Levels outside the table: level 1 takes the wider limit, since it has no floor life to keep;
    level 6 the narrower one (both are this program's rule).

    Raises:
        BadInput: Unknown level.

    Source: J-STD-033 (B.1 to D) Table 4-3; the numbers from memory.
    """
    limits = {level: rule.max_storage_rh_pct for level, rule in _RULES.items()}
    limits["1"] = max(limits.values())
    limits["6"] = min(limits.values())
    return limits[known_level(level)]
