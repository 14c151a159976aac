"""Counts of places: what was scanned and decided, kept while one runs and after."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_TABLES = (
    """CREATE TABLE place_count (
        id {key} PRIMARY KEY,
        place {key} NOT NULL REFERENCES place (code),
        begun_at BIGINT NOT NULL,
        ended_at BIGINT,
        ended_by {key} REFERENCES person (code),
        outcome TEXT,
        summary TEXT NOT NULL
    )""",
    "CREATE UNIQUE INDEX place_count_running ON place_count (place) WHERE ended_at IS NULL",
    "CREATE INDEX place_count_ended ON place_count (ended_at)",
    """CREATE TABLE place_count_line (
        place_count {key} NOT NULL REFERENCES place_count (id),
        code {key} NOT NULL,
        found_at BIGINT,
        decision TEXT NOT NULL,
        PRIMARY KEY (place_count, code)
    )""",
    "CREATE INDEX place_count_line_code ON place_count_line (code)",
)


def up(database: peewee.Database) -> None:
    """Make the two tables; rows of the others stay as they are."""
    # Text that sorts by character code on both databases, as the other codes do.
    sqlite = isinstance(database, peewee.SqliteDatabase)
    for statement in _TABLES:
        run(database, statement.format(key="TEXT" if sqlite else 'TEXT COLLATE "C"'))
