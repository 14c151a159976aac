"""Where carriers rest in their bags: with the standings it says what is at a place."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_STEPS = (
    "CREATE TABLE resting (carrier TEXT PRIMARY KEY, place TEXT)",
    "CREATE INDEX resting_place ON resting (place) WHERE place IS NOT NULL",
)


def up(database: peewee.Database) -> None:
    """Make the table; it is filled when the standings are built anew."""
    for statement in _STEPS:
        run(database, statement)
