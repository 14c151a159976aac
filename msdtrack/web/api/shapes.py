"""The shapes of the answers, for the document; the tests hold the answers against them."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Generic, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

from msdtrack.exposure.events import Kind
from msdtrack.services.alarm_acknowledging import Change
from msdtrack.web.api.bodies import MakerBake
from msdtrack.web.api.fields import Msl, PlaceKind

T = TypeVar("T")

Time = Annotated[
    str, WithJsonSchema({"type": "string", "format": "date-time", "description": "UTC, with Z"})
]
Share = Annotated[float, Field(ge=0, description="share of the floor life")]


class Shape(BaseModel):
    """An object of an answer."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True)


class ListOf(Shape, Generic[T]):
    """One page of a list. `next` is the `after` of the page that follows, null on the last."""

    items: list[T]
    next: str | None


class FieldProblem(Shape):
    """What is wrong with one field."""

    field: str
    message: str


class Problem(Shape):
    """Why a request was refused; nothing was changed (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    code: str
    errors: list[FieldProblem] = []


class Part(Shape):
    """A component type."""

    number: str
    description: str
    msl: Msl
    body_mm: float | None
    family: str | None
    pins: int | None
    square: bool | None
    large_bga: bool
    stacked_die: bool
    compound_confirmed: bool
    label_floor_life_hours: float | None
    carrier_max_c: float | None
    max_bake_c: float | None
    peak_body_c: float | None
    maker_bake: MakerBake | None


class Place(Shape):
    """Where a carrier can be, with its air settings in force."""

    code: str
    name: str
    kind: PlaceKind
    assumed_temp_c: float
    assumed_rh_pct: float
    tolerance_c: float
    tolerance_rh_pct: float
    max_temp_c: float | None
    max_rh_pct: float | None


class Person(Shape):
    """Somebody with a badge, which may be no longer in use."""

    code: str
    name: str
    in_use: bool


class Policies(Shape):
    """The site's choices as of now, by name."""

    model_config = ConfigDict(extra="allow")


class Received(Shape):
    """The codes of a carrier and of its dry bag."""

    code: str
    bag: str


class FloorLife(Shape):
    """The floor life; hours of null are unlimited or unknown."""

    label_hours: float | None
    used_share: Share
    provisional_share: Share
    assumed_share: Share
    used_hours_at_label: float | None
    remaining_hours_now: Annotated[
        float | None, Field(description="at the present air of its place; null: no limit there")
    ]
    expires_at: Time | None


class Air(Shape):
    """Air: °C and % RH."""

    temp_c: float
    rh_pct: float


class Forecast(Shape):
    """The air that the time left assumes, and why it is assumed; null is measured."""

    air: Air | None
    missing: str | None


class At(Shape):
    """A moment."""

    at: Time


class Bakes(Shape):
    """The bakes of a carrier so far."""

    count: int
    hours_above_90: float


class HistoryConflict(Shape):
    """An event that contradicts the history."""

    event: str
    at: Time
    message: str


class State(Shape):
    """What a carrier is at a moment."""

    code: str
    part: str
    lot: str
    quantity: int
    bag: str | None
    place: str | None
    msl: Msl
    status: Literal["in_dry_bag", "exposed", "dry_storage", "baking", "on_board", "gone"]
    verdict: Literal["use", "do_not_use"]
    reasons: list[str]
    next_step: str
    floor_life: FloorLife
    forecast: Forecast
    shelf_life_ends: date | None
    dry_storage_reset: At | None
    opened_at: Time | None
    bakes: Bakes
    unknowns: list[str]
    conflicts: list[HistoryConflict]
    at: Time


class Cell(Shape):
    """A cell of the derating table; days of null: no limit at these conditions."""

    table: str
    level: str
    group: str
    temp_c: float
    rh_pct: float
    days: float | None


