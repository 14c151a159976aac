"""Readings: each counts once, none is changed silently, and what was known when is kept."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from msdtrack.errors import NotFound
from msdtrack.exposure.facts import AirSettings
from msdtrack.store import places, reading_log, statements
from msdtrack.store.connection import close_store, open_store, version, write
from msdtrack.store.reading_log import Reading
from msdtrack.store.records import ReadingOutcome, ReadingRow
from tests.store.samples import T0, add_readings, fill

MINUTE_S = 60


def add(
    readings: list[Reading], received_at: int, *, replaces: bool = False, place: str = "LINE1"
) -> ReadingOutcome:
    """Add readings in a write of their own."""
    with write():
        return add_readings(place, readings, received_at, replaces=replaces)


def test_readings_come_back_by_moment(store: str) -> None:
    """Whatever order they were sent in; an oven's may lack the humidity."""
    fill()
    outcome = add([(T0 + 60, 2610, 5805), (T0, 2600, 5800), (T0 + 30, 12500, None)], T0 + 60)
    assert outcome == ReadingOutcome(accepted=3, duplicates=0, conflicts=())
    everything = [(T0, 2600, 5800), (T0 + 30, 12500, None), (T0 + 60, 2610, 5805)]
    assert reading_log.readings("LINE1") == everything
    assert reading_log.readings("LINE1", T0, T0 + 30) == everything[:2]
    assert reading_log.readings("LINE1", start=T0 + 1) == everything[1:]
    assert reading_log.readings("LINE1", end=T0 - 1) == []
    assert reading_log.readings("STORE1") == []


def test_a_reading_sent_twice_counts_once(store: str) -> None:
    """In the same batch or a later one."""
    fill()
    row = (T0, 2600, 5800)
    assert add([row, row], T0) == ReadingOutcome(1, 1, ())
    assert add([row, (T0 + 1, -500, 0), row], T0) == ReadingOutcome(1, 2, ())
    assert add([], T0) == ReadingOutcome(0, 0, ())


def test_other_values_for_the_same_second_are_refused(store: str) -> None:
    """The good rows of the batch are kept, and the others named by where they stood."""
    fill()
    add([(T0, 2600, 5800)], T0)
    rows: list[Reading] = [
        (T0 + 9, 2600, 5800),
        (T0, 2600, 5801),
        (T0, 2600, 5800),
        (T0 + 9, 2600, None),
        (T0 + 5, 2600, 5800),
    ]
    assert add(rows, T0 + 9) == ReadingOutcome(accepted=2, duplicates=1, conflicts=(1, 3))
    assert reading_log.readings("LINE1") == [(T0 + s, 2600, 5800) for s in (0, 5, 9)]


def test_places_do_not_share_readings(store: str) -> None:
    """The same second of another place is another reading."""
    fill()
    add([(T0, 2600, 5800)], T0)
    assert add([(T0, 2000, 400)], T0, place="CABINET1").accepted == 1
    assert reading_log.readings("LINE1") == [(T0, 2600, 5800)]


def test_a_replaced_reading_is_kept_aside(store: str) -> None:
    """What was known before is still known: with each value at its time."""
    fill()
    second, other = T0, T0 + 5
    add([(second, 2600, 5800), (other, 2600, 5800)], T0 + 10)
    assert add([(second, 2700, 5900)], T0 + 30, replaces=True) == ReadingOutcome(1, 0, ())
    assert add([(second, 2800, None)], T0 + 500, replaces=True) == ReadingOutcome(1, 0, ())
    assert add([(second, 2800, None)], T0 + 600, replaces=True) == ReadingOutcome(0, 1, ())
    rest = [(other, 2600, 5800)]
    assert reading_log.readings("LINE1") == [(second, 2800, None), *rest]
    for known_at, value in (
        (T0 + 29, (second, 2600, 5800)),
        (T0 + 30, (second, 2700, 5900)),
        (T0 + 499, (second, 2700, 5900)),
        (T0 + 500, (second, 2800, None)),
    ):
        assert reading_log.readings("LINE1", known_at=known_at) == [value, *rest]
    assert reading_log.readings("LINE1", T0 + 1, T0 + 9, known_at=T0 + 30) == rest


def test_two_values_for_a_second_in_one_replacing_batch(store: str) -> None:
    """The later one in the batch stands."""
    fill()
    assert add([(T0, 2600, 5800), (T0, 2700, 5800)], T0, replaces=True).accepted == 2
    assert reading_log.readings("LINE1") == [(T0, 2700, 5800)]


