"""What the calls take, events excepted."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from msdtrack.web.api.fields import (
    LAST_ID,
    BodyMm,
    CarrierKind,
    Code,
    Day,
    Hours,
    LongText,
    Moment,
    Msl,
    Name,
    PartNumber,
    PastMoment,
    Pieces,
    PlaceKind,
    RequestId,
    RhPct,
    Strict,
    TempC,
    Text,
)

Pins = Annotated[int, Field(ge=1, le=20_000)]
HotC = Annotated[float, Field(gt=0, le=400, description="°C")]
BakeHours = Annotated[float, Field(gt=0, le=8760, description="hours")]
FloorTempC = Annotated[float, Field(ge=-20, le=60, description="°C")]
Layout = Annotated[Text, Field(description="name of a layout for carriers: 62x29 or 100x50")]
DEFAULT_LAYOUT = "62x29"
Description = Annotated[str, Field(max_length=200)]


def _no_default(schema: dict[str, Any]) -> None:
    schema.pop("default", None)


# Its default is never looked at: what is left out of a change stays as it is.
_LEFT_OUT = Field(json_schema_extra=_no_default)


class MakerBake(Strict):
    """The component maker's own bake."""

    temp_c: HotC
    hours: BakeHours
    max_rh_pct: RhPct | None = None
    once: bool = False


class _PartFacts(Strict):
    body_mm: BodyMm | None = None
    family: Text | None = None
    pins: Pins | None = None
    square: bool | None = None
    label_floor_life_hours: Hours | None = None
    carrier_max_c: HotC | None = None
    max_bake_c: HotC | None = None
    peak_body_c: HotC | None = None
    maker_bake: MakerBake | None = None


class NewPart(_PartFacts):
    """A component type."""

    number: PartNumber
    description: Description
    msl: Msl
    large_bga: bool = False
    stacked_die: bool = False
    compound_confirmed: bool = False
    id: RequestId | None = None


class PartChanges(_PartFacts):
    """Facts to correct; those left out stay, and null is unknown. They hold for all time."""

    description: Annotated[Description, _LEFT_OUT] = ""
    msl: Annotated[Msl, _LEFT_OUT] = "1"
    large_bga: Annotated[bool, _LEFT_OUT] = False
    stacked_die: Annotated[bool, _LEFT_OUT] = False
    compound_confirmed: Annotated[bool, _LEFT_OUT] = False
    person: Text | None = None
    reason: LongText | None = None


class _Air(Strict):
    assumed_temp_c: FloorTempC | None = None
    assumed_rh_pct: RhPct | None = None
    tolerance_c: Annotated[float, Field(ge=0, le=20, description="°C")] | None = None
    tolerance_rh_pct: RhPct | None = None
    max_temp_c: HotC | None = None
    max_rh_pct: RhPct | None = None


class NewPlace(_Air):
    """Where a carrier can be. `max_temp_c` and `max_rh_pct` are what an oven can do."""

    name: Name
    kind: PlaceKind
    id: RequestId | None = None


class PlaceChanges(_Air):
    """What to change from now on; what is left out stays, null goes back to the default."""

    name: Annotated[Name, _LEFT_OUT] = ""
    kind: Annotated[PlaceKind, _LEFT_OUT] = "floor"
    person: Text | None = None
    reason: LongText | None = None


class NewCarrier(Strict):
    """A carrier as received; `msl` and below are what its label says otherwise than the part."""

    part: PartNumber
    lot: Text
    quantity: Pieces
    kind: CarrierKind
    bag: Code | None = None
    sealed_on: Day | None = None
    shelf_life_ends: Day | None = None
    opened_at: PastMoment | None = None
    place: Code | None = None
    received_at: PastMoment | None = None
    person: Text | None = None
    msl: Msl | None = None
    body_mm: BodyMm | None = None
    label_floor_life_hours: Hours | None = None
    id: RequestId | None = None


class NewPerson(Strict):
    """Somebody with a badge."""

    name: Name


class PersonChanges(Strict):
    """What to change of a person from now on; what is left out stays."""

    name: Annotated[Name, _LEFT_OUT] = ""
    in_use: Annotated[bool, _LEFT_OUT] = True
    person: Text
    reason: LongText


class NewReading(Strict):
    """Temperature and relative humidity of a place. Humidity may be empty for ovens."""

    place: Code
    at: PastMoment
    temp_c: TempC
    rh_pct: RhPct | None = None
    replaces: Annotated[
        bool, Field(description="these values take the place of others for the same second")
    ] = False


class NewScan(Strict):
    """One scan of a station."""

    id: RequestId
    station: Text
    code: Annotated[str, Field(min_length=1, max_length=200)]
    at: PastMoment | None = None


class LabelOrder(Strict):
    """Labels to print in one PDF, a page each."""

    codes: Annotated[list[Code], Field(min_length=1, max_length=1000)]
    layout: Layout = DEFAULT_LAYOUT
    dpi: Literal[203, 300, 600] = 300
    both: Annotated[bool, Field(description="two of each: for the bag and for the carrier")] = False
    person: Text | None = None


class Acknowledgement(Strict):
    """Who has seen the alarm."""

    person: Text


class SeenAlarm(Strict):
    """An alarm as it was listed."""

    id: Annotated[int, Field(ge=0, le=LAST_ID)]
    state: Literal["unacknowledged", "returned_to_normal"]
    priority: Literal["high", "medium", "low"]
    times: Annotated[int, Field(ge=1, le=LAST_ID)]


class Acknowledgements(Strict):
    """Who has seen these alarms, and as what."""

    person: Text
    alarms: Annotated[list[SeenAlarm], Field(min_length=1, max_length=200)]


class Shelving(Strict):
    """Who puts the alarm aside, why, and until when: for some hours, or until a moment."""

    person: Text
    reason: LongText
    hours: Annotated[float | None, Field(ge=1, le=24, description="hours")] = None
    until: Moment | None = None

    @model_validator(mode="after")
    def _one_of_both(self) -> Shelving:
        if (self.hours is None) == (self.until is None):
            raise ValueError("give either hours or until")
        return self


class Unshelving(Strict):
    """Who takes the alarm off the shelf."""

    person: Text


class PolicyChange(Strict):
    """One choice of the site, from now on."""

    name: Text
    value: bool | int | float | None
    person: Text
    reason: LongText
