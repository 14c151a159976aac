"""Target 3: a file of readings taken in, and what a reading takes on disk."""

from __future__ import annotations

import csv
import random
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

import peewee
import psycopg

from msdtrack.exposure.facts import AirSettings
from msdtrack.services import importing
from msdtrack.store import places, reading_log
from msdtrack.store.connection import is_sqlite, opened, write
from msdtrack.store.statements import execute, one_row, rows
from msdtrack.times import utc_text
from tests.bench.measuring import REPEATS, absolute, heading, ratio, timed
from tests.bench.reference_load import DAY_S, NOW, air

PLACES = 20
MINUTES = 10_000
ROWS = PLACES * MINUTES
LIVE_MINUTES = 14 * 24 * 60
FROM = NOW - 400 * DAY_S

_ROW_OVERHEAD = 28
"""Header, as aligned, and pointer of a PostgreSQL row, bytes (PostgreSQL documentation, Database
Page Layout: 23 and 4)."""

Reading = tuple[int, int, int, int]
"""Place, moment, hundredths of °C and % RH."""


def import_target() -> None:
    """Print target 3, from files of late readings of places that are in use."""
    code_of = dict(rows("SELECT id, code FROM place ORDER BY id LIMIT ?", (PLACES,)))
    taken: dict[str, list[float]] = {name: [] for name in ("orm", "script", "ours", "limit")}
    again: list[float] = []
    size_before = _size_of_readings()
    with (
        tempfile.TemporaryDirectory() as folder,
        _table(folder, "bench_limit") as bare,
        _table(folder, "bench_script") as scripted,
        _orm(folder, code_of) as by_orm,
    ):
        path = Path(folder) / "readings.csv"
        for n in range(REPEATS):
            found = _readings(list(code_of), n)
            _write(path, found, code_of)
            ways: dict[str, Callable[[], None]] = {
                "orm": partial(by_orm, path),
                "script": partial(_by_script, scripted, path, code_of),
                "ours": partial(_by_us, path, new=ROWS),
                "limit": partial(_insert, bare, "bench_limit", [(*row, 1) for row in found]),
            }
            for name, way in ways.items():
                taken[name].append(timed(way))
            again.append(timed(partial(_by_us, path, new=0)))
        _compare(code_of, bare, scripted)
        sizes = {
            "ours": (_size_of_readings() - size_before) / (ROWS * REPEATS),
            "orm": _size(folder, "bench_orm") / (ROWS * REPEATS),
            "bare": _size(folder, "bench_limit") / (ROWS * REPEATS),
        }
    _say({name: median(times) for name, times in taken.items()}, median(again), sizes)


def _say(found: dict[str, float], again: float, sizes: dict[str, float]) -> None:
    heading(f"3. A file of {ROWS:,} readings of {PLACES} places, received late")
    print(f"  what is stored compared: {ROWS * REPEATS:,} readings, all ways the same")
    for name, what in (
        ("orm", "naive: csv, ORM, insert_many"),
        ("script", "csv, executemany, nothing checked"),
        ("ours", "ours: checked, duplicates and conflicts told"),
        ("limit", "limit: executemany of ready rows"),
    ):
        absolute(f"{what} ({ROWS / found[name]:,.0f} rows/s)", found[name])
    absolute("ours, the same file again: all duplicates", again)
    speed = found["limit"] / found["ours"]
    ratio(
        "rows/s of ours / limit",
        speed,
        ">= 0.4",
        speed >= 0.4,
        ours=found["ours"],
        naive=found["orm"],
        limit=found["limit"],
    )
    if is_sqlite():
        sizes["live"] = _live_bytes()
    else:
        sizes["tightest"] = _tightest_bytes()
    print("    bytes a reading: " + ", ".join(f"{name} {size:.1f}" for name, size in sizes.items()))
    if not is_sqlite():
        print(
            f"    of each, {_ROW_OVERHEAD} are what PostgreSQL puts around a row; a quarter of the "
            f"ORM's is {sizes['orm'] / 4:.1f}"
        )
    for name in ("ours", "live"):
        if name in sizes:
            size = sizes[name] / sizes["orm"]
            ratio(
                f"bytes of a reading {'from a file' if name == 'ours' else 'coming in live'} / ORM",
                size,
                "<= 0.25",
                size <= 0.25,
                ours=f"{sizes[name]:.1f} B",
                naive=f"{sizes['orm']:.1f} B",
                limit=f"{sizes['bare']:.1f} B",
            )