def test_a_late_reading_was_not_known_before_it_was_received(store: str) -> None:
    """A prompt one counts as known from its moment on."""
    fill()
    late, prompt = (T0, 2600, 5800), (T0 + 1000, 2600, 5800)
    add([late, prompt], T0 + 1100)
    assert reading_log.readings("LINE1", known_at=T0 + 1099) == [prompt]
    assert reading_log.readings("LINE1", known_at=T0 + 1000) == [prompt]
    assert reading_log.readings("LINE1", known_at=T0 + 999) == []
    assert reading_log.readings("LINE1", known_at=T0 + 1100) == [late, prompt]


def test_a_late_reading_that_was_replaced_later(store: str) -> None:
    """Before its receipt nothing was known, after it the old value, then the new one."""
    fill()
    add([(T0, 2600, 5800)], T0 + 1000)
    add([(T0, 2500, 5500)], T0 + 2000, replaces=True)
    assert reading_log.readings("LINE1", known_at=T0 + 999) == []
    assert reading_log.readings("LINE1", known_at=T0 + 1999) == [(T0, 2600, 5800)]
    assert reading_log.readings("LINE1", known_at=T0 + 2000) == [(T0, 2500, 5500)]


def test_the_newest_reading_of_each_place(store: str) -> None:
    """Now or at a moment; a place without any is left out."""
    fill()
    add([(T0, 2600, 5800), (T0 + 9, 2700, None)], T0)
    add([(T0 + 3, 2000, 400)], T0, place="CABINET1")
    line, cabinet = (
        ReadingRow("LINE1", T0 + 9, 2700, None),
        ReadingRow("CABINET1", T0 + 3, 2000, 400),
    )
    assert reading_log.newest() == {"LINE1": line, "CABINET1": cabinet}
    assert reading_log.newest(["LINE1", "STORE1"]) == {"LINE1": line}
    assert reading_log.newest(at=T0 + 2) == {"LINE1": ReadingRow("LINE1", T0, 2600, 5800)}
    assert reading_log.newest(at=T0 - 1) == {}


def test_the_version_tells_what_kind_of_change_there_was(store: str) -> None:
    """Appended only, or rewritten further back: then nothing computed before can be kept."""
    fill()

    def change(*readings: Reading, replaces: bool = False) -> tuple[int, int]:
        before = reading_log.reading_version("LINE1")
        add(list(readings), T0 + 60, replaces=replaces)
        after = reading_log.reading_version("LINE1")
        return after.changes - before.changes, after.rewrites - before.rewrites

    assert change((T0 + 60, 2600, 5800)) == (1, 0)
    assert change((T0 + 120, 2600, 5800), (T0 + 90, 2600, 5800)) == (1, 0)
    assert change((T0 + 60, 2600, 5800), (T0 + 180, 2600, 5800)) == (1, 0)
    assert change((T0 + 180, 2600, 5800)) == (0, 0)
    assert change((T0 + 180, 2700, 5800)) == (0, 0)
    assert change((T0, 2600, 5800)) == (1, 1)
    assert change((T0 + 180, 2700, 5800), replaces=True) == (1, 1)
    assert change((T0 + 240, 2600, 5800), (T0 + 61, 2600, 5800)) == (1, 1)
    line = reading_log.reading_version("LINE1")
    assert reading_log.reading_versions() == {"LINE1": line}
    assert reading_log.reading_version("STORE1").changes == 0
    counted = version()
    add([(T0, 2600, 5800)], T0 + 999)
    assert reading_log.reading_version("LINE1") == line
    add([(T0 + 300, 2600, 5800)], T0 + 999)
    assert version() > counted


def test_what_was_known_on_a_day_has_late_days_only_once_received(store: str) -> None:
    """A replaced reading keeps its day, and a day is known with its first reading."""
    fill()
    day_s = 86400
    late, prompt = (T0, 2600, 5800), (T0 + day_s, 2600, 5800)
    add([late, prompt], T0 + day_s)
    add([(T0, 2500, 5500)], T0 + 2 * day_s, replaces=True)
    today = T0 // day_s
    assert reading_log.days("LINE1", T0 + day_s - 1) == []
    assert reading_log.days("LINE1", T0 + day_s) == [today, today + 1]
    assert reading_log.days("LINE1", T0 + 3 * day_s) == [today, today + 1]
    assert reading_log.days("LINE1") == [today, today + 1]


def test_an_unknown_place_is_not_found(store: str) -> None:
    """Neither to write nor to read."""
    with pytest.raises(NotFound, match="NONE"):
        add([(T0, 2600, 5800)], T0, place="NONE")
    with pytest.raises(NotFound, match="NONE"):
        reading_log.readings("NONE")


