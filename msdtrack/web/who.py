"""Who is at the browser: the badge that was scanned or the name that was chosen last.

It is forgotten after a quarter of an hour, so that nobody acts under the name of the one before.
"""

from __future__ import annotations

from flask import session

from msdtrack.errors import BadInput, NotFound
from msdtrack.printing.codes import CodeKind, read_code
from msdtrack.services import catalog
from msdtrack.services.catalog import Person
from msdtrack.web.site import site

REMEMBERED_S = 15 * 60
_KEY = "who"


def remember(person: Person) -> None:
    """Remember who is at the browser."""
    session[_KEY] = [person.code, site().now()]


def forget() -> None:
    """Forget who was at the browser."""
    session.pop(_KEY, None)


def present() -> Person | None:
    """Return who is at the browser, None if nobody said so lately."""
    kept = session.get(_KEY)
    if not isinstance(kept, list) or site().now() - kept[1] > REMEMBERED_S:
        return None
    try:
        return catalog.person(kept[0])
    except NotFound:
        return None


def from_badge(code: str) -> Person:
    """Return whose badge was scanned.

    Raises:
        BadInput: it is no badge.
        NotFound: nobody has it.
    """
    read = read_code(code)
    if read.kind is not CodeKind.PERSON:
        raise BadInput(f"{read.text} is the code of a {read.kind.word}: scan a badge.")
    return catalog.person(read.text)
