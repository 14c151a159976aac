"""The application with a clock of the tests' own, and a client that speaks its API."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

import pytest
from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator, FormatChecker
from werkzeug.exceptions import HTTPException
from werkzeug.test import TestResponse

from msdtrack.config import load_settings
from msdtrack.store.connection import close_store
from msdtrack.times import parse_time, utc_text
from msdtrack.web.app import create_app

HOUR_S = 3600
NOW = parse_time("2026-05-14T12:00:00Z")

DRY = {"5": "dry", "10": "dry", "60": "dry"}


on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
"""For what is refused before a database is asked: once is enough."""


class FakeClock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> int:
        return self.now


class Document:
    """The OpenAPI document of an application, to hold requests and answers against."""

    def __init__(self, app: Flask) -> None:
        self._app = app
        self.content: dict[str, Any] = app.test_client().get("/api/v1/openapi.json").json
        self._operations = {
            operation["operationId"]: operation
            for path in self.content["paths"].values()
            for operation in path.values()
        }

    def check(self, method: str, path: str, body: Any, answer: TestResponse) -> None:
        """Fail unless the answer is one that the document promises for the request."""
        try:
            endpoint, _ = self._app.url_map.bind("").match(path, method)
        except HTTPException:
            assert answer.status_code in (404, 405)
            return
        operation = self._operations[endpoint.removeprefix("api.")]
        if answer.status_code == 304:
            return
        promised = operation["responses"]
        described = promised.get(str(answer.status_code), promised["default"])["content"]
        assert answer.mimetype in described
        if "schema" in described[answer.mimetype]:
            self.validate(answer.json, described[answer.mimetype]["schema"])
        # Rows of readings are refused one by one: the list as a whole is taken.
        if body is not None and answer.status_code < 300 and not path.endswith("/readings"):
            taken = operation["requestBody"]["content"]["application/json"]["schema"]
            self.validate(body, taken)

    def validate(self, value: Any, schema: dict[str, Any]) -> None:
        """Fail unless a value is what a schema of the document says."""
        whole = schema | {"components": self.content["components"]}
        Draft202012Validator(whole, format_checker=FormatChecker()).validate(value)


@dataclass
class Api:
    """A client of the API.

    Args:
        clock: the server's.
        document: what every request and answer is held against.
    """

    client: FlaskClient
    clock: FakeClock
    document: Document

    def send(self, method: str, path: str, body: Any = None, **kwargs: Any) -> TestResponse:
        """Return the answer to a request below /api/v1, held against the document."""
        if body is not None:
            kwargs |= {"data": json.dumps(body), "content_type": "application/json"}
        answer = self.client.open("/api/v1" + path, method=method, **kwargs)
        self.document.check(method, "/api/v1" + path, body, answer)
        return answer

    def get(self, path: str, **query: Any) -> Any:
        """Return what a GET answers with 200."""
        answer = self.send("GET", path, query_string=query)
        assert answer.status_code == 200, answer.text
        return answer.json

    def post(self, path: str, body: Any, status: int = 201) -> Any:
        """Return what a POST answers with the status."""
        answer = self.send("POST", path, body)
        assert answer.status_code == status, answer.text
        return answer.json

    def patch(self, path: str, body: Any) -> Any:
        """Return what a PATCH answers with 200."""
        answer = self.send("PATCH", path, body)
        assert answer.status_code == 200, answer.text
        return answer.json

    def refused(self, method: str, path: str, body: Any = None, **kwargs: Any) -> Any:
        """Return the problem with which a request is refused."""
        answer = self.send(method, path, body, **kwargs)
        assert answer.content_type == "application/problem+json", answer.text
        assert answer.json is not None
        assert answer.status_code == answer.json["status"]
        assert answer.json.keys() >= {"type", "title", "status", "detail", "code"}
        return answer.json

    # -- things to work with -------------------------------------------------------------------

    def hours_ago(self, hours: float) -> str:
        """Return the moment so many hours before the server's now."""
        return utc_text(self.clock.now - round(hours * HOUR_S))

    def part(self, **facts: Any) -> str:
        """Put a part on file and return its number."""
        given = {"number": "BUOY-7", "description": "Pressure front end", "msl": "3"}
        number: str = self.post("/parts", given | {"body_mm": 1.4} | facts)["number"]
        return number

    def place(self, kind: str = "floor", **facts: Any) -> str:
        """Put a place on file and return its code."""
        code: str = self.post("/places", {"name": f"Bench {kind}", "kind": kind} | facts)["code"]
        return code

    def carrier(self, **facts: Any) -> str:
        """Receive a carrier a week ago, sealed a month ago, and return its code."""
        given = {
            "part": "BUOY-7",
            "lot": "L-1",
            "quantity": 500,
            "kind": "reel",
            "sealed_on": "2026-04-14",
            "received_at": self.hours_ago(7 * 24),
        }
        code: str = self.post("/carriers", given | facts)["code"]
        return code

    def event(self, carrier: str, kind: str, **fields: Any) -> dict[str, Any]:
        """Return an event that is not yet sent."""
        if kind == "open":
            fields.setdefault("hic", DRY)
        if kind == "close":
            fields = {"desiccant": "fresh", "hic": "fresh", "seal": "heat"} | fields
        return {"id": str(uuid4()), "carrier": carrier, "kind": kind} | fields

    def record(self, carrier: str, kind: str, **fields: Any) -> dict[str, Any]:
        """Record an event and return what became of it."""
        answer = self.post("/events", self.event(carrier, kind, **fields))
        (result,) = answer["results"]
        assert result["result"] == "created"
        return dict(result)

    def air(
        self, place: str, temp_c: float, rh_pct: float, since_h: float, until_h: float = 0
    ) -> None:
        """Post readings of unchanging air every 5 minutes, from so many hours ago on."""
        start = self.clock.now - round(since_h * HOUR_S)
        end = self.clock.now - round(until_h * HOUR_S)
        rows = [
            {"place": place, "at": utc_text(at), "temp_c": temp_c, "rh_pct": rh_pct}
            for at in range(start, end + 1, 300)
        ]
        answer = self.post("/readings", rows, 200)
        assert answer == {"accepted": len(rows), "duplicates": 0, "refused": []}


@pytest.fixture
def app(database_url: str) -> Iterator[Flask]:
    """The application on an empty database, on SQLite and on PostgreSQL."""
    settings = load_settings({"database": database_url, "timezone": "Europe/Lisbon"})
    yield create_app(settings, FakeClock())
    close_store()


@pytest.fixture
def api(app: Flask) -> Api:
    """A client of the application."""
    clock = app.extensions["msdtrack"].now
    return Api(app.test_client(), clock, Document(app))
