"""From nothing, or from the tables before with rows in them, to the newest tables."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import peewee
import psycopg
import pytest

from msdtrack.exposure.facts import FOREVER
from msdtrack.store import (
    catalog,
    connection,
    event_log,
    models,
    policies,
    prints,
    reading_log,
    standings,
    stays,
)
from msdtrack.store.connection import close_store, open_store, write
from msdtrack.store.database_url import run
from msdtrack.store.errors import StoreUnavailable
from msdtrack.store.migrations import ALL, Migration, schema_version
from tests.store.samples import PRESSURE_SENSOR, T0, add_readings, event, fill


def _add_supplier(database: peewee.Database) -> None:
    run(database, "ALTER TABLE part ADD COLUMN supplier TEXT NOT NULL DEFAULT 'unknown'")


def _fail_half_way(database: peewee.Database) -> None:
    run(database, "ALTER TABLE part ADD COLUMN supplier TEXT")
    run(database, "SELECT * FROM no_such_table")


SUPPLIER = Migration(2, "supplier", _add_supplier)


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    yield
    close_store()


def rows_of(url: str, sql: str) -> list[tuple[object, ...]]:
    """Do a statement on a connection of its own and return its rows."""
    if url.startswith("sqlite"):
        with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as other:
            return other.execute(sql).fetchall()
    with psycopg.connect(url) as other:
        return other.execute(sql).fetchall()


def test_versions_count_up_from_one() -> None:
    """The runner takes steps by version, so the list is in order without a gap."""
    assert [step.version for step in ALL] == list(range(1, len(ALL) + 1))


def test_an_empty_database_gets_the_newest_tables(database_url: str) -> None:
    """A second start does nothing."""
    for _ in range(2):
        open_store(database_url)
        assert schema_version(connection.opened()) == ALL[-1].version
        assert rows_of(database_url, "SELECT count(*) FROM schema_version") == [(len(ALL),)]


def test_the_models_are_the_tables(store: str) -> None:
    """Every model has the columns that the migrations made: names and what may be null."""
    database = connection.opened()
    for model in models._Table.__subclasses__():
        made = {c.name: c.null for c in database.get_columns(model._meta.table_name)}
        declared = {f.column_name: f.null for f in model._meta.sorted_fields}
        primary = {key.column_name for key in model._meta.get_primary_keys()}
        # SQLite lets a primary key column say NULL, and keeps its word only for integers.
        assert {name: null for name, null in made.items() if name not in primary} == {
            name: null for name, null in declared.items() if name not in primary
        }, model
        assert made.keys() == declared.keys()


def test_a_database_with_rows_keeps_them_and_is_copied_first(
    database_url: str, tmp_path: Path
) -> None:
    """From version 1 with rows to a later one: the rows are there, and so is a copy from before."""
    open_store(database_url, known_migrations=ALL[:1])
    fill()
    open_store(database_url, backup_dir=tmp_path / "copies", known_migrations=(ALL[0], SUPPLIER))
    assert catalog.part("1001-A") == PRESSURE_SENSOR
    assert rows_of(database_url, "SELECT supplier FROM part") == [("unknown",)]
    assert schema_version(connection.opened()) == 2
    if database_url.startswith("sqlite"):
        (copy,) = (tmp_path / "copies").iterdir()
        assert rows_of(f"sqlite:///{copy}", "SELECT max(version) FROM schema_version") == [(1,)]
        assert rows_of(f"sqlite:///{copy}", "SELECT number FROM part") == [("1001-A",)]
    else:
        sql = "SELECT nspname FROM pg_namespace WHERE nspname LIKE 'before_v0002%'"
        ((schema,),) = rows_of(database_url, sql)
        assert rows_of(database_url, f"SELECT number FROM {schema}.part") == [("1001-A",)]


def test_a_database_without_rows_is_not_copied(database_url: str, tmp_path: Path) -> None:
    """There is nothing to keep."""
    open_store(database_url, known_migrations=ALL[:1])
    open_store(database_url, backup_dir=tmp_path / "copies", known_migrations=(ALL[0], SUPPLIER))
    assert schema_version(connection.opened()) == 2
    assert not (tmp_path / "copies").exists()


def test_nothing_to_do_makes_no_copy(database_url: str, tmp_path: Path) -> None:
    """A plain start of a server with data copies nothing."""
    open_store(database_url)
    fill()
    open_store(database_url, backup_dir=tmp_path / "copies")
    assert not (tmp_path / "copies").exists()


def test_a_step_that_fails_leaves_the_database_as_it_was(database_url: str, tmp_path: Path) -> None:
    """All or nothing, and the older msdtrack still opens it."""
    open_store(database_url, known_migrations=ALL[:1])
    fill()
    broken = Migration(2, "broken", _fail_half_way)
    with pytest.raises(StoreUnavailable, match="no_such_table"):
        open_store(database_url, backup_dir=tmp_path, known_migrations=(ALL[0], broken))
    with pytest.raises(StoreUnavailable, match="No database is open"):
        connection.version()
    open_store(database_url, known_migrations=ALL[:1])
    assert catalog.part("1001-A") == PRESSURE_SENSOR
    with write():
        catalog.insert_person("W9", "Di Sample", T0)


def test_a_step_that_would_orphan_rows_is_undone(tmp_path: Path) -> None:
    """SQLite checks foreign keys at the end of all steps, for a step may rebuild a table."""
    url = f"sqlite:///{tmp_path / 'test.db'}"
    open_store(url)
    fill()

    def drop_places(database: peewee.Database) -> None:
        run(database, "DELETE FROM place")

    with pytest.raises(StoreUnavailable, match="point to"):
        open_store(url, known_migrations=(*ALL, Migration(len(ALL) + 1, "drop", drop_places)))
    open_store(url)
    assert connection.opened().foreign_keys == 1
    assert rows_of(url, "SELECT count(*) FROM place") == [(3,)]


def test_late_readings_keep_when_they_were_received(database_url: str, tmp_path: Path) -> None:
    """To version 8: what was known when is as before, also of what is replaced afterwards."""
    open_store(database_url, known_migrations=ALL[:7])
    fill()
    sql = "INSERT INTO reading SELECT id, ?, ?, ?, ? FROM place WHERE code = 'LINE1'"
    with write():
        for second, late_s in ((T0, 0), (T0 + 10, 500), (T0 + 20, 490), (T0 + 510, 200)):
            run(connection.opened(), sql, (second, 2500, 5000, late_s))
    open_store(database_url, backup_dir=tmp_path)
    with write():
        add_readings("LINE1", [(T0 + 10, 2600, None)], T0 + 900, replaces=True)
    known = {
        T0 - 1: [],
        T0: [T0],
        T0 + 509: [T0],
        T0 + 510: [T0, T0 + 10, T0 + 20],
        T0 + 709: [T0, T0 + 10, T0 + 20],
        T0 + 710: [T0, T0 + 10, T0 + 20, T0 + 510],
    }
    for known_at, moments in known.items():
        found = reading_log.readings("LINE1", known_at=known_at)
        assert found == [(second, 2500, 5000) for second in moments]
    assert (T0 + 10, 2600, None) in reading_log.readings("LINE1", known_at=T0 + 900)


def test_standings_are_kept_as_one_glance(database_url: str, tmp_path: Path) -> None:
    """To version 11: what was drawn before can be drawn again, and stays are noted once."""
    open_store(database_url, known_migrations=ALL[:10])
    fill()
    old = {"carrier": "CARRIER1", "part": "P", "listed": 1, "urgency": 0, "summary": "{}"}
    zero = ("since", "until", "share", "rate", "next_share", "in_air", "heeds_air")
    old |= dict.fromkeys(zero, 0)
    marks = ", ".join("?" * len(old))
    with write():
        into = f"INSERT INTO standing ({', '.join(old)}) VALUES ({marks})"
        run(connection.opened(), into, tuple(old.values()))
        for _ in range(2):
            run(connection.opened(), "INSERT INTO stay VALUES ('CARRIER1', 'LINE1', 7, 9)")
    open_store(database_url, backup_dir=tmp_path)
    assert stays.stays() == []
    (one,) = standings.standings()
    stay = ("LINE1", T0, T0 + 10)
    with write():
        standings.put([one._replace(glance="[]")], [])
        stays.put({"CARRIER1": [stay, stay]})
    assert standings.standings() == [one._replace(glance="[]")]
    assert stays.stays() == [("CARRIER1", *stay)]
    with write():
        stays.put({"CARRIER1": []})
    assert stays.stays() == []


def test_who_moves_is_found_from_a_narrow_index(tmp_path: Path) -> None:
    """To version 12: the index holds only those that an event ahead may move."""
    url = f"sqlite:///{tmp_path / 'store.db'}"
    open_store(url)
    sql = f"SELECT * FROM standing s WHERE s.moves_at <= {T0} AND s.moves_at < {FOREVER}"
    ((*_, plan),) = rows_of(url, f"EXPLAIN QUERY PLAN {sql}")
    assert "standing_moves" in str(plan)


def test_people_on_file_are_at_work(database_url: str, tmp_path: Path) -> None:
    """To version 14: every badge from before is in use, and what points to people still does."""
    open_store(database_url, known_migrations=ALL[:13])
    fill()
    before = rows_of(database_url, "SELECT code, name FROM person ORDER BY code")
    assert before
    open_store(database_url, backup_dir=tmp_path)
    people = catalog.people()
    assert [(one.code, one.name) for one in people] == before
    assert {one.retired_at for one in people} == {None}
    with write():
        catalog.update_person("W1", {"retired_at": T0}, reason="has left", recorded_at=T0)
    assert catalog.person("W1").retired_at == T0


def test_a_newer_database_is_refused_in_words(database_url: str) -> None:
    """It is not touched by an msdtrack that does not know its tables."""
    open_store(database_url, known_migrations=(ALL[0], SUPPLIER))
    fill_sql = "SELECT max(version) FROM schema_version"
    with pytest.raises(StoreUnavailable, match=r"version 2.*only up to version 1"):
        open_store(database_url, known_migrations=ALL[:1])
    assert rows_of(database_url, fill_sql) == [(2,)]


@pytest.mark.parametrize(
    "table", ["event", "fact_change", "place_setting", "policy", "print_log", "reading_replaced"]
)
@pytest.mark.parametrize("verb", ["UPDATE", "DELETE"])
def test_records_are_append_only_in_the_database_too(store: str, table: str, verb: str) -> None:
    """Whoever has the database's password can't edit history unless a trigger is taken down."""
    fill()
    with write():
        event_log.append([event()], T0)
        catalog.update_person("W1", {"name": "An Sample"}, reason="typing error", recorded_at=T0)
        policies.set_policy("credit", True, T0, recorded_at=T0)
        prints.log_print("CARRIER1", "small", "carrier", T0)
        add_readings("LINE1", [(T0, 2500, 5000)], T0)
        add_readings("LINE1", [(T0, 2600, 5000)], T0, replaces=True)
    before = rows_of(store, f"SELECT * FROM {table}")
    assert before
    column = {"event": "at", "reading_replaced": "second"}.get(table, "id")
    sql = f"UPDATE {table} SET {column} = 7" if verb == "UPDATE" else f"DELETE FROM {table}"
    with pytest.raises((sqlite3.IntegrityError, psycopg.IntegrityError), match="append-only"):
        rows_of(store, sql)
    assert rows_of(store, f"SELECT * FROM {table}") == before


@pytest.mark.postgresql
def test_the_log_can_not_be_truncated(postgresql_url: str) -> None:
    """PostgreSQL has a third way to delete."""
    open_store(postgresql_url)
    with psycopg.connect(postgresql_url) as other, pytest.raises(psycopg.IntegrityError):
        other.execute("TRUNCATE event CASCADE")
