"""Dry cabinets: their air against both limits, what lies in them, and what a fault does to it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from msdtrack.errors import NotFound
from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.clock import storage_rate
from msdtrack.exposure.dry_spells import Spell, spell_at, spells
from msdtrack.exposure.facts import FOREVER, HOUR_S
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.services import carrier_states, catalog, climate, standings
from msdtrack.services.accounts import Account, accounts
from msdtrack.services.air_cache import all_places
from msdtrack.services.catalog import Place
from msdtrack.services.climate import AirNow
from msdtrack.services.whereabouts import at_place
from msdtrack.standard import recovery
from msdtrack.store.connection import read

LOOK_BACK_S = 72 * HOUR_S
"""Excursions are shown so far back."""

LIMITS_PCT = tuple(sorted({recovery.storage_limit_rh_pct(level) for level in ("3", "5")}))
"""The two limits of dry storage, % RH. Source: J-STD-033, Table 4-3 (`standard.recovery`)."""

Inside = Literal["closed_bag", "dry", "brief", "too_humid", "no_clock"]


@dataclass(frozen=True, slots=True)
class Excursion:
    """A stretch above a limit.

    Args:
        limit_pct: the limit, % RH.
        over: it has ended.
        breaks: it lasted more than 60 minutes, or it is not over: no dry storage from its start.
        worst_rh_pct: the highest humidity in it, assumed air included.
    """

    limit_pct: int
    start: int
    end: int
    over: bool
    breaks: bool
    worst_rh_pct: float


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of dry storage and whether the cabinet keeps it.

    Args:
        levels: what it is for.
        spell: dry; brief: above it, and back since; out: above it now.
        out_since: begin of the excursion that is on, None if none is.
    """

    pct: int
    levels: tuple[str, ...]
    spell: Spell
    out_since: int | None


@dataclass(frozen=True, slots=True)
class Loss:
    """What an excursion that is on has cost a carrier so far.

    Args:
        since: when it began to count: the excursion, or when the carrier came.
        share: share of the floor life used since then.
        reset_lost: a reset by dry storage was under way, and is broken off.
        provisional: share of storage hours that became final.
    """

    since: int
    share: Fraction
    reset_lost: bool
    provisional: Fraction


@dataclass(frozen=True, slots=True)
class InCabinet:
    """A carrier in a cabinet.

    Args:
        inside: closed_bag: in a bag of its own; dry; brief: in an excursion that may still end
            in time; too_humid: for this level it is no dry storage; no_clock: level 1.
        limit_pct: what its level needs, % RH.
        clock_runs: its clock goes on although it is in dry storage.
        loss: what the present excursion has cost, None if nothing.
        done_s: dry storage it has behind it since its exposure, while a reset is possible.
        left_h: floor life left once it is out, hours; None: no limit.
    """

    state: CarrierState
    inside: Inside
    limit_pct: int
    clock_runs: bool
    loss: Loss | None
    done_s: int
    left_h: Fraction | None

    @property
    def urgency(self) -> tuple[bool, bool, float, str]:
        """Return what the list of a fault is sorted by: what loses most comes first."""
        left = float("inf") if self.left_h is None else float(self.left_h)
        safe = self.inside in ("closed_bag", "no_clock") or self.state.bake.needed
        return safe, self.state.reset_due_at is None, left, self.state.facts.code


@dataclass(frozen=True, slots=True)
class CabinetNow:
    """A dry cabinet as it is.

    Args:
        air: its newest reading.
        limits: both limits, the narrower first.
        excursions: above either limit in the last days, newest first.
        carriers: what is in it, what must be moved first at the top.
    """

    place: Place
    air: AirNow
    limits: tuple[Limit, ...]
    excursions: tuple[Excursion, ...]
    carriers: tuple[InCabinet, ...]

    @property
    def faulty_for(self) -> tuple[InCabinet, ...]:
        """Return the carriers that the present air harms, what must be moved first at the top."""
        return tuple(one for one in self.carriers if one.inside in ("too_humid", "brief"))


@dataclass(frozen=True, slots=True)
class CabinetInBrief:
    """A dry cabinet on a list.

    Args:
        air, limits: as of `CabinetNow`.
        count: how many carriers are in it.
        faulty_for: those that the present air harms, what must be moved first at the top.
    """

    place: Place
    air: AirNow
    limits: tuple[Limit, ...]
    count: int
    faulty_for: tuple[InCabinet, ...]


def cabinets(now: int) -> list[CabinetInBrief]:
    """Return every dry cabinet in brief, by name. What is in one that harms nothing is counted."""
    standings.answering(now)
    with read():
        found = [place for place in catalog.places(limit=10_000) if place.kind == "cabinet"]
        return [_in_brief(each, now) for each in sorted(found, key=lambda one: one.name)]


