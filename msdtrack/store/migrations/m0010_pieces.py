"""Standings drawn in pieces: which of them may be elsewhere before they are drawn anew."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_STEPS = (
    # It is empty until the standings are computed anew, as their form says they must be.
    "ALTER TABLE standing ADD COLUMN moves_at BIGINT NOT NULL DEFAULT 0",
    "DROP INDEX standing_until",
    "CREATE INDEX standing_moves ON standing (moves_at)",
)


def up(database: peewee.Database) -> None:
    """Add the column and make its index."""
    for statement in _STEPS:
        run(database, statement)
