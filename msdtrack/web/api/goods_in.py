"""Goods-in by suppliers' labels, makers' parts, and codes on photos."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any, Literal

from flask import abort, request
from pydantic import Field, StringConstraints

from msdtrack.services import goods_in, maker_parts, photo
from msdtrack.services.goods_in import Label, Reading
from msdtrack.services.maker_parts import MakerPartRecord
from msdtrack.web.api.calls import Calls
from msdtrack.web.api.fields import (
    BodyMm,
    Code,
    Hours,
    LongText,
    Msl,
    PartNumber,
    Query,
    RequestId,
    Strict,
    Text,
)
from msdtrack.web.api.shapes import ListOf, Shape

calls = Calls()

PICTURES = ("image/jpeg", "image/png")
MOST_SCANS = 40

Scan = Annotated[
    str,
    Field(
        min_length=1, max_length=4000, description="as the scanner typed it, control characters too"
    ),
]
Name = Annotated[str, StringConstraints(min_length=1, max_length=400)]
Answer = Annotated[str, Field(max_length=400)]


class SentLabel(Strict):
    """A supplier's label: its scans so far, and what was answered by the names of questions."""

    scans: Annotated[list[Scan], Field(max_length=MOST_SCANS)]
    answers: Annotated[dict[Name, Answer], Field(max_length=60)] = Field(default_factory=dict)
    follows: Annotated[
        Code | None, Field(description="the carrier before, if this may be a bag of its lot")
    ] = None

    def label(self) -> Label:
        """Return it as the service takes it."""
        return Label(tuple(self.scans), dict(self.answers), self.follows)


class LabelToRead(SentLabel):
    """A label to be read; nothing is written."""

    ask: Annotated[
        Name | None, Field(description="name of a question to ask again, to change its answer")
    ] = None


class LabelToReceive(SentLabel):
    """A label whose reading was ready and has been confirmed."""

    id: RequestId


class Told(Shape):
    """One line of what is read back; `name` asks for it again."""

    name: str
    words: str
    value: str
    source: Literal["label", "file", "said", "tables"]


class Option(Shape):
    """An answer that is offered."""

    value: str
    text: str


class Question(Shape):
    """What must be answered next."""

    name: str
    text: str
    kind: Literal["choice", "text", "day", "number", "whole", "part"]
    hint: str
    options: list[Option]
    default: Annotated[str | None, Field(description="the answer of a bare Enter")]
    given: Annotated[dict[str, str] | None, Field(description="fields of the form of a part")]


class LabelReading(Shape):
    """What a label says; `scans` and `answers` are those to send with the next scan."""

    told: list[Told]
    missing: list[Literal["part", "lot", "quantity"]]
    question: Question | None
    ready: bool
    at_once: bool
    cautions: list[str]
    scans: list[str]
    answers: dict[str, str]


class ReceivedGoods(Shape):
    """A carrier that was received."""

    code: str
    bag: str
    part: str
    lot: str
    quantity: int


class PhotoCode(Shape):
    """One code on a photo, as a scanner would type it; symbology as in ISO/IEC 15424."""

    text: str
    symbology: str


class PhotoCodes(Shape):
    """The codes on a photo, whole 2D labels first, then from top to bottom."""

    codes: list[PhotoCode]


class MakerPart(Shape):
    """A maker's part behind an internal number; facts of null are as the part's."""

    id: int
    part: str
    maker_number: str
    supplier: str
    msl: Msl | None
    body_mm: float | None
    label_floor_life_hours: float | None


class NewMakerPart(Strict):
    """A maker's part, with what it has otherwise than the internal number."""

    part: PartNumber
    maker_number: PartNumber
    supplier: Annotated[str, Field(max_length=40, pattern=r"^[^\x00-\x1f\x7f]*$")] = ""
    msl: Msl | None = None
    body_mm: BodyMm | None = None
    label_floor_life_hours: Hours | None = None


class MakerPartChanges(Strict):
    """Facts to correct, for all time; null is as the part."""

    msl: Msl | None = None
    body_mm: BodyMm | None = None
    label_floor_life_hours: Hours | None = None
    person: Text
    reason: LongText


class MakerPartQuery(Query):
    """Whose makers' parts."""

    part: PartNumber


@calls.add("POST", "/goods-in/parse", LabelReading)
def parse_label(body: LabelToRead, now: int) -> dict[str, Any]:
    """Read a supplier's label: what it says, and what is missing or must be asked.

    Send every scan of the label in order: a 2D label in format 06 of ISO/IEC 15434, bars with one
    data identifier each, or plain codes. Nothing is written. 422 `bad_label` refuses the last scan.
    """
    return _reading(goods_in.read_label(body.label(), now, body.ask))


@calls.add("POST", "/goods-in", ReceivedGoods, created=True)
def receive_goods(body: LabelToReceive, now: int) -> tuple[dict[str, Any], int]:
    """Receive the carrier of a label whose reading is `ready`; all is written or nothing."""
    done, created = goods_in.receive(body.label(), now, body.id)
    return asdict(done), 201 if created else 200


@calls.add("POST", "/photos", PhotoCodes, takes=dict.fromkeys(PICTURES))
def read_photo() -> dict[str, Any]:
    """Read the codes on a photo; the body is the JPEG or PNG file. The photo is not kept."""
    if request.mimetype not in PICTURES:
        abort(415, f"Send the picture as {' or '.join(PICTURES)}.")
    if (request.content_length or 0) > photo.MAX_BYTES:
        abort(413, f"The picture has more than {photo.MAX_BYTES // 1024**2} MB.")
    return {"codes": [asdict(one) for one in photo.read_photo(request.get_data())]}


@calls.add("POST", "/maker-parts", MakerPart, created=True)
def create_maker_part(body: NewMakerPart, now: int) -> tuple[dict[str, Any], int]:
    """Put a maker's part on file for an internal number."""
    return asdict(maker_parts.link(MakerPartRecord(0, **body.model_dump()), now)), 201


@calls.add("GET", "/maker-parts", ListOf[MakerPart])
def list_maker_parts(query: MakerPartQuery) -> dict[str, Any]:
    """Return the makers' parts of an internal number."""
    return {"items": [asdict(one) for one in maker_parts.of_part(query.part)], "next": None}


@calls.add("PATCH", "/maker-parts/<int:number>", MakerPart)
def change_maker_part(number: int, body: MakerPartChanges, now: int) -> dict[str, Any]:
    """Correct facts of a maker's part, and of the carriers that came as it."""
    changes = body.model_dump(exclude_unset=True, exclude={"person", "reason"})
    return asdict(maker_parts.correct(number, changes, now, body.person, body.reason))


def _reading(reading: Reading) -> dict[str, Any]:
    question = None
    if reading.question is not None:
        question = asdict(reading.question)
        question["options"] = list(question["options"])
    return {
        "told": [asdict(line) for line in reading.told],
        "missing": list(reading.missing),
        "question": question,
        "ready": reading.ready,
        "at_once": reading.at_once,
        "cautions": list(reading.cautions),
        "scans": list(reading.scans),
        "answers": dict(reading.answers),
    }
