"""Goods-in: what a label and a person say becomes one carrier, or nothing is written."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict, Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import carrier_states, catalog, goods_in, maker_parts, receiving
from msdtrack.services.goods_in import Label, Reading
from msdtrack.standard.supplier_label import BadLabel
from msdtrack.store import carriers, traces
from msdtrack.store.connection import version, write
from msdtrack.store.goods_in import MakerPartRecord
from msdtrack.times import parse_time

NOW = parse_time("2026-11-24T10:00:00Z")
GS = "\x1d"

USUAL = {
    "kind": "reel",
    "bag_condition": "sealed",
    "sealed_on": "2026-09-20",
    "life_h": "",
    "place": "none",
}
"""The answers about an ordinary bag."""


def envelope(**values: str) -> str:
    """Return a 2D label; `n1T` stands for identifier 1T."""
    given = {"P": "BL-0101", "n1P": "MK55-PRS", "Q": "500", "n1T": "L-77", "n10D": "2636"} | values
    fields = (f"{name.removeprefix('n')}{value}" for name, value in given.items() if value)
    return f"[)>\x1e06{GS}{GS.join(fields)}\x1e\x04"


@pytest.fixture
def goods(shop: dict[str, str]) -> Iterator[dict[str, str]]:
    """A shop with part BL-0101 of level 3 and three places."""
    return shop


def read(*scans: str, follows: str | None = None, again: str | None = None, **said: str) -> Reading:
    return goods_in.read_label(Label(scans, said, follows), NOW, again)


def receive(*scans: str, follows: str | None = None, **said: str) -> goods_in.ReceivedGoods:
    done, created = goods_in.receive(Label(scans, USUAL | said, follows), NOW, str(uuid4()))
    assert created
    return done


def asked(reading: Reading) -> str:
    assert reading.question is not None, reading
    return reading.question.name


def told(reading: Reading, name: str) -> str:
    return next(line.value for line in reading.told if name in (line.name, line.words))


def test_a_label_asks_one_thing_after_the_other_until_it_is_ready(goods: dict[str, str]) -> None:
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


def test_single_codes_add_up_to_a_label(goods: dict[str, str]) -> None:
    assert read("PBL-0101").missing == ("lot", "quantity")
    assert read("PBL-0101", "]C01TL-77").missing == ("quantity",)
    reading = read("PBL-0101", "1TL-77", "Q250")
    assert reading.missing == ()
    assert asked(reading) == "kind"


def test_a_code_of_another_bag_in_between_is_refused(goods: dict[str, str]) -> None:
    with pytest.raises(BadLabel, match=r'lot "L-78".*"L-77"'):
        read("PBL-0101", "1TL-77", "1TL-78")
    with pytest.raises(BadLabel, match="another bag"):
        read(envelope(), envelope(n1T="L-9"))


def test_a_plain_code_is_known_by_what_is_on_file_or_asked_about(goods: dict[str, str]) -> None:
    assert told(read("BL-0101"), "part") == "BL-0101"
    reading = read("BL-0101", "L-77")
    assert asked(reading) == "what:L-77"
    given = {"what:L-77": "1TL-77", "what:500": "Q500"}
    reading = read("BL-0101", "L-77", "500", **given)
    assert (told(reading, "lot"), told(reading, "quantity")) == ("L-77", "500")


def test_a_number_that_begins_like_an_identifier_is_known_by_the_file(
    goods: dict[str, str],
) -> None:
    """PRS-1 is the part PRS-1, or the part RS-1 behind the identifier P, as the file says."""
    catalog.create_part(PartFacts("PRS-1", "3"), NOW)
    assert told(read("PRS-1"), "part") == "PRS-1"
    catalog.create_part(PartFacts("RS-1", "3"), NOW)
    reading = read("PRS-1")
    assert asked(reading) == "what:PRS-1"
    assert told(read("PRS-1", **{"what:PRS-1": "PRS-1"}), "part") == "RS-1"
    assert told(read("PRS-1", **{"what:PRS-1": "PPRS-1"}), "part") == "PRS-1"


def test_what_is_confirmed_is_on_file(goods: dict[str, str]) -> None:
    done = receive(envelope(S="SN-1", n3S="PK-9"), place=goods["Bench"])
    record = carriers.carrier(done.code)
    assert (record.part, record.lot, record.quantity) == ("BL-0101", "L-77", 500)
    assert (record.kind, record.place, record.sealed_on) == (
        "reel",
        goods["Bench"],
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


def test_the_same_request_twice_receives_once(goods: dict[str, str]) -> None:
    label, id_ = Label((envelope(),), USUAL), str(uuid4())
    first = goods_in.receive(label, NOW, id_)
    assert goods_in.receive(label, NOW + 5, id_) == (first[0], False)
    with pytest.raises(Conflict):
        goods_in.receive(Label((envelope(Q="1"),), USUAL), NOW, id_)
    assert len(carriers.carriers()) == 1


def test_nothing_is_received_while_something_is_open(goods: dict[str, str]) -> None:
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


def test_the_next_bag_of_the_lot_is_received_at_once(goods: dict[str, str]) -> None:
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


def test_single_codes_of_the_next_bag_are_enough(goods: dict[str, str]) -> None:
    first = receive("PBL-0101", "1TL-77", "Q500")
    assert not read("PBL-0101", "1TL-77", follows=first.code).ready
    assert read("PBL-0101", "1TL-77", "Q500", follows=first.code).at_once


def test_a_number_received_before_is_pointed_out(goods: dict[str, str]) -> None:
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
    goods: dict[str, str], said: dict[str, str], status: str
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
    goods: dict[str, str],
) -> None:
    done = receive(envelope(), bag_condition="rebagged", rebagged_dry="yes")
    assert "history_unknown" not in carrier_states.state(done.code, NOW).reasons
    without = receive(envelope(), bag_condition="rebagged", rebagged_dry="no")
    came = goods_in.came_as(without.code)
    assert came is not None
    assert came.label_sealed_on == date(2026, 9, 20)


def test_the_date_code_is_the_seal_date_only_if_someone_says_so(goods: dict[str, str]) -> None:
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


def test_a_level_that_differs_is_asked_and_never_guessed(goods: dict[str, str]) -> None:
    label = envelope(n13E="2A")
    reading = read(label, **USUAL)
    assert asked(reading) == "msl:2a:3"
    assert reading.question is not None
    assert "label says 2a, the file 3" in reading.question.text
    values = [one.value for one in reading.question.options]
    assert values == ["label", "maker", "part", "file", "stop"]
    with pytest.raises(Refused, match="Put the bag aside"):
        read(label, **USUAL, **{"msl:2a:3": "stop"})
    only = receive(label, **{"msl:2a:3": "label"})
    assert carriers.carrier(only.code).msl == "2a"
    assert catalog.part("BL-0101").msl == "3"
    strict = receive(label, **{"msl:2a:3": "file"})
    assert carriers.carrier(strict.code).msl is None
    # A label stricter than the file is never overruled by it.
    options = read(envelope(n13E="4"), **USUAL).question
    assert options is not None
    assert "file" not in [one.value for one in options.options]


def test_a_correction_of_the_part_needs_a_name_and_leaves_a_trace(goods: dict[str, str]) -> None:
    label = envelope(n13E="4")
    answer = {"msl:4:3": "part"}
    assert asked(read(label, **USUAL, **answer)) == "person"
    earlier = receive(envelope(n1T="L-1"))
    done = receive(label, **answer, person="Ines Falk")
    assert catalog.part("BL-0101").msl == "4"
    assert carriers.carrier(done.code).msl is None
    assert carrier_states.state(earlier.code, NOW).facts.part.msl == "4"
    (change,) = traces.fact_changes("part", "BL-0101")
    assert (change.before, change.after) == ("3", "4")
    assert "L-77" in change.reason
    assert change.person == carriers.carrier(done.code).person


def test_a_shorter_floor_life_on_the_label_is_asked(goods: dict[str, str]) -> None:
    reading = read(envelope(), **USUAL | {"life_h": "72"})
    assert asked(reading) == "label_floor_life_hours:72 h:nothing"
    done = receive(envelope(), life_h="72", **{"label_floor_life_hours:72 h:nothing": "label"})
    assert carriers.carrier(done.code).label_floor_life_hours == 72
    assert read(envelope(), **USUAL | {"life_h": "168"}).ready
    longer = read(envelope(), **USUAL | {"life_h": "336"})
    assert longer.ready
    assert any("longer than level 3 allows" in caution for caution in longer.cautions)


def test_an_expiry_date_is_the_end_of_shelf_life_only_if_someone_says_so(
    goods: dict[str, str],
) -> None:
    label = envelope(n14D="20270301")
    assert asked(read(label, **USUAL)) == "expiry:2027-03-01"
    done = receive(label, **{"expiry:2027-03-01": "yes"})
    assert carriers.carrier(done.code).shelf_life_ends == date(2027, 3, 1)
    done = receive(label, **{"expiry:2027-03-01": "no"})
    assert carriers.carrier(done.code).shelf_life_ends is None


def test_an_unknown_part_needs_one_short_form_once(goods: dict[str, str]) -> None:
    """Our number is given once; the maker's number leads to it from then on."""
    label = envelope(P="", n1P="MK90-CON", n13E="3")
    question = read(label, **USUAL).question
    assert question is not None
    assert (question.name, question.kind) == ("part", "part")
    assert question.given is not None
    assert question.given["new_msl"] == "3"
    done = receive(label, part="BL-0101")
    assert done.part == "BL-0101"
    assert told(read(label), "part") == "BL-0101"
    (linked,) = maker_parts.of_part("BL-0101")
    assert linked.maker_number == "MK90-CON"


