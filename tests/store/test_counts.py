"""Counts of places in the database: one runs at a place, and what it holds stays."""

from __future__ import annotations

import pytest

from msdtrack.errors import Conflict, NotFound
from msdtrack.store import catalog, connection, counts, places
from msdtrack.store.connection import close_store, open_store, write
from msdtrack.store.counts import CountLine
from msdtrack.store.migrations import ALL, schema_version
from tests.store.samples import T0, fill


@pytest.fixture
def place(store: str) -> str:
    """A place on file."""
    fill()
    return places.places()[0].code


def person() -> str:
    return catalog.people()[0].code


def test_the_tables_before_with_rows_get_the_counts(database_url: str) -> None:
    """From the version before: the rows stay, and a place of it can be counted."""
    open_store(database_url, known_migrations=ALL[:5])
    fill()
    before = places.places()
    close_store()
    open_store(database_url)
    assert schema_version(connection.opened()) == ALL[-1].version
    assert places.places() == before
    with write():
        counts.begin("a", before[0].code, T0)
    assert [one.id for one in counts.running()] == ["a"]
    close_store()


def test_one_count_runs_at_a_place(place: str) -> None:
    """Another begins when it has ended; one at a place that is not there never does."""
    with write():
        counts.begin("a", place, T0)
    with pytest.raises(Conflict), write():
        counts.begin("b", place, T0)
    with write():
        counts.end("a", T0 + 9, person(), "dropped", None)
        counts.begin("b", place, T0 + 10)
    assert [one.id for one in counts.running(place)] == ["b"]
    with pytest.raises(Conflict), write():
        counts.begin("c", "P-NOWHERE", T0)


def test_a_line_is_put_in_place_of_the_one_before(place: str) -> None:
    """What is decided and found of a code, each once; it can be forgotten."""
    with write():
        counts.begin("a", place, T0)
        counts.put_line("a", CountLine("C1", None, {"act": "hold"}))
        counts.put_line("a", CountLine("C1", T0 + 5))
        counts.put_line("a", CountLine("C2", T0 + 6))
        counts.drop_line("a", "C2")
    assert counts.lines("a") == {"C1": CountLine("C1", T0 + 5)}


def test_what_recorded_counts_found_is_remembered(place: str) -> None:
    """The newest of those that were recorded, at that place; not of a dropped one."""
    with write():
        for n, outcome in enumerate(("recorded", "recorded", "dropped")):
            counts.begin(str(n), place, T0 + n)
            counts.put_line(str(n), CountLine("C1", T0 + n))
            counts.end(str(n), T0 + n, person(), outcome, {"n": n})
    assert counts.last_found(["C1", "C2"], place) == {"C1": T0 + 1}
    assert counts.last_found(["C1"], "P-OTHER") == {}
    assert [one.summary for one in counts.recorded(9)] == [{"n": 1}, {"n": 0}]
    assert [one.summary for one in counts.recorded(1)] == [{"n": 1}]
    with pytest.raises(NotFound):
        counts.count("nothing")
