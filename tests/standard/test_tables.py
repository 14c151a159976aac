"""Every table can be shown, as used, with where its figures come from."""

from __future__ import annotations

import re
from importlib.resources import files
from itertools import product

import pytest

from msdtrack.standard import baking, derating, figures, levels, recovery
from msdtrack.standard.package_groups import GROUPS
from msdtrack.standard.tables import CHECK_YOUR_COPY, Table, fingerprint, published_tables

TABLES = {table.key: table for table in published_tables()}

tables = pytest.mark.parametrize("table", list(TABLES.values()), ids=list(TABLES))


def row_starting(table: Table, *start: str) -> tuple[str, ...]:
    (row,) = [row for row in table.rows if row[: len(start)] == start]
    return row


def test_every_table_is_shown_once() -> None:
    assert list(TABLES) == [
        "floor_life",
        "derating_thin",
        "derating_medium",
        "derating_thick",
        "user_bake_upto_1_4",
        "user_bake_upto_2_0",
        "user_bake_upto_4_5",
        "user_bake_large_or_stacked",
        "supplier_bake_upto_1_4",
        "supplier_bake_upto_2_0",
        "supplier_bake_upto_4_5",
        "dry_storage",
        "indicator",
        "handling",
        "desiccant",
        "sampling_letters",
        "sampling_plans",
    ]
    assert len(TABLES) == len(published_tables())


@tables
def test_no_table_stands_without_its_provenance(table: Table) -> None:
    texts = (table.title, table.clause, table.edition, table.source, table.note)
    assert all(texts)
    assert table.clause.startswith(("J-STD-033", "ISO 2859-1"))
    assert table.columns[-1] == "status"


@tables
def test_every_row_fills_every_column(table: Table) -> None:
    assert table.rows
    for row in table.rows:
        assert len(row) == len(table.columns)
        assert all(row)


@tables
def test_the_status_of_a_table_sums_up_its_rows(table: Table) -> None:
    statuses = {row[-1] for row in table.rows}
    if table.status == "mixed":
        assert len(statuses) > 1
    else:
        assert statuses == {table.status}


def test_a_reader_is_asked_to_check_the_own_copy() -> None:
    assert "licensed copy" in CHECK_YOUR_COPY


@pytest.mark.parametrize(("group", "level"), [*product(GROUPS, ("2a", "3", "4", "5", "5a"))])
def test_the_derating_shown_is_the_derating_used(group: str, level: str) -> None:
    table = TABLES[f"derating_{group}"]
    for row, temp_c in enumerate(derating.TEMPS_C):
        cells = row_starting(table, level, str(temp_c))[2:-1]
        for column, text in enumerate(cells):
            days = derating.life_days(group, level, 10 * row + column)
            assert text == ("no limit" if days is None else f"{float(days):g}")


@pytest.mark.parametrize("row", baking.THICKNESS_ROWS)
def test_the_bakes_shown_are_the_bakes_used(row: str) -> None:
    body_mm = {"upto_1_4": 1.4, "upto_2_0": 2.0, "upto_4_5": 4.5}[row]
    for level in ("2", "2a", "3", "4", "5", "5a"):
        user = row_starting(TABLES[f"user_bake_{row}"], level)[1:-1]
        assert [int(text.split()[0]) for text in user] == [
            baking.user_bake_h(level, body_mm, temp_c, column, False)
            for temp_c, column in product(baking.TEMPS_C, baking.COLUMNS)
        ]
        supplier = row_starting(TABLES[f"supplier_bake_{row}"], level)[1:-1]
        assert [int(text) for text in supplier] == [
            baking.supplier_bake_h(level, body_mm, temp_c) for temp_c in baking.SUPPLIER_TEMPS_C
        ]


def test_the_floor_life_and_dry_storage_shown_are_those_used() -> None:
    for level in levels.LEVELS:
        hours = levels.floor_life_h(level)
        shown = row_starting(TABLES["floor_life"], level)[1]
        assert shown.split()[0] == str(hours) if hours else not re.search(r"\d", shown)
        rule = recovery.dry_storage_rule(level)
        if rule is not None:
            row = row_starting(TABLES["dry_storage"], level)
            assert row[1:4] == (
                str(rule.max_exposure_h),
                str(rule.factor),
                str(rule.max_storage_rh_pct),
            )
            assert (row[4] == "stops") is rule.pauses


def test_the_rows_found_in_public_are_those_the_sources_of_figures_name() -> None:
    thin = row_starting(TABLES["derating_thin"], "3", "30")
    assert thin[-1] == "memory; published at 60 % and 70 % RH"
    for row in TABLES["user_bake_upto_1_4"].rows:
        source = baking.user_bake_source(row[0], 1.4, "over_72h", False)
        assert (row[-1] == "published") is ("found in a public source" in source)


def test_the_fingerprint_is_a_sha_256_of_every_data_file(monkeypatch: pytest.MonkeyPatch) -> None:
    assert re.fullmatch(r"[0-9a-f]{64}", fingerprint())
    seen = {fingerprint()}
    read = figures._text
    for changed in figures.NAMES:
        monkeypatch.setattr(
            figures, "_text", lambda name, c=changed: read(name) + " " * (name == c)
        )
        seen.add(figures.fingerprint.__wrapped__())
    assert len(seen) == 1 + len(figures.NAMES)


def test_every_data_file_has_its_name() -> None:
    shipped = {entry.name for entry in (files("msdtrack.standard") / "data").iterdir()}
    assert shipped == {f"{name}.toml" for name in figures.NAMES}
