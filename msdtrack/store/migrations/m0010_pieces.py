"""Standings drawn in pieces, and what a screen asks for every few seconds from indexes alone."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_STEPS = (
    # It is empty until the standings are computed anew, as their form says they must be.
    "ALTER TABLE standing ADD COLUMN moves_at BIGINT NOT NULL DEFAULT 0",
    "DROP INDEX standing_until",
    "CREATE INDEX standing_moves ON standing (moves_at)",
    "DROP INDEX standing_place",
    # Hundreds of lines of one place without reading their rows, which are mostly JSON.
    "CREATE INDEX standing_place ON standing (place, listed, urgency, since, until, share, rate, "
    "next_share, air_place, rate_class, in_air, left_rate, gone_at, carrier)",
    # Who may be out of its bag, without reading the log.
    "DROP INDEX event_carrier",
    "CREATE INDEX event_carrier ON event (carrier, seq, at, kind)",
    "DROP INDEX alarm_active_carrier",
    "CREATE INDEX alarm_pressing ON alarm (carrier, acknowledged_at, priority) "
    "WHERE ended_at IS NULL AND shelved_until IS NULL",
)


def up(database: peewee.Database) -> None:
    """Add the column and make the indexes."""
    for statement in _STEPS:
        run(database, statement)
