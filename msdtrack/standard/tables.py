"""Every published table as the program uses it, with its provenance, for people to check."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any, Final, Literal

from msdtrack.standard import baking, derating, levels, recovery, sampling
from msdtrack.standard.figures import fingerprint, load
from msdtrack.standard.package_groups import GROUPS

__all__ = ["CHECK_YOUR_COPY", "Status", "Table", "fingerprint", "published_tables"]

Status = Literal["published", "memory", "mixed"]

CHECK_YOUR_COPY: Final = (
    "The standard was not at hand when these figures were typed. A figure marked published was "
    "found in an independent public source; one marked memory was not. Check every table against "
    "your own licensed copy before you rely on it."
)
"""What a page that shows the tables says above them."""

PUBLISHED: Final = "published"
MEMORY: Final = "memory"


@dataclass(frozen=True, slots=True)
class Table:
    """One table as used.

    Attributes:
        key: Stable name, for links.
        title: What the table says.
        clause: Where it stands in the standard.
        edition: Editions of the standard the figures were typed for.
        source: Where each figure was found.
        status: Whether the figures were found in a public source; mixed: the last column says
            which rows were.
        note: What else a reader must know.
        columns: Headings, each with its unit; the last is the status of a row.
        rows: Cells as text, as many as columns.
    """

    key: str
    title: str
    clause: str
    edition: str
    source: str
    status: Status
    note: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@lru_cache
def published_tables() -> tuple[Table, ...]:
    """Returns every table the program uses, in the order of the work.

    Source: as each table says.
    """
    return (
        _floor_life(),
        *(_derating(group) for group in GROUPS),
        *(_user_bake(row) for row in baking.THICKNESS_ROWS),
        _large_user_bake(),
        *(_supplier_bake(row) for row in baking.THICKNESS_ROWS),
        _dry_storage(),
        _indicator(),
        _handling(),
        _desiccant(),
        _sampling_letters(),
        _sampling_plans(),
    )


def _table(
    key: str,
    data: dict[str, Any],
    block: dict[str, Any],
    columns: Iterable[str],
    rows: Iterable[tuple[str, ...]],
    *more_notes: str,
) -> Table:
    heading = block.get("heading")
    return Table(
        key=key,
        title=f"{data['title']}: {heading}" if heading else data["title"],
        clause=data["clause"],
        edition=data["edition"],
        source=block["source"],
        status=block["status"],
        note=" ".join((block["note"], *more_notes)),
        columns=(*columns, "status"),
        rows=tuple(rows),
    )


def _days(days: Fraction | None) -> str:
    return "no limit" if days is None else f"{float(days):g}"


def _hours(hours: int) -> str:
    days = Fraction(hours, 24)
    return f"{hours} ({days} d)" if hours > 96 and days.denominator == 1 else str(hours)


def _row_status(published: bool) -> str:
    return PUBLISHED if published else MEMORY


def _floor_life() -> Table:
    data = load("floor_life")
    rows = []
    for level in levels.LEVELS:
        hours = levels.floor_life_h(level)
        without_figure = "no limit" if levels.is_unlimited(level) else "as the label says"
        temp_c, rh_pct = levels.condition(level)
        air = f"{temp_c} °C or less, {rh_pct} % RH or less"
        rows.append((level, without_figure if hours is None else _hours(hours), air, PUBLISHED))
    return _table("floor_life", data, data, ("level", "floor life, h", "at"), rows)


def _derating(group: str) -> Table:
    data = load("derating")
    block = data[group]
    rows = []
    for level in ("2", *block["life_days"]):
        for row, temp_c in enumerate(derating.TEMPS_C):
            lives = (
                derating.life_days(group, level, 10 * row + column)
                for column in range(len(derating.RHS_PCT))
            )
            found = [
                f"{rh_pct} %"
                for at_level, at_c, rh_pct in block["published_cells"]
                if (at_level, at_c) == (level, temp_c)
            ]
            status = _row_status(block["status"] == "published")
            if found:
                status += f"; published at {' and '.join(found)} RH"
            shown = "2 (as 2a)" if level == "2" else level
            rows.append((shown, str(temp_c), *map(_days, lives), status))
    columns = ("level", "°C", *(f"{rh_pct} % RH, days" for rh_pct in derating.RHS_PCT))
    stand_in = "Level 2 has no published row; level 2a's is used."
    return _table(f"derating_{group}", data, block, columns, rows, data["scope"], stand_in)


def _bake_columns() -> tuple[str, ...]:
    words = {"over_72h": "exceeded by more than 72 h", "up_to_72h": "by 72 h or less"}
    columns = []
    for temp_c in baking.TEMPS_C:
        rh_pct = baking.MAX_RH_PCT[temp_c]
        air = f"{temp_c} °C" if rh_pct is None else f"{temp_c} °C, {rh_pct} % RH or less"
        columns += [f"{air}, {words[column]}, h" for column in baking.COLUMNS]
    return ("level", *columns)


def _user_bake(row: str) -> Table:
    data = load("user_bake")
    block = data[row]
    rows = []
    for level in block["hours"]:
        cells = (
            baking.user_bake_h(level, block["max_body_mm"], temp_c, column, False)
            for temp_c in baking.TEMPS_C
            for column in baking.COLUMNS
        )
        shown = (_hours(hours) for hours in cells if hours is not None)
        rows.append((level, *shown, _row_status(level in block["published_levels"])))
    return _table(f"user_bake_{row}", data, block, _bake_columns(), rows, data["plus_note"])


def _large_user_bake() -> Table:
    data = load("user_bake")
    block = data["large_or_stacked"]
    cells = []
    for temp_c in baking.TEMPS_C:
        hours = baking.user_bake_h("3", 1.4, temp_c, "over_72h", True)
        cells += ["not applicable" if hours is None else _hours(hours), "by thickness and level"]
    rows = [("2 to 5a", *cells, MEMORY)]
    return _table("user_bake_large_or_stacked", data, block, _bake_columns(), rows)


def _supplier_bake(row: str) -> Table:
    data = load("supplier_bake")
    block = data[row]
    rows = (
        (level, *map(_hours, hours), _row_status(level in block["published_levels"]))
        for level, hours in block["hours"].items()
    )
    columns = ("level", *(f"{temp_c} °C, h" for temp_c in baking.SUPPLIER_TEMPS_C))
    return _table(f"supplier_bake_{row}", data, block, columns, rows)


def _dry_storage() -> Table:
    data = load("dry_storage")
    rows = []
    for level in levels.LEVELS:
        rule = recovery.dry_storage_rule(level)
        if rule is not None:
            pauses = "stops" if rule.pauses else "runs on"
            rule_cells = (rule.max_exposure_h, rule.factor, rule.max_storage_rh_pct)
            rows.append((level, *map(str, rule_cells), pauses, MEMORY))
    columns = (
        "level",
        "longest exposure, h",
        "storage, times the exposure",
        "storage at most, % RH",
        "floor life clock in storage",
    )
    return _table("dry_storage", data, data, columns, rows)


def _indicator() -> Table:
    data = load("indicator")
    rows = (
        (level, f"{spot} % spot humid", data["status_of"][level])
        for level, spot in data["deciding_spot"].items()
    )
    return _table("indicator", data, data, ("level", "bake before use with the"), rows)


def _handling() -> Table:
    data = load("drypack")
    blocks = [block for block in data.values() if isinstance(block, dict) and "unit" in block]
    return Table(
        key="handling",
        title="Shelf life and handling limits",
        clause=data["clause"],
        edition=data["edition"],
        source="as each row says",
        status="mixed",
        note="Section numbers from memory.",
        columns=("limit", "figure", "meaning", "found in", "status"),
        rows=tuple(
            (
                block["title"],
                f"{block['value']} {block['unit']}",
                block["says"],
                block["source"],
                block["status"],
            )
            for block in blocks
        ),
    )


def _desiccant() -> Table:
    data = load("drypack")
    blocks = (data["desiccant"], data["desiccant_by_area"])
    smallest = data["desiccant"]["min_unit_g_at_20_rh"]
    return Table(
        key="desiccant",
        title="Desiccant for a dry bag",
        clause=data["clause"],
        edition=data["edition"],
        source="as each row says",
        status="mixed",
        note=f"One unit takes up at least {smallest} g at 20 % RH and 25 °C.",
        columns=("rule", "formula", "meaning", "found in", "status"),
        rows=tuple((b["title"], b["formula"], b["says"], b["source"], b["status"]) for b in blocks),
    )


def _sampling_letters() -> Table:
    data = load("sampling")
    rows, smallest = [], 2
    for largest, letters in data["letters"]["rows"]:
        size = f"{smallest} to {largest}" if largest else f"{smallest} or more"
        rows.append((size, *letters, MEMORY))
        smallest = largest + 1
    columns = ("pieces in the lot", *(f"level {level}" for level in sampling.LEVELS))
    return _table("sampling_letters", data, data["letters"], columns, rows)


def _sampling_plans() -> Table:
    data = load("sampling")
    accept = data["plans"]["accept"]
    arrows = {"v": "↓", "^": "↑"}
    rows = (
        (
            letter,
            str(size),
            *(arrows.get(column[letter], str(column[letter])) for column in accept.values()),
            MEMORY,
        )
        for letter, size in sampling.SAMPLE_SIZES.items()
    )
    columns = ("letter", "sample, pieces", *(f"AQL {aql} %: accept with" for aql in accept))
    return _table("sampling_plans", data, data["plans"], columns, rows)
