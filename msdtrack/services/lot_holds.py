"""Holds of whole lots: every carrier of a rejected lot, wherever it is, and what arrives later."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from uuid import NAMESPACE_OID, uuid5

from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.state import CarrierState
from msdtrack.services import event_recording, placements
from msdtrack.services.carrier_states import states
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import boards, carriers, event_log, sample_checks
from msdtrack.store.sample_checks import CheckRecord

ALL = 1_000_000
"""More carriers than a lot has."""


def lot_carriers(part: str, lot: str) -> list[str]:
    """Return the codes of all carriers of a lot, split-off ones and placements on boards too."""
    found = {one.code for one in carriers.carriers(limit=ALL, part=part, lot=lot)}
    # A correction of a carrier's lot holds for what was split off it, whose record has the old one.
    new = set(found)
    while new:
        new = {child for code in new for child in carriers.children(code)} - found
        found |= new
    facts = carriers.carrier_facts(found)
    return sorted(code for code, one in facts.items() if (one.part.number, one.lot) == (part, lot))


def mark(check: int) -> str:
    """Return how the reason of a hold begins that a check put on."""
    return f"sample check {check}:"


def check_of(reason: str) -> int | None:
    """Return the check that put a hold with this reason on, None if none did."""
    found = re.match(r"sample check (\d{1,9}):", reason, re.ASCII)
    return None if found is None else int(found[1])


def is_held_by(check: int, state: CarrierState) -> bool:
    """Return whether a carrier is held by a check."""
    return any(reason.startswith(mark(check)) for reason in state.ledger.held)


def hold_lot(check: CheckRecord, reason: str, person: str, now: int) -> list[str]:
    """Put every carrier of a check's lot on hold, in one go; return their codes.

    Boards that carry pieces of it and face another reflow are held whole.

    Args:
        reason: what was found; the check is named before it.
    """
    found = states(lot_carriers(check.part, check.lot), now)
    codes = [c for c, s in found.items() if s.status != "gone" and not is_held_by(check.number, s)]
    events = [
        NewEvent(
            _id(check.number, "hold", code, now),
            code,
            Kind.HOLD,
            person=person,
            reason=f"{mark(check.number)} {reason}",
        )
        for code in one_for_each_batch(codes)
    ]
    event_recording.record(events, now)
    return codes


def release(
    check: CheckRecord, codes: Sequence[str], reason: str, person: str, now: int
) -> tuple[list[str], dict[str, str]]:
    """Release carriers that a check holds.

    A release ends every hold of a carrier and settles a missing humidity card, so one that has
    another reason to be held is left as it is.

    Args:
        codes: carriers of the check's lot.

    Returns:
        The codes that were released, and those that were left with why.
    """
    found = states(codes, now)
    released, left = [], {}
    for code, state in found.items():
        if not is_held_by(check.number, state):
            continue
        why = "; ".join(
            other for one in _together(code, now) for other in _other_reasons(check.number, one)
        )
        if why:
            left[code] = why
        else:
            released.append(code)
    events = [
        NewEvent(
            _id(check.number, "release", code, now),
            code,
            Kind.RELEASE,
            person=person,
            reason=f"{mark(check.number)} {reason}",
        )
        for code in one_for_each_batch(released)
    ]
    event_recording.record(events, now)
    return released, left


def hold_on_arrival(codes: Iterable[str], part: str, lot: str, now: int) -> None:
    """Put new carriers on hold if their lot is rejected, in the transaction that makes them."""
    numbers = [one.number for one in sample_checks.checks(part=part, lot=lot, limit=ALL)]
    for number, decisions in sample_checks.decisions(numbers).items():
        if not decisions or decisions[-1].decision in ("accepted", "released"):
            continue
        for code in codes:
            id_ = _id(number, "arrival", code, now)
            reason = f"{mark(number)} the lot was rejected before this carrier came"
            hold = Event(id_, code, Kind.HOLD, now, 0, 0, decisions[-1].person, reason=reason)
            event_log.append([hold], now)


def one_for_each_batch(codes: Iterable[str]) -> list[str]:
    """Return the codes with one placement only of each batch of boards: what happens to one
    happens to all on it."""
    kept, batches = [], set()
    for code in codes:
        batch = boards.batch_of(code)
        if batch is None or batch not in batches:
            kept.append(code)
        batches.add(batch)
    return kept


def _together(code: str, now: int) -> Iterable[CarrierState]:
    """Return the states of all that is released with a carrier."""
    batch = boards.batch_of(code)
    codes = [code]
    if batch is not None:
        codes = placements.on_board_at(placements.placed_on(batch), now)
    return states(codes, now).values()


def _other_reasons(check: int, state: CarrierState) -> list[str]:
    found = [reason for reason in state.ledger.held if not reason.startswith(mark(check))]
    if state.ledger.hic_missing:
        found.append("its humidity card was missing, unreadable or is not read yet")
    return found


def _id(check: int, what: str, code: str, now: int) -> str:
    return str(uuid5(NAMESPACE_OID, f"sample check {check} {what} {code} {now}"))
