"""What is to be done about parts on boards that face another reflow: one cause for each batch."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from msdtrack.services.alarm_causes import (
    FLOOR_LIFE_EXPIRED,
    FLOOR_LIFE_LOW,
    Cause,
    lead_time_h,
    named,
    of_carrier,
    runs_out,
)
from msdtrack.services.board_glances import BatchGlance
from msdtrack.services.policies import Value


def board_causes(
    batches: Iterable[BatchGlance], policies: Mapping[str, Value], standing: Collection[str]
) -> Iterator[Cause]:
    """Yield batches whose parts run out of floor life, or must be baked before the next reflow.

    Each component has the lead time of its own level and part; the first that is due decides.

    Args:
        batches: those that face another reflow.
        policies: the site's choices in force.
        standing: keys of the causes whose alarms are active.
    """
    for seen in batches:
        if seen.status == "baking":
            continue
        if seen.bake_needed:
            over = [one.part for one in seen.on_it if "floor_life_exceeded" in one.reasons]
            what = f"Floor life over on {named(seen)}: {_listed(over)}."
            if not over:
                needing = [one.part for one in seen.on_it if one.bake_needed]
                what = f"To be baked: {named(seen)}, for {_listed(needing)}."
            text = f"{what} No reflow as they are. {seen.next_step.text}"
            yield of_carrier(FLOOR_LIFE_EXPIRED, "high", text, seen)
            continue
        stands = f"{FLOOR_LIFE_LOW}:{seen.code}" in standing
        for one in seen.on_it:
            lead_h = lead_time_h(one, policies)
            if runs_out(one, lead_h, stands, policies):
                todo = "reflow them before, or dry them"
                if seen.verdict != "use":
                    todo = "no reflow as they are, dry them"
                text = (
                    f"Floor life of {one.part} on {named(seen)} runs out within {lead_h:g} h: "
                    f"{todo} in time."
                )
                yield of_carrier(FLOOR_LIFE_LOW, "medium", text, seen)
                break


def _listed(parts: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(parts))
