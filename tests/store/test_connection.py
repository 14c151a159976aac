"""The open store: transactions, snapshots, the change counter, and errors in words."""

from __future__ import annotations

import itertools
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

import psycopg
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from msdtrack.errors import BadInput, Conflict
from msdtrack.store import alarms, catalog, connection, lease, server
from msdtrack.store.connection import WIDELY, close_store, open_store, read, version, write
from msdtrack.store.errors import StoreUnavailable
from tests.store.samples import PRESSURE_SENSOR, T0, fill, write_and_fail

T = TypeVar("T")


def in_another_thread(work: Callable[[], T]) -> T:
    """Return what the work returns in a thread, and so on a connection, of its own."""
    results: list[T] = []
    thread = threading.Thread(target=lambda: results.append(work()))
    thread.start()
    thread.join()
    return results[0]


def test_what_was_written_is_there_after_closing_and_opening(store: str) -> None:
    """Committed is kept."""
    fill()
    close_store()
    open_store(store)
    assert catalog.part("1001-A") == PRESSURE_SENSOR


def test_an_exception_undoes_all_of_a_write(store: str) -> None:
    """Nothing is half-written, and the counter stands still."""
    before = version()
    with pytest.raises(ZeroDivisionError):
        write_and_fail(lambda: catalog.insert_person("W1", "Ana Sample", T0))
    assert catalog.people() == []
    assert version() == before


def test_a_caught_exception_undoes_the_inner_write_only(store: str) -> None:
    """A nested write joins the outer one, but what failed in it does not stay."""
    with write():
        catalog.insert_person("W1", "Ana Sample", T0)
        with pytest.raises(ZeroDivisionError):
            write_and_fail(lambda: catalog.insert_person("W2", "Bo Sample", T0))
        with write():
            catalog.insert_person("W3", "Cy Sample", T0)
    assert [person.code for person in catalog.people()] == ["W1", "W3"]


Block = list[Any]
"""What a block does: a text is written; a tuple is an inner block, whether that fails at its end,
and whether its failure is caught around it."""


def blocks() -> st.SearchStrategy[Block]:
    """Return blocks in blocks."""
    return st.recursive(
        st.lists(st.just("write"), max_size=2),
        lambda inner: st.lists(
            st.just("write") | st.tuples(inner, st.booleans(), st.booleans()), max_size=4
        ),
        max_leaves=8,
    )


def run_block(
    block: Block, inner: Callable[[], AbstractContextManager[None]], add: Callable[[], None]
) -> None:
    """Do what a block does; `inner` is around each inner one."""
    for step in block:
        if step == "write":
            add()
            continue
        within, fails, caught = step
        try:
            with inner():
                run_block(within, inner, add)
                if fails:
                    raise ZeroDivisionError
        except ZeroDivisionError:
            if not caught:
                raise


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(block=blocks())
def test_what_failed_blocks_wrote_is_undone(store: str, block: Block) -> None:
    """However they are nested, and whichever of them wrote first."""
    codes = itertools.count()
    seen: list[str] = []

    @contextmanager
    def undoing() -> Iterator[None]:
        before = list(seen)
        try:
            yield
        except ZeroDivisionError:
            seen[:] = before
            raise

    with suppress(ZeroDivisionError):
        run_block(block, undoing, lambda: seen.append(f"W{next(codes):03}"))
    assert written(block) == seen
    assert catalog.people() == []


def written(block: Block) -> list[str]:
    """Return what is there after the block, and undo all of it."""
    codes = itertools.count()

    def add() -> None:
        catalog.insert_person(f"W{next(codes):03}", "Ana Sample", T0)

    with suppress(KeyError), write():
        with suppress(ZeroDivisionError):
            run_block(block, write, add)
        there = [person.code for person in catalog.people()]
        raise KeyError
    return there


