"""Requests held against their models; what is wrong with them, in words and by field."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from flask import abort
from pydantic import TypeAdapter, ValidationError

from msdtrack.errors import BadInput, FieldError
from msdtrack.exposure.events import Kind
from msdtrack.phrases import listed

T = TypeVar("T")

ONE, MANY = "<one>", "<many>"
"""Names of the alternatives of a body that is one thing or a list."""

_SHOWN = 5
"""So many findings stand in the sentence; all of them stand in `errors`."""

_ALTERNATIVES = frozenset(Kind) | {ONE, MANY}

_WORDS = {
    "missing": "is missing",
    "extra_forbidden": "there is no such field",
    "string_pattern_mismatch": "give text that is not empty and holds no control characters",
    "union_tag_not_found": "is missing",
    "list_type": "give a list in square brackets, of one too",
}


def validated_json(adapter: TypeAdapter[T], data: bytes, now: int) -> T:
    """Return the value that a JSON document writes.

    Args:
        adapter: what it must be.
        data: the document, UTF-8.
        now: the present moment, for what must not lie ahead.

    Raises:
        BadInput: fields are wrong; they are named.
        HTTPException: it is no JSON (400).
    """
    try:
        return adapter.validate_json(data, context={"now": now})
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        if first["type"] == "json_invalid":
            abort(400, f"The body is no JSON: {first['ctx']['error']}.")
        raise bad_input(findings(error)) from error


def validated_query(adapter: TypeAdapter[T], arguments: Mapping[str, list[str]]) -> T:
    """Return the value that the query of an address writes.

    Args:
        adapter: what it must be.
        arguments: every value given, by parameter.

    Raises:
        BadInput: a parameter is wrong, unknown or given twice.
    """
    values: dict[str, Any] = {
        name: given[0] if len(given) == 1 else given for name, given in arguments.items()
    }
    try:
        return adapter.validate_python(values)
    except ValidationError as error:
        raise bad_input(findings(error)) from error


def findings(error: ValidationError, where: str = "") -> list[FieldError]:
    """Return what a validation found.

    Args:
        error: the validation's error.
        where: put before each field.
    """
    return [
        FieldError(where + _field(one) or "body", _message(one))
        for one in error.errors(include_url=False)
    ]


def bad_input(errors: Iterable[FieldError]) -> BadInput:
    """Return the error that tells findings in one sentence."""
    found = list(errors)
    told = [f"{one.field}: {one.message}" for one in found]
    return BadInput(f"{listed(told, _SHOWN, '; ')}.", found)


def _field(one: Mapping[str, Any]) -> str:
    """Return the path to a field, without the names of the alternatives on the way to it."""
    *way, last = one["loc"] or ("",)
    path = [step for step in way if step not in _ALTERNATIVES]
    if one["type"] == "extra_forbidden" or last not in _ALTERNATIVES:
        path.append(last)
    if one["type"].startswith("union_tag"):
        path.append("kind")
    return ".".join(str(step) for step in path if step not in ("[key]", ""))


def _message(one: Mapping[str, Any]) -> str:
    if one["type"] == "union_tag_invalid":
        tag, known = one["ctx"]["tag"], one["ctx"]["expected_tags"]
        if tag in frozenset(Kind):
            return f"{tag} is not offered here; there are {known}"
        return f"there is no kind {tag!r}; there are {known}"
    return _WORDS.get(one["type"], str(one["msg"]).removeprefix("Value error, "))
