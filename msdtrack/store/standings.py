"""Carriers' standings: straight lines that say how the share used grows until something bends it.

They are computed from the log and the readings and can be dropped and computed anew; the rules are
not here. Shares are whole numbers of 1e-15 floor life.

A standing that is `in_air` has used `share + place_now.share + place_now.rate * (now -
place_now.at)`; any other one `share + rate * (now - since)`. It answers from `since` up to
`until` and below `next_share`, while the air of `air_place` does too.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from operator import attrgetter
from typing import Any, NamedTuple

from msdtrack.exposure.facts import FOREVER
from msdtrack.exposure.lines import UNIT
from msdtrack.store.connection import is_sqlite, writing
from msdtrack.store.statements import execute, executemany, listed, one_row, rows

NEVER_S = 10**18
"""More seconds than anything is left for, to sort by."""


class Standing(NamedTuple):
    """How a carrier stands.

    Attributes:
        part: number of its part.
        place: where it is.
        listed: it belongs on the watch list.
        urgency: what comes first there, 0 first.
        rate: share used per second, unless `in_air`.
        air_place, rate_class: whose `place_now` it depends on; None: on none.
        left_rate: rate that the time left is reckoned with; None: the one of `place_now`.
        moves_at: when an event that is dated later comes, after which it may be elsewhere.
        heeds_air: it changes when air outside 30/60 comes, besides by its line.
        gone_at: when it was first seen gone. It is kept for a while for those who ask as of then,
            and until an event that is dated later has come.
        glance: JSON of what does not move.
    """

    carrier: str
    part: str
    place: str | None
    listed: bool
    urgency: int
    since: int
    until: int
    moves_at: int
    share: int
    rate: int
    next_share: int
    air_place: str | None
    rate_class: str | None
    in_air: bool
    left_rate: int | None
    heeds_air: bool
    gone_at: int | None
    glance: str


class PlaceNow(NamedTuple):
    """How the air of a place uses up one rate class.

    Attributes:
        at: from when on `rate` holds, mostly the newest reading.
        share: used there up to `at`, from an arbitrary beginning.
        since, until: from when and up to when it answers.
        left_rate: rate in the air that the forecast assumes, up to `settles_at`.
        temp_c100, rh_c100, missing: that air, and why it is assumed.
    """

    place: str
    rate_class: str
    at: int
    share: int
    rate: int
    since: int
    until: int
    left_rate: int
    settles_at: int
    temp_c100: int
    rh_c100: int
    missing: str | None


class Urgent(NamedTuple):
    """One line of the watch list: what moves, and JSON of what does not.

    Attributes:
        used: share used, in 1e-15.
        left_s: seconds left in the forecast's air; None: no limit.
        temp_c100, rh_c100, missing: the forecast's air where the place says it.
        rank, order_s: what the list is sorted by, before the code.
    """

    carrier: str
    urgency: int
    used: int
    left_s: float | None
    since: int
    temp_c100: int | None
    rh_c100: int | None
    missing: str | None
    kept: str
    rank: int
    order_s: float


_STANDING = ", ".join(Standing._fields)
_PLACE_NOW = ", ".join(PlaceNow._fields)
_INTO = f"INSERT INTO standing ({_STANDING}) VALUES ({', '.join('?' * len(Standing._fields))})"

_LINES = (
    "SELECT s.*, CASE WHEN s.in_air = 1 THEN s.share + p.share + p.rate * ({now} - p.at) "
    "ELSE s.share + s.rate * ({now} - s.since) END AS used, "
    "coalesce(s.left_rate, p.left_rate) AS left_now, p.since AS air_since, p.until AS air_until, "
    "p.settles_at, CASE WHEN s.left_rate IS NULL THEN p.temp_c100 END AS temp_c100, "
    "CASE WHEN s.left_rate IS NULL THEN p.rh_c100 END AS rh_c100, p.missing "
    "FROM standing s LEFT JOIN place_now p "
    "ON p.place = s.air_place AND p.rate_class = s.rate_class"
)
_FRESH = (
    "since <= {now} AND {now} < until AND used < next_share AND (air_place IS NULL OR "
    "(air_since <= {now} AND {now} < air_until AND (left_rate IS NOT NULL OR {now} < settles_at)))"
)

_MARKS = re.compile(r"\?|\{now\}")


# -- the build ---------------------------------------------------------------------------------


def build() -> tuple[str, int] | None:
    """Return the fingerprint and the moment of the newest write that the standings have seen;
    None if there are none."""
    found = rows("SELECT fingerprint, as_of FROM standing_build")
    return (found[0][0], int(found[0][1])) if found else None


def start_build(fingerprint: str, as_of: int) -> None:
    """Drop every standing and begin anew."""
    drop()
    execute("INSERT INTO standing_build VALUES (1, ?, ?)", (fingerprint, as_of))


def drop() -> None:
    """Drop every standing; they are computed anew when they are next asked for."""
    writing(shows=False)
    for table in ("standing_build", "standing", "resting", "stay", "place_now"):
        execute(f"DELETE FROM {table}")


def seen(as_of: int) -> None:
    """Note the moment of a write."""
    writing(shows=False)
    execute("UPDATE standing_build SET as_of = ? WHERE as_of < ?", (as_of, as_of))


def forget_gone(before: int) -> None:
    """Forget carriers that have been gone since before a moment."""
    writing(shows=False)
    execute("DELETE FROM standing WHERE gone_at < ? AND until = ?", (before, FOREVER))


# -- asking ------------------------------------------------------------------------------------


def urgent(now: int, place: str | None, limit: int | None) -> list[Urgent]:
    """Return the listed carriers whose lines answer for `now`, most urgent first.

    Those with the same time left to a second are sorted by code.
    """
    # In Python: the database takes twice as long, with the JSON on board.
    found = map(Urgent._make, rows(*urgent_sql(now, place, limit)))
    return sorted(found, key=attrgetter("rank", "order_s", "carrier"))


def lines_of(codes: Iterable[str], now: int) -> list[Urgent]:
    """Return what `urgent` does of these carriers, listed or not, in any order."""
    condition, among = listed("s.carrier", codes)
    sql = f"SELECT * FROM ({_LINES} WHERE {condition}) l WHERE gone_at IS NULL AND {_FRESH}"
    lines, given = _as_of(now, sql, among)
    return list(map(Urgent._make, rows(_urgent(lines, None), given)))


def urgent_sql(now: int, place: str | None, limit: int | None) -> tuple[str, list[object]]:
    """Return the query of `urgent` with its parameters."""
    lines, given = _listed_lines(now, place)
    return _urgent(lines, limit), given


def _urgent(lines: str, limit: int | None) -> str:
    shown = "carrier, urgency, used, left_s, since, temp_c100, rh_c100, missing"
    # Only those of a limit are looked up for their JSON: the rest is in an index.
    early = ", glance AS kept" if limit is None else ""
    # Its own limit keeps the inner query whole: merged into the outer one, what it computes would
    # be computed again for each use.
    sql = (
        f"SELECT carrier, urgency, used, CASE WHEN left_now = 0 THEN NULL WHEN used >= {UNIT} "
        f"THEN 0.0 ELSE CAST({UNIT} - used AS DOUBLE PRECISION) / left_now END AS left_s, "
        f"since, temp_c100, rh_c100, missing{early and ', kept'} FROM (SELECT carrier, urgency, "
        f"used, left_now, since, temp_c100, rh_c100, missing{early} FROM ({lines}) q "
        f"LIMIT {1 << 62}) r"
    )
    sql = (
        f"SELECT {shown}{early and ', kept'}, CASE WHEN urgency = 1 AND left_s IS NULL THEN 3 "
        f"ELSE urgency END AS rank, coalesce(round(left_s), {NEVER_S}) AS order_s FROM ({sql}) u"
    )
    if limit is not None:
        sql = (
            f"SELECT u.{shown.replace(', ', ', u.')}, s.glance, u.rank, u.order_s FROM ({sql} "
            f"ORDER BY rank, order_s, carrier LIMIT {int(limit)}) u "
            "JOIN standing s ON s.carrier = u.carrier ORDER BY u.rank, u.order_s, u.carrier"
        )
    return sql


def count_listed(now: int, place: str | None) -> int:
    """Return how many carriers `urgent` has without a limit."""
    lines, given = _listed_lines(now, place)
    return int(rows(f"SELECT count(*) FROM ({lines}) q", given)[0][0])


def stale(now: int, place: str | None = None) -> list[str]:
    """Return the carriers whose lines do not answer for `now`.

    Args:
        place: only those that are there, or may be there by now; None is all.
    """
    if place is None:
        return _stale(now, "", ())
    # Asked separately, each is answered from its index: that of moves has none of FOREVER.
    there = _stale(now, " WHERE s.place = ?", (place,))
    moved = f" WHERE s.moves_at <= {{now}} AND s.moves_at < {FOREVER}"
    return list(dict.fromkeys([*there, *_stale(now, moved, ())]))


def stale_among(codes: Iterable[str], now: int) -> list[str]:
    """Return which of these carriers have lines that do not answer for `now`."""
    condition, given = listed("s.carrier", codes)
    return _stale(now, f" WHERE {condition}", given)


def _stale(now: int, where: str, given: Sequence[object]) -> list[str]:
    sql = (
        f"SELECT carrier FROM ({_LINES}{where}) q WHERE CASE WHEN gone_at IS NOT NULL "
        f"THEN gone_at > {{now}} OR until <= {{now}} WHEN {_FRESH} THEN {{no}} ELSE {{yes}} END"
    )
    yes, no = (1, 0) if is_sqlite() else ("TRUE", "FALSE")
    return [row[0] for row in rows(*_as_of(now, sql.format(now="{now}", yes=yes, no=no), given))]


def _listed_lines(now: int, place: str | None) -> tuple[str, list[object]]:
    there, given = ("", ()) if place is None else (" WHERE s.place = ?", (place,))
    return _as_of(now, f"SELECT * FROM ({_LINES}{there}) l WHERE listed = 1 AND {_FRESH}", given)


def _as_of(now: int, sql: str, given: Sequence[object]) -> tuple[str, list[object]]:
    """Return a query with the moment for each `{now}` among its parameters.

    A query that reads the same every second is understood and planned once.
    """
    others = iter(given)
    marks = _MARKS.findall(sql)
    return (sql.replace("{now}", "?"), [next(others) if mark == "?" else now for mark in marks])


def count() -> int:
    """Return how many standings there are."""
    return int(one_row("SELECT count(*) FROM standing")[0])


def standings() -> list[Standing]:
    """Return every standing, by carrier."""
    found = rows(f"SELECT {_STANDING} FROM standing ORDER BY carrier")
    return [_standing(row) for row in found]


# -- writing -----------------------------------------------------------------------------------


def put(changed: Sequence[Standing], dropped: Iterable[str]) -> None:
    """Store standings in place of the ones before, and drop those of other carriers."""
    writing(shows=False)
    updates = ", ".join(f"{name} = excluded.{name}" for name in Standing._fields[1:])
    if changed:
        sql = f"{_INTO} ON CONFLICT (carrier) DO UPDATE SET {updates}"
        # SQLite itself takes a yes for a 1.
        executemany(sql, changed if is_sqlite() else list(map(_as_row, changed)))
    gone = [(code,) for code in dropped]
    if gone:
        executemany("DELETE FROM standing WHERE carrier = ?", gone)


def unsettle(codes: Iterable[str], *, moved: bool = True) -> None:
    """Note that nothing is known of how these carriers stand until they are drawn anew.

    Args:
        moved: nor of where those are that had a standing.
    """
    writing(shows=False)
    # Without a rate, as the long time since would be too much for the numbers of a database.
    anywhere = "moves_at = excluded.moves_at, " if moved else ""
    sql = (
        f"{_INTO} ON CONFLICT (carrier) DO UPDATE "
        f"SET since = excluded.since, {anywhere}rate = 0, gone_at = NULL"
    )
    _, *same = _as_row(unknown(""))
    executemany(sql, [(code, *same) for code in codes])


def unknown(code: str) -> Standing:
    """Return the standing of a carrier that nothing is known of: it never answers."""
    return Standing(
        carrier=code,
        part="",
        place=None,
        listed=False,
        urgency=9,
        since=FOREVER,
        until=FOREVER,
        # It may be anywhere.
        moves_at=-FOREVER,
        share=0,
        rate=0,
        next_share=0,
        air_place=None,
        rate_class=None,
        in_air=False,
        left_rate=0,
        heeds_air=False,
        gone_at=None,
        glance="",
    )


def places_now(place: str | None = None) -> list[PlaceNow]:
    """Return how the air of a place, or of all, uses up the rate classes that are there."""
    where, given = ("", ()) if place is None else (" WHERE place = ?", (place,))
    return [PlaceNow(*row) for row in rows(f"SELECT {_PLACE_NOW} FROM place_now{where}", given)]


def put_places_now(changed: Sequence[PlaceNow]) -> None:
    """Store lines of places in place of the ones before."""
    writing(shows=False)
    updates = ", ".join(f"{name} = excluded.{name}" for name in PlaceNow._fields[2:])
    executemany(
        f"INSERT INTO place_now ({_PLACE_NOW}) VALUES ({', '.join('?' * len(PlaceNow._fields))}) "
        f"ON CONFLICT (place, rate_class) DO UPDATE SET {updates}",
        changed,
    )


def drop_places_now(place: str) -> None:
    """Drop the lines of a place."""
    writing(shows=False)
    execute("DELETE FROM place_now WHERE place = ?", (place,))


def _standing(row: Sequence[Any]) -> Standing:
    found = Standing._make(row)
    return found._replace(
        listed=bool(found.listed), in_air=bool(found.in_air), heeds_air=bool(found.heeds_air)
    )


def _as_row(standing: Standing) -> tuple[object, ...]:
    return tuple(int(value) if isinstance(value, bool) else value for value in standing)
