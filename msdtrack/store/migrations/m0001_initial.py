"""The first tables: facts and their traces, carriers, events, readings, alarms, scans, prints.

Moments are whole seconds UTC, readings hundredths of °C and % RH, and what is only ever read back
whole is JSON text.
"""

from __future__ import annotations

import peewee

from msdtrack.store.database_url import run

# {id}: a number the database gives. {key}: text that sorts by character code on both databases, so
# that paging by key means the same on both.
_TABLES = (
    "CREATE TABLE change_counter (one INTEGER PRIMARY KEY CHECK (one = 1), value BIGINT NOT NULL)",
    "INSERT INTO change_counter VALUES (1, 0)",
    "CREATE TABLE counter (kind {key} PRIMARY KEY, value BIGINT NOT NULL)",
    """CREATE TABLE person (
        code {key} PRIMARY KEY,
        name TEXT NOT NULL,
        recorded_at BIGINT NOT NULL
    )""",
    """CREATE TABLE part (
        number {key} PRIMARY KEY,
        msl TEXT NOT NULL,
        description TEXT NOT NULL,
        body_mm DOUBLE PRECISION,
        family TEXT,
        pins INTEGER,
        square BOOLEAN,
        large_bga BOOLEAN NOT NULL,
        stacked_die BOOLEAN NOT NULL,
        compound_confirmed BOOLEAN NOT NULL,
        label_floor_life_hours DOUBLE PRECISION,
        carrier_max_c DOUBLE PRECISION,
        max_bake_c DOUBLE PRECISION,
        peak_body_c DOUBLE PRECISION,
        maker_bake TEXT,
        recorded_at BIGINT NOT NULL
    )""",
    """CREATE TABLE place (
        id {id},
        code {key} NOT NULL UNIQUE,
        name TEXT NOT NULL,
        kind TEXT NOT NULL,
        created_at BIGINT NOT NULL,
        oven_max_c DOUBLE PRECISION,
        oven_max_rh_pct DOUBLE PRECISION
    )""",
    """CREATE TABLE place_setting (
        id {id},
        place {key} NOT NULL REFERENCES place (code),
        from_at BIGINT NOT NULL,
        assumed_temp_c100 INTEGER NOT NULL,
        assumed_rh_c100 INTEGER NOT NULL,
        tolerance_temp_c100 INTEGER NOT NULL,
        tolerance_rh_c100 INTEGER NOT NULL,
        person TEXT,
        recorded_at BIGINT NOT NULL
    )""",
    "CREATE INDEX place_setting_place ON place_setting (place)",
    """CREATE TABLE policy (
        id {id},
        name {key} NOT NULL,
        from_at BIGINT NOT NULL,
        value TEXT NOT NULL,
        person TEXT,
        recorded_at BIGINT NOT NULL
    )""",
    "CREATE INDEX policy_name ON policy (name)",
    """CREATE TABLE fact_change (
        id {id},
        what TEXT NOT NULL,
        key TEXT NOT NULL,
        field TEXT NOT NULL,
        before TEXT NOT NULL,
        after TEXT NOT NULL,
        person TEXT,
        reason TEXT NOT NULL,
        recorded_at BIGINT NOT NULL
    )""",
    "CREATE INDEX fact_change_key ON fact_change (what, key)",
    """CREATE TABLE carrier (
        code {key} PRIMARY KEY,
        part {key} NOT NULL REFERENCES part (number),
        lot TEXT NOT NULL,
        quantity INTEGER NOT NULL,
        kind TEXT NOT NULL,
        received_at BIGINT NOT NULL,
        recorded_at BIGINT NOT NULL,
        bag TEXT,
        sealed_on TEXT,
        shelf_life_ends TEXT,
        place {key} REFERENCES place (code),
        parent {key} REFERENCES carrier (code),
        split_event TEXT,
        msl TEXT,
        body_mm DOUBLE PRECISION,
        label_floor_life_hours DOUBLE PRECISION,
        person TEXT,
        CHECK ((parent IS NULL) = (split_event IS NULL))
    )""",
    "CREATE INDEX carrier_part ON carrier (part)",
    "CREATE INDEX carrier_lot ON carrier (lot)",
    "CREATE INDEX carrier_bag ON carrier (bag) WHERE bag IS NOT NULL",
    "CREATE INDEX carrier_parent ON carrier (parent) WHERE parent IS NOT NULL",
    """CREATE TABLE event (
        seq {seq} PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        carrier {key} NOT NULL REFERENCES carrier (code),
        kind TEXT NOT NULL,
        at BIGINT NOT NULL,
        recorded_at BIGINT NOT NULL,
        person TEXT,
        station TEXT,
        cause TEXT REFERENCES event (id),
        place {key} REFERENCES place (code),
        bag TEXT,
        payload TEXT NOT NULL,
        content_hash TEXT NOT NULL
    )""",
    "CREATE INDEX event_carrier ON event (carrier, seq)",
    "CREATE INDEX event_cause ON event (cause) WHERE cause IS NOT NULL",
    "CREATE INDEX event_bag ON event (bag) WHERE bag IS NOT NULL",
    "CREATE INDEX event_place ON event (place) WHERE place IS NOT NULL",
    """CREATE TABLE reading (
        place_id INTEGER NOT NULL REFERENCES place (id),
        second BIGINT NOT NULL,
        temp_c100 INTEGER NOT NULL,
        rh_c100 INTEGER,
        late_s INTEGER NOT NULL DEFAULT 0,
        PRIMARY KEY (place_id, second)
    ){without_rowid}""",
    """CREATE TABLE reading_replaced (
        id {id},
        place_id INTEGER NOT NULL REFERENCES place (id),
        second BIGINT NOT NULL,
        temp_c100 INTEGER NOT NULL,
        rh_c100 INTEGER,
        late_s INTEGER NOT NULL,
        replaced_at BIGINT NOT NULL
    )""",
    "CREATE INDEX reading_replaced_second ON reading_replaced (place_id, second)",
    """CREATE TABLE reading_version (
        place_id INTEGER PRIMARY KEY REFERENCES place (id),
        changes BIGINT NOT NULL,
        rewrites BIGINT NOT NULL
    )""",
    """CREATE TABLE request (
        id TEXT PRIMARY KEY,
        scope TEXT NOT NULL,
        content_hash TEXT NOT NULL,
        status INTEGER NOT NULL,
        answer TEXT NOT NULL,
        recorded_at BIGINT NOT NULL
    )""",
    """CREATE TABLE alarm (
        id {id},
        cause TEXT NOT NULL,
        kind TEXT NOT NULL,
        priority TEXT NOT NULL,
        message TEXT NOT NULL,
        raised_at BIGINT NOT NULL,
        carrier {key} REFERENCES carrier (code),
        place {key} REFERENCES place (code),
        returned_at BIGINT,
        acknowledged_at BIGINT,
        acknowledged_by TEXT,
        ended_at BIGINT,
        times INTEGER NOT NULL
    )""",
    "CREATE UNIQUE INDEX alarm_one_per_cause ON alarm (cause) WHERE ended_at IS NULL",
    "CREATE TABLE lease (name TEXT PRIMARY KEY, holder TEXT NOT NULL, until BIGINT NOT NULL)",
    "CREATE TABLE watermark (name TEXT PRIMARY KEY, at BIGINT NOT NULL)",
    "CREATE TABLE kept_value (name TEXT PRIMARY KEY, value TEXT NOT NULL)",
    """CREATE TABLE print_log (
        id {id},
        code TEXT NOT NULL,
        layout TEXT NOT NULL,
        stuck_on TEXT NOT NULL,
        at BIGINT NOT NULL,
        person TEXT,
        reprint BOOLEAN NOT NULL
    )""",
    "CREATE INDEX print_log_code ON print_log (code)",
    """CREATE TABLE station_context (
        station TEXT PRIMARY KEY,
        at BIGINT NOT NULL,
        carrier {key} REFERENCES carrier (code),
        action TEXT,
        person TEXT,
        options TEXT NOT NULL
    )""",
    """CREATE TABLE scan (
        seq {id},
        id TEXT NOT NULL UNIQUE,
        station TEXT NOT NULL,
        code TEXT NOT NULL,
        at BIGINT NOT NULL,
        recorded_at BIGINT NOT NULL,
        content_hash TEXT NOT NULL,
        tone TEXT NOT NULL,
        answer TEXT NOT NULL,
        events TEXT NOT NULL,
        undone_by TEXT
    )""",
    "CREATE INDEX scan_station ON scan (station, seq)",
)

