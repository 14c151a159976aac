"""What is to be done about carriers that nobody is working on: in bags, in cabinets, in ovens."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import timedelta

from msdtrack.exposure.clock import day
from msdtrack.services.alarm_causes import (
    BAKE_DONE,
    BAKE_OVERDUE,
    RESET_REACHED,
    SHELF_LIFE_LOW,
    SHELF_LIFE_OVER,
    Cause,
    carrier_of,
    named,
    of_carrier,
)
from msdtrack.services.catalog import Place
from msdtrack.services.glance import Glance
from msdtrack.services.policies import Value
from msdtrack.times import day_text

TOLD_FOR_S = 24 * 3600
"""A reset that was reached is told for so long, then the alarm returns to normal by itself."""

_MINUTE_S = 60


def shelf_life_causes(carriers: Iterable[Glance], policies: Mapping[str, Value]) -> Iterator[Cause]:
    """Yield closed bags whose shelf life is over or ends soon.

    Args:
        carriers: watched or not, batches of boards among them.
        policies: the site's choices in force.
    """
    lead = timedelta(days=float(policies["shelf_life_lead_d"]))
    for seen in carriers:
        ends, today = seen.shelf_life_ends, day(seen.at)
        if seen.status != "in_dry_bag" or ends is None or seen.msl == "1":
            continue
        if today > ends:
            text = (
                f"Shelf life over: {named(seen)}, since {day_text(ends)}. Before use open it and "
                "read the humidity indicator card: it decides whether to bake."
            )
            yield of_carrier(SHELF_LIFE_OVER, "medium", text, seen)
        elif today + lead >= ends:
            text = (
                f"Shelf life of {named(seen)} ends on {day_text(ends)}: plan its use before "
                "fresher bags."
            )
            yield of_carrier(SHELF_LIFE_LOW, "low", text, seen)


def bake_causes(
    watched: Iterable[Glance],
    places: Iterable[Place],
    policies: Mapping[str, Value],
    now: int,
) -> Iterator[Cause]:
    """Yield loads of ovens whose hours are reached and that were not taken out.

    A load has one alarm, for it is taken out in one go.

    Args:
        watched: every watched carrier and batch of boards.
        places: every place.
        policies: the site's choices in force.
        now: the present moment.
    """
    overdue_s = policies["bake_overdue_min"] * _MINUTE_S
    names = {place.code: place.name for place in places}
    loads: dict[tuple[str, str, int], list[Glance]] = defaultdict(list)
    for seen in watched:
        bake = seen.bake
        if seen.status != "baking" or bake is None or bake.reached_at is None:
            continue
        kind = BAKE_OVERDUE if now - bake.reached_at > overdue_s else BAKE_DONE
        loads[kind, bake.oven or "", bake.started_at].append(seen)
    for (kind, oven, started_at), load in sorted(loads.items()):
        where = names.get(oven, "the oven")
        listed = ", ".join(sorted(seen.code for seen in load))
        if kind == BAKE_DONE:
            text = f"Bake complete in {where}: take out {listed}, and let them cool."
        else:
            text = (
                f"Bake overdue in {where}: take out {listed} now. Hours more above 90 °C cost "
                "solderability."
            )
        yield Cause(
            f"{kind}:{oven}:{started_at}",
            kind,
            "low" if kind == BAKE_DONE else "medium",
            text,
            carrier_of(load[0]) if len(load) == 1 else None,
            oven or None,
        )


def reset_causes(carriers: Iterable[Glance], now: int) -> Iterator[Cause]:
    """Yield carriers whose floor life dry storage has made whole again in the last day, and that
    have not been exposed since.

    Args:
        carriers: watched or not, batches of boards among them.
        now: the present moment.
    """
    for seen in carriers:
        reset_at = seen.last_reset_at
        rests = seen.status in ("in_dry_bag", "dry_storage") and not seen.was_exposed
        if not rests or reset_at is None or not 0 <= now - reset_at < TOLD_FOR_S:
            continue
        # A bake resets too: that is told by its own alarm.
        if seen.baked_at == reset_at:
            continue
        text = f"Floor life whole again by dry storage: {named(seen)}. It may be used from now on."
        if seen.verdict == "use":
            yield of_carrier(RESET_REACHED, "low", text, seen)
