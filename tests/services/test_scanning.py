"""Scans at a station: carrier then action, action then carriers, nothing lost, nothing twice."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict
from msdtrack.printing.codes import make_action_code
from msdtrack.services import scanning
from msdtrack.services.scanning import NewScan
from tests.services.scan_floor import Floor, opened_floor, refused


@pytest.fixture
def floor(database_url: str) -> Iterator[Floor]:
    """A workshop on a fresh database of either kind."""
    yield from opened_floor(database_url)


# -- one carrier --------------------------------------------------------------------------------


def test_a_carrier_alone_shows_what_it_is_and_what_can_be_done(floor: Floor) -> None:
    """Nothing is recorded; the choices are those that make sense in this state."""
    code = floor.carrier()
    answer = floor.scan(code)
    assert (answer.tone, answer.title, answer.carrier) == ("ok", "In dry bag", code)
    assert answer.state is not None
    assert answer.state.facts.code == code
    assert "168 h" in answer.time_left
    texts = [choice.text for choice in answer.choices]
    assert "Open the dry bag" in texts
    assert not any("Close" in text or "Bake" in text for text in texts)
    assert floor.kinds(code) == []


def test_carrier_then_open_records_the_opening_and_asks_for_the_card(floor: Floor) -> None:
    """The opening is on the log before the card is read, and is not usable until then."""
    code = floor.carrier()
    answer = floor.scans(code, "OPEN")
    assert (answer.tone, answer.title) == ("ask", "Opened")
    assert floor.kinds(code) == ["open"]
    assert floor.state(code).reasons == ("hic_missing",)
    assert len(answer.choices) == 9
    # Desiccant 30 minutes and reseal 60 minutes: J-STD-033, from memory.
    ends = {clock.name: clock.ends_at - floor.now for clock in answer.countdowns}
    assert ends["Desiccant used up"] == 30 * 60
    assert ends["Reseal the bag"] == 60 * 60


@pytest.mark.parametrize(
    ("how", "tone", "reasons"),
    [
        ("HICDRY", "ok", ()),
        ("HIC5", "ok", ()),
        ("HIC10", "stop", ("hic_failed",)),
        ("HIC60", "stop", ("hic_failed",)),
        ("HICMISSING", "stop", ("hic_missing",)),
    ],
)
def test_the_card_is_read_by_its_code(
    floor: Floor, how: str, tone: str, reasons: tuple[str, ...]
) -> None:
    """It goes on the opening as a correction: one opening, no second one.

    Source: deciding spot 10 % for level 3, J-STD-033 section 3.
    """
    code = floor.carrier()
    answer = floor.scans(code, "OPEN", how)
    assert answer.tone == tone
    assert floor.state(code).reasons == reasons
    assert floor.kinds(code) == ["open"]


def test_the_card_is_read_by_a_key(floor: Floor) -> None:
    """Digit 2 is the second choice offered: 5 % humid only."""
    code = floor.carrier()
    answer = floor.scans(code, "OPEN", "2")
    assert "Close it with fresh desiccant" in answer.message
    assert floor.state(code).ledger.hic == {"5": "humid", "10": "dry", "60": "dry"}


def test_a_bag_opened_earlier_keeps_what_its_card_said(floor: Floor) -> None:
    """The time and the card are two corrections of one opening, and both hold."""
    code = floor.carrier()
    opened = floor.scans(code, "OPEN")
    at = floor.now
    floor.scan("HIC5")
    answer = floor.scan("AGO30")
    assert answer.tone == "ok"
    state = floor.state(code)
    assert state.opened_at == at - 30 * 60
    assert state.ledger.hic == {"5": "humid", "10": "dry", "60": "dry"}
    desiccant = {clock.name: clock.ends_at for clock in answer.countdowns}["Desiccant used up"]
    assert desiccant == at
    assert opened.carrier == code


def test_a_bag_can_not_have_been_opened_before_it_was_closed(floor: Floor) -> None:
    """It was closed ten minutes ago, so it was not opened half an hour ago."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HICDRY", code, "CLOSEQUICK")
    floor.scan(code, after_s=600)
    answer = floor.scans("OPEN", "AGO30")
    assert refused(answer)
    assert floor.state(code).opened_at == floor.now - 5
    assert floor.scan("AGO5").tone == "ask"
    assert floor.state(code).opened_at == floor.now - 10 - 5 * 60


