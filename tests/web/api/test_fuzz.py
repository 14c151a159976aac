"""Requests made up from the document itself, sensible ones and broken ones: no answer is a 500.

They are made by schemathesis, which also holds each answer against the document.
"""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from flask import Flask
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import APIOperation, GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from msdtrack.services import alarm_rules
from tests.web.api.conftest import Api

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]


@pytest.fixture
def known(api: Api) -> dict[str, Any]:
    """Something on file for every field that names something."""
    part, place = api.part(), api.place("line")
    oven = api.place("oven", max_temp_c=125, max_rh_pct=5)
    carrier = api.carrier(place=place, received_at=api.hours_ago(400))
    api.air(place, 26, 58, since_h=2)
    opened = api.record(carrier, "open", at=api.hours_ago(170))["id"]
    alarm_rules.evaluate(api.clock.now)
    alarm = api.get("/alarms")["items"][0]["id"]
    return {
        "number": part, "part": part, "place": place, "oven": oven, "carrier": carrier,
        "code": carrier, "event": opened, "codes": [carrier], "alarm_id": alarm,
    }  # fmt: skip


def _with_known(value: Any, known: dict[str, Any]) -> Any:
    """Return a body in which every name of a thing is the one of a thing on file."""
    if isinstance(value, dict):
        return {
            name: known[name] if name in known else _with_known(one, known)
            for name, one in value.items()
        }
    return [_with_known(one, known) for one in value] if isinstance(value, list) else value


def _can_be_asked_wrongly(operation: APIOperation) -> bool:
    """Return whether it takes more than a name or a picture, for which anything will do."""
    described = operation.definition.raw
    bodies = described.get("requestBody", {"content": {}})["content"].values()
    return any("schema" in body for body in bodies) or any(
        parameter["in"] == "query" for parameter in described["parameters"]
    )


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_no_request_makes_the_server_fail(
    app: Flask, known: dict[str, Any], mode: GenerationMode
) -> None:
    """Every call, many times: the answer is one that the document promises, and never a 500."""
    document = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app)
    operations = [found.ok() for found in document.get_all_operations()]
    assert len(operations) > 20
    for operation in operations:
        if mode is GenerationMode.NEGATIVE and not _can_be_asked_wrongly(operation):
            continue

        @given(case=operation.as_strategy(generation_mode=mode), meant=st.booleans())
        @settings(max_examples=25, suppress_health_check=list(HealthCheck), database=None)
        def answers_as_promised(case: Any, meant: bool) -> None:
            if meant:
                case.path_parameters = _with_known(case.path_parameters, known)
                case.body = _with_known(case.body, known)
            case.validate_response(case.call(), checks=CHECKS)

        answers_as_promised()
