"""Identifiers on suppliers' labels, and the dates behind them."""

from __future__ import annotations

from datetime import date

import pytest

from msdtrack.errors import BadInput
from msdtrack.standard.data_identifiers import IDENTIFIERS, read_date, split_identifier


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("code", "fact"),
    [
        ("P", "customer_part"),
        ("1P", "maker_part"),
        ("Q", "quantity"),
        ("T", "customer_lot"),
        ("1T", "lot"),
        ("S", "serial"),
        ("3S", "package"),
        ("V", "supplier"),
        ("4L", "country"),
        ("13E", "msl"),
    ],
)
def test_meanings(code: str, fact: str) -> None:
    """Source: ANSI MH10.8.2, list of 2021 updated 2025-09, second-hand."""
    assert IDENTIFIERS[code].fact == fact


@pytest.mark.oracle
def test_longest_values() -> None:
    """Source: ECIA EIGP 114, second-hand."""
    longest = {code: one.longest for code, one in IDENTIFIERS.items() if one.longest}
    assert longest == {
        "P": 40, "1P": 40, "Q": 9, "9D": 7, "10D": 7, "1T": 20, "4L": 2, "K": 25, "4K": 5, "4S": 25,
    }  # fmt: skip


def test_an_identifier_is_up_to_three_digits_and_a_letter() -> None:
    assert split_identifier("13E2A") == ("13E", "2A")
    assert split_identifier("PRS-1") == ("P", "RS-1")
    assert split_identifier("1000") is None
    assert split_identifier("1234P9") is None
    assert split_identifier("q5") is None


def test_a_week_has_no_century_unless_it_says_so() -> None:
    coded = read_date("10D", "2638")
    assert coded is not None
    assert (coded.year, coded.has_century, coded.week) == (26, False, 38)
    assert coded.words == "week 38 of '26"
    assert coded.earliest_day(date(2026, 11, 24)) == date(2026, 9, 13)
    # In 2025 the last year that ends in 26 was a century ago.
    assert coded.earliest_day(date(2025, 12, 31)).year == 1926
    full = read_date("11D", "202638")
    assert full is not None
    assert full.words == "week 38 of 2026"


@pytest.mark.oracle
def test_week_53_exists_and_54_does_not() -> None:
    """Source: ISO 8601 calendar, 2026 has 53 weeks and week 53 begins on 28 December."""
    coded = read_date("10D", "2653")
    assert coded is not None
    assert coded.week == 53
    assert date.fromisocalendar(2026, 53, 1) == date(2026, 12, 28)
    assert coded.earliest_day(date(2027, 2, 1)) <= date(2026, 12, 28)
    for wrong in ("2654", "2600", "26", "202638", "26W8"):
        with pytest.raises(BadInput):
            read_date("10D", wrong)


@pytest.mark.parametrize("year", range(2015, 2035))
def test_the_earliest_day_of_a_week_is_no_later_than_by_iso_8601(year: int) -> None:
    for week in (1, 2, 26, 52):
        coded = read_date("11D", f"{year}{week:02d}")
        assert coded is not None
        iso = date.fromisocalendar(year, week, 1)
        assert 0 < (iso - coded.earliest_day(date(2040, 1, 1))).days <= 8


def test_days() -> None:
    for identifier, value in (
        ("D", "260504"),
        ("6D", "20260504"),
        ("6D", "20260504005"),
        ("12D", "20260504"),
        ("14D", "20260504"),
        ("16D", "20260504"),
        ("25D", "20260504"),
    ):
        coded = read_date(identifier, value)
        assert coded is not None
        assert coded.earliest_day(date(2026, 11, 24)) == date(2026, 5, 4)
    assert read_date("9D", "A7") is None
    for identifier, wrong in (("D", "261304"), ("16D", "20260230"), ("12D", "260504")):
        with pytest.raises(BadInput):
            read_date(identifier, wrong)
    ahead = read_date("16D", "20270101")
    assert ahead is not None
    with pytest.raises(BadInput, match="ahead"):
        ahead.earliest_day(date(2026, 11, 24))
    # 29 February of a year without a century that had one.
    leap = read_date("D", "240229")
    assert leap is not None
    assert leap.earliest_day(date(2026, 1, 1)) == date(2024, 2, 29)
