"""Tables that people paste: limits of channels, and values of pieces, each cell read or explained.

Cells are apart by tabs, semicolons or commas. Numbers have a decimal point or a decimal comma, one
of the two in the whole table. Whatever is wrong is told with its row and column, all at once.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from msdtrack.errors import BadInput, FieldError
from msdtrack.store.sample_checks import Channel

MOST_ROWS = 5_000
LONGEST_PIECE = 40
LEAST, MOST = Decimal("1e-15"), Decimal("1e15")
"""What a value is apart from its sign, if it is not zero: a chart can't show more."""
PIECE_HEADINGS = ("", "piece", "pieces", "no", "no.", "nr", "nr.", "#", "serial", "s/n", "sample")
"""Headings of the column that numbers the pieces, in any case."""

_CHANNEL_HEADINGS = ("channel", "name", "channels")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")
_POINT_AND_COMMA = re.compile(r"[+-]?[\d.,]*[.,]\d*[.,][\d.,]*")
_DASHES = str.maketrans({"−": "-", "–": "-"})
_UNIT_AFTER = re.compile(r"(.*?)\s*(?:[\[(]([^\])]*)[\])]|,\s*(\S+))\s*")


@dataclass(frozen=True, slots=True)
class PieceValues:
    """The values of one piece, in the order of the channels."""

    piece: str
    values: tuple[Decimal, ...]


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of the pasted text; `line` counts from 1, empty lines too."""

    line: int
    cells: tuple[str, ...]


class _Findings(list[FieldError]):
    def add(self, line: int, column: int | str, message: str) -> None:
        name = f"column {column}" if isinstance(column, int) else column
        self.append(FieldError(f"row {line}, {name}", message))

    def check(self) -> None:
        if self:
            count = "1 cell needs" if len(self) == 1 else f"{len(self)} cells need"
            raise BadInput(f"Nothing was saved: {count} another look.", self)


def read_channels(text: str) -> tuple[Channel, ...]:
    """Return the channels of a table: name, minimum, maximum, unit; a heading row may come first.

    An empty minimum or maximum is no limit on that side.

    Raises:
        BadInput: cells are wrong; each is named by row and column.
    """
    rows, separator = _rows(text)
    if rows[0].cells[0].casefold() in _CHANNEL_HEADINGS:
        rows = rows[1:]
    findings = _Findings()
    comma = _decimal_commas([row.cells[1:3] for row in rows], separator)
    found: dict[str, Channel] = {}
    for row in rows:
        cells = (*row.cells, "", "", "", "")[:4]
        name = " ".join(cells[0].split())
        if len(row.cells) > 4:
            findings.add(
                row.line,
                5,
                f"4 columns are wanted, {len(row.cells)} are there.{_comma_hint(separator)}",
            )
            continue
        if not name:
            findings.add(row.line, 1, "name the channel")
        elif _plain(name) in found:
            findings.add(row.line, 1, f'"{name}" stands above already')
        limits = []
        for column, cell in ((2, cells[1]), (3, cells[2])):
            value, fault = (None, "") if not cell else _number(cell, comma)
            if fault:
                findings.add(row.line, column, fault)
            limits.append(value)
        low, high = limits
        if not cells[1] and not cells[2]:
            findings.add(row.line, 2, "give a minimum, a maximum or both")
        elif low is not None and high is not None and low > high:
            findings.add(row.line, 3, f"the maximum {high} is below the minimum {low}")
        found.setdefault(_plain(name), Channel(name, low, high, cells[3]))
    if not found:
        findings.add(1, 1, "below the headings is no channel")
    findings.check()
    return tuple(found.values())


def read_values(
    text: str, channels: Sequence[Channel], taken_names: Sequence[str] = ()
) -> list[PieceValues]:
    """Return the values of a table, a row for each piece; the first row names the columns.

    Without a column for the pieces they are numbered on from what has been measured.

    Args:
        text: as pasted.
        channels: what is measured; every one has a column, in any order.
        taken_names: pieces that have values.

    Raises:
        BadInput: cells are wrong; each is named by row and column, and nothing counts.
    """
    rows, separator = _rows(text)
    findings = _Findings()
    heading, rows = rows[0], rows[1:]
    columns, piece_column = _columns(heading, channels, findings)
    findings.check()
    if not rows:
        findings.add(heading.line, 1, "below the headings is no value")
    width = len(heading.cells)
    comma = _decimal_commas(
        [[row.cells[c] for c in columns if c < len(row.cells)] for row in rows], separator
    )
    numbered = (str(n) for n in range(1, 10**9) if str(n) not in taken_names)
    found: dict[str, PieceValues] = {}
    for row in rows:
        if len(row.cells) > width:
            message = f"{len(row.cells)} cells for {width} columns.{_comma_hint(separator)}"
            findings.add(row.line, width + 1, message)
            continue
        cells = (*row.cells, *[""] * (width - len(row.cells)))
        piece = next(numbered) if piece_column is None else " ".join(cells[piece_column].split())
        if not piece:
            findings.add(row.line, "piece", "give the piece its number")
        elif len(piece) > LONGEST_PIECE:
            findings.add(row.line, "piece", f"at most {LONGEST_PIECE} characters")
        elif piece in found:
            findings.add(row.line, "piece", f"piece {piece} stands above already")
        values = []
        for channel, column in zip(channels, columns, strict=True):
            value, fault = _number(cells[column], comma)
            if fault:
                findings.add(row.line, channel.name, fault)
            values.append(value or Decimal(0))
        found[piece] = PieceValues(piece, tuple(values))
    findings.check()
    return list(found.values())


def read_number(text: str) -> tuple[Decimal | None, str]:
    """Return a number that was typed by itself, or None and what is wrong with it."""
    return _number(text.strip(), "," in text and "." not in text)


def _rows(text: str) -> tuple[list[_Row], str]:
    """Return the rows that hold something, and what their cells are apart by."""
    lines = text.lstrip("\ufeff").splitlines()
    first = next((line for line in lines if line.strip()), None)
    if first is None:
        raise BadInput("Nothing was pasted.", [FieldError("row 1, column 1", "paste the table")])
    separator = next((sign for sign in "\t;," if sign in first), "\t")
    rows = []
    for number, line in enumerate(lines, start=1):
        cells = next(csv.reader([line], delimiter=separator), [])
        cells = [cell.replace("\xa0", " ").strip() for cell in cells]
        while cells and not cells[-1]:
            cells.pop()
        if cells:
            rows.append(_Row(number, tuple(cells)))
    if len(rows) > MOST_ROWS:
        raise BadInput(f"At most {MOST_ROWS} rows at a time.")
    return rows, separator


def _columns(
    heading: _Row, channels: Sequence[Channel], findings: _Findings
) -> tuple[list[int], int | None]:
    """Return the column of each channel, and that of the pieces."""
    found: dict[str, int] = {}
    piece_column: int | None = None
    by_name = {_plain(channel.name): channel for channel in channels}
    for column, cell in enumerate(heading.cells):
        name, unit = _plain(cell), ""
        match = _UNIT_AFTER.fullmatch(cell)
        if name not in by_name and match is not None and _plain(match[1]) in by_name:
            name, unit = _plain(match[1]), (match[2] or match[3] or "").strip()
        if name in by_name:
            channel = by_name[name]
            if name in found:
                findings.add(heading.line, column + 1, f'"{channel.name}" has a column already')
            if unit and unit != channel.unit:
                findings.add(
                    heading.line,
                    column + 1,
                    f'"{channel.name}" is in {unit} here, its limits are in '
                    f"{channel.unit or 'no unit'}: convert the values",
                )
            found[name] = column
        elif name in PIECE_HEADINGS and piece_column is None:
            piece_column = column
        else:
            names = ", ".join(channel.name for channel in channels)
            findings.add(
                heading.line,
                column + 1,
                f'"{cell}" is no channel of this check. The first row names the columns: '
                f"piece, {names}. Leave other columns out",
            )
    for name, channel in by_name.items():
        if name not in found:
            findings.add(heading.line, channel.name, "the table has no column for this channel")
    return [found.get(name, 0) for name in by_name], piece_column


def _decimal_commas(cells: Sequence[Sequence[str]], separator: str) -> bool | None:
    """Return whether the numbers of a table have decimal commas; None: both signs are there."""
    numbers = [cell for row in cells for cell in row if not _POINT_AND_COMMA.fullmatch(cell)]
    commas = any("," in cell for cell in numbers)
    if commas and any("." in cell for cell in numbers):
        return None
    return commas


def _number(cell: str, comma: bool | None) -> tuple[Decimal | None, str]:
    """Return a cell's number, or None and what is wrong with it."""
    text = cell.translate(_DASHES)
    if not text:
        return None, "is empty: fill it in, or leave the whole row out"
    if _POINT_AND_COMMA.fullmatch(text):
        return None, f'"{cell}" has more than one point or comma: write it as 1234.5'
    if "," in text and comma is None:
        return None, (
            f'"{cell}" has a comma, other cells have a point: use one sign for decimals in the '
            "whole table, and none for thousands"
        )
    text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text):
        return None, f'"{cell}" is no number: write the number alone, without unit or spaces'
    value = Decimal(text)
    if value and not LEAST <= abs(value) < MOST:
        return None, f'"{cell}" is beyond anything that is measured: check it, and the unit'
    return value, ""


def _comma_hint(separator: str) -> str:
    if separator != ",":
        return ""
    return " If the numbers have decimal commas, set the columns apart by tabs or semicolons."


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()
