"""Goods-in: what a label says of a part that is on file otherwise, or not at all."""

from __future__ import annotations

from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict, Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import carrier_states, catalog, goods_in, maker_parts, receiving
from msdtrack.services.goods_in import Label
from msdtrack.store import carriers, traces
from msdtrack.store.connection import write
from msdtrack.store.goods_in import MakerPartRecord
from tests.services.goods_floor import NOW, USUAL, asked, envelope, read, receive, told


def test_a_level_that_differs_is_asked_and_never_guessed(shop: dict[str, str]) -> None:
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


def test_a_correction_of_the_part_needs_a_name_and_leaves_a_trace(shop: dict[str, str]) -> None:
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


def test_a_shorter_floor_life_on_the_label_is_asked(shop: dict[str, str]) -> None:
    reading = read(envelope(), **USUAL | {"life_h": "72"})
    assert asked(reading) == "label_floor_life_hours:72 h:nothing"
    done = receive(envelope(), life_h="72", **{"label_floor_life_hours:72 h:nothing": "label"})
    assert carriers.carrier(done.code).label_floor_life_hours == 72
    assert read(envelope(), **USUAL | {"life_h": "168"}).ready
    longer = read(envelope(), **USUAL | {"life_h": "336"})
    assert longer.ready
    assert any("longer than level 3 allows" in caution for caution in longer.cautions)


def test_an_unknown_part_needs_one_short_form_once(shop: dict[str, str]) -> None:
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


def test_a_new_part_is_put_on_file_with_the_carrier_or_not_at_all(shop: dict[str, str]) -> None:
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


def test_a_customers_number_that_is_none_of_ours_is_remembered_too(shop: dict[str, str]) -> None:
    label = envelope(P="CUST-0042", n1P="")
    assert asked(read(label)) == "part"
    receive(label, part="BL-0101")
    assert told(read(label), "part") == "BL-0101"


def test_numbers_that_lead_to_two_parts_are_asked(shop: dict[str, str]) -> None:
    catalog.create_part(PartFacts("BL-0202", "2a"), NOW)
    with write():
        maker_parts.link(MakerPartRecord(0, "BL-0202", "MK55-PRS"), NOW)
    question = read(envelope()).question
    assert question is not None
    assert [one.value for one in question.options] == ["BL-0101", "BL-0202"]
    assert told(read(envelope(), part="BL-0202"), "part") == "BL-0202"


def test_makers_parts_have_their_own_facts(shop: dict[str, str]) -> None:
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


def test_a_level_can_be_taken_for_all_of_a_makers_part(shop: dict[str, str]) -> None:
    label = envelope(n13E="4")
    receive(label, **{"msl:4:3": "maker"}, person="Ines Falk")
    (linked,) = maker_parts.of_part("BL-0101")
    assert linked.msl == "4"
    assert read(label, **USUAL).ready
