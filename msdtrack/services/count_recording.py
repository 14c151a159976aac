"""What a count puts on the log: decided one by one, recorded all at once, in one name."""

from __future__ import annotations

from typing import Any
from uuid import NAMESPACE_OID, uuid5

from msdtrack.errors import BadInput, Conflict, Refused
from msdtrack.exposure.events import Kind
from msdtrack.phrases import listed
from msdtrack.services import catalog, event_recording
from msdtrack.services.accounts import accounts
from msdtrack.services.catalog import Place
from msdtrack.services.counting import (
    Counted,
    CountNow,
    Decision,
    begin,
    count_now,
    leaves_shelter,
    one_of,
    place_kinds,
)
from msdtrack.services.event_recording import AHEAD_S, NewEvent
from msdtrack.store import counts
from msdtrack.store.connection import write
from msdtrack.store.counts import CountLine, CountRecord

_NAMED = 20

NOT_FOUND = "not found when counted"
"""Begins the reason of a hold that a count puts on what it did not find."""


def decide(place: str, code: str, decision: Decision | None, now: int) -> Counted:
    """Take note of what is to be recorded of a carrier; None takes it back.

    Raises:
        BadInput: that can't be of this carrier, or the time can't be.
        NotFound: there is no such place, or the carrier is not in this count.
    """
    with write():
        count = begin(place, now)
        one = one_of(place, code, now)
        if decision is not None:
            _check(one, decision, now)
        kept: Any = None if decision is None else _as_json(decision)
        counts.put_line(count.id, CountLine(code, one.found_at, kept))
        return one_of(place, code, now)


def hold_missing(place: str, now: int) -> None:
    """Take note that all that was not found, and about which nothing was decided, is to be held."""
    with write():
        count = begin(place, now)
        current = count_now(place, now, shown=0)
        missing = [one.code for one in current.of("missing") if one.decision is None]
        for code in (*missing, *current.more_missing):
            counts.put_line(count.id, CountLine(code, None, _as_json(Decision("hold", now))))


def needs_since(one: Counted, to: str) -> bool:
    """Return whether a move there must say since when: from dry storage or a bake into the air."""
    kinds = place_kinds()
    return one.state is not None and leaves_shelter(one.state, kinds, kinds.get(to, ""))


def drop(place: str, person: str | None, now: int) -> None:
    """End a count with nothing recorded."""
    with write():
        for count in counts.running(place):
            counts.end(count.id, now, person, "dropped", None)


def record(count_id: str, person: str, now: int) -> CountRecord:
    """Put on the log what a count found out, all or nothing, and end it.

    Sent again it does nothing and returns the same.

    Args:
        count_id: the count.
        person: badge code of who confirms it.
        now: the present moment.

    Raises:
        NotFound: there is no such count.
        Refused: something has still to be decided.
        Conflict: it was dropped.
    """
    with write():
        count = counts.count(count_id)
        if count.outcome == "dropped":
            raise Conflict("This count was dropped: count the place anew.")
        if count.outcome is not None:
            return count
        current = count_now(count.place, now, shown=0)
        if undecided := current.undecided:
            raise Refused(f"First decide about {listed(undecided, _NAMED)}.")
        summary = _summary(current)
        # One after the other: opening one opens all that share its bag.
        for one in sorted(current.planned, key=lambda one: _when(one, current.place)):
            events = _events(count, current.place, one, person, now)
            if events:
                event_recording.record(events, now)
        counts.end(count_id, now, person, "recorded", summary)
        return counts.count(count_id)


def _check(one: Counted, decision: Decision, now: int) -> None:
    state = one.state
    if state is None or one.where == "gone":
        raise BadInput(f"Nothing can be recorded of {one.code}: it is not on file, or gone.")
    if decision.act == "open":
        if not one.on_record_closed or one.found_at is None:
            raise BadInput(f"{one.code} is not in a closed bag on record.")
        first = state.ledger.known_closed_at
    else:
        first = one.last_known_at
    if decision.act in ("hold", "gone") and one.found_at is not None:
        raise BadInput(f"{one.code} was found: scrap or hold it at a scan station.")
    if decision.act == "gone" and not decision.reason.strip():
        raise BadInput("Say why it is gone.")
    if decision.act == "move" and decision.place is None:
        raise BadInput("Say where it is.")
    if decision.place is not None:
        catalog.place(decision.place)
    since = decision.since
    if since is not None and since > now + AHEAD_S:
        raise BadInput("That time is yet to come.")
    if since is not None and since < first:
        raise BadInput(
            "On record it was still dry, or in hand, later than that. Say a later time, or that "
            "nobody knows."
        )


def moved_at(one: Counted, decision: Decision) -> int:
    """Return the moment that a move or an opening is dated: if nobody knows, the earliest."""
    if decision.since is not None:
        return decision.since
    if decision.act == "open" and one.state is not None:
        return one.state.ledger.known_closed_at
    return one.last_known_at


def _when(one: Counted, place: Place) -> tuple[int, str]:
    assert one.decision is not None
    return moved_at(one, one.decision), one.code


def _events(
    count: CountRecord, place: Place, one: Counted, person: str, now: int
) -> list[NewEvent]:
    decision, state = one.decision, one.state
    assert decision is not None
    assert state is not None

    def event(kind: Kind, at: int, **what: Any) -> NewEvent:
        id_ = str(uuid5(NAMESPACE_OID, f"count {count.id} {one.code} {kind.value}"))
        return NewEvent(id_, one.code, kind.value, at, person, **what)

    counted = f"when {place.name} was counted"
    at = moved_at(one, decision)
    how = counted if decision.since is not None else f"{counted}, nobody knows since when"
    if decision.act == "hold":
        return [event(Kind.HOLD, now, reason=f"{NOT_FOUND}: {place.name}")]
    if decision.act == "gone":
        return [event(Kind.SCRAP, now, reason=f"{decision.reason.strip()}, told {counted}")]
    if decision.act == "move":
        return [event(Kind.MOVE, at, place=decision.place, reason=f"found {how}")]
    assert one.found_at is not None
    events = []
    still_closed = next(accounts([one.code])).state(now).opened_at is None
    # In a cabinet the opening must not count as dry storage from when nobody was there to see.
    elsewhere = state.ledger.place != place.code
    direct = place.kind != "cabinet"
    if still_closed:
        events.append(
            event(Kind.OPEN, at, place=place.code if direct else None, reason=f"found open {how}")
        )
    if elsewhere and not (direct and still_closed):
        events.append(event(Kind.MOVE, one.found_at, place=place.code, reason=f"found {counted}"))
    return events


def _summary(current: CountNow) -> dict[str, Any]:
    """Return what is kept of a recorded count."""
    did = []
    for one in current.planned:
        decision, state = one.decision, one.state
        assert decision is not None
        assert state is not None
        did.append(
            _as_json(decision)
            | {
                "code": one.code,
                "part": state.facts.part.number,
                "from": state.ledger.place,
                "dated": moved_at(one, decision),
            }
        )
    return {
        "expected": current.found + current.missing,
        "found": len([one for one in current.carriers if one.found_at is not None])
        + len(current.more_found),
        "did": did,
        "left": [{"code": one.code, "why": one.where} for one in current.of("gone", "unknown")],
    }


def _as_json(decision: Decision) -> dict[str, Any]:
    return {name: getattr(decision, name) for name in ("act", "at", "place", "since", "reason")}
