"""The working behind a number: every interval, its air, its cell and its share."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from msdtrack.exposure.facts import HOUR_S, PartFacts
from msdtrack.exposure.ledger import Basis, Interval
from msdtrack.exposure.places import Places
from msdtrack.exposure.rates import governing_group, groups, label_rate
from msdtrack.exposure.spans import Air
from msdtrack.exposure.state import CarrierState
from msdtrack.phrases import counted
from msdtrack.standard import derating, levels

WHY_ASSUMED = {
    "no_reading_yet": "no reading yet: assumed air",
    "gap": "a gap in the readings: the worst of both ends and the assumed air",
    "no_reading_since": "no reading since: the worse of the last one and the assumed air",
    "place_unknown": "place not known: assumed air",
}


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of the derating table. `days` None: no limit at these conditions."""

    table: str
    level: str
    group: str
    temp_c: int
    rh_pct: int
    days: Fraction | None


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the working. `raw` and `guarded` are hundredths of °C and % RH; None in a bag,
    a cabinet or an oven, where no cell decides."""

    start: int
    end: int
    place: str | None
    raw: Air | None
    guarded: Air | None
    cell: Cell | None
    hours: Fraction
    share: Fraction
    basis: Basis
    rate_from: str
    note: str


@dataclass(frozen=True, slots=True)
class Working:
    """The lines since the last reset, whose shares sum to the used share, and those before it."""

    lines: tuple[Line, ...]
    before_reset: tuple[Line, ...]

    @property
    def used_share(self) -> Fraction:
        """Return the sum of the lines."""
        return sum((line.share for line in self.lines), Fraction(0))


def working_of(state: CarrierState, places: Places) -> Working:
    """Return the working of a state.

    Args:
        state: the state to explain.
        places: the air it was computed from.
    """
    part = state.facts.part

    def line(interval: Interval) -> Line:
        raw = guarded = None
        if interval.key is not None:
            air = places.air(interval.place)
            raw, guarded = air.worst(interval.start, interval.end, state.at)
        notes = [interval.note] if interval.note else []
        if interval.key is not None and interval.key.missing is not None:
            notes.append(WHY_ASSUMED[interval.key.missing])
        if interval.key is not None and interval.key.cell == derating.BEYOND:
            notes.append("beyond the table: its worst cell counts")
        cell = _cell(part, interval)
        in_question = groups(part)
        if cell is not None and part.msl == "2":
            notes.append("level 2 has no row: level 2a's")
        if cell is not None and len(in_question) > 1:
            notes.append(
                f"thickness group not certain ({', '.join(in_question)}): the worst counts"
            )
        return Line(
            interval.start,
            interval.end,
            interval.place,
            raw,
            guarded,
            cell,
            Fraction(interval.end - interval.start, HOUR_S),
            interval.share,
            interval.basis,
            _rate_from(part, interval, cell),
            "; ".join(notes),
        )

    return Working(
        tuple(line(interval) for interval in state.ledger.intervals),
        tuple(line(interval) for interval in state.ledger.before_reset),
    )


def _cell(part: PartFacts, interval: Interval) -> Cell | None:
    key = interval.key
    group = None if key is None else governing_group(part, key)
    if key is None or group is None:
        return None
    temp_c, rh_pct = derating.cell_air(derating.answering_cell(key.cell))
    days = derating.life_days(group, part.msl, key.cell)
    return Cell("7-1", derating.table_level(part.msl), group, temp_c, rh_pct, days)


def _rate_from(part: PartFacts, interval: Interval, cell: Cell | None) -> str:
    """Say in words which figure gave the rate."""
    if levels.is_unlimited(part.msl):
        return "level 1 has no floor life"
    label_h = part.label_hours
    if label_h is None:
        return "level 6 without the time on its label"
    if interval.rate == 0:
        return "not counted" if interval.key is None else "the cell has no limit"
    if cell is None or cell.days is None or interval.rate == label_rate(part):
        return f"label floor life, {float(label_h):g} h"
    level_h = levels.floor_life_h(cell.level) or 0
    shorter = f" × {float(label_h):g}/{level_h} of the label" if label_h < level_h else ""
    credit = " (credit)" if interval.rate < label_rate(part) else ""
    return f"Table {cell.table}, {counted(float(cell.days), 'day')}{shorter}{credit}"
