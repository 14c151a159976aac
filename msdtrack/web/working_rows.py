"""The working behind a number as rows of a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from msdtrack.exposure.working import Line
from msdtrack.web.wording import BASES


@dataclass(frozen=True, slots=True)
class WorkingLine:
    """One line of the working.

    Args:
        line: the line.
        place: name of its place.
        basis: what it stands on.
        anchor: anchor of its cell on the page of tables, or "".
        running: the used share at its end.
    """

    line: Line
    place: str
    basis: str
    anchor: str
    running: Fraction


def working_lines(lines: Sequence[Line], names: Mapping[str, str]) -> tuple[WorkingLine, ...]:
    """Return the lines of a working as rows.

    Args:
        lines: in order of time.
        names: place names by code.
    """
    found, running = [], Fraction(0)
    for line in lines:
        running += line.share
        place = "not known" if line.place is None else names.get(line.place, line.place)
        cell = line.cell
        anchor = "" if cell is None else f"derating_{cell.group}"
        found.append(WorkingLine(line, place, BASES[line.basis], anchor, running))
    return tuple(found)
