"""What a page with one scan field says to the last scan, kept for the one page that shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from flask import session

from msdtrack.errors import MsdtrackError
from msdtrack.phrases import listed
from msdtrack.services.scan_replies import Tone
from msdtrack.web.marks import MarkKind

MOST_TOLD = 20
"""So many carriers are named one by one: a browser keeps no more than 4 KB of what is said."""

_KEY = "desk"
_MARKS: Mapping[Tone, MarkKind] = {"ok": "ok", "ask": "do", "stop": "stop", "refuse": "stop"}


@dataclass(frozen=True, slots=True)
class Said:
    """What a desk says to a scan.

    Args:
        tone: see `scan_replies.Tone`.
        title: a few words.
        message: what happened, or why nothing did.
        next_step: what to do now.
    """

    tone: Tone
    title: str
    message: str = ""
    next_step: str = ""

    @property
    def mark(self) -> MarkKind:
        """Return the mark that goes with the tone."""
        return _MARKS[self.tone]


def say(desk: str, said: Said) -> None:
    """Keep what is said for the next page of a desk."""
    session[_KEY] = [desk, said.tone, said.title, said.message, said.next_step]


def said(desk: str) -> Said | None:
    """Return what was kept for a desk, once."""
    kept: Any = session.get(_KEY)
    if not isinstance(kept, list) or kept[0] != desk:
        return None
    session.pop(_KEY)
    return Said(*kept[1:])


def refusal(error: MsdtrackError, title: str = "Not possible") -> Said:
    """Return how a desk says that something could not be done."""
    return Said("refuse", title, error.message, "Nothing was changed.")


def typed(values: list[str]) -> str:
    """Return what was scanned or typed, or the choice that was tapped: the last that is no blank.

    Args:
        values: every value of the field `code` that the form sent.
    """
    return next((value.strip() for value in reversed(values) if value.strip()), "")


def named(codes: Sequence[str]) -> str:
    """Return carriers in words, thousands of them too."""
    return listed(codes, MOST_TOLD)
