"""The readings of places, one per place and second, in hundredths of °C and % RH.

This is the one table with millions of rows, so it has no model: rows go in and out as tuples.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from msdtrack.errors import NotFound
from msdtrack.store.connection import is_sqlite, touched, writing
from msdtrack.store.records import ReadingOutcome, ReadingRow, ReadingVersion
from msdtrack.store.statements import execute, executemany, one_row, rows
from msdtrack.store.touched import TouchedReadings

Reading = tuple[int, int, int | None]
"""Moment (seconds UTC), temperature (hundredths of °C), humidity (hundredths of % RH or None)."""

PROMPT_S = 120
"""A reading received within this long counts as known from its moment on."""

_CHUNK = 20_000
_FIRST, _LAST = -(1 << 62), 1 << 62
"""Before and after every moment."""


def add_readings(
    place: str, readings: Sequence[Reading], received_at: int, replaces: bool = False
) -> ReadingOutcome:
    """Store readings of a place and return what became of each.

    A reading that is there with the same values is a duplicate. With other values it is a conflict
    and refused, or with `replaces` takes the old one's place, which is kept aside.

    Args:
        readings: in any order.
        received_at: when they were received.

    Raises:
        NotFound: there is no such place.
    """
    writing()
    place_id = _place_id(place)
    newest_before = _newest_second(place_id)
    order = _ascending_order(readings)
    ascending = [readings[i] for i in order]
    added = replaced = 0
    conflicts: list[int] = []
    for start in range(0, len(ascending), _CHUNK):
        chunk = ascending[start : start + _CHUNK]
        new = _insert(place_id, chunk, received_at)
        added += new
        if new == len(chunk):
            continue
        stored = {row[0]: row for row in _current(place_id, chunk[0][0], chunk[-1][0], None)}
        for i, reading in enumerate(chunk, start):
            if stored[reading[0]] == reading:
                continue
            if not replaces:
                conflicts.append(order[i])
                continue
            _replace(place_id, reading, received_at)
            stored[reading[0]] = reading
            replaced += 1
    if added or replaced:
        appended = len({second for second, _, _ in ascending if second > newest_before})
        _count_change(place_id, rewritten=replaced > 0 or added > appended)
        before = newest_before if newest_before > _FIRST else None
        note = touched(readings=True)
        note.at = max(note.at, received_at)
        note.readings.append(TouchedReadings(place, ascending[0][0], ascending[-1][0], before))
    duplicates = len(readings) - added - replaced - len(conflicts)
    return ReadingOutcome(added + replaced, duplicates, tuple(sorted(conflicts)))


def readings(
    place: str, start: int | None = None, end: int | None = None, known_at: int | None = None
) -> list[Reading]:
    """Return a place's readings by moment.

    Args:
        start, end: first and last moment, both included; None is no limit.
        known_at: as it was known then: without what was received later, and with the values that
            were replaced later. None: as known now.

    Raises:
        NotFound: there is no such place.
    """
    place_id = _place_id(place)
    first, last = _FIRST if start is None else start, _LAST if end is None else end
    current = _current(place_id, first, last, known_at)
    if known_at is None:
        return current
    known = {reading[0]: reading for reading in current}
    replaced_since = rows(
        "SELECT second, temp_c100, rh_c100, late_s FROM reading_replaced "
        "WHERE place_id = ? AND second BETWEEN ? AND ? AND replaced_at > ? "
        "ORDER BY replaced_at DESC, id DESC",
        (place_id, first, last, known_at),
    )
    # Newest replacement first, so that the value that stood at `known_at` is the last one set.
    for second, temp_c100, rh_c100, late_s in replaced_since:
        if second + late_s <= known_at:
            known[second] = (second, temp_c100, rh_c100)
        else:
            known.pop(second, None)
    return [known[second] for second in sorted(known)]


def newest(places: Iterable[str] | None = None, at: int | None = None) -> dict[str, ReadingRow]:
    """Return the newest reading of each place; a place without one is left out.

    Args:
        places: codes; None is every place.
        at: the last moment that counts; None is no limit.
    """
    found = rows(
        "SELECT place.code, reading.second, reading.temp_c100, reading.rh_c100 "
        "FROM place JOIN reading ON reading.place_id = place.id AND reading.second = "
        "(SELECT max(second) FROM reading WHERE place_id = place.id AND second <= ?)",
        (_LAST if at is None else at,),
    )
    wanted = None if places is None else set(places)
    return {row[0]: ReadingRow(*row) for row in found if wanted is None or row[0] in wanted}


def reading_version(place: str) -> ReadingVersion:
    """Return a value that changes whenever the place's readings do."""
    return reading_versions().get(place, ReadingVersion())


