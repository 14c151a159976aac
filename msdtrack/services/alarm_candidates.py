"""The states that alarms are looked for in: what is watched, and what rests but may be due."""

from __future__ import annotations

from datetime import timedelta

from msdtrack.exposure.clock import day
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import CarrierState
from msdtrack.services import carrier_states, standings
from msdtrack.services.storage_causes import TOLD_FOR_S
from msdtrack.standard import drypack
from msdtrack.store import alarm_candidates, carriers

_SHORTEST_YEAR_D = 365 * drypack.SHELF_LIFE_MONTHS // 12
"""Of a shelf life in days, at least."""


def watched_and_resting(now: int, lead_d: float) -> tuple[list[CarrierState], list[CarrierState]]:
    """Return the states of every watched carrier, and those of carriers at rest that may have an
    alarm: near the end of their shelf life, or reset lately.

    Args:
        now: the present moment.
        lead_d: how long before the end of a shelf life, days.
    """
    known = standings.answering(now)
    ends_by = day(now) + timedelta(days=lead_d)
    sealed_by = ends_by - timedelta(days=_SHORTEST_YEAR_D - 1)
    closed_by = now + round((lead_d - _SHORTEST_YEAR_D + 1) * 24 * HOUR_S)
    if known is None:
        everything = carrier_states.states(carriers.carrier_codes(), now).values()
        watched = [state for state in everything if carrier_states.is_watched(state)]
        return watched, [state for state in everything if not carrier_states.is_watched(state)]
    watched = carrier_states.watch(now)
    codes = {
        *alarm_candidates.ageing(ends_by, sealed_by, closed_by),
        *alarm_candidates.drawn_anew(now - TOLD_FOR_S),
        *known,
    }
    resting = codes - {state.facts.code for state in watched}
    return watched, list(carrier_states.states(sorted(resting), now).values())
