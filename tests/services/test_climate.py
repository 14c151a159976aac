"""Readings are taken in whole or refused with a reason, and never twice."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from msdtrack.errors import BadInput, NotFound
from msdtrack.services import catalog, climate
from msdtrack.services.catalog import NewPlace
from msdtrack.services.climate import NewReading
from msdtrack.store import reading_log
from msdtrack.store.connection import version
from msdtrack.times import parse_time
from tests.services.conftest import NOW

LISBON = ZoneInfo("Europe/Lisbon")
UTC_ZONE = ZoneInfo("UTC")


def test_readings_are_stored_once(shop: dict[str, str]) -> None:
    """What is sent again counts as a duplicate; a changed value needs to say that it replaces."""
    bench = shop["Bench"]
    rows = [NewReading(bench, NOW - 600, 24.5, 45), NewReading(bench, NOW - 300, 24, 45.25)]
    assert climate.add_readings(rows, NOW).accepted == 2
    again = climate.add_readings(rows, NOW)
    assert (again.accepted, again.duplicates, again.refused) == (0, 2, [])
    other = [NewReading(bench, NOW - 900, 20, 40), NewReading(bench, NOW - 600, 25, 45)]
    refused = climate.add_readings(other, NOW)
    assert refused.accepted == 1
    assert [(one.row, "replacement" in one.message) for one in refused.refused] == [(2, True)]
    assert climate.add_readings(other, NOW, replaces=True).accepted == 1
    assert reading_log.readings(bench) == [
        (NOW - 900, 2000, 4000),
        (NOW - 600, 2500, 4500),
        (NOW - 300, 2400, 4525),
    ]


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        (("P000099X", NOW, 24, 45), "no place P000099X"),
        (("Bench", NOW + 121, 24, 45), "2 minutes ahead"),
        (("Bench", float(NOW), 24, 45), "no moment"),
        (("Bench", NOW, 80.1, 45), "outside -40 to 80"),
        (("Bench", NOW, -40.1, 45), "outside -40 to 80"),
        (("Bench", NOW, float("nan"), 45), "outside"),
        (("Bench", NOW, False, 45), "temp_c: False is no number"),
        (("Bench", NOW, 24, True), "rh_pct: True is no number"),
        (("Bench", NOW, "24", 45), "no number"),
        (("Bench", NOW, 24, 100.1), "outside 0 to 100"),
        (("Bench", NOW, 24, -0.1), "outside 0 to 100"),
        (("Bench", NOW, 24, None), "only an oven"),
        (("Oven", NOW, 200.1, None), "outside -40 to 200"),
    ],
)
def test_a_bad_row_is_refused_with_a_reason_and_the_good_ones_are_kept(
    shop: dict[str, str], reading: tuple[str, int, float, float | None], said: str
) -> None:
    """Each refused row is named by its number."""
    place, *rest = reading
    bad = NewReading(shop.get(place, place), *rest)
    rows = [
        NewReading(shop["Bench"], NOW - 5, 24, 45),
        bad,
        NewReading(shop["Oven"], NOW, 125, None),
    ]
    result = climate.add_readings(rows, NOW)
    assert result.accepted == 2
    ((row, message),) = [(one.row, one.message) for one in result.refused]
    assert row == 2
    assert said in message


def test_a_sensor_up_to_two_minutes_ahead_is_taken(shop: dict[str, str]) -> None:
    """Clocks differ a little."""
    assert climate.add_readings([NewReading(shop["Bench"], NOW + 120, 24, 45)], NOW).accepted == 1


def test_readings_are_never_rounded_to_better(shop: dict[str, str]) -> None:
    """Finer than a hundredth: air goes up, an oven's temperature goes down."""
    rows = [
        NewReading(shop["Bench"], NOW, 30.001, 60.001),
        NewReading(shop["Bench"], NOW - 1, 60.1, 0.29),
        NewReading(shop["Oven"], NOW, 124.999, 4.001),
    ]
    climate.add_readings(rows, NOW)
    assert reading_log.readings(shop["Bench"]) == [(NOW - 1, 6010, 29), (NOW, 3001, 6001)]
    assert reading_log.readings(shop["Oven"]) == [(NOW, 12499, 401)]


def test_refused_rows_alone_write_nothing(shop: dict[str, str]) -> None:
    """Nothing that a screen shows has changed."""
    before = version()
    climate.add_readings([NewReading(shop["Bench"], NOW, 24, 101)], NOW)
    assert version() == before


