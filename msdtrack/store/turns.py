"""Turns of several processes that write to one SQLite file.

SQLite lets a process wait by sleeping longer and longer, up to a tenth of a second, while others
that come later go ahead. Here one process at a time, whoever holds the lock of the queue, asks for
the write lock, and asks often; the one that has just written can't pass it.
"""

from __future__ import annotations

import os
import random
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

_LOOK_EVERY_S = 0.0003

QUEUE = "-queue"
"""What the name of the file of the queue ends in; it is empty and stands beside the database."""


@contextmanager
def next_in_turn(database: str, deadline: float) -> Iterator[None]:
    """Be the next in turn during the block, or after the deadline one of several.

    On Windows, which has no such locks, there is no queue: the database's own lock has to do.

    Args:
        database: path of the database file.
        deadline: until when to wait, by `time.monotonic`.
    """
    if sys.platform == "win32":
        yield
        return
    import fcntl

    # Closing the file leaves the queue.
    file = os.open(database + QUEUE, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        while time.monotonic() <= deadline:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                wait_a_little()
        yield
    finally:
        os.close(file)


def wait_a_little() -> None:
    """Wait before looking again."""
    time.sleep(_LOOK_EVERY_S * random.uniform(0.5, 1.5))
