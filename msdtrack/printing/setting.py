"""Setting words in a given room: smaller first, then in two lines, then shortened if they may be.

All sizes in mm, one em for the size of type.
"""

from __future__ import annotations

from dataclasses import dataclass

from msdtrack.printing.faces import CAP_EM, LINE_EM, text_width_em

_LEADING_EM = 1.15
_TWO_LINES_EM = _LEADING_EM + LINE_EM
_BREAK_AFTER = "-_/.,;: "


@dataclass(frozen=True, slots=True)
class SetLine:
    """A line of text, its em and its baseline below the top of the room, in mm."""

    text: str
    size_mm: float
    baseline_mm: float


@dataclass(frozen=True, slots=True)
class Room:
    """What there is for a text, and how small it may be set.

    Attributes:
        width_mm: Width.
        height_mm: Height; a line at full size fits it.
        size_mm: One em at full size.
        min_mm: One em at the smallest.
        bold: Set in the bold face.
    """

    width_mm: float
    height_mm: float
    size_mm: float
    min_mm: float
    bold: bool = False


def set_text(text: str, room: Room, may_shorten: bool = False) -> list[SetLine] | None:
    """Return the text in one or two lines that stay inside the room.

    Args:
        text: Words with single spaces.
        room: Where it goes.
        may_shorten: Whether an ellipsis may end it.

    Returns:
        The lines from the top, or None if the text fits neither whole nor, where that is allowed,
        shortened.
    """
    fitting_mm = room.width_mm / text_width_em(text, room.bold)
    if fitting_mm >= room.min_mm:
        # The baseline of the full size, so that neighbours set smaller stand on one line with it.
        baseline_mm = (room.height_mm + CAP_EM * room.size_mm) / 2
        return [SetLine(text, min(room.size_mm, fitting_mm), baseline_mm)]
    two_lines_mm = min(room.size_mm, room.height_mm / _TWO_LINES_EM)
    if two_lines_mm >= room.min_mm and len(text) > 1:
        upper, lower = _halves(text, room.bold)
        longer_em = max(text_width_em(upper, room.bold), text_width_em(lower, room.bold))
        size_mm = min(two_lines_mm, room.width_mm / longer_em)
        if size_mm >= room.min_mm:
            baseline_mm = (room.height_mm + (CAP_EM - _LEADING_EM) * size_mm) / 2
            return [
                SetLine(upper, size_mm, baseline_mm),
                SetLine(lower, size_mm, baseline_mm + _LEADING_EM * size_mm),
            ]
    if not may_shorten:
        return None
    baseline_mm = (room.height_mm + CAP_EM * room.size_mm) / 2
    return [
        SetLine(shorten(text, room.width_mm / room.min_mm, room.bold), room.min_mm, baseline_mm)
    ]


def shorten(text: str, width_em: float, bold: bool) -> str:
    """Return the text, or its longest beginning that fits `width_em` with an ellipsis."""
    if text_width_em(text, bold) <= width_em:
        return text
    for length in range(len(text) - 1, 0, -1):
        shorter = text[:length].rstrip(" ,.;:-") + "…"
        if text_width_em(shorter, bold) <= width_em:
            return shorter
    return "…"


def wrap(text: str, width_em: float, bold: bool = False) -> list[str]:
    """Return the text broken between words into lines of at most `width_em`."""
    lines: list[str] = []
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_em(joined, bold) <= width_em:
            lines[-1] = joined
        else:
            lines.append(word)
    return lines


def _halves(text: str, bold: bool) -> tuple[str, str]:
    """Return the two parts that make the longer of them shortest, broken at a sign if there is."""
    places = [at for at in range(1, len(text)) if text[at - 1] in _BREAK_AFTER]
    parts = [(text[:at].rstrip(), text[at:]) for at in places or [(len(text) + 1) // 2]]
    return min(parts, key=lambda pair: max(text_width_em(part, bold) for part in pair))
