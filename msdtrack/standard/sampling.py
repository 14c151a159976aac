"""Sample checks of a lot: how many pieces to check, and with how many failing it is accepted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from msdtrack.errors import BadInput
from msdtrack.standard.figures import load

_DATA: Final = load("sampling")
_ACCEPT: Final[Mapping[str, Mapping[str, int | str]]] = _DATA["plans"]["accept"]

LEVELS: Final[tuple[str, ...]] = tuple(_DATA["levels"])
"""Inspection levels, the special ones first. Source: ISO 2859-1 table 1."""

USUAL_LEVEL: Final[str] = _DATA["usual_level"]
"""The level where nothing else was agreed. Source: ISO 2859-1, from memory."""

AQLS_PCT: Final[tuple[str, ...]] = tuple(_ACCEPT)
"""Acceptance quality limits on file, % of pieces that fail, as the standard writes them."""

SAMPLE_SIZES: Final[Mapping[str, int]] = _DATA["plans"]["sizes"]
"""Pieces in the sample by code letter. Source: ISO 2859-1 table 2-A."""

SOURCE: Final[str] = _DATA["clause"]


@dataclass(frozen=True, slots=True)
class SamplingPlan:
    """How a lot is checked.

    Attributes:
        lot_letter: Code letter of the lot's size.
        letter: Code letter of the plan used; another one where the table sends to it.
        sample_size: Pieces to check.
        accept: Most failing pieces the lot is accepted with.
        inspect_all: The sample is the whole lot.
    """

    lot_letter: str
    letter: str
    sample_size: int
    accept: int
    inspect_all: bool

    @property
    def reject(self) -> int:
        """Fewest failing pieces the lot is rejected with."""
        return self.accept + 1


def code_letter(lot_size: int, level: str = USUAL_LEVEL) -> str:
    """Returns the code letter of a lot.

    Args:
        lot_size: Pieces in the lot, 1 or more; a single piece has the letter of the smallest lots
            (a rule of this program: the table begins at 2).
        level: One of `LEVELS`.

    Raises:
        BadInput: No pieces, or an unknown level.

    Source: ISO 2859-1 table 1.
    """
    if level not in LEVELS:
        raise BadInput(f"{level!r} is no inspection level; give one of {', '.join(LEVELS)}.")
    if lot_size < 1:
        raise BadInput("A lot has at least one piece.")
    letters = next(
        letters
        for largest, letters in _DATA["letters"]["rows"]
        if lot_size <= largest or largest == 0
    )
    return str(letters[LEVELS.index(level)])


def sampling_plan(lot_size: int, aql_pct: str, level: str = USUAL_LEVEL) -> SamplingPlan:
    """Returns the plan for a lot: single sampling, normal inspection.

    Args:
        lot_size: Pieces in the lot.
        aql_pct: One of `AQLS_PCT`.
        level: One of `LEVELS`.

    Raises:
        BadInput: No pieces, or no table for this AQL or level.

    Source: ISO 2859-1 tables 1 and 2-A; the acceptance numbers from memory.
    """
    if aql_pct not in _ACCEPT:
        raise BadInput(f"No table for an AQL of {aql_pct} %; give one of {', '.join(AQLS_PCT)}.")
    lot_letter = code_letter(lot_size, level)
    letter, accept = _followed(_ACCEPT[aql_pct], lot_letter)
    size = SAMPLE_SIZES[letter]
    return SamplingPlan(lot_letter, letter, min(size, lot_size), accept, size >= lot_size)


def _followed(column: Mapping[str, int | str], letter: str) -> tuple[str, int]:
    """Returns the letter and the acceptance number where the arrows of a column end."""
    letters = list(column)
    while isinstance(entry := column[letter], str):
        letter = letters[letters.index(letter) + (1 if entry == "v" else -1)]
    return letter, entry
