"""Statements for both databases."""

from __future__ import annotations

from contextlib import suppress

import pytest

from msdtrack.errors import Conflict
from msdtrack.store.connection import write
from msdtrack.store.statements import execute, insert_all, rows

TABLE = "CREATE TABLE listed (code TEXT PRIMARY KEY, at BIGINT)"
ALL = "SELECT code, at FROM listed ORDER BY code"


def numbered(count: int) -> list[tuple[str, int | None]]:
    """Return rows, texts with what a file of rows would be cut at among them."""
    return [(f'C{n:03}\t"\\N\n{n}', None if n % 7 == 0 else n << 40) for n in range(count)]


@pytest.mark.parametrize("count", [1, 19, 20, 300])
def test_rows_are_inserted_as_they_are(store: str, count: int) -> None:
    """However many they are."""
    with write():
        execute(TABLE)
        insert_all("listed", "code, at", numbered(count))
    assert rows(ALL) == numbered(count)


@pytest.mark.parametrize("count", [2, 300])
def test_rows_of_a_failed_block_are_undone(store: str, count: int) -> None:
    """Nothing that is inserted goes past the savepoint of its block."""
    with write():
        execute(TABLE)
        execute("INSERT INTO listed VALUES ('A', 1)")
        with suppress(ZeroDivisionError), write():
            insert_all("listed", "code, at", numbered(count))
            raise ZeroDivisionError
        assert rows(ALL) == [("A", 1)]


@pytest.mark.parametrize("count", [2, 300])
def test_a_row_that_is_there_is_a_conflict(store: str, count: int) -> None:
    """It is told in words, and nothing stays."""

    def insert() -> None:
        with write():
            insert_all("listed", "code, at", [*numbered(count), ("A", 2)])

    with write():
        execute(TABLE)
        execute("INSERT INTO listed VALUES ('A', 1)")
    with pytest.raises(Conflict, match="contradicts what is stored"):
        insert()
    assert rows(ALL) == [("A", 1)]
