"""What is wrong now, derived from carriers and readings alone: one cause for each thing to act on.

Source: on and off delays and deadbands after ISA-18.2 / IEC 62682 (from memory); the lead times and
delays themselves are the site's policies.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from msdtrack.exposure.spans import HOLDS_S, MAX_RH_C100, MAX_TEMP_C100
from msdtrack.phrases import listed
from msdtrack.printing.codes import CodeKind
from msdtrack.services.board_glances import BatchGlance
from msdtrack.services.catalog import Place
from msdtrack.services.glance import Glance
from msdtrack.services.policies import PART_LEAD, Value
from msdtrack.standard import drypack, recovery
from msdtrack.store.reading_log import Reading

Priority = Literal["high", "medium", "low"]

FLOOR_LIFE_EXPIRED = "floor_life_expired"
FLOOR_LIFE_LOW = "floor_life_low"
BAG_OPEN = "bag_open_too_long"
AIR_BEYOND = "air_beyond_limits"
READINGS_MISSING = "readings_missing"
CLOCK_JUMPED = "clock_jumped"
SHELF_LIFE_LOW = "shelf_life_low"
SHELF_LIFE_OVER = "shelf_life_over"
BAKE_DONE = "bake_done"
BAKE_OVERDUE = "bake_overdue"
RESET_REACHED = "reset_reached"
LOAD_REFUSED = "load_refused"

KINDS = (
    FLOOR_LIFE_EXPIRED, FLOOR_LIFE_LOW, BAG_OPEN, AIR_BEYOND, READINGS_MISSING, CLOCK_JUMPED,
    SHELF_LIFE_LOW, SHELF_LIFE_OVER, BAKE_DONE, BAKE_OVERDUE, RESET_REACHED, LOAD_REFUSED,
)  # fmt: skip
"""The kinds of alarm."""

RETURNS_ABOVE = 1.1
"""The alarm for floor life that runs out returns to normal when this many lead times are left, so
that air at the edge of a cell does not raise it again and again."""

ROOMS = ("store", "floor", "line")
"""Kinds of place whose air is meant to stay within 30 °C / 60 % RH."""

MOVE_FIRST = 3
"""So many carriers are named in the alarm of a cabinet; the cabinets' page lists all."""

OUT = ("exposed", "on_board")
"""What is in the air of its place: carriers, and what is placed on boards between reflows."""

_MINUTE_S = 60


@dataclass(frozen=True, slots=True)
class Cause:
    """Something to act on.

    Attributes:
        key: names the cause; two looks at the same thing give the same key.
        kind: one of `KINDS`.
        message: what is wrong and what to do; the same for as long as that is the same.
    """

    key: str
    kind: str
    priority: Priority
    message: str
    carrier: str | None = None
    place: str | None = None


def carrier_causes(
    watched: Iterable[Glance],
    policies: Mapping[str, Value],
    lines: Collection[str],
    cabinets: Collection[str],
    standing: Collection[str],
) -> Iterator[Cause]:
    """Yield what is wrong with carriers.

    Args:
        watched: every watched carrier.
        policies: the site's choices in force.
        lines, cabinets: codes of places of these kinds.
        standing: keys of the causes whose alarms are active.
    """
    elsewhere = {*lines, *cabinets}
    limit_min = policies["open_bag_limit_min"]
    close_min = max(0, limit_min - policies["open_bag_lead_min"])
    for seen in watched:
        if seen.msl == "1" or seen.status == "gone":
            continue
        if seen.status != "baking" and "floor_life_exceeded" in seen.reasons:
            text = f"Floor life over: {named(seen)}. Do not use it: bake it first."
            yield of_carrier(FLOOR_LIFE_EXPIRED, "high", text, seen)
        lead_h = lead_time_h(seen, policies)
        if runs_out(seen, lead_h, f"{FLOOR_LIFE_LOW}:{seen.code}" in standing, policies):
            usable = seen.verdict == "use"
            todo = "use it first, or dry it" if usable else "do not use it as it is, dry it"
            text = f"Floor life of {named(seen)} runs out within {lead_h:g} h: {todo} in time."
            yield of_carrier(FLOOR_LIFE_LOW, "medium", text, seen)
        open_s = _bag_open_s(seen, elsewhere)
        if open_s is not None and open_s >= close_min * _MINUTE_S:
            or_load = ", or load it" if seen.verdict == "use" else ""
            if open_s < limit_min * _MINUTE_S:
                text = (
                    f"Bag of {named(seen)} open for {close_min:g} min or more: close it now with "
                    f"fresh desiccant{or_load}."
                )
            else:
                text = (
                    f"Bag of {named(seen)} open for more than {limit_min:g} min: no quick check "
                    f"any more. Put it into dry storage{or_load}."
                )
            yield of_carrier(BAG_OPEN, "medium", text, seen)


