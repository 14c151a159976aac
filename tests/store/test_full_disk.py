"""A disk that is full: the cause is told, nothing is half-written, and work goes on afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from msdtrack.store import catalog
from msdtrack.store.connection import close_store, open_store, write
from msdtrack.store.errors import StoreUnavailable
from tests.store.samples import T0, full_disk

LONG = "x" * 40_000


@pytest.fixture(autouse=True)
def sqlite_store(tmp_path: Path) -> Iterator[None]:
    """An SQLite file; SQLite alone undoes a transaction without being told."""
    open_store(f"sqlite:///{tmp_path / 'store.db'}")
    yield
    close_store()


def test_it_is_told_and_does_not_stay() -> None:
    """What the last write before it said is kept, and the next one after it works."""
    with write():
        catalog.insert_person("W1", "Ana Sample", T0)
    with full_disk(), pytest.raises(StoreUnavailable, match="disk is full"), write():
        catalog.insert_person("W2", LONG, T0)
    with write():
        catalog.insert_person("W3", "Cy Sample", T0)
    assert [person.code for person in catalog.people()] == ["W1", "W3"]


def test_it_is_told_from_an_inner_block() -> None:
    """The cause, and not that the savepoint is gone with the transaction."""
    with full_disk(), pytest.raises(StoreUnavailable, match="disk is full"), write(), write():
        catalog.insert_person("W2", LONG, T0)
    with write():
        catalog.insert_person("W3", "Cy Sample", T0)
    assert [person.code for person in catalog.people()] == ["W3"]
