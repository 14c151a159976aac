"""A file of readings is taken in whole, but for the lines that are named with a reason."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from msdtrack.errors import BadInput
from msdtrack.services import catalog, climate, readings_file
from msdtrack.services.catalog import NewPlace
from msdtrack.services.climate import NewReading, ReadingsResult
from msdtrack.store import reading_log
from msdtrack.store.connection import touched, write
from msdtrack.times import parse_time
from tests.services import slow_readings_file
from tests.services.conftest import NOW

LISBON = ZoneInfo("Europe/Lisbon")
UTC_ZONE = ZoneInfo("UTC")
HEAD = "place,at,temp_c,rh_pct\n"


def test_a_file_with_commas_is_read(shop: dict[str, str]) -> None:
    """Codes or names, any order of columns, offsets, a byte order mark and blank lines."""
    text = (
        "\ufeffat,place,rh_pct,temp_c\r\n"
        f"2026-05-04T13:30:00+01:00,{shop['Bench']},45.5,24\r\n"
        "\r\n"
        "2026-05-04 13:35,bench,46,-1.25\r\n"
        '2026-05-04 13:40Z,"Oven",,125\r\n'
    )
    result = readings_file.add_csv(text, LISBON, NOW)
    assert (result.accepted, result.duplicates, result.refused) == (3, 0, [])
    at = parse_time("2026-05-04T12:30:00Z")
    assert reading_log.readings(shop["Bench"]) == [(at, 2400, 4550), (at + 300, -125, 4600)]
    assert reading_log.readings(shop["Oven"]) == [(at + 4200, 12500, None)]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_semicolons_and_tabs_allow_a_decimal_comma(shop: dict[str, str], separator: str) -> None:
    """As spreadsheets of many countries write it."""
    lines = ["place;at;temp_c;rh_pct", "Bench;2026-05-04 13:30;24,5;45.25"]
    text = "\n".join(lines).replace(";", separator)
    assert readings_file.add_csv(text, UTC_ZONE, NOW).accepted == 1
    ((_, temp, rh),) = reading_log.readings(shop["Bench"])
    assert (temp, rh) == (2450, 4525)


def test_bad_lines_of_a_file_are_listed_with_their_number(shop: dict[str, str]) -> None:
    """Every line is either taken or named, also where a quotation mark swallows some."""
    catalog.create_place(NewPlace(name="Twin", kind="floor"), NOW)
    catalog.create_place(NewPlace(name="twin", kind="floor"), NOW)
    lines = {
        2: ("Shed,2026-05-04 13:30,24,45", "no place 'Shed'"),
        3: ("twin,2026-05-04 13:30,24,45", "more than one place"),
        4: ("Bench,04.05.2026 13:30,24,45", "no time like"),
        5: ("Bench,2026-05-04,24,45", "no time like"),
        6: ("Bench,2026-05-04 13:30:00.5,24,45", "whole second"),
        7: ('Bench,2026-05-04 13:30,"24,5",45', "temp_c: '24,5' is no number"),
        8: ("Bench,2026-05-04 13:30,nan,45", "no number"),
        9: ("Bench,2026-05-04 13:30,1_0,45", "no number"),
        10: ("Bench,2026-05-04 13:30,,45", "temp_c: '' is no number"),
        11: ("Bench,2026-05-04 13:30,24", "4 values expected, not 3"),
        12: ("Bench,2026-05-04 13:30,24,200", "outside 0 to 100"),
        13: ("Bench,2026-05-04 13:30,24,", "only an oven"),
        14: ("Bench,2030-05-04 13:30,24,45", "2 minutes ahead"),
        15: ('Bench,2026-05-04 13:50,"24,45\nBench,2026-05-04 13:55,24",45,1', "up to line 16"),
        17: ("Bench,2026-05-04 14:00,24,45", None),
        18: ('Bench,2026-05-04 14:05,24,"45', "quotation mark"),
    }
    text = HEAD + "\n".join(line for line, _ in lines.values())
    result = readings_file.add_csv(text, UTC_ZONE, NOW)
    said = {one.row: one.message for one in result.refused}
    assert result.accepted == 1
    assert said.keys() == {number for number, (_, why) in lines.items() if why is not None}
    for number, (_, why) in lines.items():
        assert why is None or why in said[number]


def test_a_line_too_long_for_a_reading_is_named(shop: dict[str, str]) -> None:
    """The file goes on behind it."""
    long = "x" * (csv.field_size_limit() + 1)
    text = HEAD + f"{long},2026-05-04 13:30,24,45\nBench,2026-05-04 13:30,24,45\n"
    result = readings_file.add_csv(text, UTC_ZONE, NOW)
    assert result.accepted == 1
    assert [(one.row, "can't be read" in one.message) for one in result.refused] == [(2, True)]


@pytest.mark.parametrize(
    "text", ["", "\n\n", "place,at,temp_c\nx", "Bench,2026-05-04,24,45\n", '""\n', ",,,\n"]
)
def test_what_is_no_file_of_readings_is_refused(shop: dict[str, str], text: str) -> None:
    """The message shows the first line that is wanted."""
    with pytest.raises(BadInput, match="place,at,temp_c,rh_pct"):
        readings_file.add_csv(text, UTC_ZONE, NOW)


def test_local_times_follow_the_zone_and_the_changing_hours_need_an_offset(
    shop: dict[str, str],
) -> None:
    """A time that occurs twice or never is not guessed at (change days of the EU, 2026)."""
    at = [
        "2026-03-29 00:59",
        "2026-03-29 01:30",
        "2026-03-29 02:00",
        "2026-10-25 00:59",
        "2026-10-25 01:30",
        "2026-10-25 01:30+00:00",
        "2026-10-25 02:00",
    ]
    text = HEAD + "".join(f"Bench,{one},24,45\n" for one in at)
    result = readings_file.add_csv(text, LISBON, parse_time("2026-11-24T12:00:00Z"))
    assert [second for second, _, _ in reading_log.readings(shop["Bench"])] == [
        parse_time("2026-03-29T00:59:00Z"),
        parse_time("2026-03-29T01:00:00Z"),
        parse_time("2026-10-24T23:59:00Z"),
        parse_time("2026-10-25T01:30:00Z"),
        parse_time("2026-10-25T02:00:00Z"),
    ]
    assert [one.row for one in result.refused] == [3, 6]
    assert "does not exist" in result.refused[0].message
    assert "occurs twice" in result.refused[1].message


def test_of_two_values_for_a_second_the_first_one_in_the_file_stands(shop: dict[str, str]) -> None:
    """Whether the place is given by its code or its name, however the time is written."""
    text = HEAD + (
        f"Bench,2026-05-04 13:30,24,45\n{shop['Bench']},2026-05-04T13:30Z,25,45\n"
        f"{shop['Bench']},2026-05-04T13:29Z,25,45\nBench,20260504T132900,26,45\n"
    )
    result = readings_file.add_csv(text, UTC_ZONE, NOW)
    assert result.accepted == 2
    assert [one.row for one in result.refused] == [3, 5]
    assert [temp for _, temp, _ in reading_log.readings(shop["Bench"])] == [2500, 2400]


# -- held against the way row by row -----------------------------------------------------------

PLACES = ("Bench", "bench ", "BENCH", "Cabinet", "Oven", " oven", "<Bench>", "<oven>", "<Oven>")
BAD_PLACES = ("twin", "Shed", "", " ")
DAYS = ("2026-03-29", "2026-09-20", "2025-10-26", "2026-04-05", "1969-12-31", "2027-01-01")
HOURS = ("01", "00", "01", "02", "23", "24", "1", "aa")
MINUTES = (":00", ":00", ":30:00", ":30:59", ":59:59", "", ":60", ":30:00.000", ":30:00.5", "30")
OFFSETS = ("", "Z", "+00:00", "+01:00", "-03:30", "+0100", "+01:00:30", " Z", "+24:00")
ODD_TIMES = ("", "2026-03-29", "20260329T0130", "2026-W13-7T01:30", "29.03.2026 01:30", "now")
TEMPS = (
    "24.5",
    "24.5",
    "24.5",
    "24",
    " 24.50 ",
    "-1.25",
    "30.001",
    "60.1",
    "+3",
    "124.999",
    "199.999",
    "0024",
)
ODD_TEMPS = ("80.1", "-40.1", "200.5", "nan", "1_0", "", "1e2", "٣", "24,5", "x")
RHS = ("45", "45", "45", "45.25", "0.29", "60.001", "100", "", "  ", " 45")
ODD_RHS = ("100.1", "-0.1", "45,5", "x", "inf")


class _TwentyMinutes(tzinfo):
    """Clocks that go on from 01:10 to 01:30 on a night, inside one hour."""

    def utcoffset(self, at: datetime | None) -> timedelta:
        assert at is not None
        changes_at = datetime(2026, 3, 29, 1, 30 - 20 * at.fold)
        return timedelta(minutes=20 * (at.replace(tzinfo=None, fold=0) >= changes_at))

    def dst(self, at: datetime | None) -> timedelta:
        return timedelta(0)

    def tzname(self, at: datetime | None) -> str:
        return "odd"


ZONES = (
    *map(ZoneInfo, ("UTC", "Europe/Lisbon", "Australia/Lord_Howe", "America/St_Johns")),
    _TwentyMinutes(),
)


def mostly(good: tuple[str, ...], odd: tuple[str, ...]) -> st.SearchStrategy[str]:
    """Draw what is odd in one of twenty draws."""
    return st.integers(0, 19).flatmap(lambda n: st.sampled_from(good if n else odd))


def times(offsets: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    """Draw times of few moments, so that the same ones come up again."""
    parts = (
        st.sampled_from((*DAYS[:1] * 3, *DAYS[:4])),
        mostly(("T", " "), ("t", "x")),
        mostly(HOURS[:5], HOURS[5:]),
        mostly(MINUTES[:5], MINUTES[5:]),
        offsets,
    )
    plain = st.tuples(*parts).map("".join)
    odd = st.one_of(st.sampled_from(ODD_TIMES), st.sampled_from(DAYS[4:]).map(lambda d: d + "T12"))
    return st.integers(0, 19).flatmap(lambda n: plain if n else odd)


@st.composite
def files(draw: Callable) -> str:
    """Draw a file: orderly for the most part, and messy in its own way."""
    order = draw(st.permutations(range(4)))
    separator = draw(st.sampled_from(",;\t"))
    quoting = draw(st.sampled_from(["never", "never", "some", "stray"]))
    offsets = st.sampled_from([draw(st.sampled_from((*OFFSETS[:2] * 4, *OFFSETS)))])
    if draw(st.booleans()):
        offsets = st.sampled_from(OFFSETS)
    row = st.tuples(
        mostly(PLACES, BAD_PLACES), times(offsets), mostly(TEMPS, ODD_TEMPS), mostly(RHS, ODD_RHS)
    )

    def line(cells: tuple[str, ...]) -> str:
        if quoting != "never":
            marks = draw(st.tuples(*[st.integers(0, 9)] * 4))
            cells = tuple(
                f'"{cell}"' if mark < 3 else f'"{cell}' if (mark, quoting) == (3, "stray") else cell
                for cell, mark in zip(cells, marks, strict=True)
            )
        return separator.join(cells[i] for i in order)

    rows = draw(st.lists(row, min_size=3, max_size=15))
    lines = [line(cells) for cells in rows]
    odd = st.sampled_from(
        ["", separator * 3, separator * 2, "  ", f" {separator * 3}", f"Bench{separator}x", "a" * 9]
    )
    for _ in range(draw(st.integers(0, 3))):
        lines.insert(draw(st.integers(0, len(lines))), draw(odd))
    names = [("place", " AT", "temp_c", "rh_pct")[i] for i in order]
    head = draw(st.sampled_from([*[separator.join(names)] * 29, "place,at", "a;b;c;d"]))
    ends = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    begin = draw(st.sampled_from(["", "\ufeff", "\n", separator * 3 + "\n"]))
    return begin + ends.join([head, *lines]) + draw(st.sampled_from(["", ends, "\n\r\n"]))


def test_a_change_of_the_clocks_inside_an_hour_is_not_missed(shop: dict[str, str]) -> None:
    """No zone of today has one, and still no time is taken for another."""
    at = ["01:00", "01:09:59", "01:20", "01:30", "01:59"]
    text = HEAD + "".join(f"Bench,2026-03-29 {one},24,45\n" for one in at)
    result = readings_file.add_csv(text, _TwentyMinutes(), NOW)
    assert [one.row for one in result.refused] == [4]
    start = parse_time("2026-03-29T01:00:00Z")
    moments = [second - start for second, _, _ in reading_log.readings(shop["Bench"])]
    assert moments == [0, 599, 600, 2340]


@dataclass
class _Done(Exception):
    """Undoes what was written, and carries what there is to compare."""

    result: ReadingsResult
    stored: dict[str, list[reading_log.Reading]]
    versions: object
    notes: list[str]


def _tried(add: Callable[[], ReadingsResult], codes: dict[str, str]) -> _Done | str:
    """Return what a way makes of a file, and undo it."""
    try:
        with write():
            result = add()
            raise _Done(
                result,
                {name: reading_log.readings(code) for name, code in codes.items()},
                reading_log.reading_versions(),
                sorted(map(repr, touched().readings)),
            )
    except _Done as done:
        return done
    except BadInput as error:
        return error.message


@settings(
    max_examples=300,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    text=files(),
    tz=st.sampled_from(ZONES),
    replaces=st.booleans(),
    block=st.sampled_from([1, 3, 1000]),
)
def test_a_file_is_what_its_rows_are_one_by_one(
    shop: dict[str, str],
    monkeypatch: pytest.MonkeyPatch,
    text: str,
    tz: tzinfo,
    replaces: bool,
    block: int,
) -> None:
    """Whatever stands in it: the same rows stored, the same ones refused with the same words."""
    monkeypatch.setattr(readings_file, "_BLOCK", block)
    if not reading_log.readings(shop["Bench"]):
        for _ in range(2):
            catalog.create_place(NewPlace(name="twin", kind="floor"), NOW)
        at = parse_time("2026-03-29T00:00:00Z")
        rows = [NewReading(shop["Bench"], at + 60 * m, 24.5, 45) for m in range(0, 180, 30)]
        climate.add_readings(rows, NOW)
    for name, code in shop.items():
        text = text.replace(f"<{name}>", code).replace(f"<{name.lower()}>", code.lower())
    fast = _tried(lambda: readings_file.add_csv(text, tz, NOW, replaces), shop)
    slow = _tried(lambda: slow_readings_file.add_csv(text, tz, NOW, replaces), shop)
    assert fast == slow