def place_causes(
    places: Iterable[Place],
    readings: Mapping[str, Sequence[Reading]],
    watched: Collection[Glance],
    policies: Mapping[str, Value],
    standing: Collection[str],
    now: int,
) -> Iterator[Cause]:
    """Yield what is wrong with the air of places, and with what is known of it.

    Args:
        places: every place.
        readings: of each place that ever had any, the newest ones, by moment, `reach_s` back.
        watched: every watched carrier, and all components of the boards between reflows.
        policies: the site's choices in force.
        standing: keys of the causes whose alarms are active.
        now: the present moment.
    """
    exposed = {seen.place for seen in watched if seen.status in OUT}
    baking = {seen.place for seen in watched if seen.status == "baking"}
    for place in places:
        known = readings.get(place.code, ())
        stands = f"{AIR_BEYOND}:{place.code}" in standing
        if place.kind in ROOMS and _room_beyond(known, policies, stands, now):
            text = (
                f"Air of {place.name} beyond {MAX_TEMP_C100 / 100:g} °C / {MAX_RH_C100 / 100:g} % "
                "RH: floor life runs out sooner there. Close bags and openings, see to the air."
            )
            yield _of_place(AIR_BEYOND, "medium", text, place)
        if place.kind == "cabinet":
            limit = cabinet_limit_rh_pct(place.code, watched)
            if _cabinet_beyond(known, limit, policies, stands, now):
                text = (
                    f"{place.name} above {limit} % RH: no dry storage after "
                    f"{drypack.CABINET_RECOVERS_WITHIN_MIN} min. Close its door, see to its "
                    f"drying.{_move_first(place.code, watched)}"
                )
                yield _of_place(AIR_BEYOND, "medium", text, place)
        yield from _missing(
            place, known, place.code in exposed, place.code in baking, policies, now
        )


def clock_cause(moved_s: int, moved: str) -> Cause:
    """Return the cause of a server's clock that jumped.

    Args:
        moved_s: by how much, seconds; above 0 is forward.
        moved: the same in words, without a sign.
    """
    text = (
        f"The server's clock jumped {'forward' if moved_s > 0 else 'back'} by {moved}: set it "
        "right, then check what was scanned since."
    )
    return Cause(CLOCK_JUMPED, CLOCK_JUMPED, "medium", text)


def reach_s(policies: Mapping[str, Value]) -> int:
    """Return how far back `place_causes` looks at readings, seconds."""
    delays = ("air_on_delay_min", "cabinet_on_delay_min", "air_off_delay_min")
    return HOLDS_S + int(max(policies[name] for name in delays) * _MINUTE_S)


def cabinet_limit_rh_pct(code: str, watched: Iterable[Glance]) -> int:
    """Return what a dry cabinet must keep for all that lies open in it: 10 % RH, or 5 %.

    Source: J-STD-033, Table 4-3 (`standard.recovery`).
    """
    levels = {
        seen.msl for seen in watched if seen.place == code and seen.status in (*OUT, "dry_storage")
    }
    return min(recovery.storage_limit_rh_pct(level) for level in levels | {"1"})


def beyond_still(
    readings: Sequence[Reading],
    now: int,
    stands: bool,
    beyond: Sequence[bool],
    well_within: Sequence[bool],
    on_s: float,
    off_s: float,
) -> bool:
    """Return whether air counts as beyond its limits, with a delay on either side.

    It begins when every reading has been beyond for `on_s`, and is over when every reading has been
    well within for `off_s`. While no reading speaks for the present it stays as it was.

    Args:
        readings: by moment.
        now: the present moment.
        stands: whether it counted as beyond so far.
        beyond, well_within: for each reading.
        on_s, off_s: the delays, seconds.
    """
    wanted = well_within if stands else beyond
    since, held_to = None, now
    for (at, _, _), is_so in zip(reversed(readings), reversed(wanted), strict=True):
        if not is_so or held_to - at > HOLDS_S:
            break
        since = held_to = at
    turned = since is not None and now - since >= (off_s if stands else on_s)
    return stands != turned


def _room_beyond(
    readings: Sequence[Reading], policies: Mapping[str, Value], stands: bool, now: int
) -> bool:
    temp_limit = MAX_TEMP_C100 - policies["air_deadband_temp_c"] * 100
    rh_limit = MAX_RH_C100 - policies["air_deadband_rh_pct"] * 100
    airs = [(temp, 0 if rh is None else rh) for _, temp, rh in readings]
    return beyond_still(
        readings,
        now,
        stands,
        [temp > MAX_TEMP_C100 or rh > MAX_RH_C100 for temp, rh in airs],
        [temp <= temp_limit and rh <= rh_limit for temp, rh in airs],
        policies["air_on_delay_min"] * _MINUTE_S,
        policies["air_off_delay_min"] * _MINUTE_S,
    )


def _cabinet_beyond(
    readings: Sequence[Reading],
    limit_rh_pct: int,
    policies: Mapping[str, Value],
    stands: bool,
    now: int,
) -> bool:
    # A tenth of the limit: a deadband made for rooms would be most of it.
    limit, well = limit_rh_pct * 100, limit_rh_pct * 90
    humidities = [0 if rh is None else rh for _, _, rh in readings]
    return beyond_still(
        readings,
        now,
        stands,
        [rh > limit for rh in humidities],
        [rh <= well for rh in humidities],
        policies["cabinet_on_delay_min"] * _MINUTE_S,
        policies["air_off_delay_min"] * _MINUTE_S,
    )


