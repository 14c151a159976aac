"""Which carriers' standings a change concerns."""

from __future__ import annotations

import json
from collections.abc import Iterable

from msdtrack.exposure.facts import FOREVER
from msdtrack.store.standings import PlaceNow
from msdtrack.store.statements import listed, one_row, rows


def staying(place: str, start: int, end: int) -> list[str]:
    """Return the carriers that the air of a place decided about somewhere between two moments."""
    sql = "SELECT DISTINCT carrier FROM stay WHERE place = ? AND end_at > ? AND start_at < ?"
    return [row[0] for row in rows(sql, (place, start, end))]


def came_or_left(place: str, after: int) -> list[str]:
    """Return the carriers that came to a place or left it after a moment."""
    sql = (
        "SELECT DISTINCT carrier FROM stay WHERE place = ? AND end_at > ? "
        "AND (start_at > ? OR end_at < ?)"
    )
    return [row[0] for row in rows(sql, (place, after, after, FOREVER))]


def dependent_on(place: str, heeding: bool = False) -> list[str]:
    """Return the carriers that stand in the air of a place; those that heed it only, if asked."""
    sql = "SELECT carrier FROM standing WHERE air_place = ?" + (
        " AND heeds_air = 1" if heeding else ""
    )
    return [row[0] for row in rows(sql, (place,))]


def fallen_below(share: int, line: PlaceNow, thought: int, used: int) -> list[str]:
    """Return the carriers that have used less than a share, though it was thought they had.

    Args:
        line: of their place and class.
        thought, used: share of that line, before and now.
    """
    sql = (
        "SELECT carrier FROM standing WHERE air_place = ? AND rate_class = ? AND in_air = 1 "
        "AND share >= ? AND share < ?"
    )
    given = (line.place, line.rate_class, share - thought, share - used)
    return [row[0] for row in rows(sql, given)]


def unmeasured_at(place: str) -> list[str]:
    """Return the carriers at a place that stand in no measured air, but may be forecast by the air
    that is assumed there: in their bags too, which are no stay."""
    sql = "SELECT carrier FROM standing WHERE place = ? AND air_place IS NULL AND gone_at IS NULL"
    return [row[0] for row in rows(sql, (place,))]


def of_parts(numbers: Iterable[str]) -> list[str]:
    """Return the carriers of these parts that have a standing."""
    condition, given = listed("part", numbers)
    return [row[0] for row in rows(f"SELECT carrier FROM standing WHERE {condition}", given)]


def family(codes: Iterable[str]) -> set[str]:
    """Return carriers with all that were split off them, and all they were joined into."""
    found: set[str] = set()
    ask = set(codes)
    while ask:
        found |= ask
        of_parent, parents = listed("parent", ask)
        of_giver, givers = listed("carrier", ask)
        sql = (
            f"SELECT code, NULL FROM carrier WHERE {of_parent} UNION ALL "
            f"SELECT NULL, payload FROM event WHERE {of_giver} AND kind = 'join'"
        )
        new = {
            code if payload is None else json.loads(payload).get("into")
            for code, payload in rows(sql, (*parents, *givers))
        }
        ask = new - found - {None}
    return found


_NOT_SCRAPPED = (
    "max(seq) > coalesce(max(CASE WHEN kind = 'scrap' THEN seq END), 0) "
    "OR max(at) > max(CASE WHEN kind = 'scrap' THEN at END)"
)
"""Unless a scrapping is the newest thing both recorded and done. An index alone answers it."""


def perhaps_out(kept_from: int) -> list[str]:
    """Return every carrier that may have been out of its bag and was not plainly gone by a moment,
    sorted."""
    sql = (
        f"SELECT carrier FROM event GROUP BY carrier HAVING {_NOT_SCRAPPED} OR max(at) > ? "
        "UNION SELECT code FROM carrier WHERE parent IS NOT NULL ORDER BY 1"
    )
    return [row[0] for row in rows(sql, (kept_from,))]


def perhaps_out_at(at: int, known_at: int | None = None) -> list[str]:
    """Return every carrier that may be out of its bag, or dry after it was, as of a moment, sorted.

    Args:
        at: what is dated later has not happened; a correction holds for all time.
        known_at: what was received later is not known; None: all is known.
    """
    known, given = ("", ()) if known_at is None else ("AND recorded_at <= ? ", (known_at,))
    sql = (
        f"SELECT carrier FROM event WHERE (at <= ? OR kind = 'correct') {known}"
        f"GROUP BY carrier HAVING {_NOT_SCRAPPED} "
        "UNION SELECT code FROM carrier WHERE parent IS NOT NULL ORDER BY 1"
    )
    return [row[0] for row in rows(sql, (at, *given))]


def newest_write() -> int:
    """Return the moment up to which the log and the readings go."""
    sql = (
        "SELECT (SELECT recorded_at FROM event WHERE seq = (SELECT max(seq) FROM event)), "
        "max(newest) FROM (SELECT (SELECT max(second) FROM reading WHERE place_id = place.id) "
        "AS newest FROM place) r"
    )
    return max(int(moment or 0) for moment in one_row(sql))
