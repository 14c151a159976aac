"""The readings of places, one per place and second, in hundredths of °C and % RH.

This is the one table with millions of rows, so it has no model: rows go in and out as tuples.
"""

from __future__ import annotations

import json
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from itertools import islice
from operator import lt

from msdtrack.errors import NotFound
from msdtrack.exposure.readings import Columns
from msdtrack.store.connection import is_sqlite, touched, writing
from msdtrack.store.records import ReadingOutcome, ReadingRow, ReadingVersion
from msdtrack.store.seldom import changed_by_readings
from msdtrack.store.statements import execute, executemany, listed, one_row, rows
from msdtrack.store.touched import TouchedReadings

Reading = tuple[int, int, int | None]
"""Moment (seconds UTC), temperature (hundredths of °C), humidity (hundredths of % RH or None)."""

PROMPT_S = 120
"""A reading received within this long counts as known from its moment on."""

_CHUNK = 20_000
_AT_ONCE = 100
"""Rows of one statement: twice as fast as one each, and few enough for any SQLite's limits."""

_SPARED = 9
_INTO = "INSERT INTO reading VALUES "
_ROW = "(?, ?, ?, ?, ?)"
_KEEP_OLD = " ON CONFLICT DO NOTHING"
_KNOWN = (
    " AND second <= ? AND receipt NOT IN (SELECT id FROM reading_receipt WHERE received_at > ?)"
)
_FIRST, _LAST = -(1 << 62), 1 << 62
"""Before and after every moment."""


def add_columns(
    place: str, columns: Columns, received_at: int, replaces: bool = False
) -> ReadingOutcome:
    """Store readings of a place and return which were taken in.

    A reading that is there with the same values is a duplicate. With other values it is a conflict
    and refused, or with `replaces` takes the old one's place, which is kept aside.

    Args:
        columns: the readings, in any order.
        received_at: when they were received.

    Raises:
        NotFound: there is no such place.
    """
    writing(widely=False)
    place_id = _place_id(place)
    newest_before = _newest_second(place_id)
    count = len(columns[0])
    order: Sequence[int] = range(count)
    distinct = _ascend(columns[0])
    seconds, temps, humidities = columns
    if not distinct:
        order = sorted(order, key=seconds.__getitem__)
        seconds = [seconds[i] for i in order]
        temps = [temps[i] for i in order]
        humidities = [humidities[i] for i in order]
        distinct = _ascend(seconds)
    late = bisect_left(seconds, received_at - PROMPT_S)
    receipt, is_new = _receipt(received_at) if late else (0, False)
    receipts = [receipt] * late + [0] * (count - late)
    added = replaced = 0
    conflicts: list[int] = []
    for start in range(0, count, _CHUNK):
        end = min(start + _CHUNK, count)
        chunk = [column[start:end] for column in (seconds, temps, humidities, receipts)]
        new = _insert(place_id, chunk, distinct)
        added += new
        if new == end - start:
            continue
        stored = {row[0]: row for row in _current(place_id, seconds[start], seconds[end - 1], None)}
        for i in range(start, end):
            reading = (seconds[i], temps[i], humidities[i])
            if stored[seconds[i]] == reading:
                continue
            if not replaces:
                conflicts.append(order[i])
                continue
            _replace(place_id, reading, receipts[i], received_at)
            stored[seconds[i]] = reading
            replaced += 1
    if added or replaced:
        appended = len(set(seconds[bisect_right(seconds, newest_before) :]))
        _count_change(place_id, rewritten=replaced > 0 or added > appended)
        before = newest_before if newest_before > _FIRST else None
        note = touched(readings=True)
        note.at = max(note.at, received_at)
        note.readings.append(TouchedReadings(place, seconds[0], seconds[-1], before))
    elif is_new:
        execute("DELETE FROM reading_receipt WHERE id = ?", (receipt,))
    duplicates = count - added - replaced - len(conflicts)
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


def columns(place: str, start: int, end: int) -> Columns:
    """Return a place's readings by moment, column by column: faster than `readings`, row by row.

    Args:
        start, end: first and last moment, both included; there is a reading between them.
    """
    sql = (
        "SELECT {0}(second), {0}(temp_c100), {0}(rh_c100) FROM (SELECT second, temp_c100, rh_c100 "
        "FROM reading WHERE place_id = (SELECT id FROM place WHERE code = ?) "
        "AND second BETWEEN ? AND ? ORDER BY second) r"
    )
    aggregate = "json_group_array" if is_sqlite() else "array_agg"
    found = one_row(sql.format(aggregate), (place, start, end))
    seconds, temps, humidities = map(json.loads, found) if is_sqlite() else found
    return seconds, temps, humidities


def days(place: str, known_at: int | None = None) -> list[int]:
    """Return the UTC days that have readings of a place (moment // 86400), ascending.

    Args:
        known_at: as it was known then; None: as known now.

    Raises:
        NotFound: there is no such place.
    """
    place_id = _place_id(place)
    if known_at is None:
        # From each day straight to the next one: the readings between are not looked at.
        found = rows(
            "WITH RECURSIVE day (n) AS (SELECT (SELECT min(second) FROM reading "
            "WHERE place_id = ?) / 86400 UNION ALL SELECT (SELECT min(second) FROM reading "
            "WHERE place_id = ? AND second >= (n + 1) * 86400) / 86400 FROM day "
            "WHERE n IS NOT NULL) SELECT n FROM day WHERE n IS NOT NULL ORDER BY n",
            (place_id, place_id),
        )
    else:
        found = rows(
            f"SELECT second / 86400 FROM reading WHERE place_id = ?{_KNOWN} "
            "UNION SELECT second / 86400 FROM reading_replaced WHERE place_id = ? "
            "AND replaced_at > ? AND second + late_s <= ? ORDER BY 1",
            (place_id, known_at, known_at, place_id, known_at, known_at),
        )
    return [int(row[0]) for row in found]