def test_a_batch_longer_than_a_chunk(store: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Indexes of conflicts hold over the whole batch."""
    fill()
    monkeypatch.setattr(reading_log, "_CHUNK", 7)
    rows: list[Reading] = [(T0 + i, 2600, i) for i in range(40)]
    random.Random(1).shuffle(rows)
    add([(T0 + 3, 0, 0), (T0 + 30, 0, 0)], T0)
    outcome = add(rows, T0)
    assert outcome.accepted == 38
    assert {rows[i][0] - T0 for i in outcome.conflicts} == {3, 30}
    assert len(reading_log.readings("LINE1")) == 40


def bytes_each(file: Path, batches: Iterable[tuple[str, Sequence[Reading], int]]) -> float:
    """Return how much a file grows by each reading; the batches are of place, readings, receipt."""
    open_store(f"sqlite:///{file}")
    fill()
    close_store()
    empty = file.stat().st_size
    open_store(f"sqlite:///{file}")
    count = 0
    with write():
        for place, readings, received_at in batches:
            count += add_readings(place, readings, received_at).accepted
    close_store()
    return (file.stat().st_size - empty) / count


MONTH = [
    (second, 2500 + second % 70, 5000 + second % 90)
    for second in range(T0, T0 + 30 * 24 * 3600, MINUTE_S)
]


def test_a_reading_takes_few_bytes(tmp_path: Path) -> None:
    """SQLite, a month of minutes of three places as they come in: 20.5 bytes each at most, 19 once
    the file is packed."""
    file = tmp_path / "test.db"
    coming_in = (
        (place, [reading], reading[0] + 1)
        for reading in MONTH
        for place in ("LINE1", "STORE1", "CABINET1")
    )
    assert bytes_each(file, coming_in) < 20.5
    size = file.stat().st_size
    with closing(sqlite3.connect(file)) as other:
        other.execute("VACUUM")
    assert file.stat().st_size < size * 19 / 20.5


def test_a_late_reading_takes_few_bytes_too(tmp_path: Path) -> None:
    """SQLite, a month of minutes out of a file half a year later: 20.5 bytes each at most."""
    late_s = 180 * 24 * 3600
    files = [(place, MONTH, T0 + late_s) for place in ("LINE1", "STORE1", "CABINET1")]
    assert bytes_each(tmp_path / "test.db", files) < 20.5


def test_a_batch_that_brings_nothing_new_leaves_no_trace(store: str) -> None:
    """A logger that sends its week every hour does not fill the table of receipts."""
    fill()
    add([(T0, 2600, 5800)], T0 + 1000)
    add([(T0, 2600, 5800)], T0 + 2000)
    add([(T0 + 1, 2600, 5800)], T0 + 3000)
    assert statements.rows("SELECT id, received_at FROM reading_receipt ORDER BY id") == [
        (1, T0 + 1000),
        (2, T0 + 3000),
    ]


SENT = st.tuples(
    st.integers(T0, T0 + 12), st.integers(0, 2), st.one_of(st.none(), st.integers(0, 1))
)
BATCHES = st.lists(
    st.tuples(st.lists(SENT, max_size=8), st.booleans(), st.integers(0, 400)), max_size=6
)


@settings(
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(batches=BATCHES, at_once=st.sampled_from([1, 2, 100]))
def test_batches_equal_one_reading_after_the_other(
    store: str, monkeypatch: pytest.MonkeyPatch, batches: list, at_once: int
) -> None:
    """Whatever is sent, the log does what a dictionary of versions, kept by hand, does."""
    monkeypatch.setattr(reading_log, "_AT_ONCE", at_once)
    monkeypatch.setattr(reading_log, "_SPARED", 2)
    versions: dict[int, list[tuple[int, Reading]]] = {}
    place = f"P{version()}"
    with write():
        places.insert_place(place, "a place", "floor", T0, AirSettings())
    now = T0 + 12
    for rows, replaces, pause_s in batches:
        now += pause_s
        accepted = duplicates = 0
        conflicts = []
        for index, row in enumerate(rows):
            known = versions.setdefault(row[0], [])
            if known and known[-1][1] == row:
                duplicates += 1
            elif known and not replaces:
                conflicts.append(index)
            else:
                accepted += 1
                known.append((now, row))
        outcome = add(rows, now, replaces=replaces, place=place)
        assert outcome == ReadingOutcome(accepted, duplicates, tuple(conflicts))
    for known_at in (None, *range(T0 + 12, now + 1, 50), now):
        expected = []
        for second in sorted(versions):
            first_known = versions[second][0][0]
            # Prompt readings count as known from their moment on.
            prompt = first_known - second <= reading_log.PROMPT_S
            standing = [
                row
                for i, (received_at, row) in enumerate(versions[second])
                if known_at is None or received_at <= known_at or (i == 0 and prompt)
            ]
            expected += standing[-1:]
        assert reading_log.readings(place, known_at=known_at) == expected
