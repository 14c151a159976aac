"""The OpenAPI document, made from the calls and the models that check and describe them."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterable
from typing import Any, Literal

from pydantic import TypeAdapter

from msdtrack import __version__
from msdtrack.web.api.calls import JSON, Call
from msdtrack.web.api.shapes import Problem

OPENAPI_VERSION = "3.1.0"
PREFIX = "/api/v1"
_REF = "#/components/schemas/{model}"
_PATH_PART = re.compile(r"<(?:(\w+)(?:\(.*?\))?:)?(\w+)>")

_ABOUT = """\
Times are ISO 8601 with offset on whole seconds; answers use Z. A write dated more than 2 minutes
ahead is refused; a GET with an `at` that lies ahead is a forecast. Unknown fields and loose types
are refused, and a refused request changes nothing. The same `id` with the same content answers 200
with the first result and changes nothing; with other content 409."""

Key = tuple[str, str]


def document(calls: Iterable[Call]) -> dict[str, Any]:
    """Return the OpenAPI document of calls.

    Source: OpenAPI Specification 3.1.0, https://spec.openapis.org/oas/v3.1.0.
    """
    listed = list(calls)
    inputs: list[tuple[Any, Literal["validation"], TypeAdapter[Any]]] = []
    for call in listed:
        for media, model in (*call.takes.items(), *_answers(call)):
            if model is not None:
                inputs.append(((call.run.__name__, media), "validation", TypeAdapter(model)))
    inputs.append((("problem", JSON), "validation", TypeAdapter(Problem)))
    schemas, definitions = TypeAdapter.json_schemas(inputs, ref_template=_REF)
    paths: dict[str, dict[str, Any]] = {}
    for call in listed:
        path = PREFIX + _PATH_PART.sub(r"{\2}", call.path)
        made = {key: schemas[key, "validation"] for key, _, _ in inputs}
        paths.setdefault(path, {})[call.method.lower()] = _operation(call, made)
    return {
        "openapi": OPENAPI_VERSION,
        "info": {"title": "msdtrack", "version": __version__, "description": _ABOUT},
        "paths": paths,
        "components": {"schemas": definitions["$defs"]},
    }


def _answers(call: Call) -> list[tuple[str, Any]]:
    return [(f"answer {media}", model) for media, model in call.answers.values()]


def _operation(call: Call, schemas: dict[Key, Any]) -> dict[str, Any]:
    name = call.run.__name__
    summary, _, description = inspect.getdoc(call.run).partition("\n\n")  # type: ignore[union-attr]
    operation: dict[str, Any] = {
        "operationId": name,
        "summary": " ".join(summary.split()),
        "description": description,
        "parameters": [*_path_parameters(call), *_query_parameters(call)],
        "responses": {
            str(status): {
                "description": "It was made." if status == 201 else "Done.",
                "content": {media: _content(schemas.get((name, f"answer {media}")))},
            }
            for status, (media, _) in call.answers.items()
        },
    }
    operation["responses"]["default"] = {
        "description": "It was refused, and nothing was changed.",
        "content": {"application/problem+json": {"schema": schemas["problem", JSON]}},
    }
    if call.takes:
        content = {media: _content(schemas.get((name, media))) for media in call.takes}
        operation["requestBody"] = {"required": True, "content": content}
    return operation


def _content(schema: Any) -> dict[str, Any]:
    return {} if schema is None else {"schema": schema}


def _path_parameters(call: Call) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "in": "path",
            "required": True,
            "schema": {"type": "integer" if kind == "int" else "string"},
        }
        for kind, name in _PATH_PART.findall(call.path)
    ]


def _query_parameters(call: Call) -> list[dict[str, Any]]:
    schema = call.query.model_json_schema(ref_template=_REF)
    required = schema.get("required", [])
    return (
        [
            {"name": name, "in": "query", "required": name in required, "schema": of}
            for name, of in schema["properties"].items()
        ]
        if "properties" in schema
        else []
    )
