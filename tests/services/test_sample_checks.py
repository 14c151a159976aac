"""Sample checks from the plan to the last decision: scans, values, holds and releases."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date
from decimal import Decimal
from uuid import uuid4

import psycopg
import pytest

from msdtrack.errors import BadInput, Conflict, NotFound, Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import ACTIONS, make_action_code
from msdtrack.services import (
    boards,
    carrier_states,
    catalog,
    event_recording,
    measurements,
    policies,
    receiving,
    sample_checks,
    sample_decisions,
    sample_scans,
    scanning,
)
from msdtrack.services.boards import NewBatch
from msdtrack.services.catalog import NewPlace
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.receiving import NewCarrier
from msdtrack.services.sample_checks import NewCheck, SampleCheck
from msdtrack.services.sample_decisions import Saved
from msdtrack.services.sample_questions import asked
from msdtrack.services.sample_scans import CheckAnswer, CheckScan
from msdtrack.services.scanning import NewScan
from msdtrack.services.value_tables import PieceValues
from msdtrack.store import event_log
from msdtrack.store.connection import close_store, open_store
from tests.store.test_migrations import rows_of

NOW = 1_790_000_000
MIN = 60
DRY = {"5": "dry", "10": "dry", "60": "dry"}
GOOD, BAD = ("0.1", "20"), ("1.8", "20")


@dataclass
class Bench:
    """An inspector's bench with a lot in three bags, and a clock that the test turns."""

    now: int = NOW
    bags: list[str] = field(default_factory=list)
    places: dict[str, str] = field(default_factory=dict)
    person: str = ""
    number: int = 0

    def receive(self, lot: str = "N5-1", quantity: int = 400, **more: object) -> str:
        given: dict[str, object] = {
            "sealed_on": date(2026, 6, 1),
            "received_at": NOW - 7 * 86_400,
            "place": self.places["Store"],
            "kind": "tray",
        }
        new = NewCarrier("PRES-3", lot, quantity, **(given | more))  # type: ignore[arg-type]
        return receiving.receive(new, self.now)[0].code

    def plan(self, lot: str = "N5-1", **more: object) -> int:
        """Plan a check of 5 pieces from 2 bags, 0 of which may fail."""
        given: dict[str, object] = {
            "sample_size": 5, "accept": 0, "bags": 2, "deviation": "agreed with the supplier",
        }  # fmt: skip
        new = NewCheck(
            "PRES-3",
            lot,
            "bare",
            1200,
            "II",
            "0.65",
            person=self.person,
            **(given | more),  # type: ignore[arg-type]
        )
        record, _ = sample_checks.create(new, self.now)
        self.number = record.number
        return record.number

    def scan(self, *codes: str, after_s: int = 5) -> CheckAnswer:
        """Scan codes, or actions by their names, one after the other; return the last answer."""
        for code in codes:
            self.now += after_s
            code = make_action_code(code) if code in ACTIONS else code
            new = CheckScan(str(uuid4()), self.number, code)
            answer = sample_scans.scan(new, self.now, self.person, UTC)
        return answer

    def take_all(self) -> list[str]:
        """Take the sample: 3 and 2 pieces from two bags, each closed again."""
        for bag, count in ((self.bags[0], "3"), (self.bags[1], "2")):
            self.scan(bag, "OPEN", "HICDRY", count, "CLOSEQUICK")
        return [one.code for one in self.check().pieces]

    def measure(self, *pieces: tuple[str, str], reason: str = "", first: int = 1) -> Saved:
        values = [
            PieceValues(str(n), (Decimal(offset), Decimal(gain)))
            for n, (offset, gain) in enumerate(pieces, start=first)
        ]
        return sample_decisions.save_values(self.number, values, self.person, self.now, reason)

    def check(self) -> SampleCheck:
        return sample_checks.check(self.number, self.now)

    def state(self, code: str) -> CarrierState:
        return carrier_states.state(code, self.now)

    def held(self, *codes: str) -> list[str]:
        """Return which of the carriers are held."""
        return [code for code in codes if self.state(code).ledger.held]

    def record(self, carrier: str, kind: str, **what: object) -> event_recording.Recorded:
        new = NewEvent(str(uuid4()), carrier, kind, **what)  # type: ignore[arg-type]
        return event_recording.record([new], self.now)[0]


