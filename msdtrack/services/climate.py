"""Readings of the air: taken in from sensors, files and people, and asked for again."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import NamedTuple

from msdtrack.errors import BadInput
from msdtrack.exposure.air import HOLDS_S
from msdtrack.exposure.spans import Missing
from msdtrack.store import places, reading_log
from msdtrack.store.connection import read, write

AHEAD_S = 120
"""A sensor's clock may be ahead by this much."""

COLUMNS = ("place", "at", "temp_c", "rh_pct")

_TEMP_RANGE_C = (-40, 80)
_OVEN_TEMP_RANGE_C = (-40, 200)
_SEPARATORS = ",;\t"
_NUMBERS = (int, float)
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_ALL_PLACES = 100_000


class NewReading(NamedTuple):
    """A reading as sent.

    Attributes:
        place: code of the place.
        at: moment, seconds UTC.
        temp_c: temperature, °C.
        rh_pct: relative humidity, %; None only from an oven.
    """

    place: str
    at: int
    temp_c: float
    rh_pct: float | None


@dataclass(frozen=True, slots=True)
class RefusedRow:
    """A reading that was not taken, and what to do about it.

    Attributes:
        row: its number: the line of a file, else its position from 1.
    """

    row: int
    message: str


@dataclass(frozen=True, slots=True)
class ReadingsResult:
    """What became of the readings sent.

    Attributes:
        accepted: stored by this call, replacements among them.
        duplicates: there before with the same values.
    """

    accepted: int
    duplicates: int
    refused: list[RefusedRow]


@dataclass(frozen=True, slots=True)
class AirNow:
    """The newest reading of a place.

    Attributes:
        temp_c: °C; None without a reading.
        rh_pct: % RH; None without a reading, or from an oven that has no such sensor.
        at: its moment, seconds UTC.
        age_s: how old it is, seconds.
        missing: why the air counts as assumed now; None if the reading still speaks for it.
        dew_point_c: dew point over water, °C.
    """

    place: str
    temp_c: float | None
    rh_pct: float | None
    at: int | None
    age_s: int | None
    missing: Missing | None
    dew_point_c: float | None


def add_readings(
    rows: Sequence[NewReading],
    now: int,
    replaces: bool = False,
    numbers: Sequence[int] | None = None,
) -> ReadingsResult:
    """Store readings, in one transaction; good rows are kept, whatever the others are.

    Args:
        rows: in any order.
        now: the present moment.
        replaces: values that differ from those stored for the same place and second take their
            place; otherwise such a row is refused.
        numbers: how to call each row in a message; None: its position from 1.
    """
    if numbers is None:
        numbers = range(1, len(rows) + 1)
    refused: list[RefusedRow] = []
    accepted = duplicates = 0
    with write():
        kinds = {place.code: place.kind for place in places.places(limit=_ALL_PLACES)}
        good: dict[str, list[tuple[int, int, int | None]]] = {}
        origins: dict[str, list[int]] = {}
        latest = now + AHEAD_S
        for number, row in zip(numbers, rows, strict=True):
            place, at, temp_c, rh_pct = row
            oven = kinds.get(place) == "oven"
            low, high = _OVEN_TEMP_RANGE_C if oven else _TEMP_RANGE_C
            if (
                place in kinds
                and type(at) is int
                and 0 <= at <= latest
                and type(temp_c) in _NUMBERS
                and low <= temp_c <= high
                and (oven if rh_pct is None else type(rh_pct) in _NUMBERS and 0 <= rh_pct <= 100)
            ):
                temp_c100 = hundredths_down(temp_c) if oven else hundredths_up(temp_c)
                rh_c100 = None if rh_pct is None else hundredths_up(rh_pct)
                good.setdefault(place, []).append((at, temp_c100, rh_c100))
                origins.setdefault(place, []).append(number)
            else:
                refused.append(RefusedRow(number, _what_is_wrong(row, kinds, latest)))
        for place, readings in good.items():
            outcome = reading_log.add_readings(place, readings, now, replaces)
            accepted += outcome.accepted
            duplicates += outcome.duplicates
            refused += [
                RefusedRow(
                    origins[place][index],
                    f"other values are stored for {place} at this second: send it as a "
                    "replacement if these are the right ones",
                )
                for index in outcome.conflicts
            ]
    return ReadingsResult(accepted, duplicates, sorted(refused, key=lambda one: one.row))


def add_csv(text: str, tz: tzinfo, now: int, replaces: bool = False) -> ReadingsResult:
    """Store the readings of a file; `row` of what is refused is the line of the file.

    Args:
        text: the file, as for `read_csv`.
        tz: the zone of times without an offset.
        now: the present moment.
        replaces: as for `add_readings`.

    Raises:
        BadInput: it is no file of readings at all.
    """
    numbered, refused = read_csv(text, tz)
    result = add_readings(
        [reading for _, reading in numbered], now, replaces, [line for line, _ in numbered]
    )
    everything = sorted(refused + result.refused, key=lambda one: one.row)
    return ReadingsResult(result.accepted, result.duplicates, everything)


