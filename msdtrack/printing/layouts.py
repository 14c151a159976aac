"""Label designs, loaded from the data files in `labels/` and checked before anything is printed.

A layout is a size and a list of fields, most needed first. Sizes and positions are mm from the top
left corner, type sizes are points. Fields may not overlap, so nothing can cover the bars.
"""

from __future__ import annotations

import tomllib
from functools import lru_cache
from itertools import combinations
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from msdtrack.errors import BadInput, FieldError
from msdtrack.printing.code128 import NARROW_MODULE_MM, quiet_zone_mm
from msdtrack.printing.faces import LINE_EM, MM_PER_PT
from msdtrack.resources import resource_dir

FACTS: dict[str, tuple[str, ...]] = {
    "carrier": (
        "code", "msl", "floor_life", "part", "lot", "quantity", "seal_date", "shelf_life_ends",
        "bake_line", "description", "floor_life_at", "bag", "stuck_on", "desiccant",
    ),
    "sign": ("code", "title", "detail"),
}  # fmt: skip
"""What a layout of each sort may print, most needed first."""

SHORTENABLE = frozenset({"description", "detail"})
"""Facts that may end in an ellipsis; every other is set smaller instead."""

Design = TypeVar("Design", bound=BaseModel)

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


class LayoutError(BadInput):
    """A layout file is missing or wrong; `errors` lists every finding."""

    code = "bad_layout"


class Strict(BaseModel):
    """What stands in a file of `labels/`: nothing unknown, nothing of another type."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class _Placed(Strict):
    x_mm: NotNegative
    y_mm: NotNegative
    width_mm: Positive
    height_mm: Positive


class BarsField(_Placed):
    """The code as bars; the width holds the white margins on both sides too."""

    kind: Literal["bars"]
    module_mm: Annotated[float, Field(ge=NARROW_MODULE_MM)] = NARROW_MODULE_MM


class TextField(_Placed):
    """One fact as text, with a small caption if wanted; left out when the fact is not known."""

    kind: Literal["text"]
    fact: str
    size_pt: Positive
    min_pt: Annotated[float, Field(ge=4)]
    bold: bool = False
    align: Literal["left", "center", "right"] = "left"
    lines: Literal[1, 2] = 1
    caption: str = ""
    caption_pt: Annotated[float, Field(ge=4)] = 5
    caption_side: Literal["above", "left"] = "above"
    frame_mm: NotNegative = 0

    @model_validator(mode="after")
    def _check_room(self) -> TextField:
        if self.min_pt > self.size_pt:
            raise ValueError(f"min_pt {self.min_pt:g} is larger than size_pt {self.size_pt:g}")
        needed_mm = self.size_pt * LINE_EM * MM_PER_PT + self.caption_above_mm
        if needed_mm > self.height_mm + 0.005:
            raise ValueError(
                f"height_mm {self.height_mm:g} is too low for its type: {needed_mm:.2f} mm needed"
            )
        return self

    @property
    def caption_above_mm(self) -> float:
        """Height the caption takes above the text, in mm."""
        if not self.caption or self.caption_side == "left":
            return 0.0
        return self.caption_pt * LINE_EM * MM_PER_PT


class RuleField(_Placed):
    """A plain line, as thick as it is high."""

    kind: Literal["rule"]


class WriteField(_Placed):
    """A framed space to write in by hand, with a small caption in its corner."""

    kind: Literal["write"]
    caption: str
    caption_pt: Annotated[float, Field(ge=4)] = 5
    frame_mm: Positive = 0.2


AnyField = Annotated[BarsField | TextField | RuleField | WriteField, Field(discriminator="kind")]


class Layout(Strict):
    """A label design.

    Attributes:
        name: Its name in settings and API, the name of its file.
        title: What it is, for a list to choose from.
        draws: "carrier" for labels of carriers and bags, "sign" for places and persons.
        width_mm: Width of the label.
        height_mm: Height of the label.
        fields: What it prints, most needed first.
    """

    name: str
    title: str
    draws: Literal["carrier", "sign"]
    width_mm: Annotated[float, Field(ge=20, le=420)]
    height_mm: Annotated[float, Field(ge=10, le=420)]
    fields: tuple[AnyField, ...] = Field(alias="field", min_length=1, strict=False)

    @model_validator(mode="after")
    def _check_fields(self) -> Layout:
        problems = [*self._outside(), *self._overlapping(), *self._wrong_facts()]
        if not any(isinstance(field, BarsField) for field in self.fields):
            problems.append("no field is of kind bars: a label needs its code")
        if problems:
            raise ValueError("; ".join(problems))
        return self

    def _outside(self) -> list[str]:
        return [
            f"{field_name(field)} reaches beyond the label's {self.width_mm:g} x "
            f"{self.height_mm:g} mm"
            for field in self.fields
            if field.x_mm + field.width_mm > self.width_mm
            or field.y_mm + field.height_mm > self.height_mm
        ]

    def _overlapping(self) -> list[str]:
        return [
            f"{field_name(one)} and {field_name(other)} overlap"
            for one, other in combinations(self.fields, 2)
            if one.x_mm < other.x_mm + other.width_mm
            and other.x_mm < one.x_mm + one.width_mm
            and one.y_mm < other.y_mm + other.height_mm
            and other.y_mm < one.y_mm + one.height_mm
        ]

    def _wrong_facts(self) -> list[str]:
        known = FACTS[self.draws]
        return [
            f"a {self.draws} label knows no {field.fact!r}; it knows {', '.join(known)}"
            for field in self.fields
            if isinstance(field, TextField) and field.fact not in known
        ]


def field_name(field: BarsField | TextField | RuleField | WriteField) -> str:
    """Return what to call a field in a message."""
    if isinstance(field, TextField):
        return f"text {field.fact!r}"
    if isinstance(field, WriteField):
        return f"write {field.caption!r}"
    return field.kind


def bars_start_mm(field: BarsField) -> float:
    """Return where the first bar of a bars field stands, in mm from the label's left edge."""
    return field.x_mm + quiet_zone_mm(field.module_mm)


