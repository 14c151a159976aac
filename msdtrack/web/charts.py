"""Small charts as coordinates for inline SVG: the share over time, the air of a place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from msdtrack.exposure.working import Line

WIDTH, LEFT, RIGHT = 900, 52, 12
_STEPS_H = (1, 2, 3, 6, 12, 24, 48, 96, 168, 336, 720, 1440, 2880, 8760)
_MOST_TICKS = 8


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on an axis: where it stands and what it says."""

    place: float
    label: str


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of time of one kind."""

    x: float
    width: float
    kind: str


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart, in the units of its view box.

    Args:
        height: of the view box; its width is `WIDTH`.
        base: where the horizontal axis stands.
        traces: the curves, each as points of a polyline.
        limits: horizontal lines that should not be crossed, with their words.
        blocks: stretches of time to paint behind or below the curve.
        unit: of the vertical axis.
        summary: what it shows, for those who can't see it.
    """

    height: int
    base: float
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    traces: tuple[str, ...]
    limits: tuple[Tick, ...]
    blocks: tuple[Block, ...]
    unit: str
    summary: str
    width: int = WIDTH
    left: int = LEFT
    right: int = WIDTH - RIGHT


@dataclass(frozen=True, slots=True)
class _Frame:
    start: int
    end: int
    low: float
    high: float
    top: float
    base: float

    def x(self, at: float) -> float:
        span = max(1, self.end - self.start)
        return round(LEFT + (at - self.start) / span * (WIDTH - LEFT - RIGHT), 1)

    def y(self, value: float) -> float:
        return round(
            self.base - (value - self.low) / (self.high - self.low) * (self.base - self.top), 1
        )


def share_chart(lines: Sequence[Line], tz: tzinfo) -> Chart | None:
    """Return the used share over time with what made it grow below; None without any line.

    Args:
        lines: of a working, the ones before the last reset among them, by moment.
        tz: zone of the axis.
    """
    if not lines or lines[-1].end <= lines[0].start:
        return None
    points: list[tuple[int, float]] = []
    used = 0.0
    for line in lines:
        points += [(line.start, used), (line.end, used + float(line.share))]
        used += float(line.share)
    highest = max(1.1, max(value for _, value in points) * 1.05)
    frame = _Frame(lines[0].start, lines[-1].end, 0, highest, 14, 150)
    step = 0.25 if highest <= 1.6 else 0.5 if highest <= 3 else float(int(highest / 5) + 1)
    y_ticks = []
    value = 0.0
    while value <= highest:
        y_ticks.append(Tick(frame.y(value), f"{value * 100:.0f} %"))
        value += step
    return Chart(
        height=196,
        base=frame.base,
        x_ticks=_time_ticks(frame, tz),
        y_ticks=tuple(y_ticks),
        traces=(_polyline(frame, points),),
        limits=(Tick(frame.y(1), "floor life"),),
        blocks=tuple(
            Block(
                frame.x(line.start),
                round(max(0.6, frame.x(line.end) - frame.x(line.start)), 1),
                line.basis,
            )
            for line in lines
        ),
        unit="used",
        summary=f"Used share over time, up to {used * 100:.1f} % of the floor life.",
    )


def air_chart(
    readings: Sequence[tuple[int, float]],
    start: int,
    end: int,
    unit: str,
    limit: tuple[float, str] | None,
    gap_s: int,
    tz: tzinfo,
) -> Chart | None:
    """Return one quantity of a place's air over time; None without any reading.

    Args:
        readings: (moment, value), by moment.
        start: left end.
        end: right end.
        unit: of the values.
        limit: a value that should not be passed, with its words.
        gap_s: readings further apart than this are not joined, and the gap is painted.
        tz: zone of the axis.
    """
    if not readings:
        return None
    values = [value for _, value in readings] + ([limit[0]] if limit else [])
    low, high = min(values), max(values)
    margin = max(1.0, (high - low) * 0.12)
    frame = _Frame(start, end, max(-60.0, low - margin), high + margin, 10, 130)
    runs: list[list[tuple[int, float]]] = [[readings[0]]]
    gaps: list[tuple[int, int]] = []
    if readings[0][0] - start > gap_s:
        gaps.append((start, readings[0][0]))
    for reading in readings[1:]:
        before = runs[-1][-1][0]
        if reading[0] - before > gap_s:
            gaps.append((before, reading[0]))
            runs.append([])
        runs[-1].append(reading)
    if end - readings[-1][0] > gap_s:
        gaps.append((readings[-1][0], end))
    shown = [value for _, value in readings]
    return Chart(
        height=162,
        base=frame.base,
        x_ticks=_time_ticks(frame, tz),
        y_ticks=_value_ticks(frame),
        traces=tuple(_polyline(frame, run) for run in runs),
        limits=(Tick(frame.y(limit[0]), limit[1]),) if limit else (),
        blocks=tuple(
            Block(frame.x(left), round(frame.x(right) - frame.x(left), 1), "gap")
            for left, right in gaps
        ),
        unit=unit,
        summary=f"{min(shown):.1f} to {max(shown):.1f} {unit}, now {shown[-1]:.1f} {unit}.",
    )


def _polyline(frame: _Frame, points: Sequence[tuple[int, float]]) -> str:
    if len(points) == 1:
        # A single point has no length to draw: a short dash shows it.
        x, y = frame.x(points[0][0]), frame.y(points[0][1])
        return f"{x - 1.5},{y} {x + 1.5},{y}"
    return " ".join(f"{frame.x(at)},{frame.y(value)}" for at, value in points)


def _value_ticks(frame: _Frame) -> tuple[Tick, ...]:
    span = frame.high - frame.low
    step = next((each for each in (0.5, 1, 2, 5, 10, 20, 50) if span / each <= 5), 100)
    first = int(frame.low // step) + 1
    ticks = []
    while first * step <= frame.high:
        ticks.append(Tick(frame.y(first * step), f"{first * step:g}"))
        first += 1
    return tuple(ticks)


def _time_ticks(frame: _Frame, tz: tzinfo) -> tuple[Tick, ...]:
    span_h = (frame.end - frame.start) / 3600
    step_h = next((each for each in _STEPS_H if span_h / each <= _MOST_TICKS), _STEPS_H[-1])
    first = datetime.fromtimestamp(frame.start, UTC).astimezone(tz)
    moment = first.replace(hour=0, minute=0, second=0, microsecond=0).timestamp()
    ticks = []
    while moment <= frame.end:
        if moment >= frame.start:
            local = datetime.fromtimestamp(moment, UTC).astimezone(tz)
            style = "%a %H:%M" if step_h < 24 and local.hour == 0 else "%H:%M"
            style = "%d %b" if step_h >= 24 else style
            ticks.append(Tick(frame.x(moment), local.strftime(style)))
        moment += timedelta(hours=step_h).total_seconds()
    # A word at the very edge would be cut off.
    return tuple(tick for tick in ticks if LEFT + 5 <= tick.place <= WIDTH - RIGHT - 25)