def newest(places: Iterable[str] | None = None, at: int | None = None) -> dict[str, ReadingRow]:
    """Return the newest reading of each place; a place without one is left out.

    Args:
        places: codes; None is every place.
        at: the last moment that counts; None is no limit.
    """
    wanted, given = ("true", ()) if places is None else listed("place.code", places)
    # A cross join goes from place to reading: the other way round SQLite would read every reading.
    found = rows(
        "SELECT place.code, reading.second, reading.temp_c100, reading.rh_c100 "
        "FROM place CROSS JOIN reading WHERE reading.place_id = place.id AND reading.second = "
        f"(SELECT max(second) FROM reading WHERE place_id = place.id AND second <= ?) AND {wanted}",
        (_LAST if at is None else at, *given),
    )
    return {row[0]: ReadingRow(*row) for row in found}


def reading_version(place: str) -> ReadingVersion:
    """Return a value that changes whenever the place's readings do."""
    found = rows(
        "SELECT changes, rewrites FROM reading_version "
        "WHERE place_id = (SELECT id FROM place WHERE code = ?)",
        (place,),
    )
    return ReadingVersion(*found[0]) if found else ReadingVersion()


def reading_versions() -> Mapping[str, ReadingVersion]:
    """Return the version of every place's readings."""
    return changed_by_readings("reading versions", _versions)


def _versions() -> Mapping[str, ReadingVersion]:
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


def _ascend(moments: Sequence[int]) -> bool:
    """Return whether each moment is later than the one before."""
    return all(map(lt, moments, islice(moments, 1, None)))


def _current(place_id: int, first: int, last: int, known_at: int | None) -> list[Reading]:
    sql = (
        "SELECT second, temp_c100, rh_c100 FROM reading "
        "WHERE place_id = ? AND second BETWEEN ? AND ?"
    )
    parameters = [place_id, first, last]
    if known_at is not None:
        sql += _KNOWN
        parameters += [known_at, known_at]
    return rows(sql + " ORDER BY second", parameters)


def _insert(place_id: int, columns: Sequence[Sequence[int | None]], distinct: bool) -> int:
    """Insert what has no row yet and return how many that were.

    Args:
        columns: moments, ascending, temperatures, humidities, receipts.
        distinct: no moment is there twice.
    """
    if not is_sqlite():
        # One statement with arrays: a row at a time takes a hundred times as long.
        return execute(
            "INSERT INTO reading SELECT ?, * FROM "
            "unnest(?::bigint[], ?::integer[], ?::integer[], ?::integer[])" + _KEEP_OLD,
            (place_id, *map(list, columns)),
        )
    if not distinct or len(columns[0]) < _AT_ONCE:
        return _insert_rows(place_id, columns)
    # SQLite leaves pages seven eighths full behind ascending rows. A ninth of the rows, spread
    # evenly and put in afterwards, fills them up.
    most = [list(column) for column in columns]
    for column in most:
        del column[::_SPARED]
    return _insert_rows(place_id, most) + _insert_rows(
        place_id, [column[::_SPARED] for column in columns]
    )


def _insert_rows(place_id: int, columns: Sequence[Sequence[int | None]]) -> int:
    width, count = len(columns) + 1, len(columns[0])
    values: list[int | None] = [place_id] * (width * count)
    for i, column in enumerate(columns, 1):
        values[i::width] = column
    done = count - count % _AT_ONCE
    added = 0
    for size, start, end in ((_AT_ONCE, 0, done), (1, done, count)):
        if start < end:
            sql = _INTO + ", ".join([_ROW] * size) + _KEEP_OLD
            step = size * width
            starts = range(start * width, end * width, step)
            added += executemany(sql, [values[i : i + step] for i in starts])
    return added


def _replace(place_id: int, reading: Reading, receipt: int, received_at: int) -> None:
    second, temp_c100, rh_c100 = reading
    execute(
        "INSERT INTO reading_replaced "
        "(place_id, second, temp_c100, rh_c100, late_s, replaced_at) "
        "SELECT place_id, second, temp_c100, rh_c100, coalesce((SELECT received_at - second "
        "FROM reading_receipt WHERE id = receipt), 0), CAST(? AS BIGINT) FROM reading "
        "WHERE place_id = ? AND second = ?",
        (received_at, place_id, second),
    )
    execute(
        "UPDATE reading SET temp_c100 = ?, rh_c100 = ?, receipt = ? "
        "WHERE place_id = ? AND second = ?",
        (temp_c100, rh_c100, receipt, place_id, second),
    )


def _receipt(received_at: int) -> tuple[int, bool]:
    """Return the number of what is received at a moment, and whether it is a new one."""
    new = execute(
        "INSERT INTO reading_receipt SELECT coalesce(max(id), 0) + 1, ? FROM reading_receipt "
        "WHERE true ON CONFLICT DO NOTHING",
        (received_at,),
    )
    found = one_row("SELECT id FROM reading_receipt WHERE received_at = ?", (received_at,))
    return int(found[0]), new == 1


def _count_change(place_id: int, *, rewritten: bool) -> None:
    execute(
        "INSERT INTO reading_version (place_id, changes, rewrites) VALUES (?, 1, ?) "
        "ON CONFLICT (place_id) DO UPDATE SET changes = reading_version.changes + 1, "
        "rewrites = reading_version.rewrites + excluded.rewrites",
        (place_id, int(rewritten)),
    )
