"""The watch list from the standings: what it says of each carrier, without folding one."""

from __future__ import annotations

import json
from dataclasses import dataclass
from math import inf
from typing import Any

from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import CarrierState, use_step
from msdtrack.exposure.urgency import is_watched, urgency
from msdtrack.services import answers, carrier_states, standings
from msdtrack.store.connection import read
from msdtrack.store.standings import WHOLE, Urgent
from msdtrack.times import utc_text


@dataclass(frozen=True, slots=True)
class WatchLine:
    """A watched carrier.

    Args:
        order: what the list is sorted by: the time left to a second, then the code.
        answer: what `answers.state_answer` says of it. Its shares may be above the exact ones by
            what rounding up each second gives, 1e-15 of the floor life, and never below.
    """

    code: str
    order: tuple[int, float, str]
    answer: dict[str, Any]


def lines(now: int, place: str | None = None, limit: int | None = None) -> list[WatchLine]:
    """Return every exposed, drying or baking carrier, most urgent first, as of now.

    Args:
        now: the present moment.
        place: only what is at this place; None is everywhere.
        limit: only so many, the most urgent; None is all.
    """
    known = standings.answering(now)
    if known is None:
        states = carrier_states.watch_by_folding(now, place)
        return [_folded(state) for state in states[:limit]]
    with read():
        found = [_line(one, now) for one in standings.urgent(now, place, limit)]
        if not known:
            return found
        for state in carrier_states.states(known, now).values():
            if is_watched(state) and (place is None or state.ledger.place == place):
                found.append(_folded(state))
    return sorted(found, key=lambda one: one.order)[:limit]


def answer(now: int, place: str | None = None, limit: int | None = None) -> dict[str, Any]:
    """Return the watch list as JSON; arguments as for `lines`."""
    items = [one.answer for one in lines(now, place, limit)]
    return {"items": items, "next": None, "at": utc_text(now)}


def _folded(state: CarrierState) -> WatchLine:
    rank, left_h, code = urgency(state)
    return WatchLine(code, _order(rank, left_h, code), answers.state_answer(state))


def _order(rank: int, left_h: float, code: str) -> tuple[int, float, str]:
    return rank, left_h if left_h == inf else round(left_h * HOUR_S), code


def _line(one: Urgent, now: int) -> WatchLine:
    kept = json.loads(one.summary)
    answer, moves = kept["answer"], kept["moves"]
    floor_life = answer["floor_life"]
    used = one.used / WHOLE
    for name in ("assumed", "provisional"):
        if name in moves:
            floor_life[f"{name}_share"] += used - floor_life["used_share"]
    label_h = floor_life["label_hours"]
    left_h = None if one.left_s is None else one.left_s / HOUR_S
    floor_life["used_share"] = used
    floor_life["used_hours_at_label"] = None if label_h is None else used * label_h
    floor_life["remaining_hours_now"] = left_h
    floor_life["expires_at"] = None if one.left_s is None else utc_text(now + int(one.left_s))
    if one.temp_c100 is not None and one.rh_c100 is not None:
        air = {"temp_c": one.temp_c100 / 100, "rh_pct": one.rh_c100 / 100}
        answer["forecast"] = {"air": air, "missing": one.missing}
    if "hot" in moves:
        answer["bakes"]["hours_above_90"] += (now - one.since) / HOUR_S
    if "use" in moves:
        answer["next_step"] = use_step(left_h).text
    answer["at"] = utc_text(now)
    rank = 3 if one.urgency == 1 and left_h is None else one.urgency
    order = _order(rank, inf if left_h is None else left_h, one.carrier)
    return WatchLine(one.carrier, order, answer)