def _move_first(cabinet: str, watched: Iterable[Glance]) -> str:
    """Return the carriers that lie open in a cabinet, what has least floor life left first."""
    least: dict[str, tuple[int, float, str]] = {}
    for seen in watched:
        lies_open = seen.place == cabinet and seen.status in (*OUT, "dry_storage")
        if not lies_open or seen.msl == "1" or seen.label_h is None or seen.used >= 1:
            continue
        left_h = float(1 - seen.used) * float(seen.label_h)
        this = recovery.storage_limit_rh_pct(seen.msl), left_h, seen.code
        # The components of a batch go together.
        least[seen.code] = min(this, least.get(seen.code, this))
    found = sorted(least.values())
    if not found:
        return ""
    return f" Move first: {listed([code for _, _, code in found], MOVE_FIRST)}."


def _missing(
    place: Place,
    readings: Sequence[Reading],
    holds_exposed: bool,
    bakes: bool,
    policies: Mapping[str, Value],
    now: int,
) -> Iterator[Cause]:
    if place.kind == "oven" and not (bakes and readings):
        return
    assumed = f"{place.assumed_temp_c:g} °C / {place.assumed_rh_pct:g} % RH at least is assumed"
    if place.kind == "oven":
        assumed = "the temperature that was stated is assumed"
    limit_min = policies["readings_missing_min"]
    if readings and now - readings[-1][0] > limit_min * _MINUTE_S:
        text = f"No reading from {place.name} for more than {limit_min:g} min: {assumed}."
    elif not readings and holds_exposed:
        text = f"No reading from {place.name} ever, and exposed carriers are there: {assumed}."
    else:
        return
    yield _of_place(READINGS_MISSING, "low", f"{text} See to the sensor.", place)


def runs_out(
    seen: Glance, lead_h: float | None, stands: bool, policies: Mapping[str, Value]
) -> bool:
    """Return whether the floor life of a carrier is near its end.

    Args:
        lead_h: how long before it the alarm is wanted; None: none is.
        stands: whether the alarm is active.
        policies: the site's choices in force.
    """
    left_h = seen.left_h
    if lead_h is None or left_h is None or seen.bake_needed or seen.used >= 1:
        return False
    return left_h <= lead_h * (RETURNS_ABOVE if stands else 1) and _clock_runs(
        seen, bool(policies["pause_levels_4_to_5a"])
    )


def _clock_runs(seen: Glance, pauses_4_to_5a: bool) -> bool:
    if seen.status in OUT:
        return True
    if seen.status not in ("in_dry_bag", "dry_storage") or not seen.was_exposed:
        return False
    rule = recovery.dry_storage_rule(seen.msl)
    if rule is not None and (rule.pauses or pauses_4_to_5a):
        return False
    reset_at, expires_at = seen.reset_due_at, seen.expires_at
    return reset_at is None or expires_at is None or expires_at < reset_at


def lead_time_h(seen: Glance, policies: Mapping[str, Value]) -> float | None:
    """Return how long before the end the alarm is wanted.

    A level's lead time is at most half of a shorter floor life on the label; otherwise the alarm
    would come with the opening. A part's own lead time is taken as it is.
    """
    own = policies.get(f"{PART_LEAD}{seen.part}")
    if own is not None:
        return float(own)
    by_level = policies.get(f"lead_h:msl:{seen.msl}")
    if by_level is None or seen.label_h is None:
        return None
    return min(float(by_level), float(seen.label_h) / 2)


def _bag_open_s(seen: Glance, elsewhere: Collection[str]) -> int | None:
    """Return how long an opened bag has been open, None where nobody is to close it."""
    if seen.status != "exposed" or seen.opened_at is None or seen.place in elsewhere:
        return None
    reset_at = seen.last_reset_at
    # Dried since: what lies there is no opened bag any more.
    if reset_at is not None and reset_at > seen.opened_at:
        return None
    return seen.at - seen.opened_at


def named(seen: Glance) -> str:
    """Return what a carrier or a batch of boards is called in an alarm."""
    if isinstance(seen, BatchGlance):
        return f"boards {seen.code} ({seen.batch.name})"
    return f"{seen.code} ({seen.part}, lot {seen.lot})"


def of_carrier(kind: str, priority: Priority, text: str, seen: Glance) -> Cause:
    """Return a cause that is about a carrier or a batch of boards."""
    return Cause(f"{kind}:{seen.code}", kind, priority, text, carrier_of(seen), seen.place)


def carrier_of(seen: Glance) -> str | None:
    """Return the code of a carrier; None for a batch of boards."""
    return None if isinstance(seen, BatchGlance) else seen.code


def boards_of(key: str) -> str | None:
    """Return the code of the batch of boards that the cause of a key is about, None if of none."""
    code = key.split(":")[1] if ":" in key else ""
    return code if code.startswith(CodeKind.JOB) else None


def _of_place(kind: str, priority: Priority, text: str, place: Place) -> Cause:
    return Cause(f"{kind}:{place.code}", kind, priority, text, place=place.code)
