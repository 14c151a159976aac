"""Keeps every carrier's standing up to date, so that the watch list is one query.

What a transaction touched is brought up to date before it is committed, if it concerns few; if it
concerns many, they are noted as not answering. What does not answer, or what time alone has bent,
is found when somebody asks, and drawn anew then, in pieces that let scans in between. All of it is
computed by the fold, can be dropped, and is built anew by `rebuild`.
"""

from __future__ import annotations

import gc
import itertools
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from functools import lru_cache
from typing import NamedTuple

from msdtrack.exposure.facts import FOREVER
from msdtrack.exposure.state import CarrierState
from msdtrack.services import air_cache
from msdtrack.services.accounts import Account
from msdtrack.services.second_process import second_process
from msdtrack.services.standing_lines import KEPT_S, Drawing
from msdtrack.standard.figures import fingerprint
from msdtrack.store import concerned, connection, whereabouts
from msdtrack.store import standings as table
from msdtrack.store.connection import write, writing
from msdtrack.store.touched import Touched, TouchedReadings

FORM = 6
"""Goes up when what is stored changes its form or its meaning."""

PIECE = 200
"""So many carriers are drawn in one transaction: what a scan waits for at most, a tenth of a
second."""

SMALL_PIECE = 25
"""So many while others write, too: a scan waits for a hundredth of a second."""

FOR_TWO = 4
"""So many times as many while a second process folds, too: twice as long, for each end of a piece
leaves it idle for a moment."""

FEW = 5 * PIECE
"""Fewer carriers than these are drawn alone: a second process is not worth its beginning."""

_LET_IN_S = 0.001
"""Who waits to write comes first if this long nobody asks for the lock."""


class Asked(NamedTuple):
    """What the standings can answer.

    Attributes:
        at: for which moment: the one asked for, or a later one if drawing took a while.
        stale: the carriers that need the fold; None: the standings can't answer at all.
    """

    at: int
    stale: list[str] | None


def answering(now: int, place: str | None = None) -> Asked:
    """Bring the standings up to date, and say what they can answer.

    Inside a transaction nothing is written, so many may need the fold.

    Args:
        now: the moment that is asked about.
        place: only what is at this place is asked for; None is everything.
    """
    may_write = not connection.in_transaction()
    built = table.build()
    if built is None or built[0] != _mark():
        if not may_write:
            return Asked(now, None)
        rebuild(now)
        built = table.build()
        if built is None:
            # Dropped again by a change that concerns everything.
            return Asked(now, None)
        now = max(now, built[1])
    if now < built[1] - KEPT_S:
        return Asked(now, None)
    stale = table.stale(now, place)
    if stale and may_write and now >= built[1]:
        refresh(now, place)
        built = table.build() or built
        # What was drawn meanwhile answers from the newest write on.
        now = max(now, built[1])
        stale = table.stale(now, place)
    return Asked(now, stale)


def rebuild(now: int, *, alone: bool = False) -> int:
    """Drop every standing, compute all anew, and return how many there are.

    Who asks meanwhile takes part in it; who scans does not wait for it.

    Args:
        alone: without a second process.
    """
    with write():
        as_of = min(now, concerned.newest_write())
        table.start_build(_mark(), as_of)
        table.unsettle(concerned.perhaps_out(as_of - KEPT_S))
        whereabouts.rest_all()
    _draw(table.stale(now), now, alone)
    return table.count()


def refresh(now: int, place: str | None = None) -> None:
    """Draw anew what does not answer for `now`.

    Args:
        now: the moment that is asked about.
        place: only what is at this place; None is everything.
    """
    with write():
        build = table.build()
        if build is None:
            return
        table.forget_gone(build[1] - KEPT_S)
        drawing = Drawing(max(now, build[1]), build[1])
        for code, at_place in itertools.groupby(table.places_now(place), lambda one: one.place):
            found = list(at_place)
            if any(not one.since <= drawing.now < one.until for one in found):
                table.drop_places_now(code)
                table.unsettle(concerned.dependent_on(code), moved=False)
            elif any(one.settles_at <= drawing.now for one in found):
                drawing.settle(found)
    _draw(table.stale(now, place), now)


