"""Lists of alarms in pages, narrowed to what somebody looks for, and how many there are.

A page goes on behind a position, not after a number of rows: what is acknowledged meanwhile moves
to the end of its list, and nothing is skipped for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal

from msdtrack.store.alarms import alarm
from msdtrack.store.connection import is_sqlite
from msdtrack.store.records import AlarmRecord
from msdtrack.store.statements import rows

ListName = Literal["active", "shelved", "ended"]

Position = tuple[int, ...]
"""Where an alarm stands in a list; smaller is nearer to its top."""

_MEMBERS: dict[ListName, str] = {
    "active": "ended_at IS NULL AND shelved_until IS NULL",
    "shelved": "ended_at IS NULL AND shelved_until IS NOT NULL",
    "ended": "ended_at IS NOT NULL",
}
_COLUMNS = ", ".join(field.name for field in fields(AlarmRecord))


@dataclass(frozen=True, slots=True)
class Narrowed:
    """What somebody looks for.

    Args:
        kind: only alarms of this kind; None is every kind.
        place: only alarms of this place, "" for those of none; None is everywhere.
        words: each is in the message, which names carriers and boards, or is the carrier's code;
            upper and lower case are the same.
    """

    kind: str | None = None
    place: str | None = None
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Tally:
    """How many active alarms have a kind, a place and a priority, and how many of them nobody has
    acknowledged."""

    kind: str
    place: str | None
    priority: str
    count: int
    unacknowledged: int


def tallies(words: Sequence[str] = ()) -> list[Tally]:
    """Return how many active alarms there are of each kind, place and priority.

    Args:
        words: count only alarms that have them all.
    """
    condition, given = _condition("active", Narrowed(words=tuple(words)))
    found = rows(
        "SELECT kind, place, priority, count(*), count(*) - count(acknowledged_at) FROM alarm "
        f"WHERE {condition} GROUP BY kind, place, priority",
        given,
    )
    return [Tally(*row) for row in found]


def page(
    name: ListName,
    narrowed: Narrowed,
    priorities: Sequence[str],
    limit: int,
    after: Position | None = None,
) -> list[tuple[AlarmRecord, Position]]:
    """Return alarms of a list in its order, each with its position.

    Active: what nobody acknowledged first, then by priority, oldest first. Shelved: what comes back
    first. Ended: newest first.

    Args:
        priorities: every one, the highest first.
        limit: at most this many.
        after: only those behind this position.
    """
    condition, given = _condition(name, narrowed)
    keys = _keys(name, priorities)
    if after is not None:
        condition, given = f"{condition} AND {_compared(keys, '>')}", (*given, *after)
    found = rows(
        f"SELECT {_COLUMNS}, {', '.join(keys)} FROM alarm WHERE {condition} "
        f"ORDER BY {', '.join(keys)} LIMIT ?",
        (*given, limit),
    )
    own = -len(keys)
    return [(AlarmRecord(*row[:own]), tuple(row[own:])) for row in found]


def count(
    name: ListName, narrowed: Narrowed, priorities: Sequence[str], until: Position | None = None
) -> int:
    """Return how many alarms a list holds, up to and with a position if one is given."""
    condition, given = _condition(name, narrowed)
    if until is not None:
        compared = _compared(_keys(name, priorities), "<=")
        condition, given = f"{condition} AND {compared}", (*given, *until)
    return int(rows(f"SELECT count(*) FROM alarm WHERE {condition}", given)[0][0])


def position(
    name: ListName, narrowed: Narrowed, priorities: Sequence[str], index: int
) -> Position | None:
    """Return the position of the alarm at a place of a list, the first being 0; None if it is not
    that long."""
    condition, given = _condition(name, narrowed)
    keys = ", ".join(_keys(name, priorities))
    found = rows(
        f"SELECT {keys} FROM alarm WHERE {condition} ORDER BY {keys} LIMIT 1 OFFSET ?",
        (*given, index),
    )
    return tuple(found[0]) if found else None


def most_pressing(
    priorities: Sequence[str], limit: int, place: str | None = None
) -> tuple[list[AlarmRecord], int, int]:
    """Return the first alarms of the active ones, in the order of their list.

    Args:
        priorities: every one, the highest first.
        limit: at most this many.
        place: only those of this place and of the carriers watched there; None is all.

    Returns:
        The alarms, how many there are in all, and how many of them nobody has acknowledged.
    """
    found = f"SELECT id, acknowledged_at, priority FROM alarm WHERE {_MEMBERS['active']}"
    given = tuple[str, ...]()
    if place is not None:
        found, given = (
            f"{found} AND place = ? UNION SELECT a.id, a.acknowledged_at, a.priority "
            "FROM standing s JOIN alarm a ON a.carrier = s.carrier WHERE s.place = ? AND "
            "s.listed = 1 AND a.ended_at IS NULL AND a.shelved_until IS NULL",
            (place, place),
        )
    pressing = rows(
        f"SELECT id, count(*) OVER (), count(acknowledged_at) OVER () FROM ({found}) q "
        f"ORDER BY {', '.join(_keys('active', priorities))} LIMIT ?",
        (*given, limit),
    )
    if not pressing:
        return [], 0, 0
    _, count, acknowledged = pressing[0]
    return [alarm(row[0]) for row in pressing], count, count - acknowledged


def width(name: ListName) -> int:
    """Return of how many numbers a position in a list is."""
    return len(_keys(name, ("any",)))


def _keys(name: ListName, priorities: Sequence[str]) -> tuple[str, ...]:
    if name == "shelved":
        return ("shelved_until", "id")
    if name == "ended":
        return ("-id",)
    ranks = " ".join(f"WHEN '{each}' THEN {rank}" for rank, each in enumerate(priorities))
    return (
        "CASE WHEN acknowledged_at IS NULL THEN 0 ELSE 1 END",
        f"CASE priority {ranks} END",
        "id",
    )


def _compared(keys: Sequence[str], how: str) -> str:
    return f"({', '.join(keys)}) {how} ({', '.join('?' * len(keys))})"


def _condition(name: ListName, narrowed: Narrowed) -> tuple[str, tuple[object, ...]]:
    conditions, given = [_MEMBERS[name]], list[object]()
    if narrowed.kind is not None:
        conditions.append("kind = ?")
        given.append(narrowed.kind)
    if narrowed.place == "":
        conditions.append("place IS NULL")
    elif narrowed.place is not None:
        conditions.append("place = ?")
        given.append(narrowed.place)
    like = "LIKE" if is_sqlite() else "ILIKE"
    for word in narrowed.words:
        conditions.append(f"message || ' ' || coalesce(carrier, '') {like} ? ESCAPE '@'")
        escaped = word.replace("@", "@@").replace("%", "@%").replace("_", "@_")
        given.append(f"%{escaped}%")
    return " AND ".join(conditions), tuple(given)
