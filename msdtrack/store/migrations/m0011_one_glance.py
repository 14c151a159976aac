"""A standing is kept as one JSON, and stays lie in the order in which they are looked for."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

# The columns of a stay are in the order of its key: else SQLite's quick_check takes each row for a
# broken one.
_STEPS = (
    "ALTER TABLE standing DROP COLUMN summary",
    "DROP TABLE stay",
    """CREATE TABLE stay (
        place {key} NOT NULL,
        end_at BIGINT NOT NULL,
        start_at BIGINT NOT NULL,
        carrier {key} NOT NULL,
        PRIMARY KEY (place, end_at, start_at, carrier)
    ){without_rowid}""",
    "CREATE INDEX stay_carrier ON stay (carrier)",
)


def up(database: peewee.Database) -> None:
    """Make it anew; standings and stays are computed anew, as their form says they must be."""
    # Text that sorts by character code on both databases, as the other codes do.
    sqlite = isinstance(database, peewee.SqliteDatabase)
    key = "TEXT" if sqlite else 'TEXT COLLATE "C"'
    without_rowid = " WITHOUT ROWID" if sqlite else ""
    for statement in _STEPS:
        run(database, statement.format(key=key, without_rowid=without_rowid))