def test_a_file_with_commas_is_read(shop: dict[str, str]) -> None:
    """Codes or names, any order of columns, offsets, a byte order mark and blank lines."""
    text = (
        "\ufeffat,place,rh_pct,temp_c\r\n"
        f"2026-05-04T13:30:00+01:00,{shop['Bench']},45.5,24\r\n"
        "\r\n"
        "2026-05-04 13:35,bench,46,-1.25\r\n"
        '2026-05-04 13:40Z,"Oven",,125\r\n'
    )
    found, refused = climate.read_csv(text, LISBON)
    assert refused == []
    at = parse_time("2026-05-04T12:30:00Z")
    assert found == [
        (2, NewReading(shop["Bench"], at, 24, 45.5)),
        (4, NewReading(shop["Bench"], at + 300, -1.25, 46)),
        (5, NewReading(shop["Oven"], at + 4200, 125, None)),
    ]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_semicolons_and_tabs_allow_a_decimal_comma(shop: dict[str, str], separator: str) -> None:
    """As spreadsheets of many countries write it."""
    lines = ["place;at;temp_c;rh_pct", "Bench;2026-05-04 13:30;24,5;45.25"]
    text = "\n".join(lines).replace(";", separator)
    ((line, reading),), refused = climate.read_csv(text, UTC_ZONE)
    assert (line, reading.temp_c, reading.rh_pct, refused) == (2, 24.5, 45.25, [])


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
    text = "place,at,temp_c,rh_pct\n" + "\n".join(line for line, _ in lines.values())
    result = climate.add_csv(text, UTC_ZONE, NOW)
    said = {one.row: one.message for one in result.refused}
    assert result.accepted == 1
    assert said.keys() == {number for number, (_, why) in lines.items() if why is not None}
    for number, (_, why) in lines.items():
        assert why is None or why in said[number]


@pytest.mark.parametrize("text", ["", "\n\n", "place,at,temp_c\nx", "Bench,2026-05-04,24,45\n"])
def test_what_is_no_file_of_readings_is_refused(shop: dict[str, str], text: str) -> None:
    """The message shows the first line that is wanted."""
    with pytest.raises(BadInput, match="place,at,temp_c,rh_pct"):
        climate.read_csv(text, UTC_ZONE)


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
    text = "place,at,temp_c,rh_pct\n" + "".join(f"Bench,{one},24,45\n" for one in at)
    found, refused = climate.read_csv(text, LISBON)
    assert [reading.at for _, reading in found] == [
        parse_time("2026-03-29T00:59:00Z"),
        parse_time("2026-03-29T01:00:00Z"),
        parse_time("2026-10-24T23:59:00Z"),
        parse_time("2026-10-25T01:30:00Z"),
        parse_time("2026-10-25T02:00:00Z"),
    ]
    assert [one.row for one in refused] == [3, 6]
    assert "does not exist" in refused[0].message
    assert "occurs twice" in refused[1].message


def test_air_now_says_how_old_it_is_and_what_is_missing(shop: dict[str, str]) -> None:
    """After 30 minutes a reading no longer speaks for the air."""
    bench = shop["Bench"]
    nothing = climate.air_now(bench, NOW)
    assert (nothing.temp_c, nothing.age_s, nothing.missing) == (None, None, "no_reading_yet")
    climate.add_readings([NewReading(bench, NOW - 1800, 25, 50)], NOW)
    air = climate.air_now(bench, NOW)
    assert (air.temp_c, air.rh_pct, air.at, air.age_s) == (25.0, 50.0, NOW - 1800, 1800)
    assert air.missing is None
    assert air.dew_point_c == pytest.approx(13.852, abs=0.001)
    assert climate.air_now(bench, NOW + 1).missing == "no_reading_since"
    climate.add_readings([NewReading(shop["Oven"], NOW, 125, None)], NOW)
    assert climate.air_now(shop["Oven"], NOW).dew_point_c is None
    with pytest.raises(NotFound):
        climate.air_now("P000099X", NOW)


def test_history_shows_the_worst_of_each_step(shop: dict[str, str]) -> None:
    """A short peak is not lost in a chart."""
    bench = shop["Bench"]
    start = NOW - 7200
    rows = [
        NewReading(bench, start, 24, 40),
        NewReading(bench, start + 300, 31, 39),
        NewReading(bench, start + 599, 25, 65),
        NewReading(bench, start + 600, 23, 41),
    ]
    climate.add_readings(rows, NOW)
    assert climate.history(bench, start, NOW, 600) == [
        (start, 31.0, 65.0),
        (start + 600, 23.0, 41.0),
    ]


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "magnus_c", "other_c"),
    [
        (30, 60, 21.385, 21.388),
        (25, 50, 13.852, 13.864),
        (20, 60, 11.995, 12.007),
        (40, 90, 38.042, 38.038),
    ],
)
def test_dew_point_agrees_with_published_values(
    temp_c: float, rh_pct: float, magnus_c: float, other_c: float
) -> None:
    """Source: Magnus form 17.62 / 243.12 °C (WMO-No. 8) worked outside this project, and as a
    second opinion the library psychrolib 2.5, which solves for the saturation pressure of ASHRAE
    Fundamentals; they agree within 0.02 °C."""
    found = climate.dew_point_c(temp_c, rh_pct)
    assert found == pytest.approx(magnus_c, abs=0.0006)
    assert found == pytest.approx(other_c, abs=0.02)


@pytest.mark.oracle
def test_below_freezing_the_dew_point_is_over_water() -> None:
    """Source: Magnus form over water, worked outside this project: 25 °C / 10 % gives -8.77 °C (the
    frost point over ice, psychrolib 2.5, is -7.75 °C)."""
    assert climate.dew_point_c(25, 10) == pytest.approx(-8.77, abs=0.005)
    assert climate.dew_point_c(25, 0) is None
    assert climate.dew_point_c(25, 100) == pytest.approx(25)
