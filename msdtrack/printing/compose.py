"""A layout and the words for its facts become a page of marks."""

from __future__ import annotations

from collections.abc import Mapping

from msdtrack.printing.code128 import DoesNotFit, require_fit
from msdtrack.printing.faces import CAP_EM, MM_PER_PT, text_width_em
from msdtrack.printing.layouts import (
    SHORTENABLE,
    BarsField,
    Layout,
    RuleField,
    TextField,
    WriteField,
    bars_start_mm,
)
from msdtrack.printing.marks import Bars, Box, Mark, Page, Text
from msdtrack.printing.setting import Room, set_text

_CAPTION_GAP_MM = 1.0
_PADDING_MM = 0.8


def compose(layout: Layout, words: Mapping[str, str]) -> Page:
    """Return the label as a page of marks.

    Args:
        layout: The design.
        words: What to print for each fact; a fact that is not there is left out, with its caption.
            "code" must be there.

    Raises:
        DoesNotFit: The code, or a fact that must not be cut, is too long for its field.
    """
    marks: list[Mark] = []
    for field in layout.fields:
        if isinstance(field, BarsField):
            marks.append(_bars(field, words["code"]))
        elif isinstance(field, TextField):
            text = " ".join(words.get(field.fact, "").split())
            if text:
                marks.extend(_text(field, text, layout.name))
        elif isinstance(field, RuleField):
            marks.append(Box(field.x_mm, field.y_mm, field.width_mm, field.height_mm))
        else:
            marks.extend(_write(field))
    return Page(layout.width_mm, layout.height_mm, tuple(marks))


def _bars(field: BarsField, code: str) -> Bars:
    require_fit(code, field.module_mm, field.width_mm)
    return Bars(bars_start_mm(field), field.y_mm, field.height_mm, code, field.module_mm)


def _text(field: TextField, text: str, layout_name: str) -> list[Mark]:
    marks: list[Mark] = []
    left_mm, top_mm = field.x_mm, field.y_mm
    width_mm, height_mm = field.width_mm, field.height_mm
    if field.frame_mm:
        marks.append(Box(left_mm, top_mm, width_mm, height_mm, field.frame_mm))
        inset_mm = field.frame_mm + _PADDING_MM
        left_mm, width_mm = left_mm + inset_mm, width_mm - 2 * inset_mm
    caption_mm = field.caption_pt * MM_PER_PT
    if field.caption and field.caption_side == "above":
        share_mm = field.caption_above_mm
        caption_baseline_mm = top_mm + field.frame_mm + (share_mm + CAP_EM * caption_mm) / 2
        em_mm = min(caption_mm, width_mm / text_width_em(field.caption, False))
        x_mm = _anchor_mm(field, left_mm, width_mm)
        marks.append(
            Text(x_mm, caption_baseline_mm, em_mm, width_mm, field.caption, align=field.align)
        )
        top_mm, height_mm = top_mm + share_mm, height_mm - share_mm
    size_mm = field.size_pt * MM_PER_PT
    if field.caption and field.caption_side == "left":
        taken_mm = text_width_em(field.caption, False) * caption_mm
        baseline_mm = top_mm + (height_mm + CAP_EM * size_mm) / 2
        marks.append(Text(left_mm, baseline_mm, caption_mm, taken_mm, field.caption))
        left_mm += taken_mm + _CAPTION_GAP_MM
        width_mm -= taken_mm + _CAPTION_GAP_MM
    room = Room(width_mm, height_mm, size_mm, field.min_pt * MM_PER_PT, field.bold)
    lines = set_text(text, room, field.fact in SHORTENABLE)
    if lines is None:
        raise DoesNotFit(
            f'"{text}" is too long for {field.fact.replace("_", " ")} on the layout {layout_name}, '
            "where it must not be cut: choose a larger layout."
        )
    x_mm = _anchor_mm(field, left_mm, width_mm)
    marks.extend(
        Text(
            x_mm,
            top_mm + line.baseline_mm,
            line.size_mm,
            width_mm,
            line.text,
            field.bold,
            field.align,
        )
        for line in lines
    )
    return marks


def _anchor_mm(field: TextField, left_mm: float, width_mm: float) -> float:
    return left_mm + {"left": 0.0, "center": width_mm / 2, "right": width_mm}[field.align]


def _write(field: WriteField) -> list[Mark]:
    caption_mm = field.caption_pt * MM_PER_PT
    width_mm = field.width_mm - 2 * _PADDING_MM
    em_mm = min(caption_mm, width_mm / text_width_em(field.caption, False))
    baseline_mm = field.y_mm + field.frame_mm + _PADDING_MM / 2 + CAP_EM * caption_mm
    return [
        Box(field.x_mm, field.y_mm, field.width_mm, field.height_mm, field.frame_mm),
        Text(field.x_mm + _PADDING_MM, baseline_mm, em_mm, width_mm, field.caption),
    ]
