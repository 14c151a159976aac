"""Readings from a file. Its lines say much the same, so each text in them is understood once."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from functools import partial
from itertools import repeat
from typing import Generic, TypeVar

from msdtrack.errors import BadInput
from msdtrack.services import climate
from msdtrack.services.climate import AHEAD_S, Checked, NewReading, ReadingsResult, RefusedRow
from msdtrack.store import places
from msdtrack.store.records import PlaceRecord
from msdtrack.times import clock_change

COLUMNS = ("place", "at", "temp_c", "rh_pct")

_SEPARATORS = ",;\t"
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_HOUR = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ]([01][0-9]|2[0-3])")
_HOUR_LENGTH = len("2026-05-04T13")
_ALL_PLACES = 100_000
_BLOCK = 10_000
_BAD = -(1 << 62)
"""Stands for a text that can't be taken as it is; added to a moment or to itself it is below 0."""

T = TypeVar("T")


def add_csv(text: str, tz: tzinfo, now: int, replaces: bool = False) -> ReadingsResult:
    """Store the readings of a file; `row` of what is refused is the line of the file.

    The first line names the columns place, at, temp_c and rh_pct, in any order. They are separated
    by commas, or by semicolons or tabs, and then numbers may have a decimal comma. A place is given
    by its code or by a name that only one place has.

    Args:
        text: the file.
        tz: the zone of times without an offset.
        now: the present moment.
        replaces: as for `climate.add_readings`.

    Raises:
        BadInput: the first line does not name the four columns.
    """
    text = text.removeprefix("\ufeff")
    # Without a quotation mark a line is a row, and csv splits it where str.split does.
    plain = '"' not in text
    if plain:
        lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        plain = max(map(len, lines)) <= csv.field_size_limit()
    if not plain:
        lines = list(io.StringIO(text, newline=""))
    head = next((line for line in lines if line.strip()), "")
    separator = max(_SEPARATORS, key=head.count)
    rows = _rows(lines, separator)
    file = _File(separator, tz, now)
    for _, line, cells in rows:
        if isinstance(cells, str):
            file.refuse(line, cells)
        elif any(cells):
            file.order = _column_order(cells)
            if plain:
                file.take_lines(lines, line)
            else:
                file.take_rows(rows)
            return climate.add_checked(file.good, file.refused, now, replaces)
    raise BadInput(f"The file is empty: its first line is {','.join(COLUMNS)}.")


class _Known(dict[str, T], Generic[T]):
    """What each text means, found out when it is asked for first."""

    def __init__(self, meaning: Callable[[str], T]) -> None:
        self._meaning = meaning

    def __missing__(self, text: str) -> T:
        found = self[text] = self._meaning(text)
        return found


