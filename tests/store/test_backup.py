"""A backup is whole, checked, and made while the server runs."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from msdtrack.errors import Conflict, Refused
from msdtrack.store import carriers, catalog, event_log
from msdtrack.store.backup import backup_to
from msdtrack.store.connection import close_store, open_store, write
from msdtrack.store.errors import StoreUnavailable
from msdtrack.store.migrations import ALL
from msdtrack.store.sqlite_copy import copy_sqlite
from tests.store.samples import CARRIER, T0, event, fill


@pytest.fixture
def file(tmp_path: Path):
    """The file of an open SQLite store with a carrier and an event in it."""
    path = tmp_path / "test.db"
    open_store(f"sqlite:///{path}")
    fill()
    with write():
        event_log.append([event()], T0)
    yield path
    close_store()


def test_a_backup_opens_as_a_store_with_everything_in_it(file: Path, tmp_path: Path) -> None:
    """One file, and the report says what is in it."""
    copy = tmp_path / "copies" / "monday.db"
    copy.parent.mkdir()
    report = backup_to(copy)
    assert [path.name for path in copy.parent.iterdir()] == ["monday.db"]
    assert (report.path, report.bytes) == (copy, copy.stat().st_size)
    assert report.schema_version == ALL[-1].version
    assert report.rows["carrier"] == report.rows["event"] == 1
    assert report.rows["place"] == 3
    open_store(f"sqlite:///{copy}")
    assert carriers.carrier("CARRIER1") == CARRIER
    assert len(event_log.log("CARRIER1")) == 1


def test_a_backup_holds_what_is_committed_and_nothing_else(file: Path, tmp_path: Path) -> None:
    """It does not wait for the writer, nor the writer for it."""
    with write():
        catalog.insert_person("W9", "Di Sample", T0)
        report = backup_to(tmp_path / "copy.db")
    assert report.rows["person"] == 2
    assert backup_to(tmp_path / "later.db").rows["person"] == 3


def test_a_file_that_is_there_is_not_overwritten(file: Path, tmp_path: Path) -> None:
    """Yesterday's copy is safe from a slip of the finger."""
    copy = tmp_path / "copy.db"
    copy.write_text("yesterday")
    with pytest.raises(Conflict, match="exists already"):
        backup_to(copy)
    assert copy.read_text() == "yesterday"


def test_a_copy_that_can_not_be_written_is_reported(file: Path, tmp_path: Path) -> None:
    """And leaves nothing behind."""
    (tmp_path / "copy.db.partial").mkdir()
    with pytest.raises(StoreUnavailable, match="could not be written"):
        backup_to(tmp_path / "copy.db")
    assert not (tmp_path / "copy.db").exists()


def test_a_mistyped_folder_is_refused_and_not_made(file: Path, tmp_path: Path) -> None:
    """A copy in a folder that nobody knows of is a copy that nobody finds; a file is no folder."""
    (tmp_path / "file").write_text("no folder")
    for name in ("coppies", "file"):
        with pytest.raises(Refused, match=f"no folder .*{name}, so nothing was copied"):
            backup_to(tmp_path / name / "copy.db")
    assert not (tmp_path / "coppies").exists()


def test_a_damaged_copy_does_not_count(file: Path, tmp_path: Path) -> None:
    """A copy is read back; a damaged database gives an error, not a file that looks like a copy."""
    close_store()
    damaged = tmp_path / "damaged.db"
    shutil.copy(file, damaged)
    with closing(sqlite3.connect(damaged)) as other:
        other.execute("PRAGMA foreign_keys = OFF")
        other.execute("DELETE FROM place")
        other.commit()
    with pytest.raises(StoreUnavailable, match="rows point to nothing"):
        copy_sqlite(damaged, tmp_path / "copy.db")
    content = bytearray(damaged.read_bytes())
    # The second page on is tables and indexes; the first holds what there is.
    content[3 * 4096 : 6 * 4096] = b"\xff" * (3 * 4096)
    damaged.write_bytes(content)
    with pytest.raises(StoreUnavailable, match=r"damaged|could not be written"):
        copy_sqlite(damaged, tmp_path / "copy.db")
    assert not list(tmp_path.glob("copy.db*"))


@pytest.mark.postgresql
def test_postgresql_is_backed_up_with_its_own_tool(postgresql_url: str, tmp_path: Path) -> None:
    """The error says with which."""
    open_store(postgresql_url)
    try:
        with pytest.raises(Refused, match="pg_dump"):
            backup_to(tmp_path / "copy.db")
    finally:
        close_store()