def layout_names() -> list[str]:
    """Return the names of the layouts there are, sorted."""
    return sorted(path.stem for path in resource_dir("labels").glob("*.toml"))


@lru_cache(maxsize=32)
def load_layout(name: str) -> Layout:
    """Return the layout of a name.

    Raises:
        LayoutError: There is none, or its file is wrong.
    """
    if name not in layout_names():
        raise LayoutError(f'There is no label layout "{name}": {", ".join(layout_names())}.')
    return read_layout(resource_dir("labels") / f"{name}.toml")


def read_layout(path: Path) -> Layout:
    """Return the layout in a file.

    Raises:
        LayoutError: It is not TOML or not a sound layout; every finding is listed.
    """
    layout = read_design(path, Layout)
    if layout.name != path.stem:
        raise LayoutError(f'{path.name}: its name is "{layout.name}", not that of the file.')
    return layout


def read_design(path: Path, model: type[Design]) -> Design:
    """Return what a file of `labels/` says.

    Raises:
        LayoutError: It is not TOML or not what the model asks for; every finding is listed.
    """
    try:
        return model.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise LayoutError(f"{path.name}: {error}") from error
    except ValidationError as error:
        raise LayoutError(*_findings(path, error)) from error


def _findings(path: Path, error: ValidationError) -> tuple[str, list[FieldError]]:
    """Return a message and the single findings for a data file that did not validate."""
    findings = [
        FieldError(_where(each["loc"]), each["msg"].removeprefix("Value error, "))
        for each in error.errors()
    ]
    listed = "; ".join(
        f"{each.field}: {each.message}" if each.field else each.message for each in findings
    )
    return f"{path.name}: {listed}", findings


def _where(loc: tuple[int | str, ...]) -> str:
    """Return a place in a data file for people, who count from 1."""
    return " ".join(str(part + 1) if isinstance(part, int) else part for part in loc)