def test_quick_check_open_look_close(floor: Floor) -> None:
    """Closed again in minutes with the same desiccant it is in dry storage."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HICDRY")
    floor.scan(code, after_s=10 * 60)
    answer = floor.scan("CLOSEQUICK")
    assert (answer.tone, answer.title) == ("ok", "Closed")
    assert floor.state(code).status == "in_dry_bag"


def test_desiccant_counts_over_all_openings(floor: Floor) -> None:
    """20 minutes twice are 40: the second closing with the same desiccant does not count.

    Source: 30 minutes over all openings, J-STD-033, from memory.
    """
    code = floor.carrier()
    for _ in range(2):
        floor.scans(code, "OPEN")
        answer = floor.scan("HICDRY")
        floor.scan(code, after_s=20 * 60 - 10)
        answer = floor.scan("CLOSEQUICK")
    assert (answer.tone, answer.title) == ("ask", "Closed, clock runs")
    assert "40 min" in answer.message
    assert floor.state(code).status == "exposed"


def test_second_opening_has_less_desiccant_time(floor: Floor) -> None:
    """The countdown begins where the first opening left it."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HICDRY")
    floor.scan(code, after_s=10 * 60 - 10)
    floor.scan("CLOSEQUICK")
    answer = floor.scans(code, "OPEN")
    ends = {clock.name: clock.ends_at - floor.now for clock in answer.countdowns}
    assert ends["Desiccant used up"] == 20 * 60
    assert ends["Reseal the bag"] == 60 * 60


def test_closing_all_new_starts_a_new_shelf_life(floor: Floor) -> None:
    """Fresh desiccant, fresh card, heat seal: 12 months from today (J-STD-033)."""
    code = floor.carrier()
    answer = floor.scans(code, "OPEN", "HICDRY", code, "CLOSEFRESH")
    today = datetime.fromtimestamp(floor.now, UTC).date()
    assert floor.state(code).shelf_life_ends == today.replace(year=today.year + 1)
    assert "new" in answer.message


def test_level_1_asks_for_no_card(floor: Floor) -> None:
    """It takes no harm from moisture."""
    code = floor.carrier("OSC-1")
    answer = floor.scans(code, "OPEN")
    assert (answer.tone, answer.countdowns) == ("ok", ())
    assert answer.time_left == "No limit: level 1"


# -- series -------------------------------------------------------------------------------------


def test_action_then_many_carriers(floor: Floor) -> None:
    """Each carrier gets the action until Done, and the answer counts."""
    codes = [floor.carrier() for _ in range(3)]
    for code in codes:
        floor.scans(code, "OPEN", "HICDRY")
    assert floor.scans("DONE", "CLOSEQUICK").tone == "ask"
    answers = [floor.scan(code) for code in codes]
    assert [len(answer.series) for answer in answers] == [1, 2, 3]
    assert "3 carriers" in answers[-1].message
    assert floor.scan("DONE").title == "Done"
    assert {floor.state(code).status for code in codes} == {"in_dry_bag"}
    bags = {floor.state(code).ledger.bag for code in codes}
    assert len(bags) == 3
    assert floor.scan(codes[0]).title == "In dry bag"


def test_a_series_goes_on_after_a_refusal(floor: Floor) -> None:
    """What is closed already is refused; the next carrier is still closed."""
    closed, first, second = floor.carrier(), floor.carrier(), floor.carrier()
    for code in (first, second):
        floor.scans(code, "OPEN", "HICDRY")
    answers = [floor.scan(each) for each in ("DONE", "CLOSEQUICK", first, closed, second)]
    assert [answer.tone for answer in answers] == ["ok", "ask", "ok", "refuse", "ok"]
    assert answers[-1].series == (first, second)


