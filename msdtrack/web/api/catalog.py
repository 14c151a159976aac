"""Parts, places, people and the site's policies."""

from __future__ import annotations

from typing import Any

from msdtrack.exposure.facts import MakerBake, PartFacts
from msdtrack.services import catalog, people, policies
from msdtrack.services.catalog import NewPlace
from msdtrack.web.api import bodies, shapes
from msdtrack.web.api.calls import Calls
from msdtrack.web.api.fields import Page
from msdtrack.web.api.paging import page_of
from msdtrack.web.api.things import part_answer, person_answer, place_answer

calls = Calls()

Created = tuple[dict[str, Any], int]


@calls.add("POST", "/parts", shapes.Part, created=True)
def create_part(body: bodies.NewPart, now: int) -> Created:
    """Put a part on file.

    Sent again with the same content it answers 200, with other content 409: then use PATCH.
    """
    facts = PartFacts(**_part_facts(body.model_dump(exclude={"id"})))
    part, created = catalog.create_part(facts, now, body.id)
    return part_answer(part), 201 if created else 200


@calls.add("GET", "/parts", shapes.ListOf[shapes.Part])
def list_parts(query: Page) -> dict[str, Any]:
    """Return the parts by number."""
    found = catalog.parts(query.after, query.limit + 1)
    return page_of(found, query.limit, lambda part: part.number, part_answer)


@calls.add("GET", "/parts/<path:number>", shapes.Part)
def show_part(number: str) -> dict[str, Any]:
    """Return a part."""
    return part_answer(catalog.part(number))


@calls.add("PATCH", "/parts/<path:number>", shapes.Part)
def change_part(number: str, body: bodies.PartChanges, now: int) -> dict[str, Any]:
    """Correct facts of a part; they hold for all time and every state follows."""
    changes = body.model_dump(exclude_unset=True, exclude={"person", "reason"})
    part = catalog.amend_part(number, _part_facts(changes), now, body.person, body.reason)
    return part_answer(part)


@calls.add("POST", "/places", shapes.Place, created=True)
def create_place(body: bodies.NewPlace, now: int) -> Created:
    """Put a place on file and give it its code."""
    place, created = catalog.create_place(NewPlace(**body.model_dump(exclude={"id"})), now, body.id)
    return place_answer(place), 201 if created else 200


@calls.add("GET", "/places", shapes.ListOf[shapes.Place])
def list_places(query: Page) -> dict[str, Any]:
    """Return the places by code."""
    found = catalog.places(query.after, query.limit + 1)
    return page_of(found, query.limit, lambda place: place.code, place_answer)


@calls.add("GET", "/places/<code>", shapes.Place)
def show_place(code: str) -> dict[str, Any]:
    """Return a place."""
    return place_answer(catalog.place(code))


@calls.add("PATCH", "/places/<code>", shapes.Place)
def change_place(code: str, body: bodies.PlaceChanges, now: int) -> dict[str, Any]:
    """Change a place; assumed air and tolerances hold from now on."""
    changes = body.model_dump(exclude_unset=True, exclude={"person", "reason"})
    place = catalog.amend_place(code, changes, now, body.person, body.reason)
    return place_answer(place)


@calls.add("POST", "/people", shapes.Person, created=True)
def create_person(body: bodies.NewPerson, now: int) -> Created:
    """Put a person on file and give them the code for their badge."""
    return person_answer(people.add_person(body.name, now)), 201


@calls.add("GET", "/people", shapes.ListOf[shapes.Person])
def list_people(query: Page) -> dict[str, Any]:
    """Return the people by code."""
    found = people.people(query.after, query.limit + 1)
    return page_of(found, query.limit, lambda person: person.code, person_answer)


@calls.add("PATCH", "/people/<code>", shapes.Person)
def change_person(code: str, body: bodies.PersonChanges, now: int) -> dict[str, Any]:
    """Rename a person, or take the badge out of use and back; the log keeps what was signed."""
    changes = body.model_dump(exclude_unset=True, exclude={"person", "reason"})
    return person_answer(people.amend_person(code, changes, now, body.person, body.reason))


@calls.add("GET", "/policies", shapes.Policies)
def show_policies(now: int) -> dict[str, Any]:
    """Return the site's policies in force."""
    return dict(policies.policies(now))


@calls.add("PATCH", "/policies", shapes.Policies)
def change_policy(body: bodies.PolicyChange, now: int) -> dict[str, Any]:
    """Change one policy from now on; the change is logged."""
    policies.set_policy(body.name, body.value, now, body.person, body.reason)
    return dict(policies.policies(now))


def _part_facts(given: dict[str, Any]) -> dict[str, Any]:
    if given.get("maker_bake") is not None:
        given["maker_bake"] = MakerBake(**given["maker_bake"])
    return given
