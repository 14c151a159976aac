"""Goods-in: what a label and a person say becomes one carrier, or nothing is written."""

from __future__ import annotations

from datetime import date
from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict, Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import carrier_states, catalog, goods_in, people
from msdtrack.services.goods_in import Label
from msdtrack.standard.supplier_label import BadLabel
from msdtrack.store import carriers
from msdtrack.store.connection import version
from tests.services.goods_floor import GS, NOW, USUAL, asked, envelope, read, receive, told


def test_a_label_asks_one_thing_after_the_other_until_it_is_ready(shop: dict[str, str]) -> None:
    """In the order of the work: what it is in, the bag, its seal date, floor life, place."""
    answers: dict[str, str] = {}
    order = []
    while (reading := read(envelope(), **answers)).question is not None:
        order.append(reading.question.name)
        answers[reading.question.name] = USUAL[reading.question.name]
    assert order == ["kind", "bag_condition", "sealed_on", "life_h", "place"]
    assert reading.ready
    assert not reading.at_once
    assert told(reading, "part") == "BL-0101"
    assert told(reading, "lot") == "L-77"
    assert told(reading, "quantity") == "500"
    assert told(reading, "msl") == "MSL 3"
    assert told(reading, "life_h") == "168 h"
    assert told(reading, "Date code") == "week 36 of '26, 10D2636"
    assert told(reading, "Shelf life ends") == "20 Sep 2027"


def test_single_codes_add_up_to_a_label(shop: dict[str, str]) -> None:
    assert read("PBL-0101").missing == ("lot", "quantity")
    assert read("PBL-0101", "]C01TL-77").missing == ("quantity",)
    reading = read("PBL-0101", "1TL-77", "Q250")
    assert reading.missing == ()
    assert asked(reading) == "kind"


def test_a_code_of_another_bag_in_between_is_refused(shop: dict[str, str]) -> None:
    with pytest.raises(BadLabel, match=r'lot "L-78".*"L-77"'):
        read("PBL-0101", "1TL-77", "1TL-78")
    with pytest.raises(BadLabel, match="another bag"):
        read(envelope(), envelope(n1T="L-9"))


def test_a_plain_code_is_known_by_what_is_on_file_or_asked_about(shop: dict[str, str]) -> None:
    assert told(read("BL-0101"), "part") == "BL-0101"
    reading = read("BL-0101", "L-77")
    assert asked(reading) == "what:L-77"
    given = {"what:L-77": "1TL-77", "what:500": "Q500"}
    reading = read("BL-0101", "L-77", "500", **given)
    assert (told(reading, "lot"), told(reading, "quantity")) == ("L-77", "500")


def test_a_number_that_begins_like_an_identifier_is_known_by_the_file(
    shop: dict[str, str],
) -> None:
    """PRS-1 is the part PRS-1, or the part RS-1 behind the identifier P, as the file says."""
    catalog.create_part(PartFacts("PRS-1", "3"), NOW)
    assert told(read("PRS-1"), "part") == "PRS-1"
    catalog.create_part(PartFacts("RS-1", "3"), NOW)
    reading = read("PRS-1")
    assert asked(reading) == "what:PRS-1"
    assert told(read("PRS-1", **{"what:PRS-1": "PRS-1"}), "part") == "RS-1"
    assert told(read("PRS-1", **{"what:PRS-1": "PPRS-1"}), "part") == "PRS-1"


def test_what_is_confirmed_is_on_file(shop: dict[str, str]) -> None:
    done = receive(envelope(S="SN-1", n3S="PK-9"), place=shop["Bench"])
    record = carriers.carrier(done.code)
    assert (record.part, record.lot, record.quantity) == ("BL-0101", "L-77", 500)
    assert (record.kind, record.place, record.sealed_on) == (
        "reel",
        shop["Bench"],
        date(2026, 9, 20),
    )
    assert (record.msl, record.label_floor_life_hours) == (None, None)
    came = goods_in.came_as(done.code)
    assert came is not None
    assert (came.date_code, came.serial, came.package) == ("10D2636", "SN-1", "PK-9")
    assert came.bag_condition == "sealed"
    assert came.scans == (envelope(S="SN-1", n3S="PK-9"),)
    state = carrier_states.state(done.code, NOW)
    assert state.status == "in_dry_bag"
    assert "history_unknown" not in state.reasons