class Interval(Shape):
    """One line of a working."""

    from_: Annotated[Time, Field(alias="from")]
    to: Time
    place: str | None
    raw: Air | None
    guarded: Air | None
    cell: Cell | None
    hours: float
    share: Share
    basis: Literal["measured", "assumed", "dry_storage", "provisional", "bake"]
    rate_from: str
    note: str


class Working(Shape):
    """The intervals behind a used share; their shares sum to it."""

    code: str
    at: Time
    used_share: Share
    intervals: list[Interval]
    before_reset: list[Interval]


class BakeOption(Shape):
    """A bake that may be done."""

    temp_c: float
    max_rh_pct: float | None
    hours: float
    source: str


class RefusedBake(Shape):
    """A bake that may not be done, and why."""

    temp_c: float | None
    why: str


class Bake(Shape):
    """Advice on a bake."""

    code: str
    at: Time
    needed: bool
    reasons: list[str]
    column: Literal["over_72h", "up_to_72h"] | None
    options: list[BakeOption]
    chosen: BakeOption | None
    refused: list[RefusedBake]
    cautions: list[str]


class LoggedEvent(Shape):
    """An event of the log, with the fields that its kind uses."""

    model_config = ConfigDict(extra="allow")

    id: str
    carrier: str
    kind: Kind
    at: Time
    recorded_at: Time


class RecordedEvent(Shape):
    """What became of an event; `child` is the new carrier of a split."""

    id: str
    result: Literal["created", "duplicate"]
    carrier: str
    child: str | None = None
    state: State


class Recorded(Shape):
    """What became of events."""

    results: list[RecordedEvent]


class RefusedRow(Shape):
    """A reading that was not taken; rows count from 1, lines of a file with its header."""

    row: int
    message: str


class Readings(Shape):
    """What became of readings."""

    accepted: int
    duplicates: int
    refused: list[RefusedRow]


class WatchList(Shape):
    """The watch list as of a moment, most urgent first."""

    items: list[State]
    next: str | None
    at: Time


class LogLine(LoggedEvent):
    """An event of the log; `stands` is what it says once corrected, null if it was voided."""

    stands: LoggedEvent | None
    corrections: list[LoggedEvent]


class ScanChoice(Shape):
    """Something a scan may be answered with."""

    code: str
    text: str


class Countdown(Shape):
    """A clock that runs out."""

    name: str
    ends_at: Time


class Scan(Shape):
    """What a scan did, for the person at the station; `tone` is also its sound."""

    message: str
    tone: Literal["ok", "ask", "refuse"]
    carrier: str | None
    state: State | None
    title: str
    next_step: str
    time_left: str
    caution: str
    choices: list[ScanChoice]
    countdowns: list[Countdown]
    series: list[str]
    scan_id: str
    person: str | None
    action: str | None


class Alarm(Shape):
    """One alarm, by the states of ISA-18.2 / IEC 62682."""

    id: int
    kind: str
    priority: str
    state: Literal["unacknowledged", "acknowledged", "returned_to_normal", "shelved", "ended"]
    message: str
    cause: str
    carrier: str | None
    place: str | None
    raised_at: Time
    times: int
    returned_at: Time | None
    acknowledged_at: Time | None
    acknowledged_by: str | None
    ended_at: Time | None
    again_at: Annotated[Time | None, Field(description="when its cause came back last")]
    shelved_at: Time | None
    shelved_until: Annotated[Time | None, Field(description="it comes back by itself then")]
    shelved_by: str | None
    shelved_reason: str | None
    stale: Annotated[bool, Field(description="it has stood for 24 h and says nothing new")]


class LeftAlarm(Shape):
    """An alarm that was not acknowledged, as it changed after it was listed."""

    change: Annotated[Change, Field(description="what differs from what was seen")]
    alarm: Annotated[Alarm, Field(description="as it is now")]


class AcknowledgedAlarms(Shape):
    """What came of acknowledging alarms together."""

    acknowledged: list[Alarm]
    left: list[LeftAlarm]


class Health(Shape):
    """How the server is."""

    model_config = ConfigDict(extra="allow")
