"""Whose name a scan goes by: a badge at a bare scanner, who is at a browser, or nobody."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC
from uuid import uuid4

import pytest

from msdtrack.services import event_recording, people, scanning
from msdtrack.services.badges import NOT_ME
from msdtrack.services.scanning import NewScan, ScanAnswer
from msdtrack.services.station_memory import Browser
from tests.services.scan_floor import Floor, opened_floor, refused


@pytest.fixture
def floor(database_url: str) -> Iterator[Floor]:
    """The workshop."""
    yield from opened_floor(database_url)


def in_browser(floor: Floor, code: str, person: str | None) -> ScanAnswer:
    """Scan in a browser at which this person is, or nobody."""
    floor.now += 5
    new = NewScan(str(uuid4()), "Bench", code, browser=Browser(person))
    return scanning.scan(new, floor.now, UTC)


def signer(code: str) -> str | None:
    """Who signed the newest entry of a carrier's log."""
    return event_recording.log_of(code)[-1].event.person


def moved(floor: Floor, person: str | None) -> str | None:
    """Who signs a move that is scanned in a browser."""
    code = floor.carrier()
    in_browser(floor, code, person)
    in_browser(floor, floor.places["line"], person)
    return signer(code)


def test_a_browser_knows_better_than_its_station(floor: Floor) -> None:
    """What a bare scanner of the same name heard signs nothing that comes from a browser."""
    bo = people.add_person("Bo", floor.now).code
    floor.scan(floor.ana)
    assert moved(floor, bo) == bo
    floor.scan(floor.ana)
    assert moved(floor, None) is None


def test_a_badge_in_a_browser_stays_there(floor: Floor) -> None:
    """A bare scanner that goes by the same name does not sign for whoever is at the screen."""
    assert in_browser(floor, floor.ana, None).person == "Ana"
    code = floor.carrier()
    floor.scans(code, floor.places["line"])
    assert signer(code) is None


def test_a_bare_scanner_ends_a_name_too(floor: Floor) -> None:
    """What was in hand stays in hand; it goes by the station from then on."""
    code = floor.carrier()
    floor.scans(floor.ana, code)
    answer = floor.scan(NOT_ME)
    assert (answer.tone, answer.person) == ("ok", None)
    floor.scan(floor.places["line"])
    assert signer(code) is None


def test_a_badge_sent_twice_is_heard_once(floor: Floor) -> None:
    """Sent again it gets the first answer, whoever is at the browser by then."""
    first = NewScan(str(uuid4()), "Bench", floor.ana, floor.now, Browser(None))
    bo = people.add_person("Bo", floor.now).code
    again = NewScan(first.id, first.station, first.code, first.at, Browser(bo))
    answers = [scanning.scan(new, floor.now, UTC) for new in (first, again)]
    assert answers[0] == answers[1]
    assert answers[0].person == "Ana"
    assert len(scanning.recent("Bench")) == 1


def test_a_badge_out_of_use_is_refused_in_words(floor: Floor) -> None:
    """The scan is on record with its reason, and the name before stands."""
    bo = people.add_person("Bo", floor.now).code
    floor.scan(floor.ana)
    people.amend_person(bo, {"in_use": False}, floor.now, "Ana", "has left")
    answer = floor.scan(bo)
    assert refused(answer)
    assert "This badge is no longer in use" in answer.message
    assert answer.person == "Ana"


def test_who_leaves_signs_nothing_more_at_any_station(floor: Floor) -> None:
    """Stations that work in that name forget it at once."""
    bo = people.add_person("Bo", floor.now).code
    floor.scan(floor.ana)
    floor.scan(bo, station="Oven room")
    people.amend_person(floor.ana, {"in_use": False}, floor.now, bo, "has left")
    assert scanning.station_now("Bench", floor.now).person is None
    assert scanning.station_now("Oven room", floor.now).person == "Bo"
    code = floor.carrier()
    floor.scans(code, floor.places["line"])
    assert signer(code) is None
