"""The databases that tests are given: fresh, of both kinds, and gone afterwards."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest

from tests.postgresql_cluster import Cluster


def _tables_then_make_one(url: str) -> int:
    query = "CREATE TABLE left_behind (number INTEGER)"
    if url.startswith("sqlite:"):
        file = Path(urlsplit(url).path)
        known = file.exists()
        connection = sqlite3.connect(file)
        connection.execute(query)
        connection.close()
        return int(known)
    with psycopg.connect(url) as connection:
        rows = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
        found = len(rows.fetchall())
        connection.execute(query)
        return found


@pytest.mark.parametrize("turn", ["first", "second"])
def test_each_test_gets_an_empty_database(database_url: str, turn: str) -> None:
    """What one test leaves in its database, the next one does not find."""
    assert _tables_then_make_one(database_url) == 0


@pytest.mark.postgresql
def test_a_postgresql_database_is_gone_after_its_test(postgresql_cluster: Cluster) -> None:
    """A database is dropped at the end, even with a connection left open."""
    with postgresql_cluster.database() as url:
        left_open = psycopg.connect(url)
    left_open.close()
    with pytest.raises(psycopg.OperationalError, match="does not exist"):
        psycopg.connect(url)