def _in_brief(place: Place, now: int) -> CabinetInBrief:
    air = all_places().air(place.code)
    limits = tuple(_limit(air, pct, now) for pct in LIMITS_PCT)
    if any(limit.out_since is not None for limit in limits):
        full = cabinet_now(place.code, now)
        return CabinetInBrief(place, full.air, limits, len(full.carriers), full.faulty_for)
    surely, perhaps = at_place(place.code, now)
    folded = carrier_states.states(perhaps, now).values()
    others = sum(one.ledger.place == place.code and _is_inside(one) for one in folded)
    newest = climate.air_now(place.code, now)
    return CabinetInBrief(place, newest, limits, len(surely) + others, ())


def _is_inside(state: CarrierState) -> bool:
    return state.status not in ("gone", "baking")


def cabinet_now(code: str, now: int) -> CabinetNow:
    """Return a dry cabinet with what is in it.

    Raises:
        NotFound: there is no such cabinet.
    """
    standings.answering(now, code)
    with read():
        place = catalog.place(code)
        if place.kind != "cabinet":
            raise NotFound(f"{place.name} is no dry cabinet.")
        places = all_places()
        air = places.air(code)
        limits = tuple(_limit(air, pct, now) for pct in LIMITS_PCT)
        out_since = {limit.pct: limit.out_since for limit in limits}
        held = list(accounts(frozenset().union(*at_place(code, now)), places=places))
        inside = [
            _in_cabinet(account, state, air, out_since)
            for account in held
            if (state := account.state(now)).ledger.place == code and _is_inside(state)
        ]
        newest = climate.air_now(code, now)
    found = [each for pct in LIMITS_PCT for each in _excursions(air, pct, now)]
    return CabinetNow(
        place,
        newest,
        limits,
        tuple(sorted(found, key=lambda one: (-one.start, one.limit_pct))),
        tuple(sorted(inside, key=lambda one: one.urgency)),
    )


def fits(place: str, msl: str, now: int) -> bool:
    """Return whether a cabinet is dry storage for a level now."""
    limit = recovery.storage_limit_rh_pct(msl) * 100
    return spell_at(all_places().air(place), now, limit)[1] == "dry"


def _limit(air: PlaceAir, pct: int, now: int) -> Limit:
    start, spell = spell_at(air, now, pct * 100)
    levels = ("2", "2a", "3", "4", "5", "5a", "6")
    mine = tuple(level for level in levels if recovery.storage_limit_rh_pct(level) == pct)
    return Limit(pct, mine, spell, None if spell == "dry" else start)


def _excursions(air: PlaceAir, pct: int, now: int) -> list[Excursion]:
    """Return the stretches above a limit, as far back as anything was measured."""
    found: list[Excursion] = []
    first = air.following(-FOREVER)
    if first is None:
        return found
    since = max(now - LOOK_BACK_S, first)
    for start, end, spell in spells(air, since, now + 1, now, pct * 100):
        if spell == "dry":
            continue
        end = min(end, now)
        raw, _ = air.worst(start, max(end, start + 1), now)
        over = air.newest(now) is not None and end < now
        found.append(Excursion(pct, start, end, over, spell == "out", raw[1] / 100))
    return found


def _in_cabinet(
    account: Account, state: CarrierState, air: PlaceAir, out_since: dict[int, int | None]
) -> InCabinet:
    part, ledger, now = state.facts.part, state.ledger, state.at
    pct = recovery.storage_limit_rh_pct(part.msl)
    inside: Inside = "dry"
    if ledger.phase is Phase.BAGGED:
        inside = "closed_bag"
    elif part.msl == "1":
        inside = "no_clock"
    elif out_since[pct] is not None:
        inside = "brief" if state.status == "dry_storage" else "too_humid"
    rule = recovery.dry_storage_rule(part.msl)
    paused = account.policies.pause_levels_4_to_5a.at(now)
    stored = state.status in ("dry_storage", "in_dry_bag") and ledger.exposure_s > 0
    runs = stored and storage_rate(part, paused) > 0 and rule is not None
    loss = None
    since = out_since[pct]
    if inside == "too_humid" and since is not None:
        loss = _loss(account, state, max(since, _came(state)))
    storage = ledger.storage
    done_s = 0 if storage is None or not storage.reset_possible else storage.dry_s
    return InCabinet(state, inside, pct, runs, loss, done_s, _left_h(state))


def _came(state: CarrierState) -> int:
    """Return since when a carrier has been open where it is."""
    stays = state.ledger.stays
    return stays[-1][1] if stays and stays[-1][0] == state.ledger.place else state.at


def _loss(account: Account, state: CarrierState, since: int) -> Loss:
    before = account.state(since - 1)
    share = max(Fraction(0), state.used_share - before.used_share)
    return Loss(since, share, before.reset_due_at is not None, before.ledger.provisional)


def _left_h(state: CarrierState) -> Fraction | None:
    label_h = state.facts.part.label_hours
    return None if label_h is None else max(Fraction(0), 1 - state.used_share) * label_h
