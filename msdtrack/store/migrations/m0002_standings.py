"""What the watch list is answered from. All of it can be dropped and computed anew."""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

_TABLES = (
    """CREATE TABLE standing_build (
        one INTEGER PRIMARY KEY CHECK (one = 1),
        fingerprint TEXT NOT NULL,
        as_of BIGINT NOT NULL
    )""",
    """CREATE TABLE standing (
        carrier {key} PRIMARY KEY,
        part {key} NOT NULL,
        place {key},
        listed INTEGER NOT NULL,
        urgency INTEGER NOT NULL,
        since BIGINT NOT NULL,
        until BIGINT NOT NULL,
        share BIGINT NOT NULL,
        rate BIGINT NOT NULL,
        next_share BIGINT NOT NULL,
        air_place {key},
        rate_class {key},
        in_air INTEGER NOT NULL,
        left_rate BIGINT,
        heeds_air INTEGER NOT NULL,
        gone_at BIGINT,
        summary TEXT NOT NULL
    )""",
    "CREATE INDEX standing_air_place ON standing (air_place)",
    "CREATE INDEX standing_part ON standing (part)",
    "CREATE INDEX standing_gone ON standing (gone_at) WHERE gone_at IS NOT NULL",
    """CREATE TABLE stay (
        carrier {key} NOT NULL,
        place {key} NOT NULL,
        start_at BIGINT NOT NULL,
        end_at BIGINT NOT NULL
    )""",
    "CREATE INDEX stay_carrier ON stay (carrier)",
    "CREATE INDEX stay_place ON stay (place, end_at, start_at, carrier)",
    """CREATE TABLE place_now (
        place {key} NOT NULL,
        rate_class {key} NOT NULL,
        at BIGINT NOT NULL,
        share BIGINT NOT NULL,
        rate BIGINT NOT NULL,
        since BIGINT NOT NULL,
        until BIGINT NOT NULL,
        left_rate BIGINT NOT NULL,
        settles_at BIGINT NOT NULL,
        temp_c100 INTEGER NOT NULL,
        rh_c100 INTEGER NOT NULL,
        missing TEXT,
        PRIMARY KEY (place, rate_class)
    )""",
)


def up(database: peewee.Database) -> None:
    """Make the tables, empty: what they hold is computed when it is first asked for."""
    sqlite = isinstance(database, peewee.SqliteDatabase)
    for statement in _TABLES:
        run(database, statement.format(key="TEXT" if sqlite else 'TEXT COLLATE "C"'))
