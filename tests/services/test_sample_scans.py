"""Sample checks at the bench: bags opened, pieces taken, bags closed, slips taken back."""

from __future__ import annotations

from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict, NotFound
from msdtrack.exposure.ledger import Phase
from msdtrack.printing.codes import make_action_code
from msdtrack.services import sample_decisions, sample_scans
from msdtrack.services.sample_questions import asked
from msdtrack.services.sample_scans import CheckScan
from msdtrack.store import event_log
from tests.services.sample_bench import BAD, GOOD, MIN, Bench, new_bench


@pytest.fixture
def bench(store: None) -> Bench:
    """A bench on each kind of database."""
    return new_bench()


def test_a_bag_is_opened_sampled_and_closed_by_scans(bench: Bench) -> None:
    """Carrier, open, card, number, close; the pieces are a carrier with the parent's exposure."""
    bench.plan()
    assert bench.check().progress.stage == "planned"
    assert asked(bench.check()).title == "Scan the first bag"
    bag = bench.bags[0]
    bench.scan(bag)
    assert [one.text for one in asked(bench.check()).choices] == ["Open the dry bag"]
    answer = bench.scan("OPEN")
    opened_at = bench.now
    assert (answer.tone, answer.title) == ("ask", "Opened")
    assert bench.check().progress.stage == "open"
    assert len(asked(bench.check()).choices) == 5
    bench.scan("1")
    want = asked(bench.check())
    # 5 pieces from 2 bags: 3 from the first, 2 from the other.
    assert (want.wants_number, want.number) == (True, 3)
    answer = bench.scan("3", after_s=10 * MIN)
    child = answer.child
    assert answer.title == "3 taken"
    assert child is not None
    assert bench.state(bag).ledger.quantity == 397
    assert bench.state(child).ledger.quantity == 3
    assert bench.state(child).used_share == bench.state(bag).used_share > 0
    answer = bench.scan("CLOSEQUICK")
    assert answer.title == "Closed"
    assert bench.state(bag).ledger.phase is Phase.BAGGED
    assert bench.state(child).status == "exposed"
    assert bench.state(child).opened_at == opened_at
    assert asked(bench.check()).title == "Scan the next bag"
    bench.scan(bench.bags[1], "OPEN", "HICDRY")
    assert asked(bench.check()).number == 2
    bench.scan("2")
    assert bench.check().progress.taken == 5
    assert [bag.taken for bag in bench.check().bags] == [3, 2]


def test_a_decided_check_says_so_and_asks_for_no_measurement(bench: Bench) -> None:
    """Rejected at the first piece with one bag still open: the bag is to be closed, then nothing is
    wanted but a decision; pieces may still be put back."""
    bench.plan()
    bench.scan(bench.bags[0], "OPEN", "HICDRY", "2", "CLOSEQUICK", bench.bags[1], "OPEN", "HICDRY")
    assert asked(bench.check()).wants_number
    assert bench.measure(BAD).decision == "rejected"
    want = asked(bench.check())
    assert (want.title, want.wants_number) == ("Close the bag", False)
    assert "Lot N5-1 is rejected" in want.words
    assert [bag.wanted for bag in bench.check().bags] == [0, 0]
    bench.scan("CLOSEQUICK")
    want = asked(bench.check())
    assert want.title == "Lot N5-1 is rejected"
    assert "Quality releases it" in want.words
    assert [one.text for one in want.choices] == ["Open the dry bag"]
    (pieces,) = bench.check().pieces
    bench.scan(pieces.code)
    assert "Lot N5-1 is rejected" in asked(bench.check()).words
    bench.scan("SCRAP")
    assert asked(bench.check()).title == "Lot N5-1 is rejected"
    sample_decisions.release(bench.number, None, bench.person, "measured again", bench.now)
    assert asked(bench.check()).title == "Lot N5-1 is released after its rejection"


def test_an_accepted_check_asks_for_nothing_more(bench: Bench) -> None:
    """All pieces good: what was decided, and that pieces may come back."""
    bench.plan()
    bench.take_all()
    assert "Enter the measurements" in asked(bench.check()).words
    bench.measure(*[GOOD] * 5)
    want = asked(bench.check())
    assert want.title == "Lot N5-1 is accepted"
    assert "Nothing more is taken or measured" in want.words


def test_after_half_an_hour_the_old_desiccant_is_not_offered(bench: Bench) -> None:
    """Desiccant 30 minutes: J-STD-033, from memory. Scanned all the same, it is told what it is."""
    bench.plan()
    bench.scan(bench.bags[0], "OPEN", "HICDRY", "3")
    assert make_action_code("CLOSEQUICK") in [one.code for one in asked(bench.check()).choices]
    bench.now += 31 * MIN
    assert [one.code for one in asked(bench.check()).choices] == [
        make_action_code("CLOSEFRESH"), make_action_code("TAKE"),
    ]  # fmt: skip
    answer = bench.scan("CLOSEQUICK")
    assert (answer.tone, answer.title) == ("ask", "Closed, clock runs")


