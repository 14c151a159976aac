"""The one writer of events. The log only ever grows; the database refuses everything else."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import groupby
from operator import attrgetter
from typing import Any

from msdtrack.errors import Conflict
from msdtrack.exposure.events import Event, Kind
from msdtrack.store.canonical import content_hash, to_json
from msdtrack.store.connection import touched, writing
from msdtrack.store.statements import executemany, listed, one_row, rows

_COLUMNS = Event._fields[: Event._fields.index("hic")]
"""What has a column of its own: the first fields of `Event`, in their order."""

_PAYLOAD = {name: Event._field_defaults[name] for name in Event._fields[len(_COLUMNS) :]}
"""What only some kinds have, with the value that is left out."""

_KINDS = {kind.value: kind for kind in Kind}
_STORED = ", ".join((*_COLUMNS, "payload"))
_INSERT = (
    f"INSERT INTO event ({_STORED}, content_hash) "
    f"VALUES ({', '.join('?' * (len(_COLUMNS) + 2))}) ON CONFLICT (id) DO NOTHING"
)


def append(
    events: Sequence[Event], recorded_at: int, content_hashes: Mapping[str, str] | None = None
) -> list[Event]:
    """Append events to the log and return them with their order and moment of receipt filled in.

    Args:
        events: in order of receipt, an event after the one that caused it; `seq` and `recorded_at`
            of each are ignored.
        recorded_at: when they were received.
        content_hashes: event id to hash of what the client sent; an event that is not named has
            the hash of all it holds.

    Raises:
        Conflict: an id is on the log already, or what an event names does not exist.
    """
    writing()
    given = content_hashes or {}
    newest = newest_seq()
    stored = [
        event._replace(seq=newest + i, recorded_at=recorded_at)
        for i, event in enumerate(events, start=1)
    ]
    new = executemany(_INSERT, [_row(event, given.get(event.id)) for event in stored])
    if new < len(stored):
        found = find(event.id for event in stored)
        known = [event.id for event in stored if found[event.id][0].seq != event.seq]
        raise Conflict(f"Event {min(known)} is on the log already.")
    note = touched()
    note.at = max(note.at, recorded_at)
    note.carriers |= {event.carrier for event in stored}
    return stored


def find(ids: Iterable[str]) -> dict[str, tuple[Event, str]]:
    """Return the events on the log among the ids, each with the hash of its content."""
    condition, given = listed("id", ids)
    found = rows(f"SELECT {_STORED}, content_hash FROM event WHERE {condition}", given)
    return {row[0]: (_event(row), row[-1]) for row in found}


def log(code: str) -> list[Event]:
    """Return every event of a carrier, corrections among them, in order of receipt."""
    return logs([code])[code]


def logs(codes: Iterable[str], kinds: Iterable[Kind] = ()) -> dict[str, list[Event]]:
    """Return every event of each carrier in order of receipt, in one query.

    Args:
        kinds: only events of these kinds; without, of all.
    """
    found: dict[str, list[Event]] = {code: [] for code in codes}
    condition, given = listed("carrier", found)
    only = [f"'{kind.value}'" for kind in kinds]
    condition += f" AND kind IN ({', '.join(only)})" if only else ""
    sql = f"SELECT {_STORED} FROM event WHERE {condition} ORDER BY carrier, seq"
    for code, log in groupby(map(_event, rows(sql, given)), attrgetter("carrier")):
        found[code] = list(log)
    return found


def caused_by(event_id: str) -> list[Event]:
    """Return the events that one event brought with it, in order of receipt."""
    sql = f"SELECT {_STORED} FROM event WHERE cause = ? ORDER BY seq"
    return [_event(row) for row in rows(sql, (event_id,))]


def newest_seq() -> int:
    """Return the `seq` of the newest event; 0 if there is none."""
    return int(one_row("SELECT coalesce(max(seq), 0) FROM event")[0])


def _row(event: Event, given_hash: str | None) -> tuple[object, ...]:
    columns = event[: len(_COLUMNS)]
    payload = {
        name: value
        for (name, left_out), value in zip(_PAYLOAD.items(), event[len(_COLUMNS) :], strict=True)
        if value != left_out
    }
    if given_hash is None:
        content = dict(zip(_COLUMNS, columns, strict=True)) | payload
        # What receipt adds is not content.
        del content["seq"], content["recorded_at"]
        given_hash = content_hash(content)
    return (*columns, to_json(payload), given_hash)


def _event(row: Sequence[Any]) -> Event:
    # Straight to the tuple: tens of thousands are made in a row.
    found = row[0], row[1], _KINDS[row[2]], *row[3:11], *_rest(row[11])
    return tuple.__new__(Event, found)


@lru_cache(4096)
def _rest(payload: str) -> tuple[Any, ...]:
    """Return the fields that a payload holds. Many are alike, so that events share them: none
    changes them."""
    found = json.loads(payload)
    return tuple(found.get(name, left_out) for name, left_out in _PAYLOAD.items())
