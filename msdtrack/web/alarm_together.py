"""Acknowledging what a page of the alarms shows, all of it or one: the forms, what came of them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from msdtrack.errors import BadInput
from msdtrack.phrases import listed
from msdtrack.services.alarm_acknowledging import LeftAlarm, SeenAlarm
from msdtrack.services.people import PersonNames
from msdtrack.web.alarm_rows import KINDS, AlarmRow

_NAMED = 4
"""So many alarms that were left are named; the list shows them all as they are now."""

_LETTERS = 90
"""So much of the first sentence of a message is enough to know which alarm is meant."""


@dataclass(frozen=True, slots=True)
class Together:
    """The unacknowledged alarms that a page shows.

    Args:
        seen: each as it is shown, for the form.
        kinds: how many there are of each kind, in words, the most first.
        high: how many are of high priority.
    """

    seen: tuple[str, ...]
    kinds: tuple[tuple[str, int], ...]
    high: int


def together(shown: Iterable[AlarmRow]) -> Together | None:
    """Return what of a page of alarms can be acknowledged together, None if there are no two."""
    rows = [row for row in shown if row.alarm.acknowledged_at is None]
    if len(rows) < 2:
        return None
    kinds = Counter(KINDS.get(row.alarm.kind, row.alarm.kind) for row in rows)
    return Together(
        tuple(row.seen for row in rows),
        tuple(kinds.most_common()),
        sum(row.alarm.priority == "high" for row in rows),
    )


def seen_in(sent: Iterable[str]) -> list[SeenAlarm]:
    """Return the alarms of a form as they were when its page was shown.

    Raises:
        BadInput: there are none in it, or it was changed on the way.
    """
    found = [re.fullmatch(r"(\d{1,9})-(\d{1,9})-(\w+)-(\w+)", text, re.ASCII) for text in sent]
    seen = [SeenAlarm(int(one[1]), one[4], one[3], int(one[2])) for one in found if one]
    if not seen or len(seen) < len(found):
        message = "The form does not say which alarms were shown. Nothing was acknowledged: look "
        raise BadInput(f"{message}at the list again and repeat it.")
    return seen


def left_text(left: Sequence[LeftAlarm], people: PersonNames) -> str:
    """Return which alarms were left, and why.

    Args:
        left: one at least.
        people: names by code.
    """
    named = [f"{_short(one.alarm.message)}, {_change(one, people)}" for one in left]
    one = len(left) == 1
    begin = "1 was left, as it" if one else f"{len(left)} were left, as they"
    end = "See how it stands now." if one else "See how they stand now."
    return f"{begin} changed after the page was shown: {listed(named, _NAMED, '; ')}. {end}"


def _short(message: str) -> str:
    message = message.split(". ")[0].rstrip(".")
    return message if len(message) <= _LETTERS else f"{message[:_LETTERS].rstrip()}…"


def _change(left: LeftAlarm, people: PersonNames) -> str:
    alarm = left.alarm
    if left.change == "acknowledged":
        return f"acknowledged by {people.signed(alarm.acknowledged_by)}"
    if left.change == "shelved":
        return f"shelved by {people.signed(alarm.shelved_by)}"
    if left.change == "priority_changed":
        return f"of {alarm.priority} priority now"
    return {
        "ended": "ended",
        "came_again": "came again",
        "returned_to_normal": "returned to normal",
    }[left.change]
