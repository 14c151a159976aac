"""People: put on file, found by badge or name; who marries, whose name was mistyped, who leaves:
changed with a trace, and the names as they were signed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from msdtrack.errors import BadInput, FieldError, Refused
from msdtrack.printing.codes import BadCode, CodeKind, make_code, read_code
from msdtrack.services.fact_checks import check_names, check_text, refuse
from msdtrack.store import carriers, scans, traces
from msdtrack.store import catalog as catalog_table
from msdtrack.store.connection import write
from msdtrack.store.records import FactChange
from msdtrack.store.records import PersonRecord as Person

__all__ = [
    "ALL", "Person", "PersonNames", "add_person", "amend_person", "badge", "changes", "names",
    "people", "person", "person_code",
]  # fmt: skip

ALL = 100_000
"""More than any site has: names are looked up among everybody."""


def add_person(name: str, now: int, only_one: bool = False) -> Person:
    """Put a person on file and return it with the code of the badge.

    Args:
        name: the name.
        now: the present moment.
        only_one: nobody else may have the name.

    Raises:
        BadInput: no name was given, or somebody else has it.
    """
    errors: list[FieldError] = []
    check_text(errors, "name", name, 60)
    refuse(errors)
    with write():
        if only_one:
            _check_only_one(errors, name)
            refuse(errors)
        code = make_code(CodeKind.PERSON, carriers.next_serial("person"))
        return catalog_table.insert_person(code, name, now)


def person(code: str) -> Person:
    """Return a person.

    Raises:
        NotFound: nobody has the code.
    """
    return catalog_table.person(code)


def badge(code: str) -> Person:
    """Return whose badge was scanned.

    Raises:
        NotFound: nobody has the code.
        Refused: it is no longer in use.
    """
    found = catalog_table.person(code)
    if found.retired_at is not None:
        message = _no_longer(found)
        raise Refused(f"{message[:1].upper()}{message[1:]}.")
    return found


def people(after: str | None = None, limit: int = 1000) -> list[Person]:
    """Return people by code, those after `after` only."""
    return catalog_table.people(after, limit)


def person_code(who: str, now: int) -> str:
    """Return the code of the person meant, inside a write transaction.

    Args:
        who: the code of a badge, or a name; a name that is not on file yet is put there.
        now: the present moment.

    Raises:
        BadInput: nothing was given, nobody has the badge, it is no longer in use, or more than one
            has the name.
    """
    who = " ".join(who.split())
    if not who:
        raise _wrong_person("say who does it: scan a badge or give a name")
    everybody = people(limit=ALL)
    try:
        code = read_code(who).text
    except BadCode:
        named = [one for one in everybody if one.name.casefold() == who.casefold()]
        if not named:
            return add_person(who, now).code
        meant = [one for one in named if one.retired_at is None] or named
        if len(meant) > 1:
            raise _wrong_person(f"more than one person is called {who}: scan the badge") from None
    else:
        meant = [one for one in everybody if one.code == code]
        if not meant:
            raise _wrong_person(f"nobody has the badge {code}: scan a badge, or give a name")
    if meant[0].retired_at is not None:
        raise _wrong_person(_no_longer(meant[0]))
    return meant[0].code


class PersonNames(dict[str, str]):
    """The name of every person by their code, those who have left too.

    Args:
        now: the names as they are.
        former: the names before: until when, and the name, oldest first, by code.
    """

    def __init__(
        self,
        now: Mapping[str, str] | None = None,
        former: Mapping[str, list[tuple[int, str]]] | None = None,
    ) -> None:
        super().__init__(now or {})
        self._former = former or {}

    def signed(self, code: str | None, at: int | None = None) -> str:
        """Return the name under which somebody signed: the one of that moment.

        Args:
            code: of the badge; a name that has no badge is returned as it is, "" for nobody.
            at: when it was recorded; None is now.
        """
        if code is None:
            return ""
        if at is not None:
            for until, name in self._former.get(code, ()):
                if at < until:
                    return name
        return self.get(code, code)


def names() -> PersonNames:
    """Return the names of all people, as they are and as they were."""
    return PersonNames(
        {one.code: one.name for one in people(limit=ALL)}, catalog_table.former_names()
    )


def changes(code: str) -> list[FactChange]:
    """Return what was changed of a person, oldest first."""
    return traces.fact_changes("person", code)


def amend_person(
    code: str, changes: Mapping[str, Any], now: int, person: str, reason: str
) -> Person:
    """Rename a person, take the badge out of use or back into it; return the person.

    What was signed before keeps the name it was signed with. Stations that work in the name of a
    badge that goes out of use forget it.

    Args:
        changes: `name`: the new one; `in_use`: whether the badge may be used from now on.
        now: the present moment.
        person: badge code or name of who changes it.
        reason: why.

    Raises:
        NotFound: nobody has the code.
        BadInput: a value is wrong, or somebody else has the name; each is named.
    """
    check_names(changes, {"name", "in_use"})
    errors: list[FieldError] = []
    new = dict(changes)
    if "name" in new:
        new["name"] = " ".join(str(new["name"]).split())
        check_text(errors, "name", new["name"], 60)
    check_text(errors, "reason", reason, 200)
    with write():
        before = catalog_table.person(code)
        _check_only_one(errors, str(new.get("name", "")), code)
        refuse(errors)
        who = person_code(person, now)
        in_use = new.pop("in_use", before.retired_at is None)
        new["retired_at"] = None if in_use else before.retired_at or now
        after = catalog_table.update_person(code, new, reason=reason, recorded_at=now, person=who)
        if not in_use:
            scans.forget_badge(code)
        return after


def _check_only_one(errors: list[FieldError], name: str, code: str = "") -> None:
    for other in people(limit=ALL):
        if other.name.casefold() == name.casefold() and other.code != code:
            message = f"{other.code} is the badge of that name: add what tells the two apart"
            errors.append(FieldError("name", message))


def _wrong_person(message: str) -> BadInput:
    return BadInput(f"person: {message}.", [FieldError("person", message)])


def _no_longer(retired: Person) -> str:
    return (
        f"this badge is no longer in use; {retired.code} was {retired.name}'s. Scan your own, or "
        "take this one back into use on the set-up page"
    )
