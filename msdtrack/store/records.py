"""What the store gives and takes, beside the values of `exposure`: frozen, without behaviour.

Moments are whole seconds UTC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Literal, NamedTuple

from msdtrack.exposure.facts import AirSettings, Dated
from msdtrack.store.canonical import JsonValue

AlarmState = Literal["unacknowledged", "acknowledged", "returned_to_normal", "shelved", "ended"]
AlarmAct = Literal["acknowledged", "shelved", "unshelved", "came_back"]
NoticeState = Literal["sending", "sent", "waiting", "failed", "unsure", "needless"]


@dataclass(frozen=True, slots=True)
class PersonRecord:
    """Somebody with a badge; from `retired_at` on it is no longer in use, None: it is."""

    code: str
    name: str
    retired_at: int | None = None


@dataclass(frozen=True, slots=True)
class PlaceRecord:
    """Where a carrier can be.

    Args:
        kind: store, floor, line, cabinet or oven.
        settings: assumed air and sensor tolerance, dated.
        oven_max_c: of an oven, the highest temperature it can hold, °C.
        oven_max_rh_pct: of an oven, the humidity it stays below while it bakes, % RH.
    """

    code: str
    name: str
    kind: str
    settings: Dated[AirSettings]
    oven_max_c: float | None = None
    oven_max_rh_pct: float | None = None


@dataclass(frozen=True, slots=True)
class CarrierRecord:
    """A carrier as received or split off.

    Args:
        part: number of its part.
        quantity: pieces at receipt; what was taken since stands in the log.
        kind: reel, tray, tube or strip.
        place: code of the place it was received at.
        parent, split_event: of a split-off carrier, what it came from and the id of the event.
        msl, body_mm, label_floor_life_hours: what its own label says otherwise than the part.
    """

    code: str
    part: str
    lot: str
    quantity: int
    kind: str
    received_at: int
    recorded_at: int
    bag: str | None = None
    sealed_on: date | None = None
    shelf_life_ends: date | None = None
    place: str | None = None
    parent: str | None = None
    split_event: str | None = None
    msl: str | None = None
    body_mm: float | None = None
    label_floor_life_hours: float | None = None
    person: str | None = None


@dataclass(frozen=True, slots=True)
class PolicyRecord:
    """One choice of the site and the moment it holds from; a null value takes it back."""

    name: str
    from_at: int
    value: JsonValue
    person: str | None
    recorded_at: int


@dataclass(frozen=True, slots=True)
class FactChange:
    """The trace of one corrected fact.

    Args:
        what: part, carrier, place or person.
        key: its number or code.
        before, after: the values, as JSON can hold them.
    """

    what: str
    key: str
    field: str
    before: JsonValue
    after: JsonValue
    person: str | None
    reason: str
    recorded_at: int


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading of a place, in hundredths of °C and % RH."""

    place: str
    at: int
    temp_c100: int
    rh_c100: int | None


@dataclass(frozen=True, slots=True)
class ReadingOutcome:
    """How many readings were taken in, and which were not.

    Args:
        accepted: stored, replacements among them.
        duplicates: sent before with the same values.
        conflicts: indexes of the rows refused because other values stand for their second.
    """

    accepted: int
    duplicates: int
    conflicts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ReadingVersion:
    """Changes whenever a place's readings do.

    Args:
        changes: one more with each change of any kind.
        rewrites: one more with each change that was more than readings after the newest one.
    """

    changes: int = 0
    rewrites: int = 0


@dataclass(frozen=True, slots=True)
class RememberedRequest:
    """What was answered to a request, to answer the same when it is sent again."""

    id: str
    scope: str
    content_hash: str
    status: int
    answer: JsonValue
    recorded_at: int


