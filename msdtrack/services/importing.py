"""Takes in files of parts, carriers and readings: every good line is kept, every other is named."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from datetime import date, tzinfo
from typing import Any
from uuid import NAMESPACE_OID, UUID, uuid5

from msdtrack.digits import whole_number
from msdtrack.errors import BadInput, MsdtrackError
from msdtrack.exposure.facts import MakerBake, PartFacts
from msdtrack.services import catalog, people, readings_file, receiving
from msdtrack.services.climate import RefusedRow
from msdtrack.services.receiving import NewCarrier
from msdtrack.store.connection import write
from msdtrack.store.errors import StoreUnavailable
from msdtrack.times import local_to_utc, parse_time

_SEPARATORS = ",;\t"
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_YES = frozenset({"yes", "true", "1", "x"})
_NO = frozenset({"no", "false", "0"})
_WITHOUT_OFFSET = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9:]{5,8}")


@dataclass(frozen=True, slots=True)
class Taken:
    """A line that was taken in, and the code or number of what it is on file as.

    Attributes:
        row: line of the file.
        new: this file brought it; False: it was on file already, with the same content.
    """

    row: int
    name: str
    new: bool


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of a file's lines.

    Attributes:
        created: lines that brought something new.
        unchanged: lines whose content was on file already.
        refused: lines that were not taken, with why.
        taken: parts and carriers line by line; empty for readings, which are too many.
    """

    created: int
    unchanged: int
    refused: tuple[RefusedRow, ...]
    taken: tuple[Taken, ...] = ()


Convert = Callable[[str], Any]


def import_parts(text: str, now: int, dry_run: bool = False) -> Imported:
    """Put the parts of a file on file.

    Args:
        text: the file; its first line names the columns, which are the fields of the API, those of
            the maker's own bake as `maker_bake.temp_c` and so on. They are separated by commas,
            semicolons or tabs; with semicolons or tabs numbers may have a decimal comma. Yes or no
            is yes, no, true, false, 1 or 0.
        now: the present moment.
        dry_run: only say what would become of it.

    Raises:
        BadInput: it is no such file at all.
    """

    def take(cells: Mapping[str, Any], line: int, copy: int) -> tuple[str, bool]:
        plain = {name: value for name, value in cells.items() if "." not in name}
        bake = {
            name.removeprefix("maker_bake."): value
            for name, value in cells.items()
            if "." in name and value is not None
        }
        if bake and not {"temp_c", "hours"} <= bake.keys():
            raise BadInput("maker_bake: give both maker_bake.temp_c and maker_bake.hours.")
        part, created = catalog.create_part(
            PartFacts(**plain, maker_bake=MakerBake(**bake) if bake else None), now
        )
        return part.number, created

    return _import(text, _PART_COLUMNS, ("number", "msl"), take, dry_run)


def import_carriers(text: str, tz: tzinfo, now: int, dry_run: bool = False) -> Imported:
    """Receive the carriers of a file.

    A line that was taken in before, from this file or a copy of it, is not received again. Where
    two carriers are alike in everything, both stand in the file.

    Args:
        text: as for `import_parts`; the columns are the fields of the API's carriers. `place` may
            be a code or a name that only one place has; an `id` (UUID) of one's own says which
            carrier is meant.
        tz: the zone of times without an offset.
        now: the present moment.
        dry_run: only say what would become of it.

    Raises:
        BadInput: it is no such file at all.
    """
    columns = dict(_CARRIER_COLUMNS)
    columns["opened_at"] = columns["received_at"] = lambda cell: _moment(cell, tz)
    columns["place"] = _place_finder()

    def take(cells: Mapping[str, Any], line: int, copy: int) -> tuple[str, bool]:
        given = {name: value for name, value in cells.items() if value is not None}
        content = json.dumps(given, sort_keys=True, default=str)
        if "person" in given:
            given["person"] = people.person_code(given["person"], now)
        request_id = given.pop("id", None) or str(uuid5(NAMESPACE_OID, f"{copy} {content}"))
        received, created = receiving.receive(NewCarrier(**given), now, request_id)
        return received.code, created

    return _import(text, columns, ("part", "lot", "quantity", "kind"), take, dry_run)


def import_readings(text: str, tz: tzinfo, now: int, dry_run: bool = False) -> Imported:
    """Store the readings of a file, as `readings_file.add_csv` reads it."""
    with _transaction(dry_run):
        result = readings_file.add_csv(text, tz, now)
    return Imported(result.accepted, result.duplicates, tuple(result.refused))


class _DryRun(Exception):
    """Undoes what a dry run wrote."""


@contextmanager
def _transaction(dry_run: bool) -> Iterator[None]:
    try:
        with write():
            yield
            if dry_run:
                raise _DryRun
    except _DryRun:
        pass


