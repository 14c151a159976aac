"""Turns of several processes that write to one SQLite file.

SQLite lets a process wait by sleeping longer and longer, up to a tenth of a second, while others
that come later go ahead. Here whoever wants to write waits for the lock of a file beside the
database, which the system gives out in the order in which it was asked for.
"""

from __future__ import annotations

import _thread
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from msdtrack.store.errors import StoreUnavailable

QUEUE = "-queue"
"""What the name of the file of the queue ends in; it is empty and stands beside the database."""


@contextmanager
def turn(database: str, wait_s: float) -> Iterator[None]:
    """Have the turn during the block.

    On Windows, which has no such locks, there is no queue: the database's own lock has to do.

    Args:
        database: path of the database file.
        wait_s: how long to wait for it.

    Raises:
        StoreUnavailable: another process has had it all the time, or there can be no queue.
    """
    if sys.platform == "win32":
        yield
        return
    import fcntl

    try:
        # Only read, which is enough for its lock: it may be the file of another user.
        file = os.open(database + QUEUE, os.O_RDONLY | os.O_CREAT, 0o666)
    except OSError as error:
        raise StoreUnavailable(
            f"The file {database}{QUEUE} can't be opened ({error.strerror}). Nothing was written; "
            "let msdtrack's user read it, or delete it while no msdtrack runs."
        ) from error
    try:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if not _waited(file, wait_s):
                raise StoreUnavailable(
                    f"The database is locked: another msdtrack has been writing to it for {wait_s} "
                    "s. Nothing was written."
                ) from None
        yield
        fcntl.flock(file, fcntl.LOCK_UN)
    finally:
        os.close(file)


def _waited(file: int, wait_s: float) -> bool:
    """Wait for the lock in a thread of its own, for the system sets no limit to the wait."""
    import fcntl

    # The lock is held until both are closed: one who no longer waits for it never has it.
    own = os.dup(file)
    coming = _thread.allocate_lock()
    coming.acquire()

    def wait() -> None:
        try:
            fcntl.flock(own, fcntl.LOCK_EX)
            coming.release()
        finally:
            os.close(own)

    # What threading adds to this takes as long as all the rest of a turn.
    _thread.start_new_thread(wait, ())
    return coming.acquire(timeout=wait_s)
