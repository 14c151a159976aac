"""The one writer of events, and what was answered to requests."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from msdtrack.errors import Conflict
from msdtrack.exposure.events import Event, Kind
from msdtrack.store import connection, event_log, request_log
from msdtrack.store.canonical import content_hash, to_json
from msdtrack.store.connection import write
from msdtrack.store.records import RememberedRequest
from tests.store.samples import T0, another, event, fill, write_and_fail

OPENING = event(
    Kind.OPEN,
    person="W1",
    station="S1",
    place="LINE1",
    bag="BAG1",
    hic={"5": "humid", "10": "dry", "60": "dry"},
    only_this=True,
)


def one_of_each() -> list[Event]:
    """Return events that together use every field there is."""
    closing = event(
        Kind.CLOSE, bag="BAG2", desiccant="fresh", new_hic="kept", seal="heat", at=T0 + 1
    )
    return [
        OPENING,
        closing,
        event(Kind.BAKE_START, place="CABINET1", temp_c=125.0, cause=OPENING.id),
        event(Kind.SPLIT, quantity=7, child="CARRIER9"),
        event(Kind.JOIN, into="CARRIER8", joined="CARRIER7"),
        event(Kind.PLACE_ON_BOARD, quantity=7, child="CARRIER6", board="JOB1"),
        event(Kind.REFLOW, peak_c=245.0, last=True),
        event(Kind.HOLD, reason="quality looks at it – später"),
        event(Kind.CORRECT, corrects=closing.id, reason="wrong", fields={"seal": "clip", "at": T0}),
        event(Kind.CORRECT, corrects=closing.id, reason="wrong", void=True),
    ]


@contextmanager
def counted_queries() -> Iterator[list[str]]:
    """Collect the SQL of every query in the block."""
    seen: list[str] = []

    def note(query: object) -> None:
        seen.append(str(getattr(query, "sql", query)))

    hooks = connection.opened().query_hooks
    hooks.append(note)
    try:
        yield seen
    finally:
        hooks.remove(note)


def test_every_field_of_an_event_comes_back(store: str) -> None:
    """With its order of receipt and the moment of receipt filled in, and nothing else changed."""
    fill()
    given = one_of_each()
    with write():
        stored = event_log.append(given, T0 + 60)
    assert stored == [e._replace(seq=i, recorded_at=T0 + 60) for i, e in enumerate(given, 1)]
    assert event_log.log("CARRIER1") == stored
    assert set(Event._fields) <= {
        name
        for each in given
        for name in Event._fields
        if getattr(each, name) or name in ("seq", "recorded_at")
    }, "a field that no sample uses would not be checked"


def test_the_order_of_receipt_counts_on(store: str) -> None:
    """Over transactions, without a gap even after one that failed."""
    fill(another("CARRIER2"))
    with write():
        first = event_log.append([event(), event(carrier="CARRIER2")], T0)
    with pytest.raises(ZeroDivisionError):
        write_and_fail(lambda: event_log.append([event()], T0))
    with write():
        second = event_log.append([event(at=T0 - 500)], T0)
    assert [e.seq for e in first + second] == [1, 2, 3]
    assert event_log.newest_seq() == 3


def test_many_logs_are_one_query(store: str) -> None:
    """And every carrier asked for is answered, though its log be empty."""
    fill(another("CARRIER2"), another("CARRIER3"))
    with write():
        stored = event_log.append([event(), event(carrier="CARRIER2"), event(Kind.MOVE)], T0)
    with counted_queries() as queries:
        found = event_log.logs(["CARRIER1", "CARRIER2", "CARRIER3"])
    assert len(queries) == 1
    assert found == {
        "CARRIER1": [stored[0], stored[2]],
        "CARRIER2": [stored[1]],
        "CARRIER3": [],
    }


def test_an_event_is_found_by_its_id_with_the_hash_of_what_was_sent(store: str) -> None:
    """The given hash if there is one, else the hash of all it holds but what receipt added."""
    fill()
    sent, made = event(), event(cause=None)
    with write():
        event_log.append([sent, made], T0, {sent.id: "hash of the request"})
    found = event_log.find([sent.id, made.id, "none"])
    assert found.keys() == {sent.id, made.id}
    assert found[sent.id][1] == "hash of the request"
    assert found[made.id][0].seq == 2
    content = {
        "at": T0, "bag": None, "carrier": "CARRIER1", "cause": None, "id": made.id,
        "kind": "open", "person": None, "place": None, "station": None,
    }  # fmt: skip
    assert found[made.id][1] == content_hash(content)


def test_an_id_is_on_the_log_once(store: str) -> None:
    """The second is refused and takes the rest of its list with it."""
    fill()
    with write():
        event_log.append([OPENING], T0)
    with pytest.raises(Conflict, match=OPENING.id), write():
        event_log.append([event(), OPENING], T0)
    twice = event()
    with pytest.raises(Conflict), write():
        event_log.append([twice, twice._replace(at=T0 + 1)], T0)
    assert len(event_log.log("CARRIER1")) == 1


@pytest.mark.parametrize("wrong", [{"carrier": "NONE"}, {"place": "NONE"}])
def test_an_event_that_names_what_does_not_exist_is_refused(
    store: str, wrong: dict[str, str]
) -> None:
    """Nothing of its list is written."""
    fill()
    with pytest.raises(Conflict), write():
        event_log.append([event(), event(**wrong)], T0)
    assert event_log.newest_seq() == 0


def test_what_one_event_brought_is_found(store: str) -> None:
    """Opening a bag opens all that share it, and an undo must find them."""
    fill(another("CARRIER2"), another("CARRIER3"))
    brought = [event(carrier=c, cause=OPENING.id) for c in ("CARRIER2", "CARRIER3")]
    with write():
        stored = event_log.append([OPENING, *brought, event(carrier="CARRIER2")], T0)
    assert event_log.caused_by(OPENING.id) == stored[1:3]
    assert event_log.caused_by(brought[0].id) == []


def test_equal_content_has_one_text_and_one_hash() -> None:
    """Order does not matter; a value, its type or an absent field does."""
    assert to_json({"b": [1, None], "a": "ü"}) == '{"a":"ü","b":[1,null]}'
    assert content_hash({"a": 1, "b": 2}) == content_hash({"b": 2, "a": 1})
    different = [{"a": 0}, {"a": False}, {"a": "0"}, {"a": None}, {}]
    assert len({content_hash(content) for content in different}) == len(different)
    with pytest.raises(ValueError, match="JSON"):
        to_json(float("nan"))


def test_an_answer_is_remembered_by_the_id_of_its_request(store: str) -> None:
    """Once, with what was asked and answered."""
    with write():
        request_log.remember("id-1", "POST /parts", "hash", 201, {"number": "ü", "n": None}, T0)
    assert request_log.remembered("id-1") == RememberedRequest(
        "id-1", "POST /parts", "hash", 201, {"number": "ü", "n": None}, T0
    )
    assert request_log.remembered("id-2") is None
    with pytest.raises(Conflict), write():
        request_log.remember("id-1", "POST /parts", "other", 201, {}, T0)
