"""Data identifiers: the characters before each value on a supplier's label, and what they mean."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from msdtrack.errors import BadInput
from msdtrack.standard.figures import load

_WRITTEN = re.compile(r"(\d{0,3}[A-Z])(.*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class DataIdentifier:
    """One identifier.

    Attributes:
        code: As it stands before the value, for example "1T".
        fact: What it tells, as one word: "lot", "quantity"; several identifiers tell "date".
        meaning: The same in a few words, for people.
        longest: Most characters of the value; None where no limit is known.
    """

    code: str
    fact: str
    meaning: str
    longest: int | None = None


IDENTIFIERS: Final[Mapping[str, DataIdentifier]] = {
    code: DataIdentifier(code, *entry)
    for code, entry in load("data_identifiers")["identifiers"].items()
}
"""The identifiers that are known here. Source: ANSI MH10.8.2, second-hand; see the data file."""


@dataclass(frozen=True, slots=True)
class LabelDate:
    """A date as a label codes it: a day or a week, with a century or without.

    Attributes:
        identifier: The data identifier it stood behind.
        text: The value as coded.
        year: With its century, or of the century only (0 to 99).
        has_century: Whether `year` has its century.
        week: 1 to 53; None where a day is given.
        month, day: The day; None where a week is given.
    """

    identifier: str
    text: str
    year: int
    has_century: bool
    week: int | None = None
    month: int | None = None
    day: int | None = None

    @property
    def words(self) -> str:
        """The date for people; a century that is not there is not made up."""
        year = f"{self.year}" if self.has_century else f"'{self.year:02d}"
        if self.week is not None:
            return f"week {self.week} of {year}"
        return f"{year}-{self.month:02d}-{self.day:02d}"

    def earliest_day(self, not_after: date) -> date:
        """Returns the earliest day it can mean.

        Args:
            not_after: The latest day that is possible; a missing century is the last one that
                does not lead past it.

        Raises:
            BadInput: It leads past that day, or the day does not exist in its year.

        Source: a week is counted from the Sunday on or before 1 January, which is no later than
            under ISO 8601 or any other common count; common practice, no source.
        """
        last = not_after.year
        year = self.year if self.has_century else last - (last - self.year) % 100
        found = self._first_day(year)
        if found > not_after and not self.has_century:
            found = self._first_day(year - 100)
        if found > not_after:
            raise BadInput(f"{self.text} lies ahead of {not_after}: look at the label again.")
        return found

    def _first_day(self, year: int) -> date:
        if self.week is not None:
            new_year = date(year, 1, 1)
            sunday = new_year - timedelta(days=new_year.isoweekday() % 7)
            return sunday + timedelta(weeks=self.week - 1)
        try:
            return date(year, self.month or 0, self.day or 0)
        except ValueError:
            raise BadInput(f"There is no day {self.text} in {year}.") from None


def split_identifier(text: str) -> tuple[str, str] | None:
    """Returns the identifier that a text begins with and its value; None if it has not that form.

    Whether the identifier is a known one is another question: the list has hundreds.

    Source: form 0 to 3 digits, then one capital letter, ANSI MH10.8.2, second-hand.
    """
    match = _WRITTEN.fullmatch(text)
    return None if match is None else (match[1], match[2])


def read_date(identifier: str, value: str) -> LabelDate | None:
    """Returns what a date means; None if its identifier leaves that to the two parties (9D).

    Args:
        identifier: D, 6D, 10D, 11D, 12D, 14D, 16D or 25D.
        value: The text behind it.

    Raises:
        BadInput: The value has not the form of the identifier, or there is no such day or week.

    Source: the forms are those of ANSI MH10.8.2, second-hand; week 53 exists in ISO 8601.
    """
    form = _FORMS.get(identifier)
    if form is None:
        return None
    match = form.fullmatch(value)
    if match is None:
        raise BadInput(f"{identifier}{value}: {IDENTIFIERS[identifier].meaning} was expected.")
    parts = {name: int(text) for name, text in match.groupdict().items()}
    found = LabelDate(identifier, value, has_century=len(match["year"]) == 4, **parts)
    if found.week is not None:
        if not 1 <= found.week <= 53:
            raise BadInput(f"{identifier}{value}: there is no week {found.week}.")
    elif not found.has_century:
        found._first_day(2000 + found.year)
    else:
        found._first_day(found.year)
    return found


_YYYYMMDD = re.compile(r"(?P<year>[12]\d{3})(?P<month>\d\d)(?P<day>\d\d)", re.ASCII)
_FORMS: Final[Mapping[str, re.Pattern[str]]] = {
    "D": re.compile(r"(?P<year>\d\d)(?P<month>\d\d)(?P<day>\d\d)", re.ASCII),
    "6D": re.compile(_YYYYMMDD.pattern + r"(?:\d{3})?", re.ASCII),
    "10D": re.compile(r"(?P<year>\d\d)(?P<week>\d\d)", re.ASCII),
    "11D": re.compile(r"(?P<year>[12]\d{3})(?P<week>\d\d)", re.ASCII),
    "12D": _YYYYMMDD,
    "14D": _YYYYMMDD,
    "16D": _YYYYMMDD,
    "25D": _YYYYMMDD,
}