@pytest.mark.parametrize(
    ("codes", "title"),
    [
        (["OPEN"], "No carrier"),
        (["other"], "Another lot"),
        (["bag", "CLOSEFRESH"], "Bag is closed"),
        (["bag", "TAKE"], "Bag is closed"),
        (["bag", "OPEN", "HICDRY", "401"], "Too many"),
        (["bag", "OPEN", "HICDRY", "6"], "Too many"),
        (["bag", "OPEN", "HICDRY", "0"], "None taken?"),
        (["bag", "OPEN", "HICDRY", "3", "9"], "Which one?"),
        (["bag", "LOAD"], "Not here"),
        (["bag", "SCRAP"], "Not here"),
        (["bag", "BACK"], "No pieces"),
        (["UNDO"], "Nothing to undo"),
        (["nonsense"], "Code not valid"),
    ],
)
def test_a_mistaken_scan_is_refused_in_words_and_changes_nothing(
    bench: Bench, codes: list[str], title: str
) -> None:
    bench.plan()
    known = {"bag": bench.bags[0], "other": bench.receive(lot="N5-2")}
    *before, last = [known.get(code, code) for code in codes]
    if before:
        bench.scan(*before)
    log = event_log.log(bench.bags[0])
    answer = bench.scan(last)
    assert (answer.tone, answer.title) == ("refuse", title)
    assert answer.message
    assert event_log.log(bench.bags[0]) == log


def test_a_wrong_number_is_taken_back_and_keyed_in_again(bench: Bench) -> None:
    """The pieces' carrier is void, the bag holds all of them again, the log keeps both."""
    bench.plan()
    child = bench.scan(bench.bags[0], "OPEN", "HICDRY", "2").child
    assert child is not None
    answer = bench.scan("UNDO")
    assert answer.title == "Taken back"
    assert child in answer.message
    assert bench.check().progress.taken == 0
    assert bench.state(bench.bags[0]).ledger.quantity == 400
    assert bench.state(child).status == "gone"
    assert asked(bench.check()).wants_number
    bench.scan("3")
    assert (bench.check().progress.taken, len(bench.check().pieces)) == (3, 1)
    bench.scan("UNDO", "UNDO", "UNDO")
    assert bench.state(bench.bags[0]).ledger.phase is Phase.BAGGED
    assert bench.check().progress.stage == "planned"


def test_pieces_struck_out_elsewhere_do_not_count(bench: Bench) -> None:
    """The log of the carrier is the truth: struck out on its page, they were not taken."""
    bench.plan()
    bench.scan(bench.bags[0], "OPEN", "HICDRY", "3")
    split = next(e for e in event_log.log(bench.bags[0]) if e.kind == "split")
    fix = {"event": split.id, "void": True, "reason": "wrong bag", "person": bench.person}
    bench.record(bench.bags[0], "correct", **fix)
    assert bench.check().progress.taken == 0


def test_a_scan_sent_twice_is_done_once(bench: Bench) -> None:
    bench.plan()
    bench.scan(bench.bags[0], "OPEN", "HICDRY")
    new = CheckScan(str(uuid4()), bench.number, "3", bench.now)
    first = sample_scans.scan(new, bench.now)
    assert sample_scans.scan(new, bench.now + 60) == first
    assert bench.check().progress.taken == 3
    with pytest.raises(Conflict):
        sample_scans.scan(CheckScan(new.id, bench.number, "4", bench.now), bench.now)
    with pytest.raises(BadInput, match="ahead"):
        sample_scans.scan(CheckScan(str(uuid4()), bench.number, "4", bench.now + 300), bench.now)
    with pytest.raises(NotFound):
        sample_scans.scan(CheckScan(str(uuid4()), 99, bench.bags[0]), bench.now)


def test_what_shares_a_bag_is_opened_and_closed_with_it(bench: Bench) -> None:
    """Two trays in one bag: both clocks show, and one closing puts both into one new bag."""
    one, two = (bench.receive(bag="BAG") for _ in range(2))
    bench.plan()
    answer = bench.scan(one, "OPEN")
    assert two in answer.message
    assert [bag.code for bag in bench.check().bags if bag.is_open] == [one, two]
    bench.scan("HICDRY", "3", "CLOSEQUICK")
    ledgers = [bench.state(code).ledger for code in (one, two)]
    assert ledgers[0].bag == ledgers[1].bag != "BAG"
    assert not any(bag.is_open for bag in bench.check().bags)


def test_pieces_that_come_back_join_with_the_worst_share(bench: Bench) -> None:
    """They were out for two hours while the bag was closed; the bag has their share then."""
    bench.plan()
    child = bench.scan(bench.bags[0], "OPEN", "HICDRY", "3").child
    assert child is not None
    bench.scan("CLOSEQUICK")
    bench.now += 120 * MIN
    assert bench.scan(child, "BACK").title == "Bag is closed"
    bench.scan(bench.bags[0], "OPEN", "HICDRY")
    share = bench.state(child).used_share
    assert share > bench.state(bench.bags[0]).used_share
    answer = bench.scan(child, "BACK")
    assert answer.title == "Back together"
    state = bench.state(bench.bags[0])
    assert state.ledger.quantity == 400
    assert share <= state.used_share < share * 2
    assert bench.state(child).status == "gone"
    assert bench.check().in_hand is not None
    assert bench.check().in_hand.facts.code == bench.bags[0]
    assert bench.check().progress.taken == 3


def test_pieces_used_up_by_the_check_are_scrapped_by_name(bench: Bench) -> None:
    bench.plan()
    child = bench.scan(bench.bags[0], "OPEN", "HICDRY", "3").child
    assert child is not None
    bench.scan(bench.places["Lab"])
    person, bench.person = bench.person, None  # type: ignore[assignment]
    assert bench.scan(child, "SCRAP").title == "Who scraps it?"
    bench.person = person
    assert bench.scan("SCRAP").title == "Scrapped"
    assert bench.state(child).status == "gone"
    assert bench.check().progress.taken == 3
    bench.measure(BAD)
    assert bench.lot().held_by(bench.number) == bench.bags