def reading_versions() -> dict[str, ReadingVersion]:
    """Return the version of every place's readings, in one query."""
    found = rows(
        "SELECT place.code, changes, rewrites FROM reading_version "
        "JOIN place ON place.id = reading_version.place_id"
    )
    return {code: ReadingVersion(changes, rewrites) for code, changes, rewrites in found}


def _place_id(code: str) -> int:
    found = rows("SELECT id FROM place WHERE code = ?", (code,))
    if not found:
        raise NotFound(f"There is no place {code}.")
    return int(found[0][0])


def _newest_second(place_id: int) -> int:
    sql = "SELECT coalesce(max(second), ?) FROM reading WHERE place_id = ?"
    return int(one_row(sql, (_FIRST, place_id))[0])


def _ascending_order(readings: Sequence[Reading]) -> Sequence[int]:
    """Return the indexes of the readings by moment, of equal moments in the order given."""
    moments = [reading[0] for reading in readings]
    if all(first < second for first, second in pairwise(moments)):
        return range(len(moments))
    return sorted(range(len(moments)), key=moments.__getitem__)


def _current(place_id: int, first: int, last: int, known_at: int | None) -> list[Reading]:
    sql = (
        "SELECT second, temp_c100, rh_c100 FROM reading "
        "WHERE place_id = ? AND second BETWEEN ? AND ?"
    )
    parameters = [place_id, first, last]
    if known_at is not None:
        sql += " AND second + late_s <= ?"
        parameters.append(known_at)
    return rows(sql + " ORDER BY second", parameters)


def _insert(place_id: int, chunk: Sequence[Reading], received_at: int) -> int:
    """Insert what has no row yet and return how many that were."""
    if is_sqlite():
        return executemany(
            "INSERT INTO reading VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
            [(place_id, *reading, _late_s(reading[0], received_at)) for reading in chunk],
        )
    seconds, temps, humidities = (list(column) for column in zip(*chunk, strict=True))
    late = [_late_s(second, received_at) for second in seconds]
    # One statement with arrays: a row at a time takes a hundred times as long.
    return execute(
        "INSERT INTO reading SELECT ?, * "
        "FROM unnest(?::bigint[], ?::integer[], ?::integer[], ?::integer[]) ON CONFLICT DO NOTHING",
        (place_id, seconds, temps, humidities, late),
    )


def _replace(place_id: int, reading: Reading, received_at: int) -> None:
    second, temp_c100, rh_c100 = reading
    execute(
        "INSERT INTO reading_replaced "
        "(place_id, second, temp_c100, rh_c100, late_s, replaced_at) "
        "SELECT place_id, second, temp_c100, rh_c100, late_s, CAST(? AS BIGINT) FROM reading "
        "WHERE place_id = ? AND second = ?",
        (received_at, place_id, second),
    )
    execute(
        "UPDATE reading SET temp_c100 = ?, rh_c100 = ?, late_s = ? "
        "WHERE place_id = ? AND second = ?",
        (temp_c100, rh_c100, _late_s(second, received_at), place_id, second),
    )


def _late_s(second: int, received_at: int) -> int:
    late_s = received_at - second
    return late_s if late_s > PROMPT_S else 0


def _count_change(place_id: int, *, rewritten: bool) -> None:
    execute(
        "INSERT INTO reading_version (place_id, changes, rewrites) VALUES (?, 1, ?) "
        "ON CONFLICT (place_id) DO UPDATE SET changes = reading_version.changes + 1, "
        "rewrites = reading_version.rewrites + excluded.rewrites",
        (place_id, int(rewritten)),
    )