def _readings(ids: list[int], n: int) -> list[Reading]:
    """Return the readings of the nth file: a week of each place."""
    noise = random.Random(n)
    start = FROM + n * MINUTES * 60
    return [(place, start + 60 * m, *air(place, m, noise)) for place in ids for m in range(MINUTES)]


def _write(path: Path, found: list[Reading], code_of: dict[int, str]) -> None:
    lines = (f"{code_of[p]},{utc_text(at)},{t / 100:.2f},{h / 100:.2f}\n" for p, at, t, h in found)
    path.write_text("place,at,temp_c,rh_pct\n" + "".join(lines))


# -- the ways ----------------------------------------------------------------------------------


def _by_us(path: Path, new: int) -> None:
    done = importing.import_readings(path.read_bytes().decode("utf-8-sig"), UTC, NOW)
    assert (done.created, done.unchanged, done.refused) == (new, ROWS - new, ())


def _by_script(database: Any, path: Path, code_of: dict[int, str]) -> None:
    """Do what a script of ten lines does."""
    place_of = {code: place for place, code in code_of.items()}
    with path.open(newline="") as file:
        lines = csv.reader(file)
        next(lines)
        found = [
            (
                place_of[place],
                int(datetime.fromisoformat(at).timestamp()),
                round(float(temp) * 100),
                round(float(rh) * 100),
                1,
            )
            for place, at, temp, rh in lines
        ]
    _insert(database, "bench_script", found)


def _insert(database: Any, table: str, found: list[tuple[int, ...]]) -> None:
    marks = ", ".join("?" * 5 if is_sqlite() else ["%s"] * 5)
    database.cursor().executemany(f"INSERT INTO {table} VALUES ({marks})", found)
    database.commit()


@contextmanager
def _table(folder: str, name: str) -> Iterator[Any]:
    """Give a connection of its own with a bare table of the form ours has."""
    with closing(_connected(folder, name)) as database:
        database.cursor().execute(
            f"CREATE TABLE {name} (place_id INTEGER NOT NULL, second BIGINT NOT NULL, "
            "temp_c100 INTEGER NOT NULL, rh_c100 INTEGER, receipt INTEGER NOT NULL DEFAULT 0, "
            f"PRIMARY KEY (place_id, second)){' WITHOUT ROWID' if is_sqlite() else ''}"
        )
        database.commit()
        yield database
        database.cursor().execute(f"DROP TABLE {name}")
        database.commit()


def _connected(folder: str, name: str) -> Any:
    if not is_sqlite():
        return psycopg.connect(str(opened().database))
    database = sqlite3.connect(Path(folder) / f"{name}.db")
    database.execute("PRAGMA journal_mode = WAL")
    database.execute("PRAGMA synchronous = FULL")
    return database


