"""Corrections of the log: what an entry said, what it says now, and what a correction would change.

Nothing is ever deleted or changed: a correction is an entry of its own, in a name and with a
reason, and can be taken back by another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from msdtrack.errors import BadInput, Conflict, FieldError, NotFound
from msdtrack.exposure.events import Event, Kind, effective
from msdtrack.exposure.facts import CarrierFacts
from msdtrack.exposure.ledger import Conflict as Contradiction
from msdtrack.exposure.state import CarrierState
from msdtrack.exposure.working import Working, working_of
from msdtrack.phrases import counted
from msdtrack.services import event_recording
from msdtrack.services.accounts import Account, account, accounts
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.new_events import wrong_changes
from msdtrack.store import boards, carriers, concerned, event_log
from msdtrack.store.canonical import content_hash
from msdtrack.store.connection import read, write

ABOUT: Mapping[Kind, tuple[str, ...]] = {
    Kind.OPEN: ("at", "place", "hic", "only_this", "person"),
    Kind.CLOSE: ("at", "place", "desiccant", "new_hic", "seal", "person"),
    Kind.MOVE: ("at", "place", "person"),
    Kind.BAKE_START: ("at", "place", "temp_c", "person"),
    Kind.BAKE_END: ("at", "place", "person"),
    Kind.SPLIT: ("at", "quantity", "person"),
    Kind.JOIN: ("at", "person"),
    Kind.TAKE: ("at", "quantity", "person"),
    Kind.LOAD: ("at", "place", "person"),
    Kind.PLACE_ON_BOARD: ("at", "quantity", "person"),
    Kind.REFLOW: ("at", "peak_c", "last", "person"),
    Kind.HOLD: ("at", "reason", "person"),
    Kind.RELEASE: ("at", "reason", "person"),
    Kind.SCRAP: ("at", "reason", "person"),
    Kind.CORRECT: (),
}
"""What of an entry can be wrong, by its kind. A correction can only be taken back."""

_ONE_OF = {
    "desiccant": ("fresh", "reused"),
    "new_hic": ("fresh", "kept"),
    "seal": ("heat", "clip"),
}
_HAS_QUANTITY = (Kind.SPLIT, Kind.TAKE, Kind.PLACE_ON_BOARD)

Why = Literal["same_bag", "same_boards", "split_off", "joined"]


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry of the log with all that was corrected about it.

    Args:
        event: as it was recorded.
        stands: as it stands now; None: it was struck out, or is a correction that no longer counts.
        corrections: of this entry, in order of receipt, with whether each still counts.
        cause: the entry that brought this one, None for none.
        only_by_cause: this one goes with its cause and can't be corrected by itself.
        brought: carriers whose entries came with this one and are corrected with it.
    """

    event: Event
    stands: Event | None
    corrections: tuple[tuple[Event, bool], ...]
    facts: CarrierFacts
    cause: Event | None
    only_by_cause: bool
    brought: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """A correction that is thought of.

    Args:
        id: makes it happen once.
        event: id of the entry it corrects.
        fields: what is right, by the names of `Event`; see `differing`.
    """

    id: str
    event: str
    void: bool
    reason: str
    person: str
    fields: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Side:
    """A carrier on one side of a correction: its state, and how that comes about."""

    state: CarrierState
    working: Working


@dataclass(frozen=True, slots=True)
class Follower:
    """Another carrier that a correction reaches.

    Args:
        why: it shared the bag; it is on the same boards; it was split off; something was joined
            into it.
        corrected: an entry of its own log is corrected too.
    """

    code: str
    why: Why
    corrected: bool
    before: CarrierState
    after: CarrierState


@dataclass(frozen=True, slots=True)
class Preview:
    """What a correction would change, as of now.

    Args:
        settled, arising: contradictions that it ends, and that it makes.
        followers: other carriers that change, or whose log is corrected too.
        seen: which correction on which state of the log this shows.
    """

    before: Side
    after: Side
    settled: tuple[Contradiction, ...]
    arising: tuple[Contradiction, ...]
    followers: tuple[Follower, ...]
    seen: str


