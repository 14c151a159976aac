"""The carriers that alarms are looked for in: what is watched, and what rests but may be due."""

from __future__ import annotations

from collections.abc import Set
from datetime import timedelta

from msdtrack.exposure.clock import day
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.urgency import is_watched
from msdtrack.services import carrier_states, standings, watch_list
from msdtrack.services.glance import Glance, glance_of
from msdtrack.services.storage_causes import TOLD_FOR_S
from msdtrack.standard import drypack
from msdtrack.store import alarm_candidates, carriers

_SHORTEST_YEAR_D = 365 * drypack.SHELF_LIFE_MONTHS // 12
"""Of a shelf life in days, at least."""


def watched_and_resting(
    now: int, lead_d: float, besides: Set[str] = frozenset()
) -> tuple[list[Glance], list[Glance]]:
    """Return every watched carrier, and the carriers at rest that may have an alarm: near the end
    of their shelf life, or reset lately.

    Args:
        now: the present moment.
        lead_d: how long before the end of a shelf life, days.
        besides: carriers that are left out.
    """
    known = standings.answering(now).stale
    ends_by = day(now) + timedelta(days=lead_d)
    sealed_by = ends_by - timedelta(days=_SHORTEST_YEAR_D - 1)
    closed_by = now + round((lead_d - _SHORTEST_YEAR_D + 1) * 24 * HOUR_S)
    if known is None:
        codes = set(carriers.carrier_codes()) - besides
        everything = carrier_states.states(sorted(codes), now).values()
        watched = [glance_of(state) for state in everything if is_watched(state)]
        return watched, [glance_of(state) for state in everything if not is_watched(state)]
    watched = [seen for seen in watch_list.glances(now) if seen.code not in besides]
    codes = {
        *alarm_candidates.ageing(ends_by, sealed_by, closed_by),
        *alarm_candidates.drawn_anew(now - TOLD_FOR_S),
        *known,
    }
    resting = codes - {seen.code for seen in watched} - besides
    states = carrier_states.states(sorted(resting), now).values()
    return watched, [glance_of(state) for state in states]
