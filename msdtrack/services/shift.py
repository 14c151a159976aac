"""End of shift: what is still out, where it should go, and what was found open with no opening on
record."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from fractions import Fraction
from typing import Literal, Protocol, TypeVar
from uuid import NAMESPACE_OID, uuid5

from msdtrack.errors import BadInput, Refused
from msdtrack.exposure.bake_advice import advise
from msdtrack.exposure.clock import can_reset_by_storage, storage_rate
from msdtrack.exposure.events import Kind
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.services import cabinets, catalog, event_recording
from msdtrack.services.accounts import account
from msdtrack.services.carrier_states import oven_limits
from msdtrack.services.catalog import Place
from msdtrack.services.countdowns import desiccant_is_good
from msdtrack.services.event_recording import AHEAD_S, NewEvent
from msdtrack.services.glance import Glance, glance_of
from msdtrack.standard import recovery
from msdtrack.store import event_log, policies
from msdtrack.store.connection import read, write
from msdtrack.times import duration_text, local_text

Goal = Literal["oven", "cabinet", "bag", "quality", "use"]

ALL_PLACES = 10_000
"""More than any site has."""


@dataclass(frozen=True, slots=True)
class Destination:
    """Where a carrier should go.

    Args:
        goal: what kind of place.
        title: where, in a few words.
        why: what that does for it.
        place: code of the place to scan, None where none is needed or known.
    """

    goal: Goal
    title: str
    why: str
    place: str | None = None


@dataclass(frozen=True, slots=True)
class StillOut:
    """A carrier that is out, and where it should go."""

    state: CarrierState
    destination: Destination

    @property
    def seen(self) -> Glance:
        """Return the carrier at a glance."""
        return glance_of(self.state)


class Out(Protocol):
    """What is out, a carrier or a batch of boards."""

    @property
    def seen(self) -> Glance:
        """Return it at a glance."""


OutT = TypeVar("OutT", bound=Out)


def destination(state: CarrierState, places: Sequence[Place] | None = None) -> Destination:
    """Return where an exposed carrier should go as it is now.

    Args:
        state: the carrier.
        places: every place, for callers that ask for many carriers; None: they are read.
    """
    with read():
        everywhere = catalog.places(limit=ALL_PLACES) if places is None else places
        if state.ledger.held or "hic_missing" in state.reasons or state.conflicts:
            return Destination("quality", "Hold for quality", "Nobody uses it until they decide.")
        if state.bake.needed:
            return _to_oven(state, [one for one in everywhere if one.kind == "oven"])
        dry = [
            one
            for one in everywhere
            if one.kind == "cabinet" and cabinets.fits(one.code, state.facts.part.msl, state.at)
        ]
        return _to_dry_storage(state, sorted(dry, key=lambda one: one.name))


def on_record_closed(code: str, now: int) -> CarrierState | None:
    """Return a carrier that is in a closed bag on record, None if it is not.

    Raises:
        NotFound: there is no such carrier.
    """
    state = account(code).state(now)
    closed = state.ledger.phase in (Phase.BAGGED, Phase.TIRED_BAG) and state.status != "gone"
    return state if closed and state.ledger.board is None else None


def opened_at(said: str, now: int, tz: tzinfo) -> int | None:
    """Return the moment a person means by "30", "30 min" or "14:05"; None if it is neither.

    A time of day is the last one that has passed.

    Args:
        said: minutes ago, or a time of day.
        now: the present moment.
        tz: the zone of a time of day.
    """
    minutes = re.fullmatch(r"(\d{1,4}) ?(?:min)?", said.strip().lower())
    if minutes:
        return now - int(minutes[1]) * 60
    clock = re.fullmatch(r"([01]?\d|2[0-3])[:.]([0-5]\d)", said.strip())
    if clock is None:
        return None
    here = datetime.fromtimestamp(now, UTC).astimezone(tz)
    then = here.replace(hour=int(clock[1]), minute=int(clock[2]), second=0, microsecond=0)
    if then.astimezone(UTC) > here.astimezone(UTC):
        then -= timedelta(days=1)
    return int(then.astimezone(UTC).timestamp())


def record_found_open(
    code: str,
    at: int | None,
    place: str,
    id_: str,
    now: int,
    tz: tzinfo,
    person: str | None = None,
) -> CarrierState:
    """Record that a carrier was found open with no opening on record; return its state.

    Args:
        code: the carrier.
        at: when it was opened; None: nobody knows, so it counts as open since it was last known
            closed.
        place: where it was found; its air counts from the opening on.
        id_: made by the client; sent again with the same one, it is done once.
        now: the present moment.
        tz: zone of the times in messages.
        person: badge code or name.

    Raises:
        NotFound: there is no such carrier.
        BadInput: it was still closed then, or that is yet to come.
        Refused: on record it is not in a closed bag.
    """
    event_id = str(uuid5(NAMESPACE_OID, f"found open {id_} {code}"))
    with write():
        if event_log.find([event_id]):
            return account(code).state(now)
        state = on_record_closed(code, now)
        if state is None:
            raise Refused(f"{code} is not in a closed bag on record: its clock runs already.")
        closed_at = state.ledger.known_closed_at
        if at is not None and at < closed_at:
            raise BadInput(
                f"{code} was in a closed bag at {local_text(closed_at, tz)}, later than that. "
                "Say a later time, or that nobody knows."
            )
        if at is not None and at > now + AHEAD_S:
            raise BadInput("That time is yet to come.")
        event = NewEvent(
            event_id,
            code,
            Kind.OPEN,
            at=closed_at if at is None else at,
            place=place,
            person=person,
            reason="found open, nobody knows since when" if at is None else "found open",
        )
        return event_recording.record([event], now)[0].state


def _to_oven(state: CarrierState, ovens: Sequence[Place]) -> Destination:
    limit_h = policies.policies().cumulative_bake_h.at(state.at)
    for oven in sorted(ovens, key=lambda one: one.name):
        limits = oven_limits(oven.code)
        chosen = advise(state.facts, state.ledger, limit_h, limits).chosen
        if chosen is not None:
            bake = f"{float(chosen.hours):g} h at {chosen.temp_c:g} °C make its floor life whole."
            return Destination("oven", oven.name, bake, oven.code)
    if state.bake.chosen is not None:
        return Destination("oven", "No oven here fits", state.next_step.text)
    return Destination("quality", "Ask the maker how to bake it", state.next_step.text)


def _to_dry_storage(state: CarrierState, dry: Sequence[Place]) -> Destination:
    part, ledger = state.facts.part, state.ledger
    left = _left_text(state)
    if desiccant_is_good(state):
        why = f"Its desiccant is still good; the clock stands with {left}."
        if runs_in_storage(state):
            why = "Its desiccant is still good."
        return Destination("bag", "Close its bag again", why)
    rule = recovery.dry_storage_rule(part.msl)
    if rule is None:
        return Destination("use", "Use it or bake it", f"Nothing stops its clock: {left}.")
    if can_reset_by_storage(part, ledger):
        due = duration_text(rule.factor * ledger.exposure_s)
        why = f"After {due} of dry storage its floor life is whole again."
    elif runs_in_storage(state):
        why = f"Its clock runs on in dry storage too: {left}. Use it before, or bake it."
    else:
        why = f"The clock stands there, with {left}."
    if dry:
        return Destination("cabinet", dry[0].name, why, dry[0].code)
    words = "Close it: fresh desiccant, fresh card, heat seal"
    limit = recovery.storage_limit_rh_pct(part.msl)
    return Destination("bag", words, f"No cabinet is at {limit} % RH or less. {why}")


def runs_in_storage(state: CarrierState) -> bool:
    """Return whether the clock of a carrier runs on in dry storage."""
    paused = policies.policies().pause_levels_4_to_5a.at(state.at)
    return storage_rate(state.facts.part, paused) > 0


def _left_text(state: CarrierState) -> str:
    label_h = state.facts.part.label_hours
    if label_h is None:
        return "no limit known"
    left_s = max(Fraction(0), 1 - state.used_share) * label_h * HOUR_S
    return f"{duration_text(int(left_s))} left"


def by_place(found: Iterable[OutT]) -> dict[str | None, list[OutT]]:
    """Return what is still out by place; places stand in the order of their most urgent."""
    places: dict[str | None, list[OutT]] = {}
    for one in found:
        places.setdefault(one.seen.place, []).append(one)
    return places
