"""Who is at a scan station: a badge says so, and whoever leaves can say that too."""

from __future__ import annotations

from msdtrack.errors import NotFound, Refused
from msdtrack.services import people
from msdtrack.services.scan_questions import READY
from msdtrack.services.scan_replies import Choice, Reply, Stop
from msdtrack.services.scan_work import Work
from msdtrack.services.station_memory import BADGE_S, IN_BROWSER_S, Memory

NOT_ME = "NOTME"
"""The word that ends the work in a name; a button on the screen."""


def say_who(code: str, memory: Memory, work: Work) -> Reply:
    """Work in the name of a badge from now on.

    Raises:
        Stop: nobody has it, or it is no longer in use.
    """
    try:
        person = people.badge(code)
    except NotFound:
        raise Stop(
            "Unknown badge",
            f"{code} is nobody's badge.",
            "Add the person on the set-up page.",
        ) from None
    except Refused as error:
        raise Stop("Badge not in use", error.message) from None
    memory.person, memory.person_at = code, work.at
    work.person = code
    return Reply(
        "ok",
        f"Hello {person.name}",
        f"Scans go by your name, {_lasting(memory)}.",
        READY,
        choices=_offered(memory),
    )


def say_nobody(memory: Memory, work: Work) -> Reply:
    """Work in nobody's name from now on."""
    memory.person, memory.person_at = None, 0
    work.person = None
    return Reply(
        "ok",
        "Nobody at work",
        "Scans go by the name of the station only, until a badge is scanned.",
        READY,
        choices=_offered(memory),
    )


def _lasting(memory: Memory) -> str:
    if memory.in_browser:
        return f"until another badge, or {IN_BROWSER_S // 60} minutes without an entry"
    return f"for {BADGE_S // 3600} hours or until another badge"


def _offered(memory: Memory) -> tuple[Choice, ...]:
    return tuple(Choice(*choice) for choice in memory.choices)
