"""Indexes of standings hold only what is looked for: each is a page more for a scan to commit."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_STEPS = (
    # Who asks after a change of a part can read them all.
    "DROP INDEX standing_part",
    "DROP INDEX standing_air_place",
    "CREATE INDEX standing_air_place ON standing (air_place) WHERE air_place IS NOT NULL",
    "DROP INDEX standing_moves",
    # All but few stay where they are for ever.
    "CREATE INDEX standing_moves ON standing (moves_at) WHERE moves_at < 1099511627776",
)


def up(database: peewee.Database) -> None:
    """Make the indexes anew."""
    for statement in _STEPS:
        run(database, statement)
