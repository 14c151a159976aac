"""What all servers on one database share: the last moment seen, and values made once."""

from __future__ import annotations

from collections.abc import Callable

from msdtrack.store.connection import writing
from msdtrack.store.lease import set_watermark, watermark
from msdtrack.store.statements import execute, rows

_CLOCK = "clock"


def last_seen() -> int | None:
    """Return the moment that a server's clock showed last; None before the first."""
    return watermark(_CLOCK)


def see_clock(now: int) -> int | None:
    """Note what a server's clock shows, and return what was noted before it.

    A moment before that one means that a clock was put back; it is noted all the same.
    """
    before = last_seen()
    set_watermark(_CLOCK, now)
    return before


def kept_value(name: str, make: Callable[[], str]) -> str:
    """Return the value of the name, made at its first use and the same ever after."""
    writing(shows=False)
    found = rows("SELECT value FROM kept_value WHERE name = ?", (name,))
    if found:
        return str(found[0][0])
    value = make()
    execute("INSERT INTO kept_value (name, value) VALUES (?, ?)", (name, value))
    return value