@pytest.fixture
def bench(database_url: str) -> Iterator[Bench]:
    """A bench on each kind of database."""
    open_store(database_url)
    bench = Bench()
    catalog.create_part(PartFacts("PRES-3", "3", body_mm=1.4), NOW)
    bench.person = catalog.add_person("Ines", NOW).code
    for name, kind in (("Store", "store"), ("Line", "line"), ("Oven", "oven"), ("Lab", "floor")):
        place, _ = catalog.create_place(NewPlace(name=name, kind=kind), NOW)
        bench.places[name] = place.code
    bench.bags = [bench.receive() for _ in range(3)]
    limits = "offset;-1.5;1.5;mV\ngain;19;21;mV/dbar"
    measurements.set_limits("PRES-3", "bare", limits, "Ines", "drawing 7", NOW)
    yield bench
    close_store()


# -- the plan -----------------------------------------------------------------------------------


@pytest.mark.oracle
def test_the_plan_of_a_lot_follows_the_table(bench: Bench) -> None:
    """1200 pieces: letter J, at 0.65 % 80 pieces and 1 may fail.

    Source: ISO 2859-1 tables 1 and 2-A, from memory.
    """
    lot = sample_checks.lot("PRES-3", "N5-1", bench.now)
    assert (lot.pieces, lot.bags) == (1200, 3)
    aql_pct = sample_checks.usual_aql_pct(bench.now)
    assert aql_pct == "0.65"
    bench.plan(sample_size=80, accept=1, deviation="")
    record = bench.check().record
    assert (record.letter, record.sample_size, record.accept, record.deviation) == ("J", 80, 1, "")
    policies.set_policy("sample_aql_pct", 2.5, bench.now, "Ines", "agreed")
    assert sample_checks.usual_aql_pct(bench.now) == "2.5"
    with pytest.raises(BadInput, match=r"0.65, 1, 2.5"):
        policies.set_policy("sample_aql_pct", 1.5, bench.now, "Ines", "agreed")


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"deviation": " "}, "deviation"),
        ({"sample_size": 1201}, "sample_size"),
        ({"sample_size": 0}, "sample_size"),
        ({"accept": 5}, "accept"),
        ({"bags": 4}, "bags"),
        ({"bags": 0}, "bags"),
    ],
)
def test_a_plan_that_makes_no_sense_is_refused(
    bench: Bench, wrong: dict[str, object], field: str
) -> None:
    """Other numbers than the table's need a reason, so that no lot is waved through unseen."""
    with pytest.raises(BadInput) as caught:
        bench.plan(**wrong)
    assert caught.value.errors[0].field == field
    assert sample_checks.newest() == []


def test_a_plan_sent_twice_is_one_check(bench: Bench) -> None:
    new = NewCheck("PRES-3", "N5-1", "bare", 1200, "II", "0.65", 80, 1, 2, bench.person)
    id_ = str(uuid4())
    first, created = sample_checks.create(new, bench.now, id_)
    again, created_again = sample_checks.create(new, bench.now, id_)
    assert (first, created, created_again) == (again, True, False)
    with pytest.raises(NotFound, match="lot X"):
        sample_checks.lot("PRES-3", "X", bench.now)


def test_a_check_keeps_the_limits_it_was_planned_with(bench: Bench) -> None:
    """A later change of the limits does not judge old values anew."""
    bench.plan()
    measurements.set_limits("PRES-3", "bare", "gain;5;6;mV", "Ines", "new drawing", bench.now)
    assert [one.name for one in bench.check().record.channels] == ["offset", "gain"]


def test_a_lot_is_found_by_any_of_its_carriers(bench: Bench) -> None:
    other = bench.receive(lot="N5-2")
    for text, lot in ((bench.bags[2], "N5-1"), (other, "N5-2"), ("N5-2", "N5-2")):
        assert [one.lot for one in sample_checks.find_lots(text, bench.now)] == [lot]
    assert sample_checks.find_lots("nothing", bench.now) == []


# -- bags opened, pieces taken, bags closed -----------------------------------------------------


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
    assert bench.check().held == tuple(bench.bags)


# -- values and decisions -----------------------------------------------------------------------


def test_a_lot_is_accepted_when_all_pieces_are_good(bench: Bench) -> None:
    """In two goes; nothing is held."""
    bench.plan()
    bench.take_all()
    saved = bench.measure(GOOD, GOOD)
    assert (saved.decision, bench.check().progress.stage) == ("", "measured")
    saved = bench.measure(GOOD, GOOD, GOOD, first=3)
    assert (saved.decision, bench.check().progress.stage) == ("accepted", "accepted")
    assert bench.held(*bench.bags) == []