def test_many_carriers_in_one_bag(floor: Floor) -> None:
    """Together they are closed at once, when the bag is sealed, and opened at once later."""
    codes = [floor.carrier() for _ in range(3)]
    for code in codes:
        floor.scans(code, "OPEN", "HICDRY")
    floor.scans("DONE", "CLOSEFRESH", "together")
    for code in codes:
        assert floor.scan(code).tone == "ask"
    assert {floor.state(code).status for code in codes} == {"exposed"}
    sealed = floor.scan("DONE", after_s=5 * 60)
    assert sealed.tone == "ok"
    assert len({floor.state(code).ledger.bag for code in codes}) == 1
    opened = floor.scans(codes[1], "OPEN")
    assert all(code in opened.message for code in codes)
    floor.scan("HICDRY")
    assert all(floor.state(code).status == "exposed" for code in codes)
    assert all(floor.state(code).verdict == "use" for code in codes)


def test_the_card_of_a_shared_bag_is_read_at_any_of_its_carriers(floor: Floor) -> None:
    """One card for one bag: read beside the other carrier it counts for both."""
    first = floor.carrier(bag="B-7")
    second = floor.carrier(bag="B-7")
    floor.scans(first, "OPEN", second, "HIC5")
    for code in (first, second):
        assert floor.state(code).ledger.hic == {"5": "humid", "10": "dry", "60": "dry"}


def test_done_names_the_cards_not_read(floor: Floor) -> None:
    """A series of openings says at its end what is still to be looked at."""
    first, second = floor.carrier(), floor.carrier()
    floor.scans("OPEN", first, "HICDRY", second)
    answer = floor.scan("DONE")
    assert answer.tone == "ask"
    assert second in answer.message
    assert first not in answer.message
    assert floor.scans(second, "HICDRY").tone == "ok"
    assert floor.state(second).verdict == "use"


def test_context_is_forgotten_after_two_minutes(floor: Floor) -> None:
    """A carrier scanned to look at is not closed by somebody's old closing."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "HICDRY")
    floor.scans("DONE", "CLOSEQUICK")
    answer = floor.scan(code, after_s=121)
    assert answer.title == "Usable"
    assert floor.state(code).opened_at is not None


def test_an_action_twice_in_a_moment_counts_once(floor: Floor) -> None:
    """A scanner that reads twice neither repeats nor starts a series."""
    code = floor.carrier()
    floor.scans(code, "OPEN")
    answer = floor.scan("OPEN", after_s=1)
    assert answer.title == "Scanned twice"
    assert answer.action is None
    assert floor.kinds(code) == ["open"]
    assert floor.scan("HICDRY").tone == "ok"


def test_a_carrier_in_hand_gets_one_action_after_the_other(floor: Floor) -> None:
    """Scanned once: opened, card read, five taken, closed. No series is left behind."""
    code, other = floor.carrier(), floor.carrier()
    answer = floor.scans(code, "OPEN", "HICDRY", "TAKE", "5", "CLOSEQUICK")
    assert (answer.title, answer.carrier, answer.action) == ("Closed", code, None)
    assert floor.kinds(code) == ["open", "take", "close"]
    assert floor.scan(other).title == "In dry bag"
    assert floor.kinds(other) == []


def test_what_a_series_is_done_with_is_not_in_hand(floor: Floor) -> None:
    """The next action after Done waits for its own carriers."""
    first, second = floor.carrier(), floor.carrier()
    floor.scans("OPEN", first, "HICDRY", "DONE", "HOLD")
    assert floor.state(first).ledger.held == ()
    assert floor.scan(second).title == "Held"
    assert floor.state(second).ledger.held


def test_carrier_and_action_in_one_scan(floor: Floor) -> None:
    """A button of the screen sends both, so that it can't hit another carrier."""
    code, other = floor.carrier(), floor.carrier()
    floor.scan(other)
    answer = floor.scan(f"{code} {make_action_code('OPEN')}")
    assert answer.title == "Opened"
    assert floor.kinds(other) == []


# -- never twice, never lost --------------------------------------------------------------------


