"""Board batches, and which placements stand on which."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_TABLES = (
    """CREATE TABLE board_batch (
        code {key} PRIMARY KEY,
        name TEXT NOT NULL,
        boards INTEGER NOT NULL,
        place {key} REFERENCES place (code),
        person TEXT,
        recorded_at BIGINT NOT NULL
    )""",
    """CREATE TABLE board_placement (
        carrier {key} PRIMARY KEY REFERENCES carrier (code),
        batch {key} NOT NULL REFERENCES board_batch (code)
    )""",
    "CREATE INDEX board_placement_batch ON board_placement (batch)",
)


def up(database: peewee.Database) -> None:
    """Make the two tables; rows of the others stay as they are."""
    # Text that sorts by character code on both databases, as the other codes do.
    sqlite = isinstance(database, peewee.SqliteDatabase)
    for statement in _TABLES:
        run(database, statement.format(key="TEXT" if sqlite else 'TEXT COLLATE "C"'))
