"""Facts that every carrier's state or scan needs and that seldom change: places, their air
settings, policies, parts, people, and which readings there are.

What was read is kept until one of them has changed. Their tables only grow, and neither a place, a
part nor a person is ever corrected without a trace, so the newest ids of these tables tell; each
change of readings is counted.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from msdtrack.store.connection import generation, once_in_transaction, snapshot_is_committed
from msdtrack.store.statements import one_row

T = TypeVar("T")

_STAMP = (
    "SELECT (SELECT max(id) FROM place_setting), (SELECT max(id) FROM policy), "
    "(SELECT max(id) FROM fact_change), (SELECT sum(changes) FROM reading_version)"
)

_kept: dict[str, tuple[tuple[object, ...], Any]] = {}


def seldom_changed(name: str, read: Callable[[], T]) -> T:
    """Return what `read` returns, read anew only if a place, a policy or a part has changed since.

    Args:
        name: stands for what is read.
        read: reads places, policies or parts; what it returns is shared and must not be changed.
    """
    return _kept_or_read(name, read, slice(0, 3))


def changed_by_readings(name: str, read: Callable[[], T]) -> T:
    """Return what `read` returns, read anew only if readings, or a place or a policy, have changed
    since; the arguments are those of `seldom_changed`."""
    return _kept_or_read(name, read, slice(0, 4))


def _kept_or_read(name: str, read: Callable[[], T], told_by: slice) -> T:
    stamp = (generation(), *once_in_transaction(lambda: one_row(_STAMP))[told_by])
    kept = _kept.get(name)
    if kept is not None and kept[0] == stamp:
        found: T = kept[1]
        return found
    found = read()
    # Undone, what this transaction has written may leave its ids to something else.
    if snapshot_is_committed():
        _kept[name] = (stamp, found)
    return found
