"""The straight line a carrier's share runs along until something bends it.

Whoever keeps a line asks for a new one at `until`, at `next_share`, when an event comes, and when
a reading comes that the line depends on. Shares are whole numbers of 1e-15 floor life, every rate
rounded up: never below the exact share.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any

from msdtrack.exposure import oven
from msdtrack.exposure.air import PlaceAir, Present
from msdtrack.exposure.clock import BEYOND_TABLE_S, day, storage_rate
from msdtrack.exposure.events import Event
from msdtrack.exposure.facts import FOREVER, HOUR_S, Dated, Policies
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.places import Places
from msdtrack.exposure.rates import RateClass, label_rate, rate_class
from msdtrack.exposure.spans import HOLDS_S
from msdtrack.exposure.state import CarrierState, is_sheltered
from msdtrack.standard import derating
from msdtrack.standard.baking import LONG_EXCESS_H
from msdtrack.standard.drypack import HOT_C

UNIT = 10**15
"""Parts of a floor life in the whole numbers of a line."""

NEVER = 1 << 62
"""A share that is never reached."""

LONGEST_S = 30 * 86400
"""A line is drawn anew after this long, so that its numbers stay small."""

MOST_LIVES = 1000
"""A share above this many floor lives has no line: its numbers could grow too large."""

FASTEST = NEVER // LONGEST_S
"""A rate above this has no line either, for the same reason."""


@dataclass(frozen=True, slots=True)
class Line:
    """How a carrier's share goes on from the moment `at` of its state.

    Args:
        until: the line answers before this moment.
        share, rate: exact share at the state's moment, and share per second from then on.
        next_share: the line answers below this share.
        air: place and class whose `AirLine` it depends on; None: on none.
        in_air: its share grows as the `AirLine` says, through its readings to come.
        left_rate: rate the time left is reckoned with; None: as the `AirLine` says.
        heeds_air: it bends when air outside 30/60 comes.
        hot: its hours above 90 °C grow. assumed, provisional: these shares grow with it.
    """

    until: int
    share: Fraction
    rate: Fraction
    next_share: int
    air: tuple[str, RateClass] | None
    in_air: bool
    left_rate: int | None
    heeds_air: bool
    hot: bool
    assumed: bool
    provisional: bool


@dataclass(frozen=True, slots=True)
class AirLine:
    """How the air of a place uses up parts of one class.

    Args:
        at: from when on `rate` holds: the newest reading, or later where none speaks any more.
        since, until: it answers from and up to then, if no reading comes.
        left_rate: rate in the air of the forecast, up to `settles_at`.
        present: that air.
    """

    at: int
    rate: int
    since: int
    until: int
    left_rate: int
    settles_at: int
    present: Present


def up(share: Fraction) -> int:
    """Return a share or a rate in parts of `UNIT`, rounded up."""
    return -(-share.numerator * UNIT // share.denominator)


def next_change(dated: Iterable[Dated[Any]], at: int) -> int:
    """Return the first moment after `at` at which one of the values changes."""
    changes = [one.changes for one in dated if one.changes]
    moments = (moment for of in changes for moment, _ in of if moment > at)
    return min(moments, default=FOREVER) if changes else FOREVER


def air_line(air: PlaceAir, of: RateClass, policies: Policies, at: int) -> AirLine:
    """Return how air that has a reading at or before `at` uses up a class from then on."""
    newest = air.newest(at)
    assert newest is not None
    until = min(air.steady_until(at), next_change([policies.credit], at))
    start = newest[0]
    changes = [*air.settings.moments_between(start - 1, at + 1)]
    changes += policies.credit.moments_between(start - 1, at + 1)
    if changes or at >= start + HOLDS_S:
        start = at
    present = air.present(at)
    return AirLine(
        at=start,
        rate=up(of.rate(air.key_at(at))),
        since=at,
        until=until,
        left_rate=up(of.rate(present.key)),
        settles_at=air.settles_at(at),
        present=present,
    )


def turning_shares(label_h: Fraction | None) -> list[int]:
    """Return the shares at which reasons or the bake of parts change, by their label hours."""
    return [UNIT] if label_h is None else [UNIT, int((1 + LONG_EXCESS_H / label_h) * UNIT)]


def up_before(line: Line, ago_s: int) -> int:
    """Return the share of a line so long before the moment of its state, as `up` does."""
    share, rate = line.share, line.rate
    whole = share.numerator * rate.denominator - rate.numerator * ago_s * share.denominator
    return -(-whole * UNIT // (share.denominator * rate.denominator))


def has_no_line(state: CarrierState) -> bool:
    """Return whether so many floor lives are used that its numbers could grow too large."""
    share = state.used_share
    return share.numerator > MOST_LIVES * share.denominator


def stays_of(state: CarrierState) -> list[tuple[str, int, int]]:
    """Return where the air has decided and decides about a carrier; the present stay is FOREVER."""
    ledger = state.ledger
    stays = list(ledger.stays)
    if ledger.gone is not None or ledger.phase is Phase.BAGGED or ledger.place is None:
        return stays
    start = state.at
    if stays and stays[-1][0] == ledger.place and stays[-1][2] == state.at:
        start = stays.pop()[1]
    return [*stays, (ledger.place, start, FOREVER)]


def was_out(state: CarrierState) -> bool:
    """Return whether a carrier has ever been out of a good bag."""
    ledger = state.ledger
    return bool(
        ledger.stays
        or ledger.exposure_s
        or ledger.phase is not Phase.BAGGED
        or ledger.last_reset_at is not None
    )


def line_of(
    state: CarrierState, events: Sequence[Event], places: Places, policies: Policies
) -> Line:
    """Return the line of a carrier that is not gone.

    Args:
        state: its state.
        events: its effective events, later ones among them.
        places, policies: what the state was computed from.
    """
    at, ledger, part = state.at, state.ledger, state.facts.part
    air = places.air(ledger.place)
    of = rate_class(part, policies.credit.at(at))
    exposed = state.status in ("exposed", "on_board")
    sheltered = is_sheltered(state.status, ledger, places)
    by_reading = air.newest(at) is not None and state.status != "baking"
    depends = by_reading and not (state.status == "in_dry_bag" and sheltered)
    dry_place = places.is_cabinet(ledger.place) and ledger.phase is Phase.OPEN
    in_air = exposed and depends and not dry_place

    bends = [event.at for event in events if event.at > at]
    bends.append(
        next_change(
            [policies.credit, policies.pause_levels_4_to_5a, policies.cumulative_bake_h], at
        )
    )
    bends.append(at + LONGEST_S)
    if not depends and (state.status == "dry_storage" or not sheltered):
        bends += [air.steady_until(at), air.settles_at(at)]
    if has_no_line(state):
        bends.append(at)
    if state.reset_due_at is not None:
        bends.append(state.reset_due_at)
    bends += _bake_bends(state, places)
    ends = state.shelf_life_ends
    if state.status == "in_dry_bag" and ends is not None and day(at) <= ends:
        after = datetime(ends.year, ends.month, ends.day, tzinfo=UTC) + timedelta(days=1)
        bends.append(int(after.timestamp()))

    exact_rate, assumed, provisional = Fraction(0), False, False
    if exposed:
        now_key = air.key_at(at)
        exact_rate, assumed = of.rate(now_key), now_key.missing is not None
        # What the first second of this exposure changes.
        begins = (
            ledger.storage is not None
            or (assumed and now_key.missing not in ledger.unknowns)
            or (state.bake.needed and not (now_key.within_30_60 or ledger.outside_30_60))
        )
        if begins:
            bends.append(at + 1)
        if now_key.cell == derating.BEYOND and not ledger.beyond_table:
            bends.append(at + BEYOND_TABLE_S - ledger.beyond_run_s + 1)
    elif state.status in ("in_dry_bag", "dry_storage") and ledger.exposure_s:
        exact_rate = storage_rate(part, policies.pause_levels_4_to_5a.at(at))
        if exact_rate and not state.used_share:
            bends.append(at + 1)
        storage = ledger.storage
        possible = state.reset_due_at is not None if storage is None else storage.reset_possible
        provisional = possible and exact_rate > 0

    excess_counts = state.bake.needed and state.bake.column == "up_to_72h"
    return Line(
        until=max(at, min(bends)),
        share=state.used_share,
        rate=exact_rate,
        next_share=_next_share(state, provisional),
        air=(str(ledger.place), of) if depends else None,
        in_air=in_air,
        left_rate=_left_rate(state, air, of, sheltered, depends),
        heeds_air=exposed and excess_counts,
        hot=state.status == "baking" and ledger.bake is not None and ledger.bake.temp_c > HOT_C,
        assumed=assumed,
        provisional=provisional,
    )


def _left_rate(
    state: CarrierState, air: PlaceAir, of: RateClass, sheltered: bool, depends: bool
) -> int | None:
    if sheltered:
        return up(label_rate(state.facts.part))
    return None if depends else up(of.rate(air.present(state.at).key))


def _next_share(state: CarrierState, provisional: bool) -> int:
    """Return the share at which reasons or the bake change."""
    if state.used_share.numerator < state.used_share.denominator:
        return UNIT
    *_, longest = turning_shares(state.facts.part.label_hours)
    return NEVER if longest == UNIT or provisional or state.bake.column != "up_to_72h" else longest


def _bake_bends(state: CarrierState, places: Places) -> list[int]:
    """Return when a running bake is done, and when a bake that is due becomes a longer one."""
    ledger, bends = state.ledger, []
    bake = ledger.bake
    if state.status == "baking" and bake is not None and bake.reached_at is None:
        hours = bake.need.hours
        if hours is not None:
            needed_s = -(-hours.numerator * HOUR_S // hours.denominator)
            done = oven.progress(
                places.oven(bake.oven),
                bake.need.band,
                bake.started_at,
                state.at + LONGEST_S,
                state.at,
                needed_s,
            )
            if done.reached_at is not None:
                bends.append(done.reached_at)
    if ledger.is_full and ledger.full_since is not None and state.bake.column == "up_to_72h":
        bends.append(ledger.full_since + LONG_EXCESS_H * HOUR_S + 1)
    return [max(bend, state.at) for bend in bends]