def test_the_same_request_twice_receives_once(shop: dict[str, str]) -> None:
    label, id_ = Label((envelope(),), USUAL), str(uuid4())
    first = goods_in.receive(label, NOW, id_)
    assert goods_in.receive(label, NOW + 5, id_) == (first[0], False)
    with pytest.raises(Conflict):
        goods_in.receive(Label((envelope(Q="1"),), USUAL), NOW, id_)
    assert len(carriers.carriers()) == 1


def test_nothing_is_received_while_something_is_open(shop: dict[str, str]) -> None:
    before = version()
    for label in (
        Label((envelope(),), {}),
        Label(("PBL-0101",), USUAL),
        Label((envelope(n13E="2a"),), USUAL),
    ):
        with pytest.raises(Refused, match="Nothing was received"):
            goods_in.receive(label, NOW, str(uuid4()))
    assert version() == before
    assert carriers.carriers() == []


def test_the_next_bag_of_the_lot_is_received_at_once(shop: dict[str, str]) -> None:
    """Same part, lot and date code: the answers hold; another lot is asked anew."""
    first = receive(envelope(n3S="PK-1"))
    next_bag = read(envelope(n3S="PK-2", Q="480"), follows=first.code)
    assert next_bag.at_once
    assert told(next_bag, "sealed_on") == "20 Sep 2026"
    second, _ = goods_in.receive(
        Label((envelope(n3S="PK-2", Q="480"),), {}, first.code), NOW, str(uuid4())
    )
    assert carriers.carrier(second.code).quantity == 480
    assert carriers.carrier(second.code).sealed_on == date(2026, 9, 20)
    third = read(envelope(n3S="PK-3"), follows=second.code)
    assert third.at_once
    for other in ({"n1T": "L-78"}, {"n10D": "2640"}, {"n13E": "4"}, {"n1P": "MK55-X"}):
        reading = read(envelope(**other), follows=first.code)
        assert not reading.at_once
        assert reading.question is not None


def test_single_codes_of_the_next_bag_are_enough(shop: dict[str, str]) -> None:
    first = receive("PBL-0101", "1TL-77", "Q500")
    assert not read("PBL-0101", "1TL-77", follows=first.code).ready
    assert read("PBL-0101", "1TL-77", "Q500", follows=first.code).at_once


def test_a_number_received_before_is_pointed_out(shop: dict[str, str]) -> None:
    """Also in a series; and that one was another bag does not hold for the one after it."""
    first = receive(envelope(n3S="PK-1"))
    for follows in (None, first.code):
        reading = read(envelope(n3S="PK-1"), follows=follows)
        assert asked(reading) == "twice:PK-1"
        assert first.code in (reading.question.text if reading.question else "")
    with pytest.raises(Refused, match="on file already"):
        read(envelope(n3S="PK-1"), **{"twice:PK-1": "stop"})
    second = receive(envelope(n3S="PK-1"), **{"twice:PK-1": "another"})
    assert asked(read(envelope(n3S="PK-1"), follows=second.code)) == "twice:PK-1"


@pytest.mark.parametrize(
    ("said", "status"),
    [
        ({"bag_condition": "damaged"}, "exposed"),
        ({"bag_condition": "clip_sealed"}, "in_dry_bag"),
        ({"bag_condition": "rebagged", "rebagged_dry": "no"}, "in_dry_bag"),
        ({"sealed_on": "none"}, "in_dry_bag"),
    ],
)
def test_a_bag_that_proves_nothing_makes_the_history_unknown(
    shop: dict[str, str], said: dict[str, str], status: str
) -> None:
    """Damaged, clipped, bagged again without papers, or no seal date: bake before use."""
    reading = read(envelope(), **USUAL | said)
    assert any("baked before use" in caution for caution in reading.cautions)
    done = receive(envelope(), **said)
    state = carrier_states.state(done.code, NOW)
    assert "history_unknown" in state.reasons
    assert state.bake.needed
    assert state.status == status
    came = goods_in.came_as(done.code)
    assert came is not None
    assert came.bag_condition == said.get("bag_condition", "sealed")
    # None of these is received at once.
    assert not read(envelope(), follows=done.code).at_once