def test_a_failing_lot_is_held_at_once_wherever_it_is(bench: Bench) -> None:
    """Bags, the pieces themselves, a reel at the line, a tray in the oven, boards between reflows;
    not another lot, not what is gone. The reason names the check."""
    bench.plan()
    children = bench.take_all()
    at_line, in_oven, used_up, on_board, split_off = (bench.receive() for _ in range(5))
    other = bench.receive(lot="N5-2")
    for code in (at_line, in_oven, used_up, on_board, split_off):
        bench.record(code, "open", hic=DRY)
    bench.record(at_line, "load", place=bench.places["Line"])
    bench.record(in_oven, "bake_start", place=bench.places["Oven"], temp_c=125.0)
    bench.record(used_up, "scrap", reason="dropped")
    batch, _ = boards.create(NewBatch("logger, top side", 20, bench.places["Line"]), bench.now)
    new = {"quantity": 20, "board": batch.code}
    placed = bench.record(on_board, "place_on_board", **new).child
    placed_too = bench.record(split_off, "place_on_board", **new).child
    child = bench.record(split_off, "split", quantity=10).child
    assert placed is not None
    assert placed_too is not None
    assert child is not None
    saved = bench.measure(GOOD, BAD)
    assert saved.decision == "rejected"
    wanted = {
        *bench.bags, *children, at_line, in_oven, on_board, split_off, placed, placed_too, child,
    }  # fmt: skip
    assert set(saved.carriers) == wanted
    for code in wanted:
        (reason,) = bench.state(code).ledger.held
        assert reason.startswith(f"sample check {bench.number}: 1 of 5 pieces out of limits")
    assert bench.held(other, used_up) == []
    assert set(bench.check().held) == wanted
    assert bench.check().progress.stage == "rejected"


def test_nothing_on_hold_passes_the_line(bench: Bench) -> None:
    """The scan station refuses to load a carrier of the rejected lot, and says which check."""
    bench.plan()
    bench.take_all()
    bench.record(bench.bags[2], "open", hic=DRY)
    bench.measure(BAD)
    text = f"{bench.bags[2]} {make_action_code('LOAD')}"
    answer = scanning.scan(NewScan(str(uuid4()), "Line", text), bench.now)
    assert (answer.tone, answer.title) == ("refuse", "On hold")
    assert f"sample check {bench.number}" in answer.message
    assert [e.kind for e in event_log.log(bench.bags[2])] == ["open", "hold"]


def test_what_arrives_of_a_rejected_lot_is_held_too(bench: Bench) -> None:
    """Until the lot is released; another lot is not."""
    bench.plan()
    bench.take_all()
    bench.measure(BAD)
    late = bench.receive()
    assert bench.held(late, bench.receive(lot="N5-2")) == [late]
    released, left = sample_decisions.release(bench.number, None, "Ines", "sorted", bench.now)
    assert late in released
    assert left == {}
    assert bench.held(bench.receive()) == []


def test_a_release_needs_a_name_and_a_reason(bench: Bench) -> None:
    bench.plan()
    bench.take_all()
    with pytest.raises(Refused, match="not rejected"):
        sample_decisions.release(bench.number, None, "Ines", "sorted", bench.now)
    bench.measure(BAD)
    with pytest.raises(BadInput) as caught:
        sample_decisions.release(bench.number, None, " ", "", bench.now)
    assert {one.field for one in caught.value.errors} == {"person", "reason"}
    assert bench.held(*bench.bags) == bench.bags


def test_one_carrier_or_the_whole_lot_is_released(bench: Bench) -> None:
    """The check is released with the last one; name and reason are on each log."""
    bench.plan()
    children = bench.take_all()
    bench.measure(BAD)
    one = bench.bags[2]
    assert sample_decisions.release(bench.number, [one], "Ines", "all measured", bench.now) == (
        [one], {},
    )  # fmt: skip
    assert bench.held(*bench.bags) == bench.bags[:2]
    assert bench.check().progress.stage == "rejected"
    with pytest.raises(BadInput, match="not held"):
        sample_decisions.release(bench.number, [one], "Ines", "again", bench.now)
    released, _ = sample_decisions.release(bench.number, None, "Ines", "concession 12", bench.now)
    assert set(released) == {*bench.bags[:2], *children}
    assert bench.held(*bench.bags, *children) == []
    assert bench.check().progress.stage == "released"
    event = event_log.log(bench.bags[0])[-1]
    assert (event.person, event.reason) == (
        bench.person, f"sample check {bench.number}: concession 12",
    )  # fmt: skip


