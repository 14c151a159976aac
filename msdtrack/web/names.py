"""Names of places and persons by their codes, for pages that show them."""

from __future__ import annotations

from collections.abc import Iterable

from msdtrack.services import catalog
from msdtrack.services.catalog import Person, Place

ALL = 10_000
"""More than any site has: these lists are shown whole."""


def all_places() -> list[Place]:
    """Return every place, by name."""
    return sorted(catalog.places(limit=ALL), key=lambda place: place.name.casefold())


def place_names() -> dict[str, str]:
    """Return the name of every place by its code."""
    return {place.code: place.name for place in catalog.places(limit=ALL)}


def all_people() -> list[Person]:
    """Return every person with a badge, by name."""
    return sorted(catalog.people(), key=lambda person: person.name.casefold())


def codes_called(name: str, among: Iterable[Place] | Iterable[Person]) -> list[str]:
    """Return the codes of those that have this name, in any case."""
    return [one.code for one in among if one.name.casefold() == name.casefold()]


def person_names() -> dict[str, str]:
    """Return the name of every person by their code."""
    return {person.code: person.name for person in catalog.people()}
