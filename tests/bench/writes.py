"""Targets 3 and 6: readings from a file, labels."""

from __future__ import annotations

import io
import sqlite3
import tempfile
from datetime import UTC
from pathlib import Path
from random import Random

import barcode
import peewee
from barcode.writer import ImageWriter
from fpdf import FPDF
from PIL import Image

from msdtrack.services import climate, labelling
from msdtrack.store import standings as table
from msdtrack.store.statements import rows
from msdtrack.times import utc_text
from tests.bench.measuring import absolute, heading, in_turn, ratio
from tests.bench.reference_load import DAY_S, NOW, air

ROWS = 50_000
LABELS = 200


def import_target() -> None:
    """Print target 3: a file of readings of places that are in use."""
    codes = [code for (code,) in rows("SELECT code FROM place ORDER BY code LIMIT 2")]
    noise = Random(11)
    batch = [0]

    def fresh() -> list[tuple[str, int, int, int]]:
        batch[0] += 1
        start = NOW - 400 * DAY_S - batch[0] * ROWS * 60
        half = ROWS // 2
        return [
            (code, start + 60 * m, *air(n, m, noise))
            for n, code in enumerate(codes)
            for m in range(half)
        ]

    def as_file(found: list[tuple[str, int, int, int]]) -> str:
        lines = (f"{c},{utc_text(at)},{t / 100:.2f},{h / 100:.2f}" for c, at, t, h in found)
        return "place,at,temp_c,rh_pct\n" + "\n".join(lines)

    with tempfile.TemporaryDirectory() as folder:
        raw, plain = sqlite3.connect(Path(folder) / "raw.db"), Path(folder) / "orm.db"
        raw.execute("PRAGMA journal_mode = WAL")
        raw.execute(
            "CREATE TABLE reading (place_id INTEGER, second INTEGER, temp INTEGER, rh INTEGER, "
            "PRIMARY KEY (place_id, second)) WITHOUT ROWID"
        )
        orm = peewee.SqliteDatabase(plain, pragmas={"journal_mode": "wal"})

        class Reading(peewee.Model):
            place = peewee.TextField(index=True)
            at = peewee.DateTimeField(index=True)
            temp_c = peewee.FloatField()
            rh_pct = peewee.FloatField()

            class Meta:
                database = orm

        orm.create_tables([Reading])
        files = iter([as_file(fresh()) for _ in range(5)])
        tuples = iter([[(1, *row[1:]) for row in fresh()[: ROWS // 2]] * 1 for _ in range(10)])
        counted = {"orm": 0}

        def by_orm() -> None:
            found = [
                {"place": c, "at": utc_text(at), "temp_c": t / 100, "rh_pct": h / 100}
                for c, at, t, h in fresh()
            ]
            counted["orm"] += len(found)
            with orm.atomic():
                for part in peewee.chunked(found, 200):
                    Reading.insert_many(part).execute()

        def limit() -> None:
            for _ in range(2):
                raw.executemany("INSERT INTO reading VALUES (?, ?, ?, ?)", next(tuples))
            raw.commit()

        def ours() -> None:
            result = climate.add_csv(next(files), UTC, NOW)
            assert (result.accepted, result.refused) == (ROWS, [])

        found = in_turn({"orm": by_orm, "ours": ours, "limit": limit})
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (pages,) = raw.execute(
            "SELECT sum(pgsize) FROM dbstat WHERE name = 'reading'"
        ).fetchone() or (0,)
        stored = raw.execute("SELECT count(*) FROM reading").fetchone()[0]
        orm.execute_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        orm_bytes = plain.stat().st_size / counted["orm"]
        ours_bytes = _bytes_of_readings()
        orm.close()
        raw.close()
    heading(f"3. A file of {ROWS:,} readings")
    for name, what in (
        ("orm", "ORM, insert_many, no file read"),
        ("ours", "ours, file read and checked"),
        ("limit", "limit: executemany of ready rows"),
    ):
        absolute(what, found[name])
        print(f"      {ROWS / found[name]:,.0f} rows/s")
    speed = found["limit"] / found["ours"]
    ratio("rows/s of ours / limit", speed, ">= 0.4", speed >= 0.4)
    print(
        f"    bytes a reading: ORM default {orm_bytes:.1f}, ours {ours_bytes:.1f}, "
        f"bare {(pages or 0) / stored:.1f}"
    )
    ratio(
        "bytes of ours / ORM default",
        ours_bytes / orm_bytes,
        "<= 0.25",
        ours_bytes <= orm_bytes / 4,
    )


def _bytes_of_readings() -> float:
    (size,) = rows("SELECT sum(pgsize) FROM dbstat WHERE name = 'reading'")[0]
    return float(size) / float(rows("SELECT count(*) FROM reading")[0][0])


def label_target() -> None:
    """Print target 6."""
    codes = [one.carrier for one in table.urgent(NOW, None, LABELS)]
    layout = next(one.name for one in labelling.layouts() if "62" in one.name or one.width_mm == 62)
    n = [0]

    def library() -> None:
        for _ in range(10):
            n[0] += 1
            out = io.BytesIO()
            barcode.Code128(f"C{n[0]:07d}", writer=ImageWriter()).write(out, {"dpi": 300})

    def ours() -> None:
        for _ in range(10):
            n[0] += 1
            labelling.label_png(codes[n[0] % len(codes)], layout, 300, NOW + n[0] * DAY_S)

    def again() -> None:
        for _ in range(10):
            labelling.label_png(codes[0], layout, 300, NOW)

    def raster() -> bytes:
        pdf = FPDF(unit="mm", format=(62, 29))
        for code in codes:
            out = io.BytesIO()
            barcode.Code128(code, writer=ImageWriter()).write(out, {"dpi": 300})
            pdf.add_page()
            pdf.image(Image.open(out), 0, 0, 62)
        return bytes(pdf.output())

    def vector() -> bytes:
        return labelling.labels_pdf(codes, layout, NOW)

    found = in_turn({"library": library, "ours": ours, "again": again})
    pages = in_turn({"raster": raster, "vector": vector}, 3)
    heading(f"6. Labels ({layout}, 300 dpi), their states computed too")
    absolute("the library's own writer, one PNG", found["library"] / 10)
    absolute("ours, one PNG", found["ours"] / 10)
    absolute("ours, the same again", found["again"] / 10)
    absolute(f"{len(codes)} raster pages", pages["raster"])
    absolute(f"{len(codes)} labels as PDF", pages["vector"])
    ratio(
        "library / ours",
        found["library"] / found["ours"],
        ">= 3",
        found["library"] >= 3 * found["ours"],
    )
    ratio(
        "library / reprint",
        found["library"] / found["again"],
        ">= 15",
        found["library"] >= 15 * found["again"],
    )
    ratio(
        "raster / PDF, time",
        pages["raster"] / pages["vector"],
        ">= 5",
        pages["raster"] >= 5 * pages["vector"],
    )
    sizes = len(raster()) / len(vector())
    ratio("raster / PDF, size", sizes, ">= 40", sizes >= 40)