@contextmanager
def _orm(folder: str, code_of: dict[int, str]) -> Iterator[Callable[[Path], None]]:
    """Give the way that the tutorial of the ORM shows."""
    pragmas = {"journal_mode": "wal", "foreign_keys": 1}
    database: Any = (
        peewee.SqliteDatabase(Path(folder) / "bench_orm.db", pragmas=pragmas)
        if is_sqlite()
        else peewee.PostgresqlDatabase(str(opened().database), prefer_psycopg3=True)
    )

    class Place(peewee.Model):
        code = peewee.TextField(unique=True)

        class Meta:
            table_name = "bench_orm_place"

    class Reading(peewee.Model):
        place = peewee.ForeignKeyField(Place, index=False)
        at = peewee.DateTimeField()
        temp_c = peewee.FloatField()
        rh_pct = peewee.FloatField(null=True)

        class Meta:
            table_name = "bench_orm"
            indexes = ((("place", "at"), True),)

    def by_orm(path: Path) -> None:
        place_of = {place.code: place.id for place in Place.select()}
        with path.open(newline="") as file:
            found = [
                {
                    "place": place_of[row["place"]],
                    "at": datetime.fromisoformat(row["at"]).replace(tzinfo=None),
                    "temp_c": float(row["temp_c"]),
                    "rh_pct": float(row["rh_pct"]),
                }
                for row in csv.DictReader(file)
            ]
        with database.atomic():
            for part in peewee.chunked(found, 200):
                Reading.insert_many(part).execute()

    with database.bind_ctx([Place, Reading]):
        database.create_tables([Place, Reading])
        Place.insert_many([{"id": id_, "code": code} for id_, code in code_of.items()]).execute()
        yield by_orm
        database.drop_tables([Reading, Place])
    database.close()


# -- what is stored ----------------------------------------------------------------------------


def _compare(code_of: dict[int, str], *others: Any) -> None:
    """Hold what was stored together; raise AssertionError if the ways differ."""
    end = FROM + REPEATS * MINUTES * 60
    for place, code in code_of.items():
        ours = reading_log.readings(code, FROM, end - 1)
        assert len(ours) == MINUTES * REPEATS, code
        for database, table in zip(others, ("bench_limit", "bench_script"), strict=True):
            found = database.cursor().execute(
                f"SELECT second, temp_c100, rh_c100 FROM {table} WHERE place_id = {place} "
                "ORDER BY second"
            )
            assert found.fetchall() == ours, (table, code)


def _size_of_readings() -> float:
    if is_sqlite():
        return float(one_row("SELECT sum(pgsize) FROM dbstat WHERE name = 'reading'")[0])
    return float(one_row("SELECT pg_total_relation_size('reading')")[0])


def _size(folder: str, table: str) -> float:
    """Return the bytes of a table of another way, its indexes included."""
    if not is_sqlite():
        return float(one_row(f"SELECT pg_total_relation_size('{table}')")[0])
    with closing(sqlite3.connect(Path(folder) / f"{table}.db")) as database:
        return float(database.execute("SELECT sum(pgsize) FROM dbstat").fetchone()[0])


def _tightest_bytes() -> float:
    """Return the bytes of a reading in PostgreSQL if every column were as narrow as it can be, and
    none needed filling up."""
    with write():
        execute(
            "CREATE TABLE bench_tightest (second BIGINT NOT NULL, receipt INTEGER, "
            "place_id SMALLINT NOT NULL, temp_c100 SMALLINT NOT NULL, rh_c100 SMALLINT, "
            "PRIMARY KEY (place_id, second))"
        )
        stored = execute(
            "INSERT INTO bench_tightest SELECT second, nullif(receipt, 0), place_id, temp_c100, "
            "rh_c100 FROM reading ORDER BY place_id, second"
        )
        size = _size("", "bench_tightest") / stored
        execute("DROP TABLE bench_tightest")
    return size


class _Undo(Exception):
    pass


def _live_bytes() -> float:
    """Return the bytes of a reading of new places from their first day on, where each minute
    brings one of each; nothing of it is kept."""
    codes = [f"BENCH{n}" for n in range(PLACES)]
    noise = random.Random(5)
    each = 0.0
    with suppress(_Undo), write():
        for code in codes:
            places.insert_place(code, code, "floor", NOW, AirSettings())
        before = _size_of_readings()
        for minute in range(LIVE_MINUTES):
            at = NOW + 60 * minute
            for n, code in enumerate(codes):
                one = tuple((value,) for value in (at, *air(n, minute, noise)))
                reading_log.add_columns(code, one, at)
        each = (_size_of_readings() - before) / (LIVE_MINUTES * PLACES)
        raise _Undo
    return each