def read_csv(text: str, tz: tzinfo) -> tuple[list[tuple[int, NewReading]], list[RefusedRow]]:
    """Return the readings of a file with their lines, and the lines that hold none.

    The first line names the columns place, at, temp_c and rh_pct, in any order. They are separated
    by commas, or by semicolons or tabs, and then numbers may have a decimal comma. A place is given
    by its code or by a name that only one place has.

    Args:
        text: the file.
        tz: the zone of times without an offset.

    Raises:
        BadInput: the first line does not name the four columns.
    """
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


def air_now(place: str, now: int) -> AirNow:
    """Return the newest reading of a place and how old it is.

    Raises:
        NotFound: there is no such place.
    """
    with read():
        places.place(place)
        newest = reading_log.newest([place]).get(place)
    if newest is None:
        return AirNow(place, None, None, None, None, "no_reading_yet", None)
    age_s = max(0, now - newest.at)
    temp_c = newest.temp_c100 / 100
    rh_pct = None if newest.rh_c100 is None else newest.rh_c100 / 100
    return AirNow(
        place,
        temp_c,
        rh_pct,
        newest.at,
        age_s,
        "no_reading_since" if age_s > HOLDS_S else None,
        None if rh_pct is None else dew_point_c(temp_c, rh_pct),
    )


def history(place: str, start: int, end: int, step: int) -> list[tuple[int, float, float | None]]:
    """Return the worst air of each step of time that has readings, for a small chart.

    Args:
        place: code of the place.
        start: first moment, seconds UTC.
        end: last moment.
        step: length of a step, seconds.

    Returns:
        (start of the step, highest temperature in °C, highest humidity in % RH), by moment;
        humidity None where no reading of the step has it.
    """
    steps: dict[int, tuple[int, int | None]] = {}
    for at, temp, rh in reading_log.readings(place, start, end):
        begin = start + (at - start) // step * step
        worst_temp, worst_rh = steps.get(begin, (temp, rh))
        known = [value for value in (worst_rh, rh) if value is not None]
        steps[begin] = max(worst_temp, temp), max(known, default=None)
    return [(at, temp / 100, None if rh is None else rh / 100) for at, (temp, rh) in steps.items()]


def dew_point_c(temp_c: float, rh_pct: float) -> float | None:
    """Return the dew point over water, °C, below 0 °C too (over ice it would be the frost point).

    Args:
        temp_c: air temperature, °C, -45 to 60.
        rh_pct: relative humidity, % over water.

    Returns:
        °C; None for air without any water.

    Source: Magnus form with the coefficients 17.62 and 243.12 °C, WMO-No. 8, Annex 4.B
        (Sonntag 1990).
    """
    if rh_pct <= 0:
        return None
    gamma = math.log(rh_pct / 100) + 17.62 * temp_c / (243.12 + temp_c)
    return 243.12 * gamma / (17.62 - gamma)


def hundredths_up(value: float) -> int:
    """Return a value in hundredths, rounded up: air is never taken for better than it is."""
    # Rounded first, or 60.1 would become 6011.
    return math.ceil(round(value * 100, 6))


def hundredths_down(value: float) -> int:
    """Return a value in hundredths, rounded down: an oven is never taken for hotter than it is."""
    return math.floor(round(value * 100, 6))


def _what_is_wrong(row: NewReading, kinds: dict[str, str], latest: int) -> str:
    place, at, temp_c, rh_pct = row
    if place not in kinds:
        return f"there is no place {place}: put it on file first, or give another code"
    oven = kinds[place] == "oven"
    low, high = _OVEN_TEMP_RANGE_C if oven else _TEMP_RANGE_C
    if type(at) is not int or at < 0:
        return f"at: {at!r} is no moment"
    if at > latest:
        return "at: more than 2 minutes ahead of the server's clock: check the sensor's clock"
    if type(temp_c) not in _NUMBERS:
        return f"temp_c: {temp_c!r} is no number"
    if not low <= temp_c <= high:
        return f"temp_c: {temp_c:g} °C is outside {low} to {high} °C: check the sensor"
    if rh_pct is None:
        return "rh_pct: only an oven's reading may lack the humidity"
    if type(rh_pct) not in _NUMBERS:
        return f"rh_pct: {rh_pct!r} is no number"
    return f"rh_pct: {rh_pct:g} % is outside 0 to 100 %: check the sensor"


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
    everywhere = places.places(limit=_ALL_PLACES)
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