def test_a_block_that_only_reads_sets_no_savepoint(store: str) -> None:
    """Two messages to a database server less."""
    said: list[str] = []
    connection.opened().query_hooks.append(lambda query: said.append(query.sql))
    with write():
        with write(), write():
            catalog.people()
        assert not any("SAVEPOINT" in sql for sql in said)
        with write(), write():
            catalog.insert_person("W1", "Ana Sample", T0)
        # PostgreSQL has set one with the transaction's beginning.
        assert sum("SAVEPOINT" in sql for sql in said) == (2 if connection.is_sqlite() else 0)
        said.clear()
        with write(), write():
            catalog.insert_person("W2", "Bo Sample", T0)
        assert sum("SAVEPOINT" in sql for sql in said) == 2
    connection.opened().query_hooks.clear()


def test_all_threads_write_over_one_connection(store: str) -> None:
    """It outlives the thread that opened it, and what is read goes over others."""
    in_another_thread(lambda: write_person("W1"))
    writer = connection.opened().register.writer
    in_another_thread(lambda: write_person("W2"))
    write_person("W3")
    assert connection.opened().register.writer is writer
    assert connection.opened().connection() is not writer
    assert len(catalog.people()) == 3


def write_person(code: str) -> None:
    """Write something in a transaction of its own."""
    with write():
        catalog.insert_person(code, "Ana Sample", T0)


def test_others_see_a_write_only_once_it_is_committed(store: str) -> None:
    """A nested block does not commit; the outermost does."""
    with write():
        with write():
            catalog.insert_person("W1", "Ana Sample", T0)
        assert in_another_thread(catalog.people) == []
    assert len(in_another_thread(catalog.people)) == 1


def test_the_counter_counts_each_commit_that_a_screen_shows(store: str) -> None:
    """Several changes in one transaction count once."""
    before = version()
    with write():
        catalog.insert_person("W1", "Ana Sample", T0)
        catalog.insert_person("W2", "Bo Sample", T0)
    assert version() // WIDELY == before // WIDELY + 1
    assert in_another_thread(version) == version()


def test_the_counter_does_not_count_what_no_screen_shows(store: str) -> None:
    """A scheduler that renews its lease must not make every screen load again."""
    before = version()
    with write():
        lease.take_lease("jobs", "server-1", T0, 30)
        lease.set_watermark("jobs", T0)
        server.see_clock(T0)
        server.kept_value("secret", lambda: "x")
    with write():
        pass
    assert version() == before


def test_a_read_is_one_snapshot(store: str) -> None:
    """What another connection commits in between is not seen before the block has ended."""

    def add() -> None:
        with write():
            catalog.insert_person("W1", "Ana Sample", T0)

    with read():
        counted = version()
        in_another_thread(add)
        assert catalog.people() == []
        with read():
            assert catalog.people() == []
        assert version() == counted
    assert len(catalog.people()) == 1
    assert version() // WIDELY == counted // WIDELY + 1


def test_a_read_inside_a_write_sees_what_was_written(store: str) -> None:
    """It joins the transaction."""
    with write():
        catalog.insert_person("W1", "Ana Sample", T0)
        with read():
            assert len(catalog.people()) == 1


def test_a_write_inside_a_read_is_refused(store: str) -> None:
    """What was read may be old by then, so writing on its strength is a mistake."""
    with read(), pytest.raises(RuntimeError, match="inside read"), write():
        pass
    with write():
        catalog.insert_person("W1", "Ana Sample", T0)


def test_writing_needs_a_write(store: str) -> None:
    """Only services open transactions; a function alone does not write."""
    with pytest.raises(RuntimeError, match="inside write"):
        catalog.insert_person("W1", "Ana Sample", T0)
    with pytest.raises(RuntimeError, match="inside write"), read():
        alarms.raise_alarm("cause", "kind", "high", "message", T0)
    assert catalog.people() == []


def test_foreign_keys_are_on(store: str) -> None:
    """A row that points to nothing is refused in words, and nothing stays."""

    def write_both() -> None:
        with write():
            catalog.insert_person("W1", "Ana Sample", T0)
            alarms.raise_alarm("cause", "kind", "high", "message", T0, carrier="NOBODY")

    with pytest.raises(Conflict, match="contradicts what is stored"):
        write_both()
    assert catalog.people() == []


