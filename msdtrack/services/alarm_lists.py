"""Alarms in pages, the worst first, and how many there are of each kind and place."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from msdtrack.services.alarm_rules import PRIORITIES
from msdtrack.store import alarm_lists
from msdtrack.store.alarm_lists import ListName, Narrowed, Position, Tally
from msdtrack.store.connection import read
from msdtrack.store.records import AlarmRecord

__all__ = [
    "AlarmGroup",
    "AlarmSums",
    "AlarmsListed",
    "ListName",
    "Narrowed",
    "Position",
    "count",
    "listed",
    "position",
    "position_text",
    "sums",
]


@dataclass(frozen=True, slots=True)
class AlarmsListed:
    """A page of a list of alarms.

    Args:
        alarms: in the order of the list.
        count: how many the whole list holds.
        before: how many stand before the first of these.
        next: what the next page goes on behind, None on the last one.
        previous: what the page before goes on behind, None if that is the first one.
    """

    alarms: tuple[AlarmRecord, ...]
    count: int
    before: int
    next: Position | None
    previous: Position | None


@dataclass(frozen=True, slots=True)
class AlarmGroup:
    """The active alarms that have something in common.

    Args:
        key: kind or code of the place; None: of no place.
        priority: the highest among them.
        count: how many they are.
        unacknowledged: how many of them nobody has acknowledged.
    """

    key: str | None
    priority: str
    count: int
    unacknowledged: int


@dataclass(frozen=True, slots=True)
class AlarmSums:
    """How many active alarms there are.

    Args:
        kinds: of each kind, highest priority and most unacknowledged ones first; they leave out
            what somebody looks for by kind, as the places do by place.
        places: of each place, in the same order.
        priorities: of each priority that has any, the highest first, of all that was asked for.
        count: of all that was asked for.
        unacknowledged: how many of these nobody has acknowledged.
    """

    kinds: tuple[AlarmGroup, ...]
    places: tuple[AlarmGroup, ...]
    priorities: tuple[AlarmGroup, ...]
    count: int
    unacknowledged: int


def listed(
    name: ListName, narrowed: Narrowed, limit: int, after: Position | None = None
) -> AlarmsListed:
    """Return a page of a list.

    Args:
        name: active: what nobody acknowledged first, then by priority, oldest first; shelved: what
            comes back first; ended: newest first.
        narrowed: what is looked for.
        limit: how long the page is.
        after: what it goes on behind; None: it is the first one.
    """
    with read():
        found = alarm_lists.page(name, narrowed, PRIORITIES, limit + 1, after)
        before, previous = 0, None
        if after is not None:
            before = alarm_lists.count(name, narrowed, PRIORITIES, after)
            if before > limit:
                start = before - limit - 1
                previous = alarm_lists.position(name, narrowed, PRIORITIES, start)
        count = alarm_lists.count(name, narrowed, PRIORITIES)
    shown = found[:limit]
    return AlarmsListed(
        alarms=tuple(alarm for alarm, _ in shown),
        count=count,
        before=before,
        next=shown[-1][1] if len(found) > limit else None,
        previous=previous,
    )


def count(name: ListName) -> int:
    """Return how many alarms a list holds."""
    with read():
        return alarm_lists.count(name, Narrowed(), PRIORITIES)


def sums(narrowed: Narrowed) -> AlarmSums:
    """Return how many active alarms there are of what is looked for."""
    with read():
        found = alarm_lists.tallies(narrowed.words)
    of_kind = [one for one in found if narrowed.kind in (None, one.kind)]
    of_place = [one for one in found if narrowed.place in (None, one.place or "")]
    of_both = [one for one in of_kind if narrowed.place in (None, one.place or "")]
    return AlarmSums(
        kinds=_groups(of_place, lambda one: one.kind),
        places=_groups(of_kind, lambda one: one.place),
        priorities=_groups(of_both, lambda one: one.priority),
        count=sum(one.count for one in of_both),
        unacknowledged=sum(one.unacknowledged for one in of_both),
    )


def position(name: ListName, text: str) -> Position | None:
    """Return the position that a text from `position_text` names, None for any other text."""
    if not re.fullmatch(r"-?\d{1,15}(\.\d{1,15})*", text, re.ASCII):
        return None
    found = tuple(int(each) for each in text.split("."))
    return found if len(found) == alarm_lists.width(name) else None


def position_text(position: Position) -> str:
    """Return a position as it stands in an address."""
    return ".".join(str(each) for each in position)


def _groups(tallies: Iterable[Tally], key: Callable[[Tally], str | None]) -> tuple[AlarmGroup, ...]:
    counts, unacknowledged = Counter[str | None](), Counter[str | None]()
    worst: dict[str | None, int] = {}
    for one in tallies:
        name, rank = key(one), PRIORITIES.index(one.priority)
        counts[name] += one.count
        unacknowledged[name] += one.unacknowledged
        worst[name] = min(rank, worst.get(name, rank))
    order = sorted(
        counts,
        key=lambda name: (worst[name], -unacknowledged[name], -counts[name], name or ""),
    )
    return tuple(
        AlarmGroup(name, PRIORITIES[worst[name]], counts[name], unacknowledged[name])
        for name in order
    )
