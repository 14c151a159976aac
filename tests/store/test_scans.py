"""Scans and what stations wait with; printed labels."""

from __future__ import annotations

from dataclasses import replace

import pytest

from msdtrack.errors import Conflict
from msdtrack.store import prints, scans
from msdtrack.store.connection import write
from msdtrack.store.records import PrintRecord, ScanRecord, StationContext
from tests.store.samples import T0, fill

SCAN = ScanRecord(
    id="scan-1",
    station="S1",
    code="CARRIER1",
    at=T0,
    recorded_at=T0 + 1,
    content_hash="hash",
    tone="ok",
    answer={"message": "opened – 71 h left", "state": None},
    events=("event-1", "event-2"),
)


def test_a_station_waits_with_what_it_heard(store: str) -> None:
    """One context a station, replaced as a whole; an unknown station waits with nothing."""
    fill()
    context = StationContext("S1", T0, "CARRIER1", "open", "W1", {"minutes_ago": 15, "hic": {}})
    with write():
        scans.set_station_context(context)
        scans.set_station_context(StationContext("S2", T0, person="W2"))
    assert scans.station_context("S1") == context
    assert scans.station_context("S2") == StationContext("S2", T0, None, None, "W2")
    assert scans.station_context("S3") == StationContext("S3")
    with write():
        scans.set_station_context(StationContext("S1", T0 + 1))
    assert scans.station_context("S1") == StationContext("S1", T0 + 1)


def test_a_scan_comes_back_as_it_was_answered(store: str) -> None:
    """So that the same id can be answered the same again; it is on record once."""
    with write():
        scans.log_scan(SCAN)
    assert scans.before("scan-1", "S1")[0] == SCAN
    assert scans.before("scan-2", "S1")[0] is None
    with pytest.raises(Conflict, match="scan-1"), write():
        scans.log_scan(replace(SCAN, code="OTHER"))
    assert scans.recent_scans("S1") == [SCAN]


def test_what_a_scan_comes_upon_is_asked_in_one(store: str) -> None:
    """The scan with its id and what its station waits with, whichever of them is there."""
    context = StationContext("S1", T0, options={"done": ["CARRIER1"]})
    with write():
        scans.set_station_context(context)
        scans.log_scan(SCAN)
    assert scans.before("scan-1", "S1") == (SCAN, context)
    assert scans.before("scan-2", "S1") == (None, context)
    assert scans.before("scan-1", "S9") == (SCAN, StationContext("S9"))
    assert scans.before("scan-2", "S9") == (None, StationContext("S9"))


def test_the_scan_to_undo_is_the_station_s_newest_that_did_something(store: str) -> None:
    """Not one of another station, one without events, or one that was taken back."""
    records = [
        SCAN,
        replace(SCAN, id="scan-2", events=("event-3",)),
        replace(SCAN, id="scan-3", events=(), tone="refuse"),
        replace(SCAN, id="scan-4", station="S2"),
    ]
    assert scans.last_undoable_scan("S1") is None
    with write():
        for record in records:
            scans.log_scan(record)
    assert scans.last_undoable_scan("S1") == records[1]
    with write():
        scans.mark_undone("scan-2", by="scan-5")
    assert scans.last_undoable_scan("S1") == SCAN
    undone = replace(records[1], undone_by="scan-5")
    assert scans.recent_scans("S1") == [records[2], undone, SCAN]
    assert scans.recent_scans("S2") == [records[3]]


def test_a_reprint_is_on_the_log(store: str) -> None:
    """The second label of a code for the same use; the bag's label beside it is no reprint."""
    fill()
    with write():
        made = [
            prints.log_print("CARRIER1", "small", "carrier", T0, "W1"),
            prints.log_print("CARRIER1", "small", "bag", T0, "W1"),
            prints.log_print("CARRIER1", "large", "carrier", T0 + 9),
        ]
    assert [record.reprint for record in made] == [False, False, True]
    assert made[2] == PrintRecord("CARRIER1", "large", "carrier", T0 + 9, None, True)
    assert prints.prints("CARRIER1") == made[::-1]
    assert prints.prints("NONE") == []
