"""The reference load: places with readings, exposed carriers and a long history, all invented."""

from __future__ import annotations

import hashlib
import json
import math
import random
import tempfile
from dataclasses import dataclass
from pathlib import Path

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import catalog as catalog_service
from msdtrack.standard.figures import fingerprint
from msdtrack.store.connection import close_store, open_store, opened, write
from msdtrack.store.statements import executemany, rows

NOW = 1_790_000_000 - 1_790_000_000 % 86400 + 12 * 3600
HOUR_S, DAY_S = 3600, 86400
FORM = 4
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
    """How large a load is."""

    places: int = 20
    days: int = 90
    exposed: int = 10_000
    history: int = 200_000

    def scaled(self, scale: float) -> Size:
        """Return a smaller or larger load with the same places."""
        return Size(
            self.places,
            max(2, round(self.days * scale)),
            max(50, round(self.exposed * scale)),
            max(100, round(self.history * scale)),
        )

    def __str__(self) -> str:
        return (
            f"{self.places} places x {self.days} days "
            f"({self.places * self.days * 1440:,} readings), "
            f"{self.exposed:,} exposed, {self.history:,} in the history"
        )


def sqlite_load(size: Size) -> Path:
    """Return the file of a load, made once and kept in the temporary folder."""
    mark = hashlib.sha256(f"{FORM} {size} {fingerprint()}".encode()).hexdigest()[:12]
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


def fill(url: str, size: Size) -> None:
    """Fill an empty database."""
    open_store(url)
    start = NOW - size.days * DAY_S
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
            _readings(ids[code], n, start)
        _carriers(codes, size, start)
    close_store()


def air(n: int, minute: int, noise: random.Random) -> tuple[int, int]:
    """Return a workshop's air: days, weather, and a sensor that trembles."""
    day = math.sin(2 * math.pi * (minute / 1440 + n / 20))
    weather = math.sin(2 * math.pi * minute / (1440 * 9.7) + n)
    temp = 2350 + 120 * day + 60 * weather + noise.gauss(0, 6)
    rh = 4600 + 350 * day + 500 * weather + noise.gauss(0, 25)
    return round(temp), round(rh)


def _readings(place_id: int, n: int, start: int) -> None:
    noise = random.Random(n)
    found = [(place_id, start + 60 * m, *air(n, m, noise), 0) for m in range((NOW - start) // 60)]
    if hasattr(opened().connection(), "cursor") and opened().param == "%s":
        with (
            opened().connection().cursor() as cursor,
            cursor.copy(
                "COPY reading (place_id, second, temp_c100, rh_c100, late_s) FROM STDIN"
            ) as copy,
        ):
            for row in found:
                copy.write_row(row)
    else:
        executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?)", found)


def _carriers(places: list[str], size: Size, start: int) -> None:
    """Store exposed carriers with about ten intervals each, and others long used up."""
    chance = random.Random(7)
    carriers, events = [], []
    for n in range(size.exposed + size.history):
        exposed = n < size.exposed
        code, part = f"C{n:07d}", PARTS[chance.randrange(len(PARTS))]
        span_s = NOW - start - DAY_S
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
                "2026-06-01",
                place,
            )
        )
        kinds = (
            _exposed_life(chance, at)
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


def _exposed_life(chance: random.Random, at: int) -> list[tuple[str, int]]:
    """Return about ten exposures, the first too long to be reset by dry storage, the last open."""
    turns = chance.randint(7, 13)
    gap = max(2, (NOW - at - 14 * HOUR_S) // (turns + 1))
    found, moment = [], at + 60
    for turn in range(turns):
        length = 13 * HOUR_S if turn == 0 else chance.randrange(600, max(700, min(3 * HOUR_S, gap)))
        found += [("open", moment), ("close", moment + length)]
        moment += length + max(600, chance.randrange(gap))
    moment = NOW - chance.randrange(600, 4 * HOUR_S)
    found = [pair for pair in found if pair[1] < moment]
    if found and found[-1][0] == "open":
        found.pop()
    return [*found, ("open", moment)]