@dataclass(frozen=True, slots=True)
class AlarmRecord:
    """One alarm, from its first raising until it is acknowledged and back to normal.

    Args:
        cause: what brought it; at most one alarm that has not ended has a given cause.
        raised_at: the first time; `times` counts that one and every return of the cause.
        again_at: when the cause came back last; None: it never did.
        shelved_at, shelved_until, shelved_by, shelved_reason: of a shelved alarm; None once it is
            back.

    Source: the states are those of ISA-18.2 / IEC 62682 (from memory).
    """

    id: int
    cause: str
    kind: str
    priority: str
    message: str
    raised_at: int
    carrier: str | None = None
    place: str | None = None
    returned_at: int | None = None
    acknowledged_at: int | None = None
    acknowledged_by: str | None = None
    ended_at: int | None = None
    times: int = 1
    again_at: int | None = None
    shelved_at: int | None = None
    shelved_until: int | None = None
    shelved_by: str | None = None
    shelved_reason: str | None = None

    @property
    def state(self) -> AlarmState:
        """Return where it stands: ended is both acknowledged and back to normal."""
        if self.ended_at is not None:
            return "ended"
        if self.shelved_until is not None:
            return "shelved"
        if self.returned_at is not None:
            return "returned_to_normal"
        return "unacknowledged" if self.acknowledged_at is None else "acknowledged"

    @property
    def active_since(self) -> int:
        """Return when its cause came the last time."""
        return self.raised_at if self.again_at is None else self.again_at


@dataclass(frozen=True, slots=True)
class AlarmStep:
    """What somebody, or time, did with an alarm.

    Args:
        step: came_back: the time it was shelved for was over.
        person: who; None for time.
        until, reason: of a shelving.
    """

    alarm: int
    step: AlarmAct
    at: int
    person: str | None = None
    until: int | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class NoticeRecord:
    """The notice of one alarm to one receiver.

    Args:
        target: stands for the receiver; its address holds secrets and is not stored.
        label: the receiver for people, without secrets.
        state: sending; sent; waiting: it failed and is tried again at `next_at`; failed: given up;
            unsure: the server stopped while sending; needless: over before it could be sent.
        claimed_at: when it was tried last.
        error: why it failed last.
    """

    alarm: int
    target: str
    label: str
    state: NoticeState
    attempts: int
    claimed_at: int
    next_at: int
    error: str


@dataclass(frozen=True, slots=True)
class LeaseRecord:
    """Who may do the job of the given name, until when."""

    name: str
    holder: str
    until: int


@dataclass(frozen=True, slots=True)
class PrintRecord:
    """One label that was printed.

    Args:
        stuck_on: what the label is for: carrier, bag, place, person or card.
        reprint: the same code had been printed for the same use before.
    """

    code: str
    layout: str
    stuck_on: str
    at: int
    person: str | None
    reprint: bool


@dataclass(frozen=True, slots=True)
class StationContext:
    """What a scan station has heard and is waiting with; `at` 0 is nothing yet."""

    station: str
    at: int = 0
    carrier: str | None = None
    action: str | None = None
    person: str | None = None
    options: Mapping[str, JsonValue] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ScanRecord:
    """One scan and its answer.

    Args:
        id: UUID made by the station.
        events: ids of the events it created.
        undone_by: id of the scan that took it back.
    """

    id: str
    station: str
    code: str
    at: int
    recorded_at: int
    content_hash: str
    tone: str
    answer: JsonValue
    events: tuple[str, ...] = ()
    undone_by: str | None = None


class ScanBrief(NamedTuple):
    """A scan as the station's strip shows it.

    Attributes:
        carrier: code of the carrier or the batch of boards it was about.
        changed: it created events.
        undone: it was taken back.
    """

    id: str
    code: str
    at: int
    tone: str
    title: str
    carrier: str | None
    changed: bool
    undone: bool


@dataclass(frozen=True, slots=True)
class BackupReport:
    """A backup copy that was written and read back.

    Args:
        bytes: its size.
        rows: rows by table.
    """

    path: Path
    bytes: int
    schema_version: int
    rows: Mapping[str, int]
