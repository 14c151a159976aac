"""A channel's values as dots between their limits, earlier lots beside, for inline SVG."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from msdtrack.phrases import counted
from msdtrack.services.measurements import LotValues, Verdict, side_of
from msdtrack.store.sample_checks import Channel
from msdtrack.web.charts import Tick

WIDTH, LEFT, RIGHT, TOP, BASE, HEIGHT = 900, 78, 116, 16, 210, 248
_GAP = 10
_NAMED_AT_MOST = 12

DotKind = Literal["earlier", "good", "failing"]


@dataclass(frozen=True, slots=True)
class Dot:
    """One value. `name`: its piece, where the dot is worth a word; else ""."""

    x: float
    y: float
    kind: DotKind
    name: str


@dataclass(frozen=True, slots=True)
class Column:
    """The values of one lot. `mean_y` is where their mean stands; None without any."""

    x: float
    width: float
    label: str
    mean_y: float | None
    is_this: bool


@dataclass(frozen=True, slots=True)
class ValuesChart:
    """The values of one channel, in the units of the view box.

    Args:
        columns: one for each lot, the checked one last.
        limits: lines that must not be crossed, with their words.
        summary: what it shows, for those who can't see it.
    """

    channel: Channel
    columns: tuple[Column, ...]
    dots: tuple[Dot, ...]
    limits: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    summary: str
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    base: int = BASE


def values_chart(
    channel: Channel, lot: str, verdict: Verdict, n: int, earlier: Sequence[LotValues]
) -> ValuesChart | None:
    """Return the chart of a channel; None without any value of the lot.

    Args:
        channel: the channel with the limits of this check.
        lot: name of the checked lot.
        verdict: of the check; the channel is its number `n`.
        earlier: earlier lots of the part, oldest first.
    """
    found = [(piece.piece, piece.values[n]) for piece in verdict.pieces]
    own = [(piece, one.value) for piece, one in found if one is not None]
    if not own:
        return None
    lots = [(one.lot, list(one.values.get(channel.name, ()))) for one in earlier]
    lots = [(name, values) for name, values in lots if values]
    low, high = _range(channel, [value for _, values in [*lots, (lot, own)] for _, value in values])

    def y(value: Decimal | float) -> float:
        return round(BASE - (float(value) - low) / (high - low) * (BASE - TOP), 1)

    columns: list[Column] = []
    dots: list[Dot] = []
    share = (WIDTH - LEFT - RIGHT) / (len(lots) + 2)
    x = float(LEFT)
    for name, values in [*lots, (lot, own)]:
        is_this = len(columns) == len(lots)
        width = share * 2 if is_this else share
        mean = sum((value for _, value in values), Decimal(0)) / len(values)
        columns.append(Column(round(x, 1), round(width, 1), name, y(mean), is_this))
        step = (width - 2 * _GAP) / len(values)
        for i, (piece, value) in enumerate(values):
            fails = side_of(channel, value) != ""
            kind: DotKind = "failing" if fails else "good" if is_this else "earlier"
            worth_a_word = is_this and (fails or len(values) <= _NAMED_AT_MOST)
            at = round(x + _GAP + step * (i + 0.5), 1)
            dots.append(Dot(at, y(value), kind, piece if worth_a_word else ""))
        x += width
    failing = verdict.channels[n].failing
    return ValuesChart(
        channel,
        tuple(columns),
        tuple(dots),
        tuple(_limits(channel, y)),
        tuple(Tick(y(value), f"{value:g}") for value in _steps(low, high)),
        f"{channel.name} of {counted(len(own), 'piece')}, {failing} out of limits, beside "
        f"{counted(len(lots), 'earlier lot')}.",
    )


def _range(channel: Channel, values: Sequence[Decimal]) -> tuple[float, float]:
    shown = [float(value) for value in values]
    shown += [float(limit) for limit in (channel.low, channel.high) if limit is not None]
    low, high = min(shown), max(shown)
    margin = (high - low) * 0.2 or abs(high) * 0.1 or 1.0
    return low - margin, high + margin


def _limits(channel: Channel, y: Callable[[Decimal], float]) -> Iterable[Tick]:
    if channel.low is not None:
        yield Tick(y(channel.low), f"minimum {channel.low}")
    if channel.high is not None:
        yield Tick(y(channel.high), f"maximum {channel.high}")


def _steps(low: float, high: float) -> list[float]:
    """Return round values between two others, five or six of them."""
    raw = (high - low) / 5
    power = 10 ** math.floor(math.log10(raw))
    step = next(each * power for each in (1, 2, 5, 10) if each * power >= raw)
    first = math.ceil(low / step)
    count = math.floor(high / step) - first + 1
    return [round((first + i) * step, 12) for i in range(count)]
