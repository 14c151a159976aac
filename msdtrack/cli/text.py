"""Aligned text for a terminal: words and shapes, no colour."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import tzinfo
from fractions import Fraction

from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import CarrierState
from msdtrack.exposure.working import Line, Working
from msdtrack.phrases import counted
from msdtrack.services.board_glances import BatchGlance
from msdtrack.services.glance import Glance, glance_of
from msdtrack.times import duration_text, local_text
from msdtrack.web.marks import mark_of
from msdtrack.web.wording import (
    BASES,
    STATUSES,
    UNKNOWNS,
    assumed_air_text,
    reason_text,
)

WIDTH = 100

NEAR_S = 180 * 86_400

SHAPES: Mapping[str, str] = {"stop": "[X]", "soon": "[!]", "ok": "[ ]", "do": "[>]", "bag": "[-]"}
"""Shape of each kind of `web.marks.Mark`, always beside its word."""


def aligned(
    headings: Sequence[str], rows: Iterable[Sequence[str]], right: Collection[str] = ()
) -> str:
    """Return a table with its columns aligned.

    Args:
        headings: one for each column.
        rows: cells, as many as headings.
        right: headings of the columns that are aligned to the right.
    """
    lines = [list(headings), *([*row] for row in rows)]
    widths = [max(len(line[n]) for line in lines) for n in range(len(headings))]
    lines.insert(1, ["-" * width for width in widths])
    return "\n".join(
        "  ".join(
            cell.rjust(width) if heading in right else cell.ljust(width)
            for cell, width, heading in zip(line, widths, headings, strict=True)
        ).rstrip()
        for line in lines
    )


def described(pairs: Iterable[tuple[str, str]]) -> str:
    """Return names with their values, the values aligned and wrapped; empty values are left out."""
    given = [(name, value) for name, value in pairs if value]
    width = max(len(name) for name, _ in given) + 2
    return "\n".join(
        textwrap.fill(
            value,
            WIDTH,
            initial_indent=name.ljust(width),
            subsequent_indent=" " * width,
            break_long_words=False,
            break_on_hyphens=False,
        )
        for name, value in given
    )


def state_text(state: CarrierState, tz: tzinfo, places: Mapping[str, str]) -> str:
    """Return a state for a person.

    Args:
        state: the state.
        tz: the zone to show times in.
        places: names of places by code.
    """
    facts, ledger, mark = state.facts, state.ledger, mark_of(state)
    part = f"{facts.part.number} {facts.part.description}".strip()
    early = ""
    if state.at < facts.received_at:
        early = f"; it was received only {local_text(facts.received_at, tz)}: this is how it came"
    verdict = "USE" if state.verdict == "use" else "DO NOT USE"
    ends = state.shelf_life_ends
    return described(
        [
            (
                "carrier",
                f"{facts.code}: {part}, lot {facts.lot}, "
                f"{counted(ledger.quantity, 'piece')}, {facts.kind}, level {facts.part.msl}",
            ),
            ("as of", f"{local_text(state.at, tz)}{early}"),
            ("verdict", f"{SHAPES[mark.kind]} {verdict} ({mark.word})"),
            *(("because", reason_text(reason)) for reason in state.reasons),
            ("next step", next_step_text(state, tz)),
            ("status", f"{STATUSES[state.status]}, {_place(ledger.place, places)}"),
            ("floor life", _floor_life(state, tz)),
            ("shelf life", "" if ends is None else f"ends {ends.isoformat()}"),
            ("bakes", _bakes(state)),
            *(("not known", UNKNOWNS.get(unknown, unknown)) for unknown in state.unknowns),
            *(("conflict", conflict.message) for conflict in state.conflicts),
        ]
    )


def next_step_text(state: CarrierState, tz: tzinfo) -> str:
    """Return the next step with its moment in local time."""
    step = state.next_step
    return step.text if step.at is None else step.text.replace("{at}", local_text(step.at, tz))


def watch_text(watched: Sequence[Glance], now: int, tz: tzinfo, places: Mapping[str, str]) -> str:
    """Return the watch list for a person.

    Args:
        watched: carriers and batches of boards, most urgent first.
        now: the present moment.
        tz, places: as of `state_text`.
    """
    if not watched:
        return "Nothing is exposed, drying or baking."
    rows = []
    for seen in watched:
        mark = mark_of(seen)
        rows.append(
            (
                f"{SHAPES[mark.kind]} {mark.word}",
                seen.code,
                seen.part,
                seen.lot,
                seen.msl,
                _place(seen.place, places),
                _percent(seen.used),
                _left(seen),
                _until(seen, tz),
                assumed_air_text(seen),
                f"{seen.quantity} x {seen.batch.name}" if isinstance(seen, BatchGlance) else "",
            )
        )
    headings = (
        "", "carrier", "part", "lot", "level", "place", "used", "left", "until", "in air", "boards",
    )  # fmt: skip
    table = aligned(headings, rows, right={"used", "left"})
    batches = sum(isinstance(seen, BatchGlance) for seen in watched)
    alone = len(watched) - batches
    count = counted(alone, "carrier")
    if batches:
        count += f" and {counted(batches, 'batch', 'batches')} of boards"
    return f"{count} as of {local_text(now, tz)}\n\n{table}"


def working_text(working: Working, tz: tzinfo, places: Mapping[str, str]) -> str:
    """Return a working for a person; arguments as of `state_text`."""
    headings = (
        "from",
        "to",
        "place",
        "air",
        "cell",
        "rate from",
        "hours",
        "share",
        "basis",
        "note",
    )

    def row(line: Line) -> tuple[str, ...]:
        return (
            local_text(line.start, tz),
            local_text(line.end, tz),
            _place(line.place, places),
            "" if line.raw is None else f"{line.raw[0] / 100:.1f} °C {line.raw[1] / 100:.1f} %",
            _cell(line),
            line.rate_from,
            f"{float(line.hours):.2f}",
            f"{float(line.share):.6f}",
            BASES[line.basis],
            line.note,
        )

    total = ("", "", "", "", "", "sum", "", f"{float(working.used_share):.6f}", "", "")
    rows = [row(line) for line in working.lines]
    text = aligned(headings, [*rows, total], right={"hours", "share"})
    if working.before_reset:
        earlier = aligned(headings, map(row, working.before_reset), right={"hours", "share"})
        text += f"\n\nBefore the last reset (no longer counted)\n\n{earlier}"
    return text


def _cell(line: Line) -> str:
    cell = line.cell
    if cell is None:
        return ""
    days = "no limit" if cell.days is None else f"{float(cell.days):g} d"
    return f"{cell.table} {cell.level} {cell.group} {cell.temp_c} °C {cell.rh_pct} %: {days}"


def _place(code: str | None, places: Mapping[str, str]) -> str:
    return "place not known" if code is None else places.get(code, code)


def _percent(share: Fraction | float) -> str:
    """Return a share in percent, rounded up: never better than it is."""
    return f"{math.ceil(share * 1000) / 10:.1f} %"


def _left(one: CarrierState | Glance) -> str:
    left_h = glance_of(one).left_h
    if left_h == 0:
        return "used up"
    return "no limit" if left_h is None else duration_text(int(left_h * HOUR_S))


def _until(one: CarrierState | Glance, tz: tzinfo) -> str:
    """Return when the floor life runs out, while it runs and for as long as a day and month say
    which year is meant."""
    ends = one.expires_at
    runs = one.status in ("exposed", "on_board")
    if ends is None or not runs or not 0 < ends - one.at < NEAR_S:
        return ""
    return local_text(ends, tz)


def _floor_life(state: CarrierState, tz: tzinfo) -> str:
    label_h = state.facts.part.label_hours
    if label_h is None:
        return "no limit" if state.facts.part.msl == "1" else "not known"
    said = f"{_percent(state.used_share)} of {float(label_h):g} h used"
    if state.used_share >= 1:
        return said
    said += f"; {_left(state)} left"
    air = assumed_air_text(state)
    if air:
        said += f" in {air}"
    until = _until(state, tz)
    return f"{said}, up to {until}" if until else said


def _bakes(state: CarrierState) -> str:
    ledger = state.ledger
    if not ledger.bakes:
        return ""
    return f"{ledger.bakes}, {ledger.hot_s / HOUR_S:.1f} h above 90 °C"
