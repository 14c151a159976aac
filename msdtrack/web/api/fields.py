"""The types of the fields that requests are made of: strict, bounded, and named in plain words."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal
from uuid import UUID

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    PlainValidator,
    ValidationInfo,
    WithJsonSchema,
)

from msdtrack.errors import BadInput
from msdtrack.services.event_recording import AHEAD_S
from msdtrack.services.fact_checks import SHORTEST_LIFE_H
from msdtrack.times import parse_time, utc_text

EARLIEST = parse_time("1990-01-01T00:00:00Z")
LATEST = parse_time("2200-01-01T00:00:00Z")
"""Moments outside of these are slips of the sender."""

LAST_ID = 2**31 - 1
"""No alarm has a larger number."""


class Strict(BaseModel):
    """A part of a request: unknown fields, loose types, NaN and infinity are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def _moment(value: object) -> int:
    if not isinstance(value, str):
        raise ValueError("give a time as text, like 2026-05-04T13:30:00+02:00")
    try:
        moment = parse_time(value)
    except BadInput as error:
        raise ValueError(error.message) from error
    if not EARLIEST <= moment < LATEST:
        raise ValueError("give a time between 1990 and 2199")
    return moment


def _not_ahead(moment: int, info: ValidationInfo) -> int:
    now = info.context["now"] if info.context else LATEST
    if moment > now + AHEAD_S:
        raise ValueError(
            "more than 2 minutes ahead of the server's clock, which shows "
            f"{utc_text(now)}: check the sender's clock"
        )
    return moment


def _day(day: date) -> date:
    if not 1990 <= day.year < 2200:
        raise ValueError("give a date between 1990 and 2199")
    return day


def _uuid(text: str) -> str:
    try:
        return str(UUID(text))
    except ValueError as error:
        raise ValueError("give a UUID, made new for each thing that is sent") from error


_MOMENT_SCHEMA = {
    "type": "string",
    "format": "date-time",
    "description": "ISO 8601 with offset, on a whole second",
    "examples": ["2026-05-04T13:30:00+02:00"],
}

Moment = Annotated[int, PlainValidator(_moment), WithJsonSchema(_MOMENT_SCHEMA)]
"""A moment of any time: seconds UTC, sent as ISO 8601 with offset."""

PastMoment = Annotated[
    int,
    PlainValidator(_moment),
    AfterValidator(_not_ahead),
    WithJsonSchema(_MOMENT_SCHEMA),
]
"""A moment that a write is dated with: at most two minutes ahead."""

Day = Annotated[date, AfterValidator(_day)]

RequestId = Annotated[
    str, AfterValidator(_uuid), WithJsonSchema({"type": "string", "format": "uuid"})
]
"""A UUID made by the client, in its canonical form."""

# A control character in a name is a slip of the sender, and NUL can't be stored.
_PRINTABLE = r"^[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f][^\x00-\x1f\x7f]*$"

Text = Annotated[str, Field(max_length=200, pattern=_PRINTABLE)]
LongText = Annotated[str, Field(max_length=1000, pattern=_PRINTABLE)]
Code = Annotated[str, Field(max_length=40, pattern=_PRINTABLE)]
"""The code of a carrier, a bag, a place or a person, as printed."""

Name = Annotated[str, Field(max_length=60, pattern=_PRINTABLE)]
PartNumber = Name
Pieces = Annotated[int, Field(ge=1, le=1_000_000_000)]
BodyMm = Annotated[float, Field(gt=0, le=100, description="mm")]
Hours = Annotated[float, Field(gt=SHORTEST_LIFE_H, le=87_600, description="hours")]
TempC = Annotated[float, Field(ge=-60, le=300, description="°C")]
RhPct = Annotated[float, Field(ge=0, le=100, description="% RH")]

Msl = Literal["1", "2", "2a", "3", "4", "5", "5a", "6"]
CarrierKind = Literal["reel", "tray", "tube", "strip"]
PlaceKind = Literal["store", "floor", "line", "cabinet", "oven"]


class Query(BaseModel):
    """The query of a request, which is text: numbers are read from their digits, unknown names are
    refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class NoQuery(Query):
    """A call that takes no query."""


Limit = Annotated[int, Field(ge=1, le=1000, description="how many at most")]


class Page(Query):
    """One page of a list."""

    limit: Limit = 100
    after: Annotated[
        Text | None, Field(description="`next` of the page before; left out: the first page")
    ] = None


class AsOf(Query):
    """A state as of a moment."""

    at: Annotated[
        Moment | None, Field(description="the moment asked about, now if left out; may lie ahead")
    ] = None
    known_at: Annotated[
        Moment | None, Field(description="only what had been received by then counts")
    ] = None