def test_a_release_leaves_what_is_held_for_another_reason(bench: Bench) -> None:
    """A release ends every hold and settles a missing card: so those are decided on their own."""
    bench.plan()
    bench.take_all()
    bench.record(bench.bags[0], "hold", reason="tray is bent")
    bench.record(bench.bags[2], "open", hic=dict.fromkeys(("5", "10", "60"), "missing"))
    bench.measure(BAD)
    released, left = sample_decisions.release(bench.number, None, "Ines", "sorted", bench.now)
    assert set(left) == {bench.bags[0], bench.bags[2]}
    assert left[bench.bags[0]] == "tray is bent"
    assert bench.bags[1] in released
    assert len(bench.state(bench.bags[0]).ledger.held) == 2
    assert "hic_missing" in bench.state(bench.bags[2]).reasons
    assert bench.check().progress.stage == "rejected"


def test_more_values_than_pieces_are_refused(bench: Bench) -> None:
    """Beyond the sample, and beyond what was taken: nothing is half-written."""
    bench.plan()
    bench.scan(bench.bags[0], "OPEN", "HICDRY", "3")
    with pytest.raises(BadInput, match="only 3 taken"):
        bench.measure(GOOD, GOOD, GOOD, GOOD)
    with pytest.raises(BadInput, match="until it fits"):
        bench.measure(*[GOOD] * 6)
    assert bench.check().progress.values == ()


def test_values_are_replaced_only_with_a_reason_and_both_stay(bench: Bench) -> None:
    """An accepted lot whose corrected value fails is held; a rejected one waits for a release."""
    bench.plan()
    bench.take_all()
    bench.measure(*[GOOD] * 5)
    with pytest.raises(BadInput, match="measured already"):
        bench.measure(BAD)
    saved = bench.measure(BAD, reason="pieces 1 and 2 were swapped")
    assert saved.decision == "rejected"
    assert len(bench.check().progress.values) == 12
    assert bench.held(*bench.bags) == bench.bags
    saved = bench.measure(GOOD, reason="no, they were not")
    assert saved.verdict.decision == "accept"
    assert saved.decision == ""
    assert bench.check().progress.stage == "rejected"
    assert bench.held(*bench.bags) == bench.bags


def test_values_sent_twice_are_one_set(bench: Bench) -> None:
    bench.plan()
    bench.take_all()
    values = [PieceValues("1", (Decimal("1.8"), Decimal(20)))]
    id_ = str(uuid4())
    first = sample_decisions.save_values(
        bench.number, values, bench.person, bench.now, request_id=id_
    )
    assert first.decision == "rejected"
    again = sample_decisions.save_values(
        bench.number, values, bench.person, bench.now + 9, request_id=id_
    )
    assert (again.decision, again.verdict) == ("", first.verdict)
    assert len(bench.check().progress.values) == 2
    for bag in bench.bags:
        assert [e.kind for e in event_log.log(bag)].count("hold") == 1


def test_earlier_lots_of_the_part_stand_beside(bench: Bench) -> None:
    """Same part, same variant, oldest first; the check itself is not among them."""
    for lot in ("N4-1", "N4-2"):
        bench.bags = [bench.receive(lot=lot) for _ in range(2)]
        bench.plan(lot=lot)
        bench.take_all()
        bench.measure(*[GOOD] * 5)
    bench.plan()
    found = measurements.earlier_lots(bench.check().record)
    assert [one.lot for one in found] == ["N4-1", "N4-2"]
    assert found[0].values["offset"] == tuple((str(n), Decimal("0.1")) for n in range(1, 6))


@pytest.mark.parametrize(
    "table",
    ["sample_limits", "sample_check", "sample_step", "sample_value", "sample_decision"],
)
@pytest.mark.parametrize("verb", ["UPDATE", "DELETE"])
def test_records_of_checks_are_append_only(
    bench: Bench, database_url: str, table: str, verb: str
) -> None:
    """In the database too."""
    bench.plan()
    bench.take_all()
    bench.measure(BAD)
    column = "lot" if table == "sample_check" else "person"
    sql = f"UPDATE {table} SET {column} = 'X'" if verb == "UPDATE" else f"DELETE FROM {table}"
    before = rows_of(database_url, f"SELECT * FROM {table}")
    assert before
    with pytest.raises((sqlite3.IntegrityError, psycopg.IntegrityError), match="append-only"):
        rows_of(database_url, sql)
    assert rows_of(database_url, f"SELECT * FROM {table}") == before