def test_a_new_part_is_put_on_file_with_the_carrier_or_not_at_all(goods: dict[str, str]) -> None:
    label = envelope(P="", n1P="MK90-CON", n13E="3")
    first = read(label, part="BL-0500").question
    assert first is not None
    assert "not on file" in first.hint
    with pytest.raises(BadInput):
        read(label, part="BL-0500", new_msl="7")
    new = {"part": "BL-0500", "new_msl": "3", "new_body_mm": "1,2", "new_description": "Cell"}
    reading = read(label, **USUAL, **new)
    assert reading.ready
    with pytest.raises(BadInput):
        goods_in.receive(Label((label,), USUAL | new | {"place": "P000099Z"}), NOW, str(uuid4()))
    assert [one.number for one in catalog.parts()] == ["BL-0101"]
    receive(label, **new)
    assert catalog.part("BL-0500") == PartFacts("BL-0500", "3", "Cell", 1.2)


def test_a_customers_number_that_is_none_of_ours_is_remembered_too(goods: dict[str, str]) -> None:
    label = envelope(P="CUST-0042", n1P="")
    assert asked(read(label)) == "part"
    receive(label, part="BL-0101")
    assert told(read(label), "part") == "BL-0101"


def test_numbers_that_lead_to_two_parts_are_asked(goods: dict[str, str]) -> None:
    catalog.create_part(PartFacts("BL-0202", "2a"), NOW)
    with write():
        maker_parts.link(MakerPartRecord(0, "BL-0202", "MK55-PRS"), NOW)
    question = read(envelope()).question
    assert question is not None
    assert [one.value for one in question.options] == ["BL-0101", "BL-0202"]
    assert told(read(envelope(), part="BL-0202"), "part") == "BL-0202"


