"""Badges that are no longer in use: since when."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_STEPS = ("ALTER TABLE person ADD COLUMN retired_at BIGINT",)


def up(database: peewee.Database) -> None:
    """Add the column; everybody on file is at work."""
    for statement in _STEPS:
        run(database, statement)
