"""Values as JSON text in one form only, so that equal content has equal text and equal hash."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, is_dataclass
from datetime import date
from typing import Any, TypeAlias

JsonValue: TypeAlias = Any
"""None, bool, int, float, str, and lists and mappings of them."""


def to_json(value: JsonValue) -> str:
    """Return the value as JSON with sorted keys and no spaces.

    Args:
        value: a `JsonValue`; dates become ISO 8601 text, dataclasses mappings of their fields.

    Raises:
        ValueError: a number is not finite.
    """
    return _encoder.encode(value)


def content_hash(content: JsonValue) -> str:
    """Return the SHA-256 of the content's canonical JSON, in hexadecimal.

    Two requests with the same id are the same request if this is the same, so `content` holds what
    the client sent and nothing that the server filled in.
    """
    return hashlib.sha256(to_json(content).encode()).hexdigest()


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, date):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")


# `json.dumps` would make one for each call.
_encoder = json.JSONEncoder(
    sort_keys=True,
    separators=(",", ":"),
    ensure_ascii=False,
    allow_nan=False,
    default=_plain,
)
