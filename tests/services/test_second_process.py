"""A second process changes nothing about what is drawn, whatever becomes of it."""

from __future__ import annotations

import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from msdtrack.errors import MsdtrackError
from msdtrack.services import standings
from msdtrack.services.event_recording import NewEvent
from msdtrack.store.connection import close_store, open_store
from tests.postgresql_cluster import Cluster
from tests.services.floor import CARDS, Floor
from tests.services.rebuilding import stored
from tests.services.test_standings import RANDOM, check, copy_of, empty

ROOT = Path(__file__).resolve().parents[2]

__all__ = ["empty"]

if sys.platform != "linux":
    pytest.skip("processes are forked on Linux only", allow_module_level=True)


def rebuilt(url: str, now: int, how: str) -> tuple[int, int, int, str]:
    """Rebuild in a process of its own; return how many steps the second process drew, how many
    were lost with it, the moment in the end, and what is stored."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.services.rebuilding", url, str(now), how],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    answered, lost, then, tables = done.stdout.splitlines()
    return int(answered), int(lost), int(then), tables


def a_factory(data: st.DataObject) -> int:
    """Let things happen to many carriers, and return the moment."""
    floor = Floor(data.draw)
    floor.carriers += [floor._receive() for _ in range(30)]
    for code in floor.carriers:
        floor._record(NewEvent(str(uuid4()), code, "open", floor.now - 600, hic=floor.one(*CARDS)))
    for _ in range(2 * len(floor.carriers)):
        with suppress(MsdtrackError):
            floor._event()
    for _ in range(15):
        floor.step()
    return floor.now


def all_ways_agree(url: str, data: st.DataObject) -> None:
    now = a_factory(data)
    standings.rebuild(now, alone=True)
    alone = stored()
    for how in ("two", "killed"):
        answered, lost, _, tables = rebuilt(url, now, how)
        assert tables == alone, how
        assert answered >= 3
        assert lost == (how == "killed")
    assert rebuilt(url, now, "threads") == (0, 0, now, alone)
    _, _, now, _ = rebuilt(url, now, "writing")
    check(now, [])


@settings(RANDOM, max_examples=6)
@given(data=st.data())
def test_two_processes_draw_the_same(empty: Path, data: st.DataObject) -> None:
    with copy_of(empty) as url:
        all_ways_agree(url, data)


@pytest.mark.postgresql
@settings(RANDOM, max_examples=2)
@given(data=st.data())
def test_two_processes_draw_the_same_on_postgresql(
    postgresql_cluster: Cluster, data: st.DataObject
) -> None:
    with postgresql_cluster.database() as url:
        open_store(url)
        try:
            all_ways_agree(url, data)
        finally:
            close_store()
