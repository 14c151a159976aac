"""Batches of boards: put on file, their state, and what happens to them between reflows."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, RootModel, ValidationInfo, field_validator

from msdtrack.services import answers, boards
from msdtrack.services.board_states import BatchState, BoardBake, PlacementState
from msdtrack.services.boards import NewBatch
from msdtrack.services.event_recording import NewEvent
from msdtrack.times import utc_text
from msdtrack.web.api import shapes
from msdtrack.web.api.calls import Calls
from msdtrack.web.api.event_bodies import BakeTempC, Hic
from msdtrack.web.api.fields import (
    Code,
    LongText,
    Moment,
    Page,
    PastMoment,
    Pieces,
    Query,
    RequestId,
    Strict,
    TempC,
    Text,
)
from msdtrack.web.api.paging import page_of
from msdtrack.web.api.shapes import ListOf, Shape, Share, Time
from msdtrack.web.api.things import log_answer

calls = Calls()

PeakC = Annotated[TempC, Field(ge=100, description="highest body temperature of the pass, °C")]


class NewBoards(Strict):
    """A batch of boards."""

    name: Annotated[Text, Field(max_length=80)]
    boards: Annotated[Pieces, Field(le=1_000_000)]
    place: Code | None = None
    person: Text | None = None
    id: RequestId | None = None


class _BatchEvent(Strict):
    id: RequestId
    at: PastMoment | None = None
    person: Text | None = None
    place: Code | None = None
    station: Text | None = None


class BoardsReflow(_BatchEvent):
    """The boards went through a reflow; `last`: no other follows, and the account ends."""

    kind: Literal["reflow"]
    peak_c: PeakC | None = None
    last: bool = False


class BoardsMove(_BatchEvent):
    """The boards were brought to a place."""

    kind: Literal["move"]
    place: Code


class BoardsOpen(_BatchEvent):
    """Their dry bag was opened."""

    kind: Literal["open"]
    hic: Hic | None = None


class BoardsClose(_BatchEvent):
    """They were sealed in a dry bag."""

    kind: Literal["close"]
    desiccant: Literal["fresh", "reused"]
    hic: Literal["fresh", "kept"]
    seal: Literal["heat", "clip"]


class BoardsBakeStart(_BatchEvent):
    """They were put in an oven, no hotter than every component on them allows."""

    kind: Literal["bake_start"]
    place: Code
    temp_c: BakeTempC


class BoardsBakeEnd(_BatchEvent):
    """They were taken out of the oven; finished boards need `place`, where they go."""

    kind: Literal["bake_end"]


class BoardsHold(_BatchEvent):
    """Quality keeps them back."""

    kind: Literal["hold"]
    reason: LongText


class BoardsRelease(_BatchEvent):
    """Quality gives them free."""

    kind: Literal["release"]
    reason: LongText


class BoardsScrap(_BatchEvent):
    """They were scrapped."""

    kind: Literal["scrap"]
    reason: LongText | None = None


class BoardsFields(Strict):
    """What a correction changes."""

    at: PastMoment | None = None
    place: Code | None = None
    temp_c: BakeTempC | None = None
    peak_c: PeakC | None = None
    last: bool | None = None
    quantity: Pieces | None = None
    reason: LongText | None = None
    person: Text | None = None


class BoardsCorrect(_BatchEvent):
    """An earlier event of the batch, or a placing on it, was wrong."""

    kind: Literal["correct"]
    event: RequestId
    reason: LongText
    person: Text
    fields: BoardsFields | None = None
    void: Annotated[bool, Field(validate_default=True)] = False

    @field_validator("void")
    @classmethod
    def _one_of_both(cls, void: bool, info: ValidationInfo) -> bool:
        fields = info.data.get("fields")
        changed = fields is not None and bool(fields.model_dump(exclude_none=True))
        if void == changed and "fields" in info.data:
            raise ValueError("give either the fields to change, or void: true")
        return void


class BoardsEvent(RootModel[
    Annotated[
        BoardsReflow | BoardsMove | BoardsOpen | BoardsClose | BoardsBakeStart | BoardsBakeEnd
        | BoardsHold | BoardsRelease | BoardsScrap | BoardsCorrect,
        Field(discriminator="kind"),
    ]
]):  # fmt: skip
    """Something that happened to all boards of a batch."""


class BatchQuery(Query):
    """A batch as of a moment."""

    at: Annotated[Moment | None, Field(description="the moment asked about, else now")] = None
    oven: Annotated[Code | None, Field(description="place code of the oven for its bake")] = None


class Component(Shape):
    """One placement on a batch; after the last reflow its share is counted from there."""

    code: str
    carrier: str
    part: str
    msl: str
    quantity: int
    placed_at: Time
    used_share: Share
    remaining_hours_now: float | None
    passes: int
    reasons: list[str]
    rework_bake_needed: bool
    rework_why: str


class BatchBakeOption(Shape):
    """A bake that every component allows."""

    temp_c: float
    max_rh_pct: float | None
    hours: float


class BatchBake(Shape):
    """The bakes of a batch."""

    needed: bool
    max_c: float | None
    options: list[BatchBakeOption]
    refused: list[shapes.RefusedBake]
    cautions: list[str]


class Batch(Shape):
    """A batch: the worst of its components."""

    code: str
    name: str
    boards: int
    place: str | None
    status: Literal["empty", "on_board", "exposed", "in_dry_bag", "dry_storage", "baking",
                    "finished", "gone"]  # fmt: skip
    verdict: Literal["use", "do_not_use"]
    reasons: list[str]
    next_step: str
    used_share: Share
    remaining_hours_now: float | None
    expires_at: Time | None
    passes: int
    peak_c: float | None
    finished_at: Time | None
    rework_bake_needed: bool
    bake: BatchBake
    components: list[Component]
    at: Time


class RecordedOnBatch(Shape):
    """What became of an event of a batch."""

    id: str
    result: Literal["created", "duplicate"]
    state: Batch


@calls.add("POST", "/boards", Batch, created=True)
def create_batch(body: NewBoards, now: int) -> tuple[dict[str, Any], int]:
    """Put a batch of boards on file and give it its code."""
    batch, created = boards.create(NewBatch(**body.model_dump(exclude={"id"})), now, body.id)
    return batch_answer(boards.batch_state(batch.code, now)), 201 if created else 200


@calls.add("GET", "/boards", ListOf[Batch])
def list_batches(query: Page, now: int) -> dict[str, Any]:
    """Return the states of batches by code."""
    found = boards.batches(now, query.after, query.limit + 1)
    return page_of(found, query.limit, lambda one: one.batch.code, batch_answer)


@calls.add("GET", "/boards/<code>", Batch)
def show_batch(code: str, query: BatchQuery, now: int) -> dict[str, Any]:
    """Return the state of a batch: the worst share, the least time, what it must not see."""
    return batch_answer(boards.batch_state(code, now, query.at, query.oven))


@calls.add("GET", "/boards/<code>/events", ListOf[shapes.LogLine])
def show_batch_log(code: str) -> dict[str, Any]:
    """Return what happened to a batch, placings among it, each once, in order of receipt."""
    return {"items": [log_answer(line) for line in boards.log_of(code)], "next": None}


@calls.add("POST", "/boards/<code>/events", RecordedOnBatch, created=True)
def record_batch_event(code: str, body: BoardsEvent, now: int) -> tuple[dict[str, Any], int]:
    """Record what happened to a batch on every placement on it, or on none.

    What its boards can't see as they are is refused: a reflow after the last one, a bake hotter
    than a component allows, anything before something is placed on them. A reflow while they are
    on hold is kept, and is a `history_conflict` until they are released or it is corrected.
    """
    given = body.root.model_dump(exclude_none=True)
    if isinstance(body.root, BoardsClose):
        given["new_hic"] = given.pop("hic")
    if isinstance(body.root, BoardsCorrect) and body.root.fields is not None:
        given["fields"] = body.root.fields.model_dump(exclude_none=True)
    recorded = boards.record(code, NewEvent(carrier="", **given), now)
    answer = {"id": recorded.id, "result": recorded.result, "state": batch_answer(recorded.state)}
    return answer, 201 if recorded.result == "created" else 200


def batch_answer(state: BatchState) -> dict[str, Any]:
    """Return a batch."""
    step, left = state.next_step, state.remaining_h
    text = step.text if step.at is None else step.text.replace("{at}", utc_text(step.at))
    return {
        "code": state.batch.code,
        "name": state.batch.name,
        "boards": state.batch.boards,
        "place": state.place,
        "status": state.status,
        "verdict": state.verdict,
        "reasons": list(state.reasons),
        "next_step": text,
        "used_share": float(state.used_share),
        "remaining_hours_now": None if left is None else float(left),
        "expires_at": None if state.expires_at is None else utc_text(state.expires_at),
        "passes": state.passes,
        "peak_c": state.peak_c,
        "finished_at": None if state.finished_at is None else utc_text(state.finished_at),
        "rework_bake_needed": state.needs_rework_bake,
        "bake": _bake(state.bake),
        "components": [_component(one) for one in state.placements],
        "at": utc_text(state.at),
    }


def _bake(bake: BoardBake) -> dict[str, Any]:
    return {
        "needed": bake.needed,
        "max_c": bake.max_c,
        "options": [
            {"temp_c": o.temp_c, "max_rh_pct": o.max_rh_pct, "hours": float(o.hours)}
            for o in bake.options
        ],
        "refused": [{"temp_c": temp_c, "why": why} for temp_c, why in bake.refused],
        "cautions": list(bake.cautions),
    }


def _component(one: PlacementState) -> dict[str, Any]:
    told = answers.state_answer(one.counting)
    return {
        "code": one.placed.code,
        "carrier": one.placed.giver,
        "part": told["part"],
        "msl": told["msl"],
        "quantity": one.state.ledger.quantity,
        "placed_at": utc_text(one.placed.event.at),
        "used_share": told["floor_life"]["used_share"],
        "remaining_hours_now": told["floor_life"]["remaining_hours_now"],
        "passes": one.state.ledger.passes,
        "reasons": [reason for reason in one.state.reasons if reason != "gone"],
        "rework_bake_needed": one.rework.needs_bake,
        "rework_why": one.rework.why,
    }
