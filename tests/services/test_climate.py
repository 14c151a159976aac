"""Readings are taken in whole or refused with a reason, and never twice."""

from __future__ import annotations

import pytest

from msdtrack.errors import NotFound
from msdtrack.services import climate
from msdtrack.services.climate import NewReading
from msdtrack.store import reading_log
from msdtrack.store.connection import version
from tests.services.conftest import NOW


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
