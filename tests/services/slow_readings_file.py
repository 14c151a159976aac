"""A file of readings row by row: what `readings_file` is held against."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from datetime import datetime, tzinfo

from msdtrack.errors import BadInput
from msdtrack.services import climate
from msdtrack.services.climate import NewReading, ReadingsResult, RefusedRow
from msdtrack.store import places

COLUMNS = ("place", "at", "temp_c", "rh_pct")
_SEPARATORS = ",;\t"
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")


def add_csv(text: str, tz: tzinfo, now: int, replaces: bool) -> ReadingsResult:
    """Store the readings of a file."""
    numbered, refused = read_csv(text, tz)
    result = climate.add_readings(
        [reading for _, reading in numbered], now, replaces, [line for line, _ in numbered]
    )
    everything = sorted(refused + result.refused, key=lambda one: one.row)
    return ReadingsResult(result.accepted, result.duplicates, everything)


def read_csv(text: str, tz: tzinfo) -> tuple[list[tuple[int, NewReading]], list[RefusedRow]]:
    """Return the readings of a file with their lines, and the lines that hold none."""
    lines = list(io.StringIO(text.removeprefix("\ufeff"), newline=""))
    head = next((line for line in lines if line.strip()), "")
    separator = max(_SEPARATORS, key=head.count)
    codes = _codes_by_name()
    found: list[tuple[int, NewReading]] = []
    refused: list[RefusedRow] = []
    order: tuple[int, ...] | None = None
    for first, line, cells in _rows(lines, separator):
        if isinstance(cells, str):
            refused.append(RefusedRow(line, cells))
        elif not any(cells):
            continue
        elif order is None:
            order = _column_order(cells)
        elif first != line:
            message = f"a quotation mark is open up to line {line}: remove it, send them again"
            refused.append(RefusedRow(first, message))
        elif len(cells) != len(COLUMNS):
            refused.append(RefusedRow(line, f"{len(COLUMNS)} values expected, not {len(cells)}"))
        else:
            place, at, temp_c, rh_pct = (cells[position].strip() for position in order)
            try:
                reading = NewReading(
                    _code(place, codes),
                    _moment(at, tz),
                    _number(temp_c, "temp_c", separator),
                    _number(rh_pct, "rh_pct", separator) if rh_pct else None,
                )
            except ValueError as error:
                refused.append(RefusedRow(line, str(error)))
            else:
                found.append((line, reading))
    if order is None:
        raise BadInput(f"The file is empty: its first line is {','.join(COLUMNS)}.")
    return found, refused


def _rows(lines: list[str], separator: str) -> Iterator[tuple[int, int, list[str] | str]]:
    """Yield (first line, last line, cells) of each row of a file, or why it can't be read."""
    reader = csv.reader(lines, delimiter=separator, strict=True)
    first = 1
    while True:
        cells: list[str] | str
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            cells = f"can't be read ({error}): check its quotation marks"
        yield first, reader.line_num, cells
        first = reader.line_num + 1


def _column_order(cells: list[str]) -> tuple[int, ...]:
    """Return where each of `COLUMNS` stands, from the cells of the first line."""
    names = [cell.strip().lower() for cell in cells]
    if sorted(names) != sorted(COLUMNS):
        raise BadInput(
            f"The first line must be {','.join(COLUMNS)} (or with semicolons or tabs), "
            f"not {' '.join(cells).strip()[:80]!r}."
        )
    return tuple(names.index(column) for column in COLUMNS)


def _codes_by_name() -> dict[str, str | None]:
    """Return the code for each code and name in small letters; None where a name is shared."""
    everywhere = places.places(limit=100_000)
    codes: dict[str, str | None] = {}
    for place in everywhere:
        name = place.name.casefold()
        codes[name] = None if name in codes else place.code
    return codes | {place.code.casefold(): place.code for place in everywhere}


def _code(place: str, codes: dict[str, str | None]) -> str:
    try:
        code = codes[place.casefold()]
    except KeyError:
        raise ValueError(f"there is no place {place!r}: put it on file, or give its code") from None
    if code is None:
        raise ValueError(f"more than one place is called {place!r}: give its code")
    return code


def _moment(text: str, tz: tzinfo) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    # A day alone would read as its midnight.
    if moment is None or len(text) < len("20260504T13"):
        raise ValueError(f"at: {text!r} is no time like 2026-05-04 13:30 or 2026-05-04T13:30:00Z")
    if moment.microsecond:
        raise ValueError(f"at: {text!r} is not on a whole second")
    if moment.tzinfo is None:
        first = moment.replace(tzinfo=tz)
        moment = first
        offset, other = first.utcoffset(), first.replace(fold=1).utcoffset()
        if offset is not None and other is not None and offset != other:
            what = "occurs twice" if offset > other else "does not exist"
            raise ValueError(
                f"at: {text!r} {what} where the clocks change: add its offset, such as +01:00"
            )
    return int(moment.timestamp())


def _number(text: str, name: str, separator: str) -> float:
    plain = text if separator == "," else text.replace(",", ".")
    if _NUMBER.fullmatch(plain) is None:
        raise ValueError(f"{name}: {text!r} is no number")
    return float(plain)