def _draw(codes: Sequence[str], now: int, alone: bool = False) -> None:
    """Draw what still does not answer of these carriers, in pieces.

    Others may be at the same pieces: who comes first draws one.
    """
    alone |= len(codes) < FEW
    with nullcontext() if alone else second_process() as second:
        drawn = 0
        while drawn < len(codes):
            if drawn:
                time.sleep(_LET_IN_S)
            asked = time.monotonic()
            with _no_collecting(), write():
                others_write = time.monotonic() - asked > _LET_IN_S
                build = table.build()
                if build is None or build[0] != _mark():
                    return
                drawing = Drawing(max(now, build[1]), build[1])
                size = min(PIECE, SMALL_PIECE) if others_write else PIECE
                size *= 1 if second is None else FOR_TWO
                piece = table.stale_among(codes[drawn : drawn + size], drawing.now)
                if second is None:
                    drawing.fold(piece)
                else:
                    second.fold(drawing, piece)
                drawn += size


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Put off looking for circles of objects: a piece makes tens of thousands of objects and not
    one circle, so that all the looking only takes a sixth of its time."""
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def keep(touched: Touched, known: Mapping[str, Account] | None = None) -> dict[str, CarrierState]:
    """Bring up to date what a transaction touched, inside it, and return the states computed.

    Args:
        known: accounts that it has read already, by carrier, with what it put on their logs.

    Returns:
        The present states of the carriers it had to fold, by code.
    """
    built = table.build()
    if touched.readings and (built is None or built[0] != _mark()):
        writing()
    if not touched or built is None:
        touched.clear()
        return {}
    if touched.everything or built[0] != _mark():
        table.drop()
        touched.clear()
        return {}
    at = max(touched.at, built[1])
    newest = max((note.last for note in touched.readings), default=at)
    air_cache.take_in(touched.readings)
    if touched.parts or touched.places or touched.readings:
        # What was read before does not hold any more.
        known = None
    known = known or {}
    drawing = Drawing(max(at, newest), max(at, newest), next(iter(known.values()), None))
    moved = concerned.family(touched.carriers) if touched.carriers else set()
    codes = set(moved)
    if touched.parts:
        codes |= set(concerned.of_parts(touched.parts))
    for place, since in touched.places.items():
        table.drop_places_now(place)
        # What a cabinet or an oven did is judged by what came after.
        judged_later = drawing.places.is_cabinet(place) or drawing.places.is_oven(place)
        start = -FOREVER if judged_later else since
        codes |= {*concerned.staying(place, start, FOREVER + 1), *concerned.dependent_on(place)}
        codes |= set(concerned.unmeasured_at(place))
    for note in touched.readings:
        codes |= drawing.read(note)
    later = codes - known.keys() if len(codes) > PIECE else set()
    if later:
        table.unsettle(sorted(later & moved))
        table.unsettle(sorted(later - moved), moved=False)
        codes -= later
    states = drawing.fold(codes, known)
    if touched.readings and (later or _seen_elsewhere(states.values(), touched.readings)):
        writing()
    table.seen(drawing.now)
    touched.clear()
    return states


def _seen_elsewhere(states: Iterable[CarrierState], readings: Iterable[TouchedReadings]) -> bool:
    """Return whether readings concern carriers that a screen of another place may show."""
    there = {note.place for note in readings}
    return any(
        state.ledger.place not in there or state.ledger.board is not None for state in states
    )


@lru_cache
def _mark() -> str:
    return f"{FORM} {fingerprint()}"


def _keep_before_commit(touched: Touched) -> None:
    keep(touched)


connection.before_commit(_keep_before_commit)
