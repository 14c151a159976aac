"""Holds of whole lots: every carrier of a rejected lot, wherever it is, and what arrives later."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from uuid import NAMESPACE_OID, uuid5

from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.state import CarrierState
from msdtrack.services import event_recording, placements
from msdtrack.services.carrier_states import states
from msdtrack.services.event_recording import NewEvent
from msdtrack.store import boards, carriers, concerned, event_log, sample_checks
from msdtrack.store.connection import read
from msdtrack.store.sample_checks import CheckRecord

ALL = 1_000_000
"""More checks than a lot has."""


@dataclass(frozen=True, slots=True)
class LotNow:
    """Every carrier of a lot, split-off ones and placements on boards too.

    Args:
        untouched: those that nothing has happened to since their receipt, with their pieces: they
            are there and not held, so a lot of thousands is known without folding them.
        states: all others, by code.
        seq: of the newest event it knows.
    """

    untouched: Mapping[str, int]
    states: Mapping[str, CarrierState]
    seq: int

    @property
    def codes(self) -> list[str]:
        """Return the codes of all of them, in order."""
        return sorted((*self.untouched, *self.states))

    @property
    def here(self) -> list[str]:
        """Return the codes of those that are not gone, in order."""
        return [c for c in self.codes if c in self.untouched or self.states[c].status != "gone"]

    def held_by(self, check: int) -> list[str]:
        """Return the codes of those that a check holds and that are not gone, in order."""
        return [
            code
            for code in sorted(self.states)
            if self.states[code].status != "gone" and is_held_by(check, self.states[code])
        ]


def lot_now(part: str, lot: str, now: int, before: LotNow | None = None) -> LotNow:
    """Return a lot as it is now.

    Args:
        before: the same a moment ago: only what has happened since is folded anew.
    """
    with read():
        codes = lot_carriers(part, lot)
        untouched = carriers.untouched(codes)
        known: dict[str, CarrierState] = {}
        if before is not None:
            stale = concerned.family(carriers.touched_since(before.seq))
            known = {code: one for code, one in before.states.items() if code not in stale}
        folded = states(codes - untouched.keys() - known.keys(), now)
        found = {code: one for code, one in known.items() if code in codes} | folded
        return LotNow(untouched, found, event_log.newest_seq())


def lot_carriers(part: str, lot: str) -> set[str]:
    """Return the codes of all carriers of a lot, split-off ones and placements on boards too."""
    own = carriers.codes_of_lot(part, lot)
    found, new = set(own), set(own)
    # A correction of a carrier's lot holds for what was split off it, whose record has the old one.
    while new:
        new = carriers.children_of(new) - found
        found |= new
    received = {code for code, split_off in own.items() if not split_off}
    facts = carriers.carrier_facts(found - received)
    of_lot = {code for code, one in facts.items() if (one.part.number, one.lot) == (part, lot)}
    return received | of_lot


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
    found = lot_now(check.part, check.lot, now)
    held = set(found.held_by(check.number))
    codes = [code for code in found.here if code not in held]
    _record(check.number, Kind.HOLD, codes, reason, person, now)
    return codes


def release(
    check: CheckRecord, held: Mapping[str, CarrierState], reason: str, person: str, now: int
) -> tuple[list[str], dict[str, str]]:
    """Release carriers that a check holds.

    A release ends every hold of a carrier and settles a missing humidity card, so one that has
    another reason to be held is left as it is.

    Args:
        held: the carriers, as they are now.

    Returns:
        The codes that were released, and those that were left with why.
    """
    released, left = [], {}
    together = _on_boards_with(held, now)
    for code, state in held.items():
        all_released = together.get(code, [state])
        why = "; ".join(
            other for one in all_released for other in _other_reasons(check.number, one)
        )
        if why:
            left[code] = why
        else:
            released.append(code)
    _record(check.number, Kind.RELEASE, released, reason, person, now)
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


def _record(
    check: int, kind: Kind, codes: Sequence[str], reason: str, person: str, now: int
) -> None:
    """Put a hold or a release on the log of each carrier.

    What happens to one placement happens to all on its boards, so one of each batch is recorded
    with what it brings. On the others' logs it is one event and changes no other, so that they are
    written together.
    """
    reason = f"{mark(check)} {reason}"
    batches, one_of_each = boards.batches_of(codes), dict[str, str]()
    for code in codes:
        if code in batches:
            one_of_each.setdefault(batches[code], code)
    plain = [
        Event(_id(check, kind, code, now), code, kind, now, 0, 0, person, reason=reason)
        for code in codes
        if code not in batches
    ]
    if plain:
        event_log.append(plain, now)
    event_recording.record(
        [
            NewEvent(_id(check, kind, code, now), code, kind, person=person, reason=reason)
            for code in one_of_each.values()
        ],
        now,
    )


def _on_boards_with(codes: Iterable[str], now: int) -> dict[str, list[CarrierState]]:
    """Return for each placement the states of all that is released with it."""
    batches = boards.batches_of(codes)
    placed = placements.placed_on_each(set(batches.values()))
    on_board = {batch: placements.on_board_at(each, now) for batch, each in placed.items()}
    found = states({code for each in on_board.values() for code in each}, now)
    return {code: [found[one] for one in on_board[batch]] for code, batch in batches.items()}


def _other_reasons(check: int, state: CarrierState) -> list[str]:
    found = [reason for reason in state.ledger.held if not reason.startswith(mark(check))]
    if state.ledger.hic_missing:
        found.append("its humidity card was missing, unreadable or is not read yet")
    return found


def _id(check: int, what: str, code: str, now: int) -> str:
    return str(uuid5(NAMESPACE_OID, f"sample check {check} {what} {code} {now}"))
