"""What is on hand of parts that a run needs, before anything is folded: which carriers rest in
their bags, which are out, and what shares a bag."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from msdtrack.store.statements import listed, rows


class Resting(NamedTuple):
    """A carrier that was never out of its bag.

    Attributes:
        part, lot, pieces, kind, place, bag, sealed_on, shelf_life_ends: as stated at receipt; days
            as ISO 8601.
        msl, body_mm, floor_life_h: what its own label says otherwise than the part.
        touched: something is on its log, or it was split off another: only the fold knows it.
    """

    code: str
    part: str
    lot: str
    pieces: int
    kind: str
    place: str | None
    bag: str | None
    sealed_on: str | None
    shelf_life_ends: str | None
    msl: str | None
    body_mm: float | None
    floor_life_h: float | None
    touched: bool


class Out(NamedTuple):
    """A carrier that was out of its bag and is not gone, as far as the standings know.

    Attributes:
        air_place, rate_class: where the air uses up its floor life, and how fast; None: it does
            not, or that is not known.
    """

    code: str
    part: str
    air_place: str | None
    rate_class: str | None


# What is on hand is looked up in the years before, not the other way round.
_RESTING = (
    "SELECT c.code, c.part, c.lot, c.quantity, c.kind, r.place, c.bag, c.sealed_on, "
    "c.shelf_life_ends, c.msl, c.body_mm, c.label_floor_life_hours, c.parent IS NOT NULL "
    "OR EXISTS (SELECT 1 FROM event e WHERE e.carrier = c.code) "
    "FROM resting r CROSS JOIN carrier c WHERE c.code = r.carrier AND {} "
    "AND NOT EXISTS (SELECT 1 FROM standing s WHERE s.carrier = c.code)"
)
_OUT = (
    "SELECT c.code, c.part, s.air_place, CASE WHEN s.in_air = 1 THEN s.rate_class END "
    "FROM standing s CROSS JOIN carrier c WHERE c.code = s.carrier AND s.gone_at IS NULL AND {}"
)


def resting(parts: Iterable[str]) -> list[Resting]:
    """Return the carriers of parts that rest in their bags and have no standing."""
    condition, given = listed("c.part", parts)
    found = rows(_RESTING.format(condition), given)
    return [Resting._make(row)._replace(touched=bool(row[-1])) for row in found]


def out(parts: Iterable[str]) -> list[Out]:
    """Return the carriers of parts that have a standing and are not known to be gone."""
    condition, given = listed("c.part", parts)
    return [Out._make(row) for row in rows(_OUT.format(condition), given)]


def ever(parts: Iterable[str]) -> list[Out]:
    """Return every carrier of parts there ever was, of which nothing is known."""
    condition, given = listed("part", parts)
    found = rows(f"SELECT code, part FROM carrier WHERE {condition}", given)
    return [Out(code, part, None, None) for code, part in found]


def most_on_hand(limit: int) -> list[tuple[str, int]]:
    """Return the parts of which most carriers are on hand, with their pieces as received."""
    sql = (
        "SELECT c.part, sum(c.quantity) FROM (SELECT carrier FROM resting UNION SELECT carrier "
        "FROM standing WHERE gone_at IS NULL) p JOIN carrier c ON c.code = p.carrier "
        "WHERE NOT EXISTS (SELECT 1 FROM board_placement b WHERE b.carrier = c.code) "
        "GROUP BY c.part ORDER BY count(*) DESC, c.part LIMIT ?"
    )
    return [(part, int(pieces)) for part, pieces in rows(sql, (limit,))]


def had_bags(bags: Iterable[str]) -> dict[str, set[str]]:
    """Return, for each of these bags, the carriers received in it or put into it by an event."""
    condition, given = listed("bag", bags)
    sql = f"SELECT bag, code FROM carrier WHERE {condition} UNION SELECT bag, carrier FROM event "
    found: dict[str, set[str]] = {}
    for bag, code in rows(f"{sql} WHERE {condition}", (*given, *given)):
        found.setdefault(bag, set()).add(code)
    return found
