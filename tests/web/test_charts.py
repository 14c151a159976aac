"""Charts: what is drawn stands where it should."""

from __future__ import annotations

from datetime import UTC
from fractions import Fraction
from zoneinfo import ZoneInfo

from msdtrack.exposure.working import Line
from msdtrack.web.charts import LEFT, RIGHT, WIDTH, air_chart, share_chart

DAY_S = 86400
START = 1_778_716_800  # 2026-05-14 00:00 UTC


def _line(start: int, end: int, share: Fraction) -> Line:
    return Line(start, end, None, None, None, None, Fraction(1), share, "measured", "", "")


def _points(trace: str) -> list[tuple[float, float]]:
    return [tuple(map(float, pair.split(","))) for pair in trace.split()]  # type: ignore[misc]


def test_the_share_rises_from_left_to_right() -> None:
    """The curve begins at nothing on the left, ends at the sum on the right, and never falls."""
    lines = [
        _line(START, START + DAY_S, Fraction(1, 4)),
        _line(START + DAY_S, START + 2 * DAY_S, Fraction(0)),
        _line(START + 2 * DAY_S, START + 3 * DAY_S, Fraction(1, 4)),
    ]
    chart = share_chart(lines, UTC)
    assert chart is not None
    points = _points(chart.traces[0])
    assert points[0] == (LEFT, chart.base)
    assert points[-1][0] == WIDTH - RIGHT
    heights = [y for _, y in points]
    assert heights == sorted(heights, reverse=True)
    full = chart.limits[0].place
    half = (chart.base + full) / 2
    assert abs(points[-1][1] - half) < 0.2
    assert "50.0 %" in chart.summary


def test_nothing_is_drawn_of_nothing() -> None:
    """Without a line or a reading there is no chart."""
    assert share_chart([], UTC) is None
    assert share_chart([_line(START, START, Fraction(0))], UTC) is None
    assert air_chart([], START, START + DAY_S, "°C", None, 1800, UTC) is None


def test_a_gap_is_not_drawn_over() -> None:
    """Readings further apart than the gap are two curves, and the gap is painted."""
    readings = [(START + at, 20.0) for at in (0, 600, 1200, 9000, 9600)]
    chart = air_chart(readings, START, START + 9600, "°C", (30, "30 °C"), 1800, UTC)
    assert chart is not None
    assert len(chart.traces) == 2
    (gap,) = chart.blocks
    assert gap.x == _points(chart.traces[0])[-1][0]
    assert gap.x + gap.width == _points(chart.traces[1])[0][0]


def test_readings_that_stop_or_start_late_leave_a_gap_at_the_edge() -> None:
    """The time before the first and after the last reading is painted too."""
    chart = air_chart([(START + 40_000, 20.0)], START, START + 80_000, "°C", None, 1800, UTC)
    assert chart is not None
    assert [block.kind for block in chart.blocks] == ["gap", "gap"]


def test_the_axis_is_in_local_time() -> None:
    """Marks stand at full local hours, the day's name at midnight."""
    readings = [(START, 20.0), (START + DAY_S, 21.0)]
    chart = air_chart(readings, START, START + DAY_S, "°C", None, 2 * DAY_S,
                      ZoneInfo("Asia/Kolkata"))  # fmt: skip
    assert chart is not None
    labels = [tick.label for tick in chart.x_ticks]
    assert "Fri 00:00" in labels
    assert all(label.endswith(":00") for label in labels)
