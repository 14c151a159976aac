"""What was answered to requests that carry an id, so that sending one twice changes nothing."""

from __future__ import annotations

import json

from msdtrack.store import models
from msdtrack.store.canonical import JsonValue, to_json
from msdtrack.store.connection import writing
from msdtrack.store.records import RememberedRequest


def remembered(request_id: str) -> RememberedRequest | None:
    """Return what is remembered of a request; None if it is new."""
    found = models.dicts(models.Request.select().where(models.Request.id == request_id))
    if not found:
        return None
    return RememberedRequest(**found[0] | {"answer": json.loads(found[0]["answer"])})


def remember(
    request_id: str, scope: str, content_hash: str, status: int, answer: JsonValue, recorded_at: int
) -> None:
    """Keep the answer to a request.

    Args:
        scope: what the request was for, such as the route.
        content_hash: `canonical.content_hash` of what the client sent.
        status: how it was answered, such as an HTTP status.

    Raises:
        Conflict: the id is remembered already.
    """
    writing(widely=False)
    models.Request.insert(
        id=request_id,
        scope=scope,
        content_hash=content_hash,
        status=status,
        answer=to_json(answer),
        recorded_at=recorded_at,
    ).execute()
