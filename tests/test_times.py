"""Local times where the clocks change.

Source: directive 2000/84/EC of the European Union: summer time begins and ends at 01:00 UTC on the
last Sunday of March and of October, which were 29 March and 25 October in 2026.
"""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from msdtrack.errors import BadInput
from msdtrack.times import local_to_utc, utc_text

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("text", "said"),
    [("2026-10-25 02:30", "occurs twice"), ("2026-03-29 02:30", "does not exist")],
)
def test_a_time_that_says_no_one_moment_is_refused_where_it_counts(text: str, said: str) -> None:
    """For what goes on record; a look back takes the earlier one."""
    with pytest.raises(BadInput, match=f"{said}.*add its offset"):
        local_to_utc(text, BERLIN, plain=True)
    assert utc_text(local_to_utc("2026-10-25 02:30", BERLIN)) == "2026-10-25T00:30:00Z"


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-10-25 02:30+02:00", "2026-10-25T00:30:00Z"),
        ("2026-10-25 02:30+01:00", "2026-10-25T01:30:00Z"),
        ("2026-10-25 01:59", "2026-10-24T23:59:00Z"),
        ("2026-10-25 03:00", "2026-10-25T02:00:00Z"),
        ("2026-03-29 01:59", "2026-03-29T00:59:00Z"),
        ("2026-03-29 03:00", "2026-03-29T01:00:00Z"),
    ],
)
def test_any_other_is_taken(text: str, moment: str) -> None:
    """With its offset, or just before and after."""
    assert utc_text(local_to_utc(text, BERLIN, plain=True)) == moment
