"""Which carriers are where.

One that was out of its bag has a standing, which says where it is; one that rests in its bag has a
line in `resting`. What has neither is gone. Both are computed from the log and can be dropped.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import peewee

from msdtrack.store.connection import opened, writing
from msdtrack.store.statements import execute, executemany, listed, rows

_PRESENT = "SELECT carrier FROM standing WHERE gone_at IS NULL UNION SELECT carrier FROM resting"
_AT_PLACE = (
    "SELECT carrier FROM standing WHERE place = ? AND gone_at IS NULL "
    "UNION SELECT carrier FROM resting WHERE place = ?"
)
# A correction names the place inside its payload; codes are letters and digits only.
_EVER_AT_PLACE = (
    "WITH RECURSIVE named(code) AS ("
    "SELECT code FROM carrier WHERE place = ? "
    "UNION SELECT carrier FROM event WHERE place = ? "
    "UNION SELECT carrier FROM event WHERE kind = 'correct' AND payload LIKE ? "
    "UNION SELECT c.code FROM carrier c JOIN named ON c.parent = named.code) "
    "SELECT code FROM named"
)


def at_place(place: str) -> list[str]:
    """Return the carriers at a place, but for those whose standings do not answer."""
    return [row[0] for row in rows(_AT_PLACE, (place, place))]


def is_there(code: peewee.Field[str], place: str | None) -> peewee.Expression:
    """Return the condition that a carrier is at a place, or that it is not gone if the place is
    None, but for those whose standings do not answer.

    Args:
        code: the column that names the carrier.
        place: the place.
    """
    if place is None:
        return _among_those(code, _PRESENT, [])
    return _among_those(code, _AT_PLACE, [place, place])


def ever_at_place(place: str) -> list[str]:
    """Return the carriers received at a place, or named with it by an event or a correction, and
    all that was split off them: every one that was ever there, and others."""
    return [row[0] for row in rows(_EVER_AT_PLACE, _ever_at(place))]


def was_there(code: peewee.Field[str], place: str) -> peewee.Expression:
    """Return the condition that a carrier is one of `ever_at_place`.

    Args:
        code: the column that names the carrier.
        place: the place.
    """
    return _among_those(code, _EVER_AT_PLACE, _ever_at(place))


def touched_after(codes: Iterable[str], at: int) -> set[str]:
    """Return which of these carriers have an event after a moment, or may have by a correction or
    as a part of another one."""
    found = list(codes)
    among, given = listed("carrier", found)
    is_part, parts = listed("code", found)
    sql = (
        f"SELECT carrier FROM event WHERE {among} AND (at > ? OR kind = 'correct') "
        f"UNION SELECT code FROM carrier WHERE {is_part} AND parent IS NOT NULL"
    )
    return {row[0] for row in rows(sql, (*given, at, *parts))}


def put_resting(resting: Mapping[str, str | None], others: Iterable[str] = ()) -> None:
    """Note where carriers rest in their bags.

    Args:
        resting: carrier to place; None: nobody knows.
        others: carriers that do not rest there any more.
    """
    writing(shows=False)
    if resting:
        executemany(
            "INSERT INTO resting (carrier, place) VALUES (?, ?) "
            "ON CONFLICT (carrier) DO UPDATE SET place = excluded.place",
            list(resting.items()),
        )
    away = list(others)
    if away:
        condition, given = listed("carrier", away)
        execute(f"DELETE FROM resting WHERE {condition}", given)


def rest_all() -> None:
    """Note every carrier that nothing was done with since it was received as resting there."""
    writing(shows=False)
    execute(
        "INSERT INTO resting (carrier, place) SELECT code, place FROM carrier c WHERE parent IS "
        "NULL AND NOT EXISTS (SELECT 1 FROM event e WHERE e.carrier = c.code)"
    )


def resting() -> dict[str, str | None]:
    """Return where the carriers rest that are in their bags."""
    return dict(rows("SELECT carrier, place FROM resting"))


def _ever_at(place: str) -> list[str]:
    return [place, place, f'%"{place}"%']


def _among_those(code: peewee.Field[str], sql: str, given: list[str]) -> peewee.Expression:
    return code.in_(peewee.SQL(f"({sql.replace('?', opened().param)})", given))