def test_makers_parts_have_their_own_facts(goods: dict[str, str]) -> None:
    """Two makers behind one number; a correction reaches the carriers that came as that part."""
    maker_parts.link(
        MakerPartRecord(0, "BL-0101", "MK55-PRS", msl="4", body_mm=2.0, label_floor_life_hours=48),
        NOW,
    )
    maker_parts.link(MakerPartRecord(0, "BL-0101", "OTHER-7"), NOW)
    assert read(envelope(n13E="4"), **USUAL).ready
    assert asked(read(envelope(n1P="OTHER-7", n13E="4"), **USUAL)) == "msl:4:3"
    done = receive(envelope())
    facts = receiving.carrier_facts(done.code)
    assert (facts.part.msl, facts.part.body_mm, facts.part.label_floor_life_hours) == ("4", 2, 48)
    plain = receive(envelope(n1P="OTHER-7"))
    assert receiving.carrier_facts(plain.code).part.msl == "3"
    own = next(one for one in maker_parts.of_part("BL-0101") if one.maker_number == "MK55-PRS")
    maker_parts.correct(own.id, {"msl": "5"}, NOW, "Ines Falk", "new data sheet")
    assert receiving.carrier_facts(done.code).part.msl == "5"
    assert [c.after for c in traces.fact_changes("carrier", done.code)] == ["5"]
    assert [c.after for c in traces.fact_changes("maker_part", str(own.id))] == ["5"]
    with pytest.raises(Conflict):
        maker_parts.link(MakerPartRecord(0, "BL-0101", "MK55-PRS"), NOW)


def test_a_level_can_be_taken_for_all_of_a_makers_part(goods: dict[str, str]) -> None:
    label = envelope(n13E="4")
    receive(label, **{"msl:4:3": "maker"}, person="Ines Falk")
    (linked,) = maker_parts.of_part("BL-0101")
    assert linked.msl == "4"
    assert read(label, **USUAL).ready


def test_answers_can_be_changed(goods: dict[str, str]) -> None:
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


def test_our_own_codes_name_place_and_person(goods: dict[str, str]) -> None:
    person = catalog.add_person("Ines Falk", NOW)
    reading = read(envelope(), goods["Bench"], person.code, **USUAL)
    assert reading.answers["place"] == goods["Bench"]
    assert reading.answers["person"] == person.code
    assert reading.scans == (envelope(),)
    done = receive(envelope())
    with pytest.raises(BadLabel, match="on file already"):
        read(done.code)


def test_a_box_with_several_bags_is_not_received_as_one(goods: dict[str, str]) -> None:
    label = envelope(n4S="BOX-1")
    assert asked(read(label)) == "outer:4S"
    with pytest.raises(Refused, match="each bag"):
        read(label, **{"outer:4S": "stop"})


def test_a_doubtful_scanner_is_never_received_at_once(goods: dict[str, str]) -> None:
    """Where the scanner types 029 between the fields, a person compares with the print."""
    first = receive(envelope())
    doubtful = envelope().replace("\x1e", "030").replace(GS, "029").replace("\x04", "004")
    reading = read(doubtful, follows=first.code)
    assert reading.ready
    assert not reading.at_once
    assert any("Compare each value" in caution for caution in reading.cautions)
