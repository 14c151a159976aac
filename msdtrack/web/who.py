"""Who is at the browser, on every page of it: the badge that was scanned last, or the name that was
signed with last, wherever that was. Every page shows it, and "Not me" ends it.

It holds for `IN_BROWSER_S` after the last entry that was made in this browser. Looking is no entry.
"""

from __future__ import annotations

from dataclasses import dataclass

from flask import Flask, g, request, session, url_for

from msdtrack.errors import BadInput, NotFound, Refused
from msdtrack.printing.codes import BadCode, CodeKind, read_code
from msdtrack.services import people, scanning
from msdtrack.services.badges import NOT_ME
from msdtrack.services.people import Person
from msdtrack.services.scanning import NewScan, ScanAnswer
from msdtrack.services.station_memory import IN_BROWSER_S, Browser
from msdtrack.web.forms import Form
from msdtrack.web.site import site

_KEY = "who"

_CLOCKS_S = 10
"""A page goes by the server's clock as it last heard it, some seconds behind."""


@dataclass(frozen=True, slots=True)
class Here:
    """Who is at the browser, as its pages show it.

    Args:
        person: None for nobody.
        until: until when that holds if nothing more is entered, seconds UTC; 0 for nobody.
        back: where to go on after somebody has said who is there.
    """

    person: Person | None
    until: int
    back: str


@dataclass(frozen=True, slots=True)
class _Kept:
    """What the session of a browser holds.

    Args:
        code: of the badge; "" for nobody.
        entered_at: the last entry.
        said_at: since when that is who is there.
    """

    code: str
    entered_at: int
    said_at: int

    def covers(self, at: int) -> bool:
        """Return whether an entry of that moment, which may be sent late, is this one's."""
        return at - self.entered_at <= IN_BROWSER_S and not self.is_after(at)

    def is_after(self, at: int) -> bool:
        """Return whether this was said after that moment, by whoever has the browser since."""
        return at < self.said_at - _CLOCKS_S


def _kept() -> _Kept | None:
    match session.get(_KEY):
        case [str(code), int(entered_at), int(said_at)]:
            return _Kept(code, entered_at, said_at)
    return None


def _keep(code: str, at: int | None) -> None:
    """Keep who says now, or said then, to be there; what was said after that stands."""
    at, kept = site().now() if at is None else at, _kept()
    if kept is not None and kept.code == code and kept.covers(at):
        session[_KEY] = [code, max(at, kept.entered_at), kept.said_at]
    elif code if kept is None else not kept.is_after(at):
        session[_KEY] = [code, at, at]


def remember(person: Person, at: int | None = None) -> None:
    """Remember who is at the browser.

    Args:
        person: who.
        at: when that was said; None is now.
    """
    _keep(person.code, at)


def signed(code: str, at: int | None = None) -> None:
    """Remember who has signed a form that asks for a name: the code of the badge.

    Args:
        code: of the badge; a name is no badge.
        at: when that was; None is now.
    """
    try:
        remember(people.badge(code), at)
    except (NotFound, Refused):
        # A name is no badge: it signs this once.
        return


def say(form: Form) -> None:
    """Remember who a form names, by `badge` or by `person`; neither is nobody.

    Raises:
        BadInput: it is no badge.
        NotFound: nobody has it.
        Refused: it is no longer in use.
    """
    badge, person = form.text("badge"), form.text("person")
    if badge:
        remember(from_badge(badge))
    elif person:
        remember(people.badge(person))
    else:
        forget()


def signer(form: Form, name: str) -> str:
    """Return who signs a form, in its field of this name; a badge that is no longer in use, as on a
    page that stood open, is a fault there."""
    code = form.text(name, required=True)
    try:
        people.badge(code)
    except Refused as error:
        form.fault(name, error.message)
    except NotFound:
        pass
    return code


def forget(at: int | None = None) -> None:
    """Forget who was at the browser.

    Args:
        at: when that was said; None is now.
    """
    _keep("", at)


def present(at: int | None = None) -> Person | None:
    """Return who is at the browser, None if nobody said so lately.

    Args:
        at: for an entry that was made then and is sent late; None is now.
    """
    kept = _kept()
    if kept is None or not kept.code or not kept.covers(site().now() if at is None else at):
        return None
    # A request asks several times, and must not hear of two people.
    known: dict[str, Person | None] = g.setdefault(_KEY, {})
    if kept.code not in known:
        try:
            known[kept.code] = people.badge(kept.code)
        except (NotFound, Refused):
            known[kept.code] = None
    return known[kept.code]


def present_code() -> str | None:
    """Return the code of the badge of who is at the browser, None for nobody."""
    person = present()
    return None if person is None else person.code


def here() -> Here:
    """Return who is at the browser, as its pages show it."""
    person, kept = present(), _kept()
    until = 0 if person is None or kept is None else kept.entered_at + IN_BROWSER_S
    # What answers a form is no address to come back to.
    get = request.method == "GET" and request.endpoint != "who.show"
    back = request.full_path.rstrip("?") if get else url_for("start.show")
    return Here(person, until, back)


def from_badge(code: str) -> Person:
    """Return whose badge was scanned.

    Raises:
        BadInput: it is no badge.
        NotFound: nobody has it.
        Refused: it is no longer in use.
    """
    read = read_code(code)
    if read.kind is not CodeKind.PERSON:
        raise BadInput(f"{read.text} is the code of a {read.kind.word}: scan a badge.")
    return people.badge(read.text)


def scan(new: NewScan) -> ScanAnswer:
    """Do a scan of this browser in the name of who is at it; a badge says who that is.

    Raises:
        MsdtrackError: as for `scanning.scan`.
    """
    now, tz = site().now(), site().tz
    at = now if new.at is None else new.at
    person = present(at)
    browser = Browser(None if person is None else person.code)
    answer = scanning.scan(NewScan(new.id, new.station, new.code, new.at, browser), now, tz)
    if answer.tone != "refuse" and answer.code.upper() == NOT_ME:
        forget(at)
    elif answer.tone != "refuse" and _is_badge(answer.code):
        remember(from_badge(answer.code), at)
    elif person is not None:
        remember(person, at)
    return answer


def _is_badge(code: str) -> bool:
    try:
        return read_code(code).kind is CodeKind.PERSON
    except BadCode:
        return False


def register_who(app: Flask) -> None:
    """Let every entry keep the name of who makes it, and every page show it."""

    @app.before_request
    def keep() -> None:
        # A scan may have waited for the server: it counts from when it was made.
        late = request.endpoint == "scan.answer"
        if request.method != "GET" and not late and (person := present()) is not None:
            remember(person)

    app.context_processor(lambda: {"who_is_here": here})