def test_a_scan_sent_again_gets_its_first_answer(floor: Floor) -> None:
    """Same id, same content: nothing happens twice."""
    code = floor.carrier()
    floor.scan(code)
    new = NewScan(str(uuid4()), "Bench", make_action_code("OPEN"), floor.now)
    first = scanning.scan(new, floor.now + 1, UTC)
    floor.scan("HICDRY")
    again = scanning.scan(new, floor.now + 300, UTC)
    assert again == first
    assert floor.kinds(code) == ["open"]


def test_an_id_used_for_another_scan_is_a_conflict(floor: Floor) -> None:
    """The id stands for one scan."""
    id_ = str(uuid4())
    scanning.scan(NewScan(id_, "Bench", floor.carrier()), floor.now, UTC)
    with pytest.raises(Conflict):
        scanning.scan(NewScan(id_, "Bench", floor.carrier()), floor.now, UTC)


def test_a_kept_scan_counts_from_when_it_was_scanned(floor: Floor) -> None:
    """The server was away for twenty minutes; the exposure is not shorter for it."""
    code = floor.carrier()
    at = floor.now
    scanning.scan(NewScan(str(uuid4()), "Bench", code, at), at + 1200, UTC)
    opened = NewScan(str(uuid4()), "Bench", make_action_code("OPEN"), at + 2)
    scanning.scan(opened, at + 1200, UTC)
    floor.now = at + 1200
    assert floor.state(code).opened_at == at + 2


def test_a_clock_a_little_ahead_is_put_right_and_far_ahead_is_refused(floor: Floor) -> None:
    """Two minutes are forgiven, as for every write."""
    code = floor.carrier()
    floor.scan(code)
    new = NewScan(str(uuid4()), "Bench", make_action_code("OPEN"), floor.now + 60)
    scanning.scan(new, floor.now, UTC)
    assert floor.state(code).opened_at == floor.now
    with pytest.raises(BadInput):
        scanning.scan(NewScan(str(uuid4()), "Bench", code, floor.now + 121), floor.now, UTC)


def test_stations_do_not_disturb_each_other(floor: Floor) -> None:
    """What one chose the other does not act on."""
    first, second = floor.carrier(), floor.carrier()
    floor.scan(first, station="Bench")
    floor.scan(second, station="Line A")
    floor.scan("OPEN", station="Bench")
    assert (floor.kinds(first), floor.kinds(second)) == (["open"], [])


def test_a_station_needs_a_name(floor: Floor) -> None:
    """Otherwise nobody could undo its scans."""
    with pytest.raises(BadInput):
        scanning.scan(NewScan(str(uuid4()), "  ", floor.carrier()), floor.now, UTC)


# -- what the screen shows ----------------------------------------------------------------------


def test_recent_scans_show_what_was_taken_back(floor: Floor) -> None:
    """Newest first, with what each did."""
    code = floor.carrier()
    floor.scans(code, "OPEN", "UNDO", "C000001X")
    listed = scanning.recent("Bench")
    assert [one.title for one in listed] == ["Code not valid", "Taken back", "Opened", "In dry bag"]
    assert [one.undone for one in listed] == [False, False, True, False]
    assert [one.changed for one in listed] == [False, False, True, False]


def test_a_screen_switched_on_again_knows_what_waits(floor: Floor) -> None:
    """Who is at work and what the station waits with."""
    code = floor.carrier()
    floor.scans(floor.ana, code, "MOVE")
    now = scanning.station_now("Bench", floor.now)
    assert (now.person, now.action, now.chosen) == ("Ana", "Move to a place", (code,))
    later = scanning.station_now("Bench", floor.now + 200)
    assert (later.person, later.action, later.chosen) == ("Ana", None, ())


def test_what_must_not_be_used_is_a_stop_what_only_waits_is_not(floor: Floor) -> None:
    """Past its floor life, or on hold; a bag whose card is still to be read asks for it."""
    expired, held, unread = (floor.carrier() for _ in range(3))
    floor.scans(expired, "OPEN", "HICDRY")
    floor.now += 169 * 3600
    floor.scans(held, "OPEN", "HICDRY", held, "HOLD")
    floor.scans(unread, "OPEN")
    assert [floor.scan(code).tone for code in (expired, held, unread)] == ["stop", "stop", "ask"]
    assert floor.scan(expired).title == "Do not use"