_APPEND_ONLY = ("event", "fact_change", "place_setting", "policy", "print_log", "reading_replaced")

_SQLITE = {
    "id": "INTEGER PRIMARY KEY AUTOINCREMENT",
    "seq": "INTEGER",
    "key": "TEXT",
    "without_rowid": " WITHOUT ROWID",
}
_POSTGRESQL = {
    "id": "INTEGER GENERATED BY DEFAULT AS IDENTITY PRIMARY KEY",
    "seq": "BIGINT",
    "key": 'TEXT COLLATE "C"',
    "without_rowid": "",
}

_REFUSE = """
    CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS
    $$ BEGIN
        RAISE USING MESSAGE = TG_TABLE_NAME || ' is append-only', ERRCODE = '23001';
    END $$"""


def up(database: peewee.Database) -> None:
    """Make the tables, and let nothing that is a record be changed or deleted."""
    sqlite = isinstance(database, peewee.SqliteDatabase)
    words = _SQLITE if sqlite else _POSTGRESQL
    for statement in _TABLES:
        run(database, statement.format(**words))
    if not sqlite:
        run(database, _REFUSE)
    for table in _APPEND_ONLY:
        if sqlite:
            for verb in ("UPDATE", "DELETE"):
                run(
                    database,
                    f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END",
                )
        else:
            run(
                database,
                f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE "
                f"ON {table} EXECUTE FUNCTION refuse_change()",
            )
