"""Late readings say by a number when they were received: a byte or two each, not three or four."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_STEPS = (
    "CREATE TABLE reading_receipt (id INTEGER PRIMARY KEY, received_at BIGINT NOT NULL UNIQUE)",
    """INSERT INTO reading_receipt
        SELECT row_number() OVER (ORDER BY received_at), received_at
        FROM (SELECT DISTINCT second + late_s AS received_at FROM reading WHERE late_s <> 0) one""",
    """UPDATE reading SET late_s =
        (SELECT id FROM reading_receipt WHERE received_at = second + late_s) WHERE late_s <> 0""",
    "ALTER TABLE reading RENAME COLUMN late_s TO receipt",
)


def up(database: peewee.Database) -> None:
    """Number the receipts; 0 stays what was received promptly."""
    for statement in _STEPS:
        run(database, statement)
