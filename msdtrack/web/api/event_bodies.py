"""The kinds of event as they are sent, and how they become what the services record."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal, get_args

from pydantic import (
    Discriminator,
    Field,
    RootModel,
    Tag,
    ValidationError,
    ValidationInfo,
    create_model,
    field_validator,
)

from msdtrack.errors import FieldError
from msdtrack.exposure.events import Kind
from msdtrack.services.event_recording import NewEvent
from msdtrack.web.api.fields import (
    Code,
    LongText,
    PastMoment,
    Pieces,
    RequestId,
    Strict,
    TempC,
    Text,
)
from msdtrack.web.api.validation import MANY, ONE, bad_input, findings

Hic = Annotated[
    dict[Literal["5", "10", "60"], Literal["dry", "humid", "missing"]],
    Field(description="what each spot of the humidity indicator card shows"),
]
BakeTempC = Annotated[TempC, Field(ge=20)]


class _Event(Strict):
    id: RequestId
    carrier: Code
    at: PastMoment | None = None
    person: Text | None = None
    place: Code | None = None
    station: Text | None = None


class Open(_Event):
    """The dry bag was opened; opens all carriers that share it unless `only_this`."""

    kind: Literal["open"]
    hic: Hic | None = None
    only_this: bool = False


class Close(_Event):
    """It was sealed in a dry bag. Those closed at one moment in one call share the bag."""

    kind: Literal["close"]
    desiccant: Literal["fresh", "reused"]
    hic: Literal["fresh", "kept"]
    seal: Literal["heat", "clip"]


class Move(_Event):
    """It was brought to a place."""

    kind: Literal["move"]
    place: Code


class BakeStart(_Event):
    """It was put in an oven, out of its bag."""

    kind: Literal["bake_start"]
    place: Code
    temp_c: BakeTempC


class BakeEnd(_Event):
    """It was taken out of the oven, to `place` or to where it was before."""

    kind: Literal["bake_end"]


class Split(_Event):
    """Pieces were put on a carrier of their own, which gets a code."""

    kind: Literal["split"]
    quantity: Pieces


class Join(_Event):
    """All its pieces were joined or spliced into another carrier of the part, and it is gone."""

    kind: Literal["join"]
    into: Code


class Take(_Event):
    """Pieces were taken off it."""

    kind: Literal["take"]
    quantity: Pieces


class Load(_Event):
    """It was put on a machine."""

    kind: Literal["load"]


class PlaceOnBoard(_Event):
    """Pieces were placed on a batch of boards: a placement with a code of its own.

    What happens to the batch is recorded under /boards. `place` is where the boards are, if they
    have been moved without a record.
    """

    kind: Literal["place_on_board"]
    quantity: Pieces
    board: Code


class Hold(_Event):
    """Quality keeps it back."""

    kind: Literal["hold"]
    reason: LongText


class Release(_Event):
    """Quality gives it free."""

    kind: Literal["release"]
    reason: LongText


class Scrap(_Event):
    """It was scrapped."""

    kind: Literal["scrap"]
    reason: LongText | None = None


class Correct(_Event):
    """An earlier event was wrong: `fields` says what of it, `void` that it never happened."""

    kind: Literal["correct"]
    event: RequestId
    reason: LongText
    person: Text
    fields: Annotated[
        dict[str, Any] | None,
        Field(description="fields of the corrected event's kind, `id`, `carrier`, `kind` excepted"),
    ] = None
    void: Annotated[bool, Field(validate_default=True)] = False

    @field_validator("void")
    @classmethod
    def _one_of_both(cls, void: bool, info: ValidationInfo) -> bool:
        if void == bool(info.data.get("fields")) and "fields" in info.data:
            raise ValueError("give either the fields to change, or void: true")
        return void


AnyEvent = Annotated[
    Open | Close | Move | BakeStart | BakeEnd | Split | Join | Take | Load | PlaceOnBoard | Hold
    | Release | Scrap | Correct,
    Field(discriminator="kind"),
]  # fmt: skip


def _one_or_many(sent: Any) -> str:
    return MANY if isinstance(sent, list) else ONE


class Events(RootModel[
    Annotated[
        Annotated[AnyEvent, Tag(ONE)]
        | Annotated[list[AnyEvent], Field(min_length=1, max_length=1000), Tag(MANY)],
        Discriminator(_one_or_many),
    ]
]):  # fmt: skip
    """One event, or a list of them, of which all or none are recorded."""

    @property
    def listed(self) -> list[AnyEvent]:
        """The events, also where there is only one."""
        return self.root if isinstance(self.root, list) else [self.root]


def new_events(
    events: Events, kind_of: Callable[[str, str], Kind | None], now: int
) -> list[NewEvent]:
    """Return what the services record.

    Args:
        events: as sent.
        kind_of: returns the kind of an event on a carrier's log by carrier and id, None if it is
            not there.
        now: the present moment.

    Raises:
        BadInput: a correction names fields that the corrected event's kind does not have, or
            values that they can't have.
    """
    sent = {event.id: Kind(event.kind) for event in events.listed}
    errors: list[FieldError] = []
    recorded = []
    for n, event in enumerate(events.listed):
        given = event.model_dump(exclude_none=True)
        if isinstance(event, Close):
            given["new_hic"] = given.pop("hic")
        if isinstance(event, Correct) and event.fields:
            kind = sent.get(event.event) or kind_of(event.carrier, event.event)
            where = f"{n}.fields." if isinstance(events.root, list) else "fields."
            try:
                given["fields"] = _corrected(kind, event.fields, now)
            except ValidationError as error:
                errors += findings(error, where)
        recorded.append(NewEvent(**given))
    if errors:
        raise bad_input(errors)
    return recorded


def _corrected(kind: Kind | None, fields: dict[str, Any], now: int) -> dict[str, Any]:
    """Return the corrected fields by the names that the log has for them."""
    if kind is None:
        return fields
    model = _CORRECTIONS.get(kind, _CORRECTION_OF_OTHERS)
    checked = model.model_validate(fields, context={"now": now})
    named = checked.model_dump(exclude_unset=True)
    if kind is Kind.CLOSE and "hic" in named:
        named["new_hic"] = named.pop("hic")
    return named


def _correction_of(model: type[_Event]) -> type[Strict]:
    """Return the model of the fields that a correction of this kind of event may change."""
    fixed = {"id", "carrier", "kind", "station", "into", "board", "event", "fields", "void"}
    changeable = {
        name: Annotated[info.annotation, Field(default=None), *info.metadata]
        for name, info in model.model_fields.items()
        if name not in fixed
    }
    fields: dict[str, Any] = {} if model is Correct else changeable
    return create_model(f"{model.__name__}Fields", __base__=Strict, **fields)


_CORRECTIONS = {
    Kind(get_args(model.model_fields["kind"].annotation)[0]): _correction_of(model)
    for model in get_args(get_args(AnyEvent)[0])
}
_CORRECTION_OF_OTHERS = _correction_of(_Event)
