"""Lists in pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from msdtrack.errors import FieldError
from msdtrack.web.api.validation import bad_input

T = TypeVar("T")


def page_of(
    found: Sequence[T], limit: int, key: Callable[[T], object], answer: Callable[[T], Any]
) -> dict[str, Any]:
    """Return a page of a list, and where the next one begins.

    Args:
        found: the rest of the list, at least one more than `limit` if there are more.
        limit: how many are on a page.
        key: what tells the things apart.
        answer: makes the item of the answer.
    """
    shown = found[:limit]
    return {
        "items": [answer(one) for one in shown],
        "next": str(key(shown[-1])) if len(found) > limit else None,
    }


def rest_of(whole: Sequence[T], after: object, key: Callable[[T], object]) -> Sequence[T]:
    """Return what follows in a list that has no order of its own; all of it where `after` is None.

    Raises:
        BadInput: nothing in the list is called that.
    """
    if after is None:
        return whole
    keys = [key(one) for one in whole]
    if after not in keys:
        raise bad_input([FieldError("after", f"{after} is not in the list: begin it anew")])
    return whole[keys.index(after) + 1 :]
