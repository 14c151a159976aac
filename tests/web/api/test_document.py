"""The OpenAPI document is valid, whole, and says nothing that is not there."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from openapi_spec_validator import OpenAPIV31SpecValidator

from msdtrack.services.event_recording import RECORDED
from tests.web.api.conftest import Api, on_sqlite

pytestmark = on_sqlite

METHODS = {"GET", "POST", "PATCH", "PUT", "DELETE"}

# What the API must have, as it is published to those who build on it.
PROMISED = """
POST /parts, GET /parts, GET /parts/{number}, PATCH /parts/{number},
POST /places, GET /places, GET /places/{code}, PATCH /places/{code},
POST /carriers, GET /carriers, POST /events, GET /carriers/{code}/events,
POST /readings, POST /scans, GET /carriers/{code}, GET /carriers/{code}/working,
GET /carriers/{code}/bake, GET /carriers/{code}/label.png, GET /carriers/{code}/label.pdf,
POST /labels, GET /watch, GET /alarms, POST /alarms/{alarm_id}/acknowledge,
POST /alarms/{alarm_id}/shelve, POST /alarms/{alarm_id}/unshelve, GET /health, GET /openapi.json
"""

KINDS = (
    "open close move bake_start bake_end split join take load place_on_board hold release scrap "
    "correct"
)


@pytest.fixture
def described(api: Api) -> set[tuple[str, str]]:
    """Method and path of every operation of the document."""
    return {
        (method.upper(), path)
        for path, operations in api.document.content["paths"].items()
        for method in operations
    }


def test_it_is_valid(api: Api) -> None:
    """It is a document of OpenAPI 3.1, by a validator of its own."""
    assert api.document.content["openapi"].startswith("3.1")
    OpenAPIV31SpecValidator(api.document.content).validate()


def test_every_route_is_in_it_and_nothing_else(app: Flask, described: set[tuple[str, str]]) -> None:
    """Routes and operations are the same set."""
    routes = {
        (method, re.sub(r"<(?:[^<>]*:)?(\w+)>", r"{\1}", rule.rule))
        for rule in app.url_map.iter_rules()
        if rule.endpoint.startswith("api.")
        for method in (rule.methods or set()) & METHODS
    }
    assert described == routes


def test_every_promised_call_is_there(described: set[tuple[str, str]]) -> None:
    """What others build on exists, under its name."""
    promised = {tuple(call.split()) for call in PROMISED.replace("\n", " ").split(",")}
    assert {(method, f"/api/v1{path}") for method, path in promised} <= described


def test_every_answer_has_a_schema(api: Api) -> None:
    """Each operation says what it answers, JSON with a schema, and that it may be refused."""
    for operations in api.document.content["paths"].values():
        for operation in operations.values():
            assert operation["summary"]
            for answer in operation["responses"].values():
                for media, content in answer["content"].items():
                    assert ("schema" in content) == media.endswith("json")
            assert "application/problem+json" in operation["responses"]["default"]["content"]


def test_every_promised_kind_of_event_is_described(api: Api) -> None:
    """The kinds that the document tells apart are the promised ones, and the log takes them."""
    schemas = api.document.content["components"]["schemas"]
    kinds = {
        schema["properties"]["kind"].get("const")
        for schema in schemas.values()
        if "carrier" in schema.get("properties", {}) and "kind" in schema["properties"]
    } - {None}
    assert kinds == set(KINDS.split())
    assert kinds <= set(RECORDED)


def test_a_state_is_asked_for_as_of_a_moment(api: Api) -> None:
    """Every GET that computes a state of a carrier takes `at` and `known_at`."""
    paths = api.document.content["paths"]
    for path in ("/carriers", "/carriers/{code}", "/carriers/{code}/working",
                 "/carriers/{code}/bake"):  # fmt: skip
        names = {one["name"] for one in paths[f"/api/v1{path}"]["get"]["parameters"]}
        assert {"at", "known_at"} <= names
