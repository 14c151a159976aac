"""The reference load: places with readings, exposed carriers and a long history, all invented."""

from __future__ import annotations

import hashlib
import json
import math
import random
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from msdtrack.exposure.facts import PartFacts
from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.services import catalog as catalog_service
from msdtrack.standard.figures import fingerprint
from msdtrack.store import migrations
from msdtrack.store.connection import close_store, is_sqlite, open_store, opened, write
from msdtrack.store.statements import executemany, rows

NOW = 1_790_000_000 - 1_790_000_000 % 86400 + 12 * 3600
HOUR_S, DAY_S = 3600, 86400
SEALED_D = 112
"""How long ago every dry bag was sealed, days."""

FORM = 6
"""Goes up when the load changes, so that a kept one is not used."""

PARTS = (
    PartFacts("BL-0101", "3", body_mm=1.4),
    PartFacts("BL-0102", "3", body_mm=2.5, label_floor_life_hours=120),
    PartFacts("BL-0103", "2a", body_mm=1.0),
    PartFacts("BL-0104", "2a", body_mm=3.2, label_floor_life_hours=336),
    PartFacts("BL-0105", "3", body_mm=3.0),
    PartFacts("BL-0106", "2a", body_mm=2.2),
)


@dataclass(frozen=True)
class Size:
    """How large a load is.

    Args:
        exposed: carriers that are out.
        history: carriers that were used up long ago.
        turns: exposures of each that is out, about.
        every_s: between two readings of a place.
    """

    places: int = 20
    days: int = 90
    exposed: int = 10_000
    history: int = 200_000
    turns: int = 10
    every_s: int = 60

    def scaled(self, scale: float) -> Size:
        """Return a smaller or larger load with the same places."""
        return replace(
            self,
            days=max(2, round(self.days * scale)),
            exposed=max(50, round(self.exposed * scale)),
            history=max(100, round(self.history * scale)),
        )

    @property
    def readings(self) -> int:
        """Return how many readings there are."""
        return self.places * self.days * DAY_S // self.every_s

    def __str__(self) -> str:
        return (
            f"{self.places} places x {self.days} days "
            f"({self.readings:,} readings), {self.exposed:,} exposed with about {self.turns} "
            f"intervals each, {self.history:,} in the history"
        )


def sqlite_load(size: Size) -> Path:
    """Return the file of a load, made once and kept in the temporary folder."""
    version = migrations.ALL[-1].version
    mark = hashlib.sha256(f"{FORM} {version} {size!r} {fingerprint()}".encode()).hexdigest()[:12]
    path = Path(tempfile.gettempdir()) / "msdtrack-bench" / f"load-{mark}.db"
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        part = path.with_suffix(".part")
        part.unlink(missing_ok=True)
        fill(f"sqlite:///{part}", size)
        with_checkpoint(part)
        part.rename(path)
    return path


def with_checkpoint(path: Path) -> None:
    """Put everything into the one file."""
    import sqlite3

    with sqlite3.connect(path) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()


def fill(url: str, size: Size, now: int = NOW) -> None:
    """Fill an empty database with a load that ends at `now`."""
    open_store(url)
    start = now - size.days * DAY_S
    for part in PARTS:
        catalog_service.create_part(part, start)
    codes = [
        catalog_service.create_place(
            catalog_service.NewPlace(name=f"Bench {n + 1}", kind="floor"), start
        )[0].code
        for n in range(size.places)
    ]
    with write():
        ids = dict(rows("SELECT code, id FROM place"))
        for n, code in enumerate(codes):
            _readings(ids[code], n, start, size)
        _carriers(codes, size, start, now)
    close_store()


