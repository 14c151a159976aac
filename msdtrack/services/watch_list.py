"""The watch list from the standings: what it says of each carrier, without folding one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import inf
from operator import itemgetter
from typing import Any, TypeVar

from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import CarrierState
from msdtrack.exposure.urgency import is_watched, urgency
from msdtrack.services import answers, carrier_states, standings
from msdtrack.services.glance import Glance, glance_of, of_standing
from msdtrack.store import standings as table
from msdtrack.store.connection import read
from msdtrack.store.standings import NEVER_S, Urgent
from msdtrack.times import utc_text

T = TypeVar("T")
Order = tuple[int, float, str]
"""What the list is sorted by: the rank, the time left to a second, the code."""


@dataclass(frozen=True, slots=True)
class WatchLine:
    """A watched carrier."""

    code: str
    _answer: Callable[[], dict[str, Any]]

    @property
    def answer(self) -> dict[str, Any]:
        """Return what `answers.state_answer` says of it.

        Its shares may be above the exact ones by what rounding up each second gives, 1e-15 of the
        floor life, and never below.
        """
        return self._answer()


def lines(
    now: int, place: str | None = None, limit: int | None = None, known_at: int | None = None
) -> list[WatchLine]:
    """Return every exposed, drying or baking carrier, most urgent first, as of now.

    Args:
        now: the present moment.
        place: only what is at this place; None is everywhere.
        limit: only so many, the most urgent; None is all.
        known_at: only what had been received by then counts, and each is folded; None is
            everything.
    """
    if known_at is not None:
        states = carrier_states.watch_at(now, place, known_at)
        return [_folded(state) for state in states[:limit]]
    asked = _asked(now, place, limit)
    return list(_merged(asked, limit, lambda one: _line(one, asked.at), _folded))


def glances(now: int, place: str | None = None) -> Iterator[Glance]:
    """Yield the same carriers at a glance; arguments as for `lines`."""
    asked = _asked(now, place, None)
    return _merged(asked, None, _at_a_glance(asked.at), glance_of)


def most_urgent(now: int, place: str | None, limit: int) -> tuple[list[Glance], int]:
    """Return so many of the same carriers at a glance, and how many there are in all; arguments as
    for `lines`."""
    asked = _asked(now, place, limit)
    count = len(asked.found)
    if count == limit:
        count = max(count, table.count_listed(asked.at, place))
    found = list(_merged(asked, limit, _at_a_glance(asked.at), glance_of))
    return found, count + len(asked.folded)


def answer(now: int, place: str | None = None, limit: int | None = None) -> dict[str, Any]:
    """Return the watch list as JSON; arguments as for `lines`."""
    items = [one.answer for one in lines(now, place, limit)]
    return {"items": items, "next": None, "at": utc_text(now)}


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the standings know, and the states of those that they don't answer for.

    Args:
        at: for which moment, a later one than was asked for if they had to be drawn for long.
    """

    at: int
    found: list[Urgent]
    folded: list[CarrierState]


def _asked(now: int, place: str | None, limit: int | None) -> _Asked:
    with read():
        if standings.answering(now, place).stale == []:
            return _Asked(now, table.urgent(now, place, limit), [])
    # Not inside read(): there they could not be brought up to date.
    at = standings.answering(now, place).at
    with read():
        return _read(at, place, limit)


def _read(now: int, place: str | None, limit: int | None) -> _Asked:
    known = standings.answering(now, place).stale
    if known is None:
        return _Asked(now, [], carrier_states.watch_at(now, place))
    found = table.urgent(now, place, limit)
    folded = [
        state
        for state in (carrier_states.states(known, now).values() if known else ())
        if is_watched(state) and (place is None or state.ledger.place == place)
    ]
    return _Asked(now, found, folded)


def _merged(
    asked: _Asked,
    limit: int | None,
    from_standing: Callable[[Urgent], T],
    from_state: Callable[[CarrierState], T],
) -> Iterator[T]:
    if not asked.folded:
        return map(from_standing, asked.found)
    both = [(_order_of(one), from_standing(one)) for one in asked.found]
    both += [(_order(*urgency(state)), from_state(state)) for state in asked.folded]
    both.sort(key=itemgetter(0))
    return (one for _, one in both[:limit])


def _at_a_glance(now: int) -> Callable[[Urgent], Glance]:
    return lambda one: of_standing(one, now)


def _order(rank: int, left_h: float, code: str) -> Order:
    return rank, NEVER_S if left_h == inf else round(left_h * HOUR_S), code


def _order_of(one: Urgent) -> Order:
    return one.rank, one.order_s, one.carrier


def _folded(state: CarrierState) -> WatchLine:
    return WatchLine(state.facts.code, lambda: answers.state_answer(state))


def _line(one: Urgent, now: int) -> WatchLine:
    return WatchLine(one.carrier, lambda: answers.glance_answer(of_standing(one, now)))
