"""Rebuilds the standings of a database in a process of its own, whose only thread may fork.

`python -m tests.services.rebuilding URL NOW HOW`, where HOW is "two", "killed" (the second process
is killed half-way), "writing" (events are recorded between the pieces) or "threads" (another thread
runs). Prints how many steps the second process drew, and all that is stored in the end.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from typing import Any
from uuid import uuid4

from msdtrack.services import event_recording, second_process, standings
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.second_process import Second
from msdtrack.store import standings as table
from msdtrack.store import stays
from msdtrack.store.connection import close_store, open_store
from tests.services.floor import DRY

PIECE, STEP = 6, 2
"""So small that a few carriers take several pieces of several steps."""


def stored() -> str:
    """Return all that is stored of standings."""
    return repr((table.standings(), stays.stays(), sorted(table.places_now())))


def main(url: str, now: int, how: str) -> None:
    """Rebuild, and print what came of it."""
    standings.PIECE = standings.FEW = PIECE
    second_process.STEP = STEP
    # On a machine with one core, too.
    os.sched_getaffinity = lambda _: {0, 1, 2}  # type: ignore[assignment]
    answers: list[bool] = []
    answer, wait = Second._answer, standings.time.sleep

    def noted(self: Second) -> Any:
        if how == "killed" and len(answers) == 3:
            (process,) = multiprocessing.active_children()
            assert process.pid is not None
            os.kill(process.pid, signal.SIGKILL)
            process.join()
            # What it had answered before is there, and then no more.
            while (drawn := answer(self)) is not None:
                drawn.put()
            answers.append(False)
            return None
        drawn = answer(self)
        answers.append(drawn is not None)
        return drawn

    def recording(s: float) -> None:
        nonlocal now
        now += 60
        for code in reversed(table.stale(now)):
            kind = NewEvent(str(uuid4()), code, "open", now, hic=DRY)
            event_recording.record([kind], now)
            break
        wait(s)

    Second._answer = noted  # type: ignore[method-assign]
    open_store(url)
    if how == "writing":
        standings.time.sleep = recording  # type: ignore[assignment]
    if how == "threads":
        threading.Thread(target=threading.Event().wait, daemon=True).start()
    standings.rebuild(now)
    print(answers.count(True))
    print(answers.count(False))
    print(now)
    print(stored())
    assert not multiprocessing.active_children()
    close_store()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), sys.argv[3])