def air(n: int, minute: float, noise: random.Random) -> tuple[int, int]:
    """Return a workshop's air: days, weather, and a sensor that trembles."""
    day = math.sin(2 * math.pi * (minute / 1440 + n / 20))
    weather = math.sin(2 * math.pi * minute / (1440 * 9.7) + n)
    temp = 2350 + 120 * day + 60 * weather + noise.gauss(0, 6)
    rh = 4600 + 350 * day + 500 * weather + noise.gauss(0, 25)
    return round(temp), round(rh)


def _readings(place_id: int, n: int, start: int, size: Size) -> None:
    noise = random.Random(n)
    found = [
        (place_id, start + second, *air(n, second / 60, noise), 0)
        for second in range(0, size.days * DAY_S, size.every_s)
    ]
    database: Any = opened()
    if is_sqlite():
        executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?)", found)
        return
    columns = "place_id, second, temp_c100, rh_c100, receipt"
    with (
        database.connection().cursor() as cursor,
        cursor.copy(f"COPY reading ({columns}) FROM STDIN") as copy,
    ):
        for row in found:
            copy.write_row(row)


def _carriers(places: list[str], size: Size, start: int, now: int) -> None:
    """Store exposed carriers with about ten intervals each, and others long used up."""
    chance = random.Random(7)
    sealed_on = (datetime.fromtimestamp(now, UTC).date() - timedelta(days=SEALED_D)).isoformat()
    carriers, events = [], []
    for n in range(size.exposed + size.history):
        exposed = n < size.exposed
        code = make_code(CodeKind.CARRIER, n + 1)
        part = PARTS[chance.randrange(len(PARTS))]
        span_s = now - start - DAY_S
        at = start + chance.randrange(1, max(2, span_s - 3 * DAY_S if exposed else span_s))
        place = places[chance.randrange(len(places))]
        carriers.append(
            (
                code,
                part.number,
                f"L-{n % 997}",
                500,
                "reel",
                at,
                at,
                f"B{n:07d}",
                sealed_on,
                place,
            )
        )
        kinds = (
            _exposed_life(chance, at, now, size.turns)
            if exposed
            else [("open", at + 600), ("scrap", at + 2 * HOUR_S)]
        )
        for kind, moment in kinds:
            what: dict[str, object] = {}
            where = bag = None
            if kind == "open":
                what = {"hic": {"5": "dry", "10": "dry", "60": "dry"}}
                where = places[chance.randrange(len(places))]
            elif kind == "close":
                what = {"desiccant": "fresh", "new_hic": "fresh", "seal": "clip"}
                bag = f"B{n:07d}"
            events.append(
                (f"{n}-{moment}-{kind}", code, kind, moment, where, bag, json.dumps(what))
            )
    executemany(
        "INSERT INTO carrier (code, part, lot, quantity, kind, received_at, recorded_at, bag, "
        "sealed_on, place) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        carriers,
    )
    events.sort(key=lambda row: row[3])
    executemany(
        "INSERT INTO event (seq, id, carrier, kind, at, recorded_at, place, bag, payload, "
        "content_hash) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (seq, id_, code, kind, at, at, where, bag, payload, "bench")
            for seq, (id_, code, kind, at, where, bag, payload) in enumerate(events, 1)
        ],
    )


def _exposed_life(
    chance: random.Random, at: int, now: int, turns_about: int
) -> list[tuple[str, int]]:
    """Return about ten exposures, the first too long to be reset by dry storage, the last open."""
    turns = chance.randint(7, 13) * turns_about // 10
    gap = max(2, (now - at - 14 * HOUR_S) // (turns + 1))
    found, moment = [], at + 60
    for turn in range(turns):
        length = 13 * HOUR_S if turn == 0 else chance.randrange(600, max(700, min(3 * HOUR_S, gap)))
        found += [("open", moment), ("close", moment + length)]
        moment += length + max(600, chance.randrange(gap))
    moment = now - chance.randrange(600, 4 * HOUR_S)
    found = [pair for pair in found if pair[1] < moment]
    if found and found[-1][0] == "open":
        found.pop()
    return [*found, ("open", moment)]
