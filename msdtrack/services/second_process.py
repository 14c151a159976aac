"""A second process that folds carriers while this one does, too, and stores what both have drawn.

This one holds the write transaction meanwhile, so that the other, in a snapshot of its own, sees
the same. It only reads: when it dies, what it was asked for is folded here.
"""

from __future__ import annotations

import gc
import itertools
import multiprocessing
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from multiprocessing.connection import Connection

from msdtrack.services.standing_lines import Drawing, Drawn
from msdtrack.store import connection, forking

STEP = 32
"""So many carriers are asked for at a time, and less towards the end of a piece: neither process
waits long for the other."""

_LEAST = 4
"""So many at least: each time takes a few queries."""

_AHEAD = 2
"""So many steps the second process has been asked for, so that it always has one to do."""


def is_possible() -> bool:
    """Return whether a second process can be forked from this one, and has a core of its own.

    Not where threads run, as in a server: they might hold locks that nobody in the new process
    would ever release. PostgreSQL itself takes a core for what is asked of it.
    """
    return (
        sys.platform == "linux"
        and len(os.sched_getaffinity(0)) >= (2 if connection.is_sqlite() else 3)
        and threading.active_count() == 1
        and not connection.in_transaction()
    )


@contextmanager
def second_process() -> Iterator[Second | None]:
    """Have a second process during the block; None where there can't be one."""
    if not is_possible():
        yield None
        return
    forking.let_go()
    context = multiprocessing.get_context("fork")
    ours, its = context.Pipe()
    process = context.Process(target=_work, args=(ours, its), daemon=True)
    try:
        process.start()
    except OSError:
        # The system has no room for one.
        yield None
        return
    finally:
        its.close()
    try:
        yield Second(ours)
    finally:
        # It ends when it finds nobody at the other end; a hand that stopped it may be needed.
        ours.close()
        process.join(1)
        process.kill()
        process.join()


class Second:
    """The second process, as the first one sees it.

    Args:
        pipe: to the second process.
    """

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self.is_there = True

    def fold(self, drawing: Drawing, codes: Sequence[str]) -> None:
        """Fold carriers in both processes and store them all, inside the write transaction that
        `drawing` is of."""
        left = list(codes)
        asked: deque[Sequence[str]] = deque()
        self._tell((drawing.now, drawing.as_of))
        while left or asked:
            while left and len(asked) < _AHEAD and self.is_there:
                asked.append(_step_of(left))
                self._tell(asked[-1])
            if asked and (not left or self._has_answered()):
                drawn = self._answer()
                if drawn is not None:
                    drawn.put()
                    asked.popleft()
                else:
                    left.extend(itertools.chain.from_iterable(asked))
                    asked.clear()
            elif left:
                drawing.fold(_step_of(left))
        self._tell(None)

    def _tell(self, what: object) -> None:
        if self.is_there:
            try:
                self._pipe.send(what)
            except OSError:
                self.is_there = False

    def _has_answered(self) -> bool:
        """Return whether it has, or is not there any more."""
        return self._pipe.poll()

    def _answer(self) -> Drawn | None:
        """Wait for its next answer; None if it is not there any more."""
        try:
            found: Drawn = self._pipe.recv()
        except (EOFError, OSError):
            self.is_there = False
            return None
        return found


def _step_of(left: list[str]) -> list[str]:
    """Take the next step out of the carriers that are left."""
    size = min(STEP, max(_LEAST, len(left) // 8))
    step = left[-size:]
    del left[-size:]
    return step


def _work(other: Connection, pipe: Connection) -> None:
    """Fold what is asked for, as the second process, until nobody asks any more.

    Args:
        other: the end of the pipe that the first process has; it must not seem to be still there.
    """
    # A break from the keyboard is for the first process; this one ends with it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.disable()
    other.close()
    try:
        while True:
            now, as_of = pipe.recv()
            with connection.read():
                drawing = Drawing(now, as_of)
                while (codes := pipe.recv()) is not None:
                    pipe.send(drawing.drawn(codes))
    except (EOFError, OSError):
        return
