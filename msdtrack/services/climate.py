"""Readings of the air: taken in from sensors, files and people, and asked for again."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from msdtrack.exposure.spans import HOLDS_S, Missing
from msdtrack.store import places, reading_log
from msdtrack.store.connection import read, write

AHEAD_S = 120
"""A sensor's clock may be ahead by this much."""

_TEMP_RANGE_C = (-40, 80)
_OVEN_TEMP_RANGE_C = (-40, 200)
_NUMBERS = (int, float)
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


@dataclass(slots=True)
class Checked:
    """Readings of a place that may be stored, column by column.

    Attributes:
        seconds: moments, UTC.
        temps_c100: hundredths of °C.
        rhs_c100: hundredths of % RH.
        numbers: how to call each reading in a message.
    """

    seconds: list[int] = field(default_factory=list)
    temps_c100: list[int] = field(default_factory=list)
    rhs_c100: list[int | None] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)

    def add(self, reading: tuple[int, int, int | None], number: int) -> None:
        """Add one more reading."""
        self.seconds.append(reading[0])
        self.temps_c100.append(reading[1])
        self.rhs_c100.append(reading[2])
        self.numbers.append(number)

    def extend(self, more: Checked) -> None:
        """Add more readings of the same place."""
        self.seconds += more.seconds
        self.temps_c100 += more.temps_c100
        self.rhs_c100 += more.rhs_c100
        self.numbers += more.numbers


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
    good: dict[str, Checked] = {}
    with write():
        ovens = {place.code: place.kind == "oven" for place in places.places(limit=_ALL_PLACES)}
        for number, row in zip(numbers, rows, strict=True):
            try:
                reading = checked(row, ovens, now)
            except ValueError as error:
                refused.append(RefusedRow(number, str(error)))
            else:
                good.setdefault(row.place, Checked()).add(reading, number)
        return add_checked(good, refused, now, replaces)


def add_checked(
    good: Mapping[str, Checked], refused: Sequence[RefusedRow], now: int, replaces: bool
) -> ReadingsResult:
    """Store checked readings by place, in one transaction.

    Args:
        refused: what was refused before, to stand in the result too.
        now, replaces: as for `add_readings`.
    """
    accepted = duplicates = 0
    conflicts: list[RefusedRow] = []
    with write():
        for place, readings in good.items():
            columns = (readings.seconds, readings.temps_c100, readings.rhs_c100)
            outcome = reading_log.add_columns(place, columns, now, replaces)
            accepted += outcome.accepted
            duplicates += outcome.duplicates
            conflicts += [
                RefusedRow(
                    readings.numbers[index],
                    f"other values are stored for {place} at this second: send it as a "
                    "replacement if these are the right ones",
                )
                for index in outcome.conflicts
            ]
    everything = sorted([*refused, *conflicts], key=lambda one: one.row)
    return ReadingsResult(accepted, duplicates, everything)


def checked(
    reading: NewReading, ovens: Mapping[str, bool], now: int
) -> tuple[int, int, int | None]:
    """Return moment, temperature and humidity of a reading, in hundredths, as they are stored.

    Args:
        ovens: each place's code, and whether it is an oven.
        now: the present moment.

    Raises:
        ValueError: it can't be stored; the message says what to do.
    """
    place, at, temp_c, rh_pct = reading
    if place not in ovens:
        raise ValueError(f"there is no place {place}: put it on file first, or give another code")
    if type(at) is not int or at < 0:
        raise ValueError(f"at: {at!r} is no moment")
    if at > now + AHEAD_S:
        raise ValueError(
            "at: more than 2 minutes ahead of the server's clock: check the sensor's clock"
        )
    oven = ovens[place]
    return at, temp_c100(temp_c, oven), rh_c100(rh_pct, oven)


def temp_c100(temp_c: float, oven: bool) -> int:
    """Return a temperature that was read, hundredths of °C.

    Raises:
        ValueError: no sensor reads that.
    """
    low, high = _OVEN_TEMP_RANGE_C if oven else _TEMP_RANGE_C
    if type(temp_c) not in _NUMBERS:
        raise ValueError(f"temp_c: {temp_c!r} is no number")
    if not low <= temp_c <= high:
        raise ValueError(f"temp_c: {temp_c:g} °C is outside {low} to {high} °C: check the sensor")
    return hundredths_down(temp_c) if oven else hundredths_up(temp_c)


def rh_c100(rh_pct: float | None, oven: bool) -> int | None:
    """Return a humidity that was read, hundredths of % RH.

    Raises:
        ValueError: no sensor reads that, or it is missing.
    """
    if rh_pct is None:
        if not oven:
            raise ValueError("rh_pct: only an oven's reading may lack the humidity")
        return None
    if type(rh_pct) not in _NUMBERS:
        raise ValueError(f"rh_pct: {rh_pct!r} is no number")
    if not 0 <= rh_pct <= 100:
        raise ValueError(f"rh_pct: {rh_pct:g} % is outside 0 to 100 %: check the sensor")
    return hundredths_up(rh_pct)


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
