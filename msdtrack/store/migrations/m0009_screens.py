"""What screens ask every few seconds: indexes by place, and a standing in brief."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_STEPS = (
    # It is empty until the standings are computed anew, as their form says they must be.
    "ALTER TABLE standing ADD COLUMN glance TEXT NOT NULL DEFAULT ''",
    "CREATE INDEX standing_place ON standing (place)",
    "CREATE INDEX standing_until ON standing (until)",
    "CREATE INDEX alarm_active_place ON alarm (place) WHERE ended_at IS NULL",
    "CREATE INDEX alarm_active_carrier ON alarm (carrier) WHERE ended_at IS NULL",
)


def up(database: peewee.Database) -> None:
    """Add the column and make the indexes."""
    for statement in _STEPS:
        run(database, statement)
