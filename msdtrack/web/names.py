"""Names of places and persons by their codes, for pages that show them."""

from __future__ import annotations

from collections.abc import Iterable

from msdtrack.services import catalog, people
from msdtrack.services.catalog import Place
from msdtrack.services.people import Person, PersonNames

ALL = 10_000
"""More than any site has: these lists are shown whole."""


def all_places() -> list[Place]:
    """Return every place, by name."""
    return sorted(catalog.places(limit=ALL), key=lambda place: place.name.casefold())


def place_names() -> dict[str, str]:
    """Return the name of every place by its code."""
    return {place.code: place.name for place in catalog.places(limit=ALL)}


def all_people() -> list[Person]:
    """Return every person whose badge is in use, by name."""
    return [person for person in everybody() if person.retired_at is None]


def everybody() -> list[Person]:
    """Return every person, by name, those whose badge is no longer in use too."""
    return sorted(people.people(limit=ALL), key=lambda person: person.name.casefold())


def codes_called(name: str, among: Iterable[Place] | Iterable[Person]) -> list[str]:
    """Return the codes of those that have this name, in any case."""
    return [one.code for one in among if one.name.casefold() == name.casefold()]


def person_names() -> PersonNames:
    """Return the name of every person by their code, with the names they signed with before."""
    return people.names()