class _File:
    """Takes the rows of a file block by block, by columns.

    Attributes:
        order: where each of `COLUMNS` stands.
        good: the readings taken, by the code of their place.
        refused: the lines that hold none.
    """

    order: tuple[int, ...]

    def __init__(self, separator: str, tz: tzinfo, now: int) -> None:
        everywhere = places.places(limit=_ALL_PLACES)
        self.good: dict[str, Checked] = {}
        self.refused: list[RefusedRow] = []
        self._separator = separator
        self._tz = tz
        self._now = now
        self._ovens = {place.code: place.kind == "oven" for place in everywhere}
        self._by_name = _codes_by_name(everywhere)
        self._codes = _Known(lambda text: self._by_name.get(text.strip().casefold()))
        self._temps = {oven: _Known(partial(self._temp, oven)) for oven in (False, True)}
        self._rhs = {oven: _Known(partial(self._rh, oven)) for oven in (False, True)}
        self._local = _Known(partial(_hour, "", tz)), _Known(partial(_clock, False))
        self._zoned = _Known(partial(_hour, "Z", UTC)), _Known(partial(_clock, True))

    def refuse(self, line: int, message: str) -> None:
        """Note that a line holds no reading, and why."""
        self.refused.append(RefusedRow(line, message))

    def take_lines(self, lines: Sequence[str], start: int) -> None:
        """Take the lines from an index on; none has a quotation mark."""
        wanted = len(COLUMNS) - 1
        for first in range(start, len(lines), _BLOCK):
            block: Sequence[str] = lines[first : first + _BLOCK]
            numbers: Sequence[int] = range(first + 1, first + 1 + len(block))
            counts = list(map(str.count, block, repeat(self._separator)))
            if counts.count(wanted) < len(block):
                for number, line, count in zip(numbers, block, counts, strict=True):
                    if count != wanted and line.strip(self._separator):
                        self._refuse_count(number, count + 1)
                kept = [i for i, count in enumerate(counts) if count == wanted]
                numbers, block = [numbers[i] for i in kept], [block[i] for i in kept]
            if block:
                self._take(numbers, self._separator.join(block).split(self._separator))

    def take_rows(self, rows: Iterator[tuple[int, int, list[str] | str]]) -> None:
        """Take what `_rows` yields."""
        numbers: list[int] = []
        values: list[str] = []
        for first, line, cells in rows:
            if isinstance(cells, str):
                self.refuse(line, cells)
            elif not any(cells):
                continue
            elif first != line:
                message = f"a quotation mark is open up to line {line}: remove it, send them again"
                self.refuse(first, message)
            elif len(cells) != len(COLUMNS):
                self._refuse_count(line, len(cells))
            else:
                numbers.append(line)
                values += cells
                if len(numbers) == _BLOCK:
                    self._take(numbers, values)
                    numbers, values = [], []
        if numbers:
            self._take(numbers, values)

    def _refuse_count(self, line: int, count: int) -> None:
        self.refuse(line, f"{len(COLUMNS)} values expected, not {count}")

    def _take(self, numbers: Sequence[int], values: Sequence[str]) -> None:
        """Take rows of as many values as there are columns."""
        texts = tuple(values[position :: len(COLUMNS)] for position in self.order)
        named, ats, temps, rhs = texts
        rows_of: dict[str | None, list[int]] = {}
        # A place's code and its name lead to the same list.
        by_text = {text: rows_of.setdefault(self._codes[text], []) for text in dict.fromkeys(named)}
        for row, text in enumerate(named):
            by_text[text].append(row)
        seconds = self._seconds(ats)
        for code, rows in rows_of.items():
            if code is None:
                for row in rows:
                    self._read(numbers[row], *(column[row] for column in texts))
                continue
            temp_of, rh_of = self._temps[self._ovens[code]], self._rhs[self._ovens[code]]
            found = Checked(
                [seconds[row] for row in rows],
                [temp_of[temps[row]] for row in rows],
                [rh_of[rhs[row]] for row in rows],
                [numbers[row] for row in rows],
            )
            if (
                min(found.seconds) < 0
                or max(found.seconds) > self._now + AHEAD_S
                or _BAD in found.temps_c100
                or _BAD in found.rhs_c100
            ):
                found = self._mended(found, [[column[row] for row in rows] for column in texts])
            if found.numbers:
                self.good.setdefault(code, Checked()).extend(found)

    def _mended(self, found: Checked, texts: Sequence[Sequence[str]]) -> Checked:
        """Read the rows that are not plainly good once more, and leave out those that are bad."""
        kept = Checked()
        for second, temp, rh, number, *row in zip(
            found.seconds, found.temps_c100, found.rhs_c100, found.numbers, *texts, strict=True
        ):
            reading: tuple[int, int, int | None] | None = (second, temp, rh)
            if not 0 <= second <= self._now + AHEAD_S or _BAD in (temp, rh):
                reading = self._read(number, *row)
            if reading is not None:
                kept.add(reading, number)
        return kept

    def _read(
        self, line: int, place: str, at: str, temp_c: str, rh_pct: str
    ) -> tuple[int, int, int | None] | None:
        """Return a reading ready to be stored, or None after refusing the line if it has any."""
        if not (place or at or temp_c or rh_pct):
            return None
        try:
            reading = NewReading(
                _code(place.strip(), self._by_name),
                _moment(at.strip(), self._tz),
                _number(temp_c.strip(), "temp_c", self._separator),
                self._rh_pct(rh_pct),
            )
            return climate.checked(reading, self._ovens, self._now)
        except ValueError as error:
            self.refuse(line, str(error))
            return None

    def _seconds(self, ats: Sequence[str]) -> list[int]:
        """Return moments; below 0 where `_read` must say what it is."""
        if ats[0] != ats[0].strip():
            ats = [at.strip() for at in ats]
        # A file writes all its times in one way.
        first_clock = ats[0][_HOUR_LENGTH:]
        hours, clocks = self._zoned if self._local[1][first_clock] == _BAD else self._local
        return [hours[at[:_HOUR_LENGTH]] + clocks[at[_HOUR_LENGTH:]] for at in ats]

    def _temp(self, oven: bool, text: str) -> int:
        try:
            return climate.temp_c100(_number(text.strip(), "temp_c", self._separator), oven)
        except ValueError:
            return _BAD

    def _rh(self, oven: bool, text: str) -> int | None:
        try:
            return climate.rh_c100(self._rh_pct(text), oven)
        except ValueError:
            return _BAD

    def _rh_pct(self, text: str) -> float | None:
        text = text.strip()
        return _number(text, "rh_pct", self._separator) if text else None


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


def _codes_by_name(everywhere: Sequence[PlaceRecord]) -> dict[str, str | None]:
    """Return the code for each code and name in small letters; None where a name is shared."""
    codes: dict[str, str | None] = {}
    for place in everywhere:
        name = place.name.casefold()
        codes[name] = None if name in codes else place.code
    return codes | {place.code.casefold(): place.code for place in everywhere}


def _code(place: str, codes: Mapping[str, str | None]) -> str:
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
        moment = moment.replace(tzinfo=tz)
        if doubt := clock_change(moment):
            raise ValueError(
                f"at: {text!r} {doubt} where the clocks change: add its offset, such as +01:00"
            )
    return int(moment.timestamp())


def _hour(offset: str, tz: tzinfo, text: str) -> int:
    """Return when an hour like 2026-05-04T13 begins; `_BAD` if the clocks change in it."""
    if _HOUR.fullmatch(text) is None:
        return _BAD
    try:
        first, last = _moment(f"{text}:00{offset}", tz), _moment(f"{text}:59:59{offset}", tz)
    except ValueError:
        return _BAD
    return first if last - first == 3599 else _BAD


def _clock(zoned: bool, text: str) -> int:
    """Return how long after the hour the rest of a time is, its offset taken off; `_BAD` if it is
    not whole seconds, or has an offset unlike `zoned`."""
    midnight = "2000-01-01T00"
    try:
        if (datetime.fromisoformat(midnight + text).tzinfo is not None) != zoned:
            return _BAD
        return _moment(midnight + text, UTC) - _moment(midnight, UTC)
    except ValueError:
        return _BAD


def _number(text: str, name: str, separator: str) -> float:
    plain = text if separator == "," else text.replace(",", ".")
    if _NUMBER.fullmatch(plain) is None:
        raise ValueError(f"{name}: {text!r} is no number")
    return float(plain)
