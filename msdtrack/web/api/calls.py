"""The calls of the API as data: one declaration makes the route, the checks and the document."""

from __future__ import annotations

import inspect
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, get_type_hints

from flask import Blueprint, Response, abort, request
from pydantic import TypeAdapter

from msdtrack.web.api.fields import NoQuery, Query
from msdtrack.web.api.validation import validated_json, validated_query
from msdtrack.web.site import site

JSON = "application/json"

Run = Callable[..., Any]


@dataclass(frozen=True, slots=True)
class Call:
    """One call.

    Args:
        method, path: as Flask writes them, after the API's prefix.
        run: does it; takes the parts of the path by name and, where it names them, `query`, `body`
            and `now`, and returns the answer, or the answer and its status, or a whole response.
        query: what the query may hold.
        takes: content type to the type of the body, None for text of its own kind.
        answers: status to content type and the type of the answer, None for bytes.
    """

    method: str
    path: str
    run: Run
    query: type[Query]
    takes: Mapping[str, Any]
    answers: Mapping[int, tuple[str, Any]]


class Calls(list[Call]):
    """The calls that a module declares."""

    def add(
        self,
        method: str,
        path: str,
        answer: Any,
        *,
        created: bool = False,
        media: str = JSON,
        takes: Mapping[str, Any] | None = None,
    ) -> Callable[[Run], Run]:
        """Declare the decorated function as a call; its hints say what it takes.

        Args:
            method, path: as for `Call`.
            answer: the type of the answer, None for bytes.
            created: it answers 201 when it made something, 200 when it was there already.
            media: content type of the answer.
            takes: as for `Call`, where the function reads the body itself.
        """

        def declare(run: Run) -> Run:
            hints = get_type_hints(run, include_extras=True)
            body = {JSON: hints["body"]} if "body" in hints else {}
            answers = dict.fromkeys((200, 201) if created else (200,), (media, answer))
            self.append(
                Call(method, path, run, hints.get("query", NoQuery), takes or body, answers)
            )
            return run

        return declare


def register(blueprint: Blueprint, call: Call) -> None:
    """Make the route of a call."""
    wanted = set(inspect.signature(call.run).parameters)
    query = TypeAdapter(call.query)
    body = TypeAdapter(call.takes[JSON]) if "body" in wanted else None

    def view(**path: Any) -> Response:
        now = site().now()
        given: dict[str, Any] = dict(path)
        checked = validated_query(query, request.args.to_dict(flat=False))
        if "query" in wanted:
            given["query"] = checked
        if "now" in wanted:
            given["now"] = now
        if body is not None:
            if not request.is_json:
                abort(415, f"Send the body as JSON: Content-Type: {JSON}.")
            given["body"] = validated_json(body, request.get_data(), now)
        return json_response(call.run(**given))

    blueprint.add_url_rule(
        call.path,
        endpoint=call.run.__name__,
        view_func=view,
        methods=[call.method],
        merge_slashes=False,
    )


def json_response(answer: Any) -> Response:
    """Return the response of an answer: a JSON-ready value, a pair of it and its status, or one
    that is a response already."""
    if isinstance(answer, Response):
        return answer
    content, status = answer if isinstance(answer, tuple) else (answer, 200)
    text = json.dumps(content, ensure_ascii=False, allow_nan=False)
    return Response(text, status, mimetype=JSON)