def test_a_scan_survives_a_power_cut(store: str) -> None:
    """SQLite: WAL, synchronous FULL, foreign keys, and 5 seconds of patience at least, in every
    thread. PostgreSQL: a commit waits for the disk."""

    def setting(name: str) -> object:
        sqlite = store.startswith("sqlite")
        sql = f"PRAGMA {name}" if sqlite else f"SHOW {name}"
        database = connection.opened()
        return database.execute_sql(sql).fetchone()[0]

    if store.startswith("sqlite"):
        for ask in (setting, lambda name: in_another_thread(lambda: setting(name))):
            assert ask("journal_mode") == "wal"
            assert ask("synchronous") == 2
            assert ask("foreign_keys") == 1
            assert ask("busy_timeout") >= 5000
    else:
        assert setting("synchronous_commit") == "on"


def test_connections_of_ended_threads_are_closed(store: str) -> None:
    """A server that starts threads does not collect connections."""
    for _ in range(5):
        in_another_thread(version)
    register = connection.opened().register
    assert len(register._open) <= 2
    close_store()
    assert register._open == []


def test_nothing_works_without_an_open_store() -> None:
    """It says so."""
    close_store()
    with pytest.raises(StoreUnavailable, match="No database is open"):
        version()
    with pytest.raises(StoreUnavailable, match="No database is open"), write():
        pass


def test_opening_another_store_closes_the_first(store: str, tmp_path: Path) -> None:
    """One store is open per process."""
    fill()
    token = connection.generation()
    open_store(f"sqlite:///{tmp_path / 'other.db'}")
    assert catalog.people() == []
    assert connection.generation() is not token


@pytest.mark.parametrize(
    "url",
    [
        "sqlite:///",
        "sqlite:///:memory:",
        "sqlite:///no/such/folder/x.db",
        "sqlite:////tmp",
        "sqlite://host/x.db",
        "mysql://host/name",
        "x.db",
        "",
    ],
)
def test_a_url_that_names_no_database_is_refused_in_words(url: str) -> None:
    """Nothing is opened in memory, where it would be lost."""
    with pytest.raises(BadInput, match=r"database"):
        open_store(url)


def test_a_relative_and_an_escaped_path_are_understood(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """sqlite:/// and a name is relative to the working folder; %20 is a blank."""
    monkeypatch.chdir(tmp_path)
    open_store("sqlite:///line%201.db")
    close_store()
    assert (tmp_path / "line 1.db").exists()


def test_a_file_that_is_no_database_is_left_alone(tmp_path: Path) -> None:
    """It is refused in words and not a byte of it changes."""
    file = tmp_path / "notes.txt"
    file.write_text("not a database, " * 100)
    with pytest.raises(StoreUnavailable, match="not a database"):
        open_store(f"sqlite:///{file}")
    assert file.read_text() == "not a database, " * 100


@pytest.mark.postgresql
def test_a_server_that_is_not_there_is_reported_in_words(postgresql_url: str) -> None:
    """The message says what failed."""
    with pytest.raises(StoreUnavailable, match="could not do this"):
        open_store(postgresql_url + "_gone")


@pytest.mark.postgresql
def test_a_dropped_connection_heals(postgresql_url: str) -> None:
    """When PostgreSQL was restarted, transactions go on over connections anew."""
    open_store(postgresql_url)
    try:
        with read():
            version()
        with write():
            catalog.insert_person("W0", "Ada Sample", T0)
        with psycopg.connect(postgresql_url, autocommit=True) as other:
            other.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE pid <> pg_backend_pid() AND datname = current_database()"
            )
        with read():
            version()
        with write():
            catalog.insert_person("W1", "Ana Sample", T0)
        assert len(catalog.people()) == 2
    finally:
        close_store()


def test_a_database_that_another_program_holds_is_reported_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A writer that waits in vain gives up with words, and has written nothing."""
    monkeypatch.setattr("msdtrack.store.database_url.BUSY_TIMEOUT_S", 0.05)
    file = tmp_path / "test.db"
    open_store(f"sqlite:///{file}")
    holder = sqlite3.connect(file, isolation_level=None)
    try:
        holder.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreUnavailable, match="locked"), write():
            pytest.fail("it can't get here")
        holder.execute("ROLLBACK")
        with write():
            catalog.insert_person("W1", "Ana Sample", T0)
    finally:
        holder.close()
        close_store()