def test_a_bag_made_dry_again_by_a_distributor_has_its_own_seal_date(
    shop: dict[str, str],
) -> None:
    done = receive(envelope(), bag_condition="rebagged", rebagged_dry="yes")
    assert "history_unknown" not in carrier_states.state(done.code, NOW).reasons
    without = receive(envelope(), bag_condition="rebagged", rebagged_dry="no")
    came = goods_in.came_as(without.code)
    assert came is not None
    assert came.label_sealed_on == date(2026, 9, 20)


def test_the_date_code_is_the_seal_date_only_if_someone_says_so(shop: dict[str, str]) -> None:
    answers = {"kind": "reel", "bag_condition": "sealed"}
    question = read(envelope(), **answers).question
    assert question is not None
    offered = {one.value: one.text for one in question.options}
    assert set(offered) == {"none", "2026-08-30"}
    assert "week 36 of '26" in offered["2026-08-30"]
    assert question.default is None
    for wrong in ("2026-13-01", "yesterday", "2027-01-01", "1926-01-01"):
        with pytest.raises(BadInput):
            read(envelope(), **answers, sealed_on=wrong)


def test_an_expiry_date_is_the_end_of_shelf_life_only_if_someone_says_so(
    shop: dict[str, str],
) -> None:
    label = envelope(n14D="20270301")
    assert asked(read(label, **USUAL)) == "expiry:2027-03-01"
    done = receive(label, **{"expiry:2027-03-01": "yes"})
    assert carriers.carrier(done.code).shelf_life_ends == date(2027, 3, 1)
    done = receive(label, **{"expiry:2027-03-01": "no"})
    assert carriers.carrier(done.code).shelf_life_ends is None


def test_answers_can_be_changed(shop: dict[str, str]) -> None:
    for name in ("part", "lot", "quantity", "msl", "kind", "bag_condition", "sealed_on",
                 "life_h", "body_mm", "place"):  # fmt: skip
        assert asked(read(envelope(), again=name, **USUAL)) == name
    reading = read(envelope(), **USUAL, quantity="320", msl="3", lot="L-77B")
    assert told(reading, "quantity") == "320 (label: 500)"
    assert told(reading, "lot") == "L-77B"
    with pytest.raises(BadInput):
        read(envelope(), **USUAL, quantity="many")
    with pytest.raises(BadInput):
        read(envelope(), **USUAL | {"kind": "box"})


def test_our_own_codes_name_place_and_person(shop: dict[str, str]) -> None:
    person = people.add_person("Ines Falk", NOW)
    reading = read(envelope(), shop["Bench"], person.code, **USUAL)
    assert reading.answers["place"] == shop["Bench"]
    assert reading.answers["person"] == person.code
    assert reading.scans == (envelope(),)
    done = receive(envelope())
    with pytest.raises(BadLabel, match="on file already"):
        read(done.code)


def test_a_box_with_several_bags_is_not_received_as_one(shop: dict[str, str]) -> None:
    label = envelope(n4S="BOX-1")
    assert asked(read(label)) == "outer:4S"
    with pytest.raises(Refused, match="each bag"):
        read(label, **{"outer:4S": "stop"})


def test_a_doubtful_scanner_is_never_received_at_once(shop: dict[str, str]) -> None:
    """Where the scanner types 029 between the fields, a person compares with the print."""
    first = receive(envelope())
    doubtful = envelope().replace("\x1e", "030").replace(GS, "029").replace("\x04", "004")
    reading = read(doubtful, follows=first.code)
    assert reading.ready
    assert not reading.at_once
    assert any("Compare each value" in caution for caution in reading.cautions)