def _import(
    text: str,
    columns: Mapping[str, Convert],
    required: Sequence[str],
    take: Callable[[Mapping[str, Any], int, int], tuple[str, bool]],
    dry_run: bool,
) -> Imported:
    taken: list[Taken] = []
    refused: list[RefusedRow] = []
    copies: dict[str, int] = {}
    names, separator, rows = _table(text, columns, required)
    with _transaction(dry_run):
        for line, values in rows:
            try:
                cells = _converted(names, values, columns, required, separator)
                alike = str(sorted(cells.items()))
                copies[alike] = copies.get(alike, 0) + 1
                name, new = take(cells, line, copies[alike])
                taken.append(Taken(line, name, new))
            except StoreUnavailable:
                # No fault of this line: what was taken before it is undone already.
                raise
            except MsdtrackError as error:
                refused.append(RefusedRow(line, error.message))
    created = sum(one.new for one in taken)
    return Imported(created, len(taken) - created, tuple(refused), tuple(taken))


def _table(
    text: str, columns: Mapping[str, Convert], required: Sequence[str]
) -> tuple[list[str], str, Iterator[tuple[int, list[str]]]]:
    """Return the column names, the separator, and the rows, each with the line it begins in."""
    text = text.removeprefix("\ufeff")
    head = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(_SEPARATORS, key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        names = next((row for row in reader if any(cell.strip() for cell in row)), [])
    except csv.Error as error:
        raise BadInput(f"The file can't be read as a table: {error}.") from error
    names = [name.strip().lower() for name in names]
    lacking = [name for name in required if name not in names]
    unknown = [name or "(no name)" for name in names if name not in columns]
    if lacking or unknown or len(set(names)) != len(names):
        said = f"it lacks {', '.join(lacking)}" if lacking else "a column stands there twice"
        said = f"it does not know {', '.join(unknown)}" if unknown else said
        raise BadInput(
            "The first line must name the columns, separated by commas, semicolons or tabs; "
            f"{said}. Columns: {', '.join(columns)}."
        )
    return names, separator, _rows(reader)


def _rows(reader: Any) -> Iterator[tuple[int, list[str]]]:
    line = reader.line_num + 1
    for row in reader:
        if any(cell.strip() for cell in row):
            yield line, row
        line = reader.line_num + 1


def _converted(
    names: Sequence[str],
    values: Sequence[str],
    columns: Mapping[str, Convert],
    required: Sequence[str],
    separator: str,
) -> dict[str, Any]:
    if len(values) != len(names):
        raise BadInput(f"{len(names)} values expected, {len(values)} found.")
    cells: dict[str, Any] = {}
    wrong: list[str] = []
    for name, value in zip(names, values, strict=True):
        text = value.strip()
        if not text:
            if name in required:
                wrong.append(f"{name}: it is missing")
            continue
        convert = columns[name]
        if convert is _number and separator != ",":
            text = text.replace(",", ".")
        try:
            cells[name] = convert(text)
        except BadInput as error:
            wrong.append(f"{name}: {error.message.removesuffix('.')}")
    if wrong:
        raise BadInput("; ".join(wrong) + ".")
    return cells


def _number(text: str) -> float:
    if _NUMBER.fullmatch(text) is None or math.isinf(float(text)):
        raise BadInput(f"{text!r} is no number")
    return float(text)


def _whole(text: str) -> int:
    number = whole_number(text, 15)
    if number is None:
        raise BadInput(f"{text!r} is no whole number")
    return number


def _yes_or_no(text: str) -> bool:
    word = text.lower()
    if word not in _YES | _NO:
        raise BadInput(f"{text!r} is neither yes nor no")
    return word in _YES


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"{text!r} is no day like 2026-05-04") from error


def _moment(text: str, tz: tzinfo) -> int:
    if _WITHOUT_OFFSET.fullmatch(text):
        return local_to_utc(text, tz, plain=True)
    return parse_time(text)


def _uuid(text: str) -> str:
    try:
        return str(UUID(text))
    except ValueError as error:
        raise BadInput(f"{text!r} is no UUID") from error


def _place_finder() -> Convert:
    places = catalog.places(limit=100_000)
    codes = {place.code for place in places}

    def find(text: str) -> str:
        named = [place.code for place in places if place.name.casefold() == text.casefold()]
        if text in codes:
            return text
        if len(named) != 1:
            many = f"{len(named)} places are" if named else "no place is"
            raise BadInput(f"{many} called {text!r}: give a place's code")
        return named[0]

    return find


_PART_CONVERSIONS: dict[str, Convert] = {
    "body_mm": _number,
    "pins": _whole,
    "square": _yes_or_no,
    "large_bga": _yes_or_no,
    "stacked_die": _yes_or_no,
    "compound_confirmed": _yes_or_no,
    "label_floor_life_hours": _number,
    "carrier_max_c": _number,
    "max_bake_c": _number,
    "peak_body_c": _number,
}
_PART_COLUMNS: dict[str, Convert] = {
    **{
        field.name: _PART_CONVERSIONS.get(field.name, str)
        for field in fields(PartFacts)
        if field.name != "maker_bake"
    },
    "maker_bake.temp_c": _number,
    "maker_bake.hours": _number,
    "maker_bake.max_rh_pct": _number,
    "maker_bake.once": _yes_or_no,
}
_CARRIER_COLUMNS: dict[str, Convert] = {
    "id": _uuid,
    "part": str,
    "lot": str,
    "quantity": _whole,
    "kind": str,
    "bag": str,
    "sealed_on": _day,
    "shelf_life_ends": _day,
    "opened_at": str,
    "place": str,
    "received_at": str,
    "msl": str,
    "body_mm": _number,
    "label_floor_life_hours": _number,
    "person": str,
}
