"""What a run needs, read from lines pasted from a spreadsheet: a part and its pieces."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from msdtrack.digits import whole_number
from msdtrack.phrases import listed
from msdtrack.services import catalog
from msdtrack.services.run_plan import MOST_PIECES, Need, summed
from msdtrack.store.catalog import parts_by_number

MOST_LINES = 200
MOST_CHARACTERS = 6000
"""The whole of a plan's address must get through what stands between a browser and the server,
some of which takes 8000 characters."""

_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
_SEPARATED = re.compile(r"\d{1,3}([ ,.']\d{3})+")
"""Pieces written in groups of three digits."""


@dataclass(frozen=True, slots=True)
class Needs:
    """What lines say.

    Args:
        needs: parts and pieces, in the order of the lines.
        findings: what is wrong, each with its line.
        notes: what was taken to be meant.
    """

    needs: tuple[Need, ...]
    findings: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Line:
    """One line. `wrong`: why it can't be read; `instead`: another part it might name, which makes
    it unclear."""

    number: int
    part: str = ""
    pieces: int = 0
    wrong: str = ""
    instead: str = ""


def read_needs(text: str) -> Needs:
    """Return the needs that lines of text say: a part and its pieces with a tab, a semicolon, a
    comma or spaces between them.

    Args:
        text: the lines; empty ones are left out.
    """
    # What a program marks a text with as its own is seen by nobody.
    text = text.removeprefix("\ufeff")
    lines = [(n, line.strip()) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    if len(lines) > MOST_LINES:
        return _refused(f"{len(lines)} lines, at most {MOST_LINES}: plan the run in two.")
    if len(text) > MOST_CHARACTERS:
        return _refused(f"{len(text)} characters, at most {MOST_CHARACTERS}: plan the run in two.")
    read = [_read(number, line) for number, line in lines]
    known = parts_by_number({name for one in read for name in (one.part, one.instead) if name})
    needs: list[Need] = []
    findings = [] if lines else ["Write at least one line: a part and its pieces."]
    named: dict[str, list[str]] = {}
    near = _in_any_case(one.part for one in read if one.part and one.part not in known)
    for one in read:
        wrong = one.wrong or _doubt(one, known, near)
        if wrong:
            findings.append(f"Line {one.number}: {wrong}")
            continue
        needs.append(Need(one.part, one.pieces))
        named.setdefault(one.part, []).append(str(one.number))
    sums = summed(needs)
    notes = [
        f"{part} stands in lines {listed(numbers, 9)}: {sums[part]} pieces in all."
        for part, numbers in named.items()
        if len(numbers) > 1
    ]
    return Needs(tuple(needs), tuple(findings), tuple(notes))


def _read(number: int, line: str) -> _Line:
    if _CONTROL.search(line):
        return _Line(number, wrong="it holds a control character: type it anew.")
    for separator in "\t;":
        if separator in line:
            cells = [cell.strip() for cell in line.split(separator)]
            while cells and not cells[-1]:
                cells.pop()
            if len(cells) != 2 or not cells[0]:
                return _Line(number, wrong="give two columns, the part and its pieces.")
            return _with_pieces(number, *cells)
    # A part's number may hold spaces and commas: its pieces are what comes last.
    found = re.fullmatch(r"(.*?)\s*[,\s]\s*([^,\s]*)", line)
    if found is None or not found[1]:
        return _Line(number, wrong="give a part and its pieces, such as WX-100 250.")
    one = _with_pieces(number, found[1], found[2])
    for split in re.finditer(r"[,\s]+", line):
        if split.start() and _SEPARATED.fullmatch(line[split.end() :]):
            return _Line(number, one.part, one.pieces, one.wrong, line[: split.start()])
    return one


def _with_pieces(number: int, part: str, text: str) -> _Line:
    pieces = whole_number(text, 12)
    if pieces is None:
        written = re.sub(r"\D", "", text) if _SEPARATED.fullmatch(text) else ""
        instead = f": write {written}." if written else "."
        return _Line(number, wrong=f'"{text}" is no whole number of pieces{instead}')
    if not 1 <= pieces <= MOST_PIECES:
        return _Line(number, wrong=f"from 1 to {MOST_PIECES} pieces.")
    return _Line(number, part, pieces)


def _doubt(one: _Line, known: Mapping[str, object], near: Mapping[str, str]) -> str:
    """Return what is wrong with a line that could be read, "" for nothing."""
    if one.instead in known:
        return "it can be read in two ways: write the pieces without a separator, such as 1200."
    if one.part not in known:
        meant = near.get(one.part.casefold())
        return f"there is no part {one.part}." + (f" Is it {meant}?" if meant else "")
    return ""


def _in_any_case(unknown: Iterable[str]) -> dict[str, str]:
    """Return the parts on file by their numbers without regard to case, if any is asked for."""
    if not list(unknown):
        return {}
    return {part.number.casefold(): part.number for part in catalog.parts(limit=10_000)}


def _refused(why: str) -> Needs:
    return Needs((), (why,), ())
