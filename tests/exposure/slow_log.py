"""The log's corrections, splits and contradictions a second time, as plainly as possible."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from msdtrack.exposure.events import Event, Kind

NEEDS_AN_OPEN_BAG = {
    Kind.CLOSE, Kind.TAKE, Kind.SPLIT, Kind.LOAD, Kind.PLACE_ON_BOARD, Kind.REFLOW, Kind.BAKE_START,
    Kind.BAKE_END,
}  # fmt: skip
NOT_IN_AN_OVEN = {Kind.CLOSE, Kind.BAKE_START, Kind.PLACE_ON_BOARD, Kind.REFLOW}
AFTER_THE_LAST_REFLOW = {Kind.MOVE, Kind.HOLD, Kind.RELEASE, Kind.SCRAP}
ENDS_A_BAKE = {Kind.MOVE, Kind.LOAD, Kind.BAKE_END}


def corrected(log: Iterable[Event]) -> list[Event]:
    """Return the events that stand, each as its newest standing correction has it."""
    log = list(log)

    def newest_correction(of: Event) -> Event | None:
        found = None
        for event in sorted(log, key=lambda event: event.seq):
            if event.kind is Kind.CORRECT and event.corrects == of.id and stands(event):
                found = event
        return found

    def stands(event: Event) -> bool:
        correction = newest_correction(event)
        return correction is None or not correction.void

    standing = []
    for event in log:
        if event.kind is Kind.CORRECT or not stands(event):
            continue
        correction = newest_correction(event)
        standing.append(event if correction is None else event._replace(**correction.fields))
    return sorted(standing, key=lambda event: (event.at, event.seq))


def inherited(
    code: str, logs: Mapping[str, Iterable[Event]], parents: Mapping[str, tuple[str, str]]
) -> list[Event]:
    """Return a carrier's events after its parent's up to the split."""
    events = corrected(logs.get(code, []))
    while code in parents:
        code, split_id = parents[code]
        of_parent = corrected(logs.get(code, []))
        ids = [event.id for event in of_parent]
        if split_id not in ids:
            # A child that was never split off is nothing.
            never = Event(split_id, code, Kind.SCRAP, 0, 0, 0)
            return [never, *events]
        events = of_parent[: ids.index(split_id) + 1] + events
    return events


def settled(events: Sequence[Event], received_at: int) -> tuple[list[Event], set[str]]:
    """Return events without contradiction, and the ids of those that contradicted.

    Whenever one contradicts, what it means is written into the list and the reading starts over.
    """
    events = list(events)
    conflicts = _against_a_hold(events)
    while True:
        found = _first_conflict(events, received_at)
        if found is None:
            return events, conflicts
        events, event_id = found
        conflicts.add(event_id)


def _against_a_hold(events: Sequence[Event]) -> set[str]:
    """Return the ids of what was loaded, placed or reflowed while on hold, if no release came."""
    forbidden = (Kind.LOAD, Kind.PLACE_ON_BOARD, Kind.REFLOW)
    found = set()
    for i, event in enumerate(events):
        before = [e.kind for e in events[:i] if e.kind in (Kind.HOLD, Kind.RELEASE)]
        released = any(e.kind is Kind.RELEASE for e in events[i:])
        if event.kind in forbidden and before[-1:] == [Kind.HOLD]:
            found |= set() if released else {event.id}
    return found


def _first_conflict(events: list[Event], received_at: int) -> tuple[list[Event], str] | None:
    inside = "bag"
    closed_at: int | None = None
    closed_index = bake_index = 0
    for i, event in enumerate(events):
        kind = event.kind
        gone = [e for e in events[:i] if e.kind is Kind.SCRAP or (e.kind is Kind.REFLOW and e.last)]
        if gone and not (gone[0].kind is Kind.REFLOW and kind in AFTER_THE_LAST_REFLOW):
            kept = [e._replace(last=False) for e in events[:i] if e.kind is not Kind.SCRAP]
            return kept + events[i:], event.id
        if inside == "bag" and kind in NEEDS_AN_OPEN_BAG:
            since = min(received_at, event.at) if closed_at is None else closed_at
            opening = Event("", event.carrier, Kind.OPEN, since, event.seq, event.recorded_at)
            k = closed_index
            while events[k].at < since:
                k += 1
            rest = list(events)
            if kind is Kind.BAKE_START:
                rest[i] = event._replace(kind=Kind.MOVE)
            return [*rest[:k], opening, *rest[k:]], event.id
        as_move = [
            e._replace(kind=Kind.MOVE) if n == bake_index else e for n, e in enumerate(events)
        ]
        if kind is Kind.OPEN and inside != "bag":
            kept = as_move if inside == "oven" else events
            return kept[:i] + kept[i + 1 :], event.id
        if kind in NOT_IN_AN_OVEN and inside == "oven":
            return as_move, event.id
        if kind is Kind.BAKE_END and inside == "air":
            moved = [event._replace(kind=Kind.MOVE)] if event.place else []
            return events[:i] + moved + events[i + 1 :], event.id
        if kind is Kind.OPEN:
            inside = "air"
        elif kind is Kind.CLOSE:
            inside, closed_at, closed_index = "bag", event.at, i + 1
        elif kind is Kind.BAKE_START:
            inside, bake_index = "oven", i
        elif kind in ENDS_A_BAKE and inside == "oven":
            inside = "air"
    return None