def entry(event_id: str) -> Entry:
    """Return an entry of the log.

    Raises:
        NotFound: there is none with this id.
    """
    with read():
        found = event_log.find([event_id])
        if event_id not in found:
            raise NotFound("There is no such entry on the log.")
        event = found[event_id][0]
        log = event_log.log(event.carrier)
        counting = _counting(log)
        if event.kind is Kind.CORRECT:
            stands = event if event.id in counting else None
        else:
            stands = {one.id: one for one in effective(log)}.get(event.id)
        cause = None if event.cause is None else event_log.find([event.cause])[event.cause][0]
        goes_with = event.kind is Kind.JOIN or boards.batch_of(event.carrier) is not None
        return Entry(
            event,
            stands,
            tuple((one, one.id in counting) for one in log if one.corrects == event.id),
            carriers.carrier_facts([event.carrier])[event.carrier],
            cause,
            cause is not None and (goes_with or event.kind is Kind.CORRECT),
            tuple(one.carrier for one in event_log.caused_by(event.id)),
        )


def differing(of: Entry, said: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a correction must say so that the entry says what is wanted.

    The newest correction of an entry counts alone, so it repeats what earlier ones put right.

    Args:
        of: the entry.
        said: what is right, by the names of `Event`; what is left out stays as it stands.
    """
    stands = of.stands or of.event
    wanted = {name: said.get(name, getattr(stands, name)) for name in ABOUT[of.event.kind]}
    if all(value == getattr(stands, name) for name, value in wanted.items()):
        return {}
    return {
        name: value
        for name, value in wanted.items()
        if value != getattr(of.event, name) or value != getattr(stands, name)
    }


def preview(change: Change, now: int) -> Preview:
    """Return what a correction would change; nothing is written.

    Raises:
        NotFound: there is no such entry.
        BadInput: it can't be corrected like this; the fields are named.
    """
    with read():
        of = entry(change.event)
        _check(of, change)
        events = event_recording.correction_events(_new_event(of, change), now)
        provisional: dict[str, list[Event]] = {}
        seq = event_log.newest_seq()
        for n, event in enumerate(events, start=1):
            event = event._replace(seq=seq + n, recorded_at=now)
            provisional.setdefault(event.carrier, []).append(event)
        family = sorted(concerned.family(provisional))
        before = {one.facts.code: one for one in accounts(family)}
        after = {one.facts.code: one for one in accounts(family, provisional=provisional)}
        own = of.event.carrier
        sides = [_side(found[own], now) for found in (before, after)]
        followers = []
        for code in family:
            was, is_ = before[code].state(now), after[code].state(now)
            corrected = code in provisional
            if code != own and (corrected or _told(was) != _told(is_)):
                why = _why(of, code, corrected, family)
                followers.append(Follower(code, why, corrected, was, is_))
        conflicts = [dict.fromkeys(side.state.conflicts) for side in sides]
        return Preview(
            sides[0],
            sides[1],
            tuple(one for one in conflicts[0] if one not in conflicts[1]),
            tuple(one for one in conflicts[1] if one not in conflicts[0]),
            tuple(followers),
            _seen(family, change),
        )


def record(change: Change, seen: str, now: int) -> None:
    """Put a correction on the log; sent again with the same id, it is done once.

    Args:
        change: the correction.
        seen: of the preview that was looked at.
        now: the present moment.

    Raises:
        NotFound, BadInput: as for `preview`.
        Conflict: the log or the correction is no longer what the preview showed.
    """
    with write():
        of = entry(change.event)
        new = _new_event(of, change)
        if change.id not in event_log.find([change.id]):
            _check(of, change)
            events = event_recording.correction_events(new, now)
            if _seen(concerned.family({one.carrier for one in events}), change) != seen:
                raise Conflict(
                    "The log, or the correction, has changed since this was shown: look at it "
                    "again."
                )
        event_recording.record([new], now)


def _new_event(of: Entry, change: Change) -> NewEvent:
    return NewEvent(
        change.id,
        of.event.carrier,
        Kind.CORRECT,
        person=change.person or None,
        reason=change.reason or None,
        event=change.event,
        void=change.void,
        fields={} if change.void else dict(change.fields),
    )


def _check(of: Entry, change: Change) -> None:
    errors: list[FieldError] = []
    event = of.event
    if of.only_by_cause and of.cause is not None:
        raise BadInput(
            f"This entry came with one of {of.cause.carrier} and goes with it: correct that one."
        )
    if of.stands is None:
        struck = "is struck out" if event.kind is not Kind.CORRECT else "no longer counts"
        raise BadInput(f"This entry {struck}: take back what did that.")
    if not change.person:
        errors.append(FieldError("who", "say who corrects it"))
    if not change.reason.strip():
        errors.append(FieldError("why", "say why"))
    if not change.void:
        errors += _wrong_fields(of, change.fields)
    if errors:
        raise BadInput("Something in the correction is not right yet.", errors)


def _wrong_fields(of: Entry, fields: Mapping[str, Any]) -> list[FieldError]:
    kind, about = of.event.kind, ABOUT[of.event.kind]
    if kind is Kind.CORRECT:
        return [FieldError("how", "a correction can only be taken back")]
    if not fields:
        return [FieldError("how", "change what is wrong, or strike the entry out")]
    found = [FieldError(name, "is not corrected here") for name in fields if name not in about]
    found += wrong_changes(kind, fields)
    for name, value in fields.items():
        if value is not None and value not in _ONE_OF.get(name, (value,)):
            found.append(FieldError(name, f"one of {', '.join(_ONE_OF[name])}"))
    quantity = fields.get("quantity")
    if kind in _HAS_QUANTITY and quantity is not None:
        held = _held_before(of, fields.get("at", of.event.at))
        if not 1 <= quantity <= held:
            found.append(FieldError("quantity", f"it held {counted(held, 'piece')} then"))
    return found


def _held_before(of: Entry, at: int) -> int:
    found = account(of.event.carrier)
    others = [event for event in found.events if event.id != of.event.id]
    return replace(found, events=others).state(at).ledger.quantity


def _counting(log: Sequence[Event]) -> set[str]:
    """Return the ids of the corrections that were not taken back, newer ones of the same entry or
    not."""
    counting: set[str] = set()
    taken_back: set[str] = set()
    for event in sorted(log, key=lambda one: -one.seq):
        if event.kind is Kind.CORRECT and event.id not in taken_back:
            counting.add(event.id)
            if event.void and event.corrects is not None:
                taken_back.add(event.corrects)
    return counting


def _side(found: Account, now: int) -> Side:
    state = found.state(now, working=True)
    return Side(state, working_of(state, found.places))


def _told(state: CarrierState) -> tuple[object, ...]:
    """Return what of a state a person would see change."""
    ledger = state.ledger
    return (
        state.status,
        state.verdict,
        state.reasons,
        state.conflicts,
        state.used_share,
        state.reset_due_at,
        state.shelf_life_ends,
        ledger.place,
        ledger.quantity,
        ledger.exposure_s,
        ledger.opened_at,
    )


def _why(of: Entry, code: str, corrected: bool, family: Sequence[str]) -> Why:
    if corrected:
        if boards.batch_of(code) is not None:
            return "same_boards"
        return "joined" if of.event.kind is Kind.JOIN else "same_bag"
    parents = carriers.parents([code])
    return "split_off" if parents.get(code, ("",))[0] in family else "joined"


def _seen(codes: Iterable[str], change: Change) -> str:
    """Return what the newest entry of some carriers' logs and the correction come to."""
    logs = event_log.logs(codes).values()
    newest = max((event.seq for log in logs for event in log), default=0)
    return content_hash({"log": newest, "void": change.void, "fields": dict(change.fields)})
