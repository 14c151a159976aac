"""What is summed up by day beforehand equals what the spans say one by one."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.air_use import plain_use
from msdtrack.exposure.facts import AirSettings, Dated
from msdtrack.exposure.rates import RateClass
from msdtrack.exposure.readings import DAY_S, Day, Reading
from msdtrack.standard import derating
from tests.exposure.test_days import ROWS, SETTINGS, Rows, in_order, lazily

CLASSES = st.sampled_from(
    [
        RateClass("3", Fraction(168), ("medium",), False),
        RateClass("2a", Fraction(336), ("medium",), True),
        # A label's hours that are no whole number need more parts than a machine word has.
        RateClass("3", Fraction(71.3), ("medium",), False),
    ]
)
STEADY = st.integers(0, 3 * 96).flatmap(
    lambda first: st.lists(
        st.tuples(st.integers(2100, 3300), st.integers(4300, 6300)), min_size=1, max_size=250
    ).map(
        lambda values: {(first + n) * 900: value for n, value in enumerate(values)},
    )
)
"""A reading each quarter of an hour over up to three days, some of them outside 30/60."""


@given(
    st.one_of(STEADY, ROWS),
    SETTINGS,
    CLASSES,
    st.integers(-DAY_S, 6 * DAY_S),
    st.integers(1, 3 * DAY_S),
    st.integers(0, 4 * DAY_S),
)
def test_plain_air_uses_what_its_spans_use(
    rows: Rows, settings: Dated[AirSettings], of: RateClass, start: int, length: int, late: int
) -> None:
    end = start + length
    at = end + late - 2 * DAY_S if late % 2 else end
    air, other = (PlaceAir("floor", lazily(rows), settings) for _ in range(2))
    spans = other.spans(start, end, at)
    used = sum(of.whole(span.key) * (span.end - span.start) for span in spans)
    outside = any(not span.key.within_30_60 for span in spans)
    plain = all(s.key.missing is None and s.key.cell != derating.BEYOND for s in spans)
    for _ in range(2):
        found = plain_use(air, of, start, end, at)
        assert found is None or found == (used, outside)
        assert found is None or plain


@given(STEADY, CLASSES, st.data())
def test_steady_days_need_no_spans(rows: Rows, of: RateClass, data: st.DataObject) -> None:
    """Between the first and the last reading of air within the table an answer is found."""
    known = in_order(rows)
    start = data.draw(st.integers(known[0][0], known[-1][0]))
    end = data.draw(st.integers(start, known[-1][0]))
    air = PlaceAir("floor", lazily(rows))
    assert plain_use(air, of, start, end, end + DAY_S) is not None


def test_a_day_by_columns_is_the_day_by_rows() -> None:
    readings: list[Reading] = [(60, -1200, 4000), (120, 2200, 10000), (300, 12500, 0)]
    by_columns = Day.of_columns(([60, 120, 300], [-1200, 2200, 12500], [4000, 10000, None]))
    assert by_columns.between(0, DAY_S) == Day(readings).between(0, DAY_S) == readings
