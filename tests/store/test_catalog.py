"""Parts, people, places and policies: stored as given, corrected with a trace, dated."""

from __future__ import annotations

from dataclasses import replace

import pytest

from msdtrack.errors import BadInput, Conflict, NotFound
from msdtrack.exposure.facts import AirSettings, Dated, MakerBake, PartFacts, Policies
from msdtrack.store import catalog, places, policies
from msdtrack.store.connection import version, write
from msdtrack.store.records import FactChange, PersonRecord, PlaceRecord
from tests.store.samples import HOUR_S, PRESSURE_SENSOR, T0, fill

BARE = PartFacts(number="1000", msl="2a")


def test_a_part_comes_back_as_it_was_given(store: str) -> None:
    """Every fact, known or unknown, with its type."""
    with write():
        for part in (PRESSURE_SENSOR, BARE):
            catalog.insert_part(part, T0)
    assert catalog.part("1001-A") == PRESSURE_SENSOR
    assert catalog.part("1000") == BARE
    assert catalog.parts_by_number(["1000", "none"]) == {"1000": BARE}
    assert isinstance(catalog.part("1001-A").maker_bake, MakerBake)
    assert catalog.part("1001-A").square is True
    assert catalog.part("1000").square is None


def test_a_part_number_is_taken_once(store: str) -> None:
    """The part that is there stays as it is."""
    fill()
    with pytest.raises(Conflict, match="1001-A"), write():
        catalog.insert_part(replace(PRESSURE_SENSOR, msl="6"), T0)
    assert catalog.part("1001-A") == PRESSURE_SENSOR


def test_an_unknown_part_or_person_or_place_is_not_found(store: str) -> None:
    """Each says what there is not."""
    for look_up in (catalog.part, catalog.person, places.place):
        with pytest.raises(NotFound, match="NONE"):
            look_up("NONE")
    with pytest.raises(NotFound), write():
        catalog.update_part("NONE", {"msl": "4"}, reason="label", recorded_at=T0)


def test_parts_are_listed_by_number_page_by_page_and_found_by_text(store: str) -> None:
    """Text is found in any case and in the middle; % and _ mean themselves."""
    with write():
        for number in ("b-2", "A-1", "B-1", "a_1", "C-1"):
            catalog.insert_part(PartFacts(number, "3", description=f"about {number} 50%"), T0)
    numbers = [part.number for part in catalog.parts()]
    assert numbers == ["A-1", "B-1", "C-1", "a_1", "b-2"]
    assert [part.number for part in catalog.parts(after="B-1", limit=2)] == ["C-1", "a_1"]
    assert [part.number for part in catalog.parts(text="B-")] == ["B-1", "b-2"]
    assert [part.number for part in catalog.parts(text="a_1")] == ["a_1"]
    assert len(catalog.parts(text="50%")) == 5
    assert catalog.parts(text="60%") == []
    assert catalog.parts(text="6" * 100_000) == []


def test_a_corrected_part_leaves_a_trace(store: str) -> None:
    """Before, after, who, why and when, for each fact that really changed."""
    fill()
    changes = {"msl": "4", "body_mm": 1.4, "maker_bake": None, "label_floor_life_hours": 48.0}
    with write():
        after = catalog.update_part(
            "1001-A", changes, reason="maker's notice", recorded_at=T0 + 9, person="W1"
        )
    assert after == replace(PRESSURE_SENSOR, msl="4", maker_bake=None, label_floor_life_hours=48.0)
    assert catalog.part("1001-A") == after

    def change(field: str, before: object, now: object) -> FactChange:
        return FactChange("part", "1001-A", field, before, now, "W1", "maker's notice", T0 + 9)

    bake = {"temp_c": 90.0, "hours": 24.0, "max_rh_pct": 5.0, "once": True}
    assert catalog.fact_changes("part", "1001-A") == [
        change("msl", "3", "4"),
        change("maker_bake", bake, None),
        change("label_floor_life_hours", 72.0, 48.0),
    ]
    assert catalog.fact_changes("part", "1000") == []


def test_a_fact_that_does_not_exist_is_refused(store: str) -> None:
    """The number is the part's name and no fact; nothing is written."""
    fill()
    before = version()
    for wrong in ("number", "colour"):
        with pytest.raises(BadInput, match=wrong) as caught, write():
            catalog.update_part("1001-A", {wrong: "x", "msl": "4"}, reason="r", recorded_at=T0)
        assert [error.field for error in caught.value.errors] == [wrong]
    assert catalog.part("1001-A") == PRESSURE_SENSOR
    assert version() == before


def test_people_have_a_code_each_and_are_renamed_with_a_trace(store: str) -> None:
    """A second person with the code is refused."""
    fill()
    with pytest.raises(Conflict), write():
        catalog.insert_person("W1", "Cy Sample", T0)
    with write():
        changes = {"name": "Anna Sample"}
        catalog.update_person("W1", changes, reason="typing error", recorded_at=T0 + 1)
    assert catalog.person("W1") == PersonRecord("W1", "Anna Sample")
    assert catalog.people() == [PersonRecord("W1", "Anna Sample"), PersonRecord("W2", "Bo Sample")]
    assert catalog.people(after="W1", limit=5) == [PersonRecord("W2", "Bo Sample")]
    (change,) = catalog.fact_changes("person", "W1")
    assert (change.before, change.after) == ("Ana Sample", "Anna Sample")
    assert catalog.former_names() == {"W1": [(T0 + 1, "Ana Sample")]}


def test_a_badge_goes_out_of_use_and_back(store: str) -> None:
    """With a trace each; what stays as it is leaves none, and only these two can be changed."""
    fill()
    with write():
        for at in (T0 + 1, T0 + 1, None):
            changes = {"name": "Ana Sample", "retired_at": at}
            catalog.update_person("W1", changes, reason="left", recorded_at=T0 + 1, person="W2")
            assert catalog.person("W1").retired_at == at
    traced = catalog.fact_changes("person", "W1")
    assert [(one.field, one.after, one.person) for one in traced] == [
        ("retired_at", T0 + 1, "W2"),
        ("retired_at", None, "W2"),
    ]
    assert catalog.former_names() == {}
    with pytest.raises(BadInput), write():
        catalog.update_person("W1", {"code": "W9"}, reason="", recorded_at=T0)


def test_a_place_comes_back_as_it_was_given(store: str) -> None:
    """An oven has limits of its own; air stands from the beginning of time."""
    air = AirSettings(2500, 5000, 30, 200)
    with write():
        made = places.insert_place(
            "OVEN1", "Oven", "oven", T0, air, oven_max_c=125.0, oven_max_rh_pct=4.5
        )
    assert made == PlaceRecord("OVEN1", "Oven", "oven", Dated(air), 125.0, 4.5)
    assert places.place("OVEN1") == made
    assert made.settings.at(T0 - 1000 * HOUR_S) == air
    with pytest.raises(Conflict), write():
        places.insert_place("OVEN1", "Other", "oven", T0, air)


def test_places_are_listed_by_code(store: str) -> None:
    """All of them, or page by page."""
    fill()
    assert [place.code for place in places.places()] == ["CABINET1", "LINE1", "STORE1"]
    assert [place.code for place in places.places(after="CABINET1", limit=1)] == ["LINE1"]


def test_air_settings_hold_from_their_date(store: str) -> None:
    """The first holds for all earlier time, the last recorded wins at the same date, and what was
    recorded later was not known before."""
    fill()
    dry, damp, wet = AirSettings(2200, 800), AirSettings(2200, 900), AirSettings(3000, 7000)
    with write():
        places.set_air("CABINET1", damp, T0 + 50, recorded_at=T0 + 60)
        places.set_air("CABINET1", wet, T0 + 90, recorded_at=T0 + 90)
        after = places.set_air("CABINET1", dry, T0 + 50, recorded_at=T0 + 95, person="W1")
    assert after == places.place("CABINET1")
    assert after.settings == Dated(AirSettings(), ((T0 + 50, dry), (T0 + 90, wet)))
    known = places.place("CABINET1", known_at=T0 + 90).settings
    assert known == Dated(AirSettings(), ((T0 + 50, damp), (T0 + 90, wet)))
    early = {p.code: p.settings for p in places.places(known_at=T0 - 1)}
    assert early["CABINET1"] == Dated(AirSettings())
    assert places.place("LINE1").settings == Dated(AirSettings())


def test_a_corrected_place_leaves_a_trace(store: str) -> None:
    """Its code is its name and can't be corrected."""
    fill()
    with write():
        after = places.update_place(
            "LINE1", {"name": "Line 1", "kind": "line"}, reason="sign", recorded_at=T0 + 1
        )
    assert after.name == "Line 1"
    assert [c.field for c in catalog.fact_changes("place", "LINE1")] == ["name"]
    with pytest.raises(BadInput, match="code"), write():
        places.update_place("LINE1", {"code": "LINE2"}, reason="sign", recorded_at=T0)


def test_policies_have_their_default_before_the_first_change(store: str) -> None:
    """Credit, pausing and the bake limit are dated; nothing said is the default."""
    fill()
    assert policies.policies() == Policies()
    with write():
        policies.set_policy("credit", True, T0, recorded_at=T0, person="W1")
        policies.set_policy("cumulative_bake_h", 48, T0 + 10, recorded_at=T0 + 20)
        policies.set_policy("credit", False, T0 + 30, recorded_at=T0 + 30)
    now = policies.policies()
    assert now == Policies(
        credit=Dated(False, ((T0, True), (T0 + 30, False))),
        cumulative_bake_h=Dated(96, ((T0 + 10, 48),)),
    )
    assert [now.credit.at(moment) for moment in (T0 - 1, T0, T0 + 30)] == [False, True, False]
    assert policies.policies(known_at=T0 + 19) == Policies(credit=Dated(False, ((T0, True),)))


def test_a_policy_changed_for_the_same_date_keeps_both_on_record(store: str) -> None:
    """The newest recorded holds; None goes back to the default; the history has all of them."""
    with write():
        for value in (True, False, None):
            policies.set_policy("credit", value, T0, recorded_at=T0)
    assert policies.policies().credit == Dated(False, ((T0, False),))
    assert [record.value for record in policies.policy_history("credit")] == [True, False, None]


def test_lead_times_are_policies_found_by_their_prefix(store: str) -> None:
    """In force at the moment asked about; what was taken back is left out."""
    with write():
        policies.set_policy("lead_h:msl:3", 8, T0, recorded_at=T0)
        policies.set_policy("lead_h:part:1001-A", 2.5, T0 + 5, recorded_at=T0)
        policies.set_policy("lead_h:msl:4", 4, T0, recorded_at=T0)
        policies.set_policy("lead_h:msl:4", None, T0 + 5, recorded_at=T0)
        policies.set_policy("timezone_name", "Europe/Lisbon", T0, recorded_at=T0)
    assert policies.policy_values("lead_h:", T0) == {"lead_h:msl:3": 8, "lead_h:msl:4": 4}
    assert policies.policy_values("lead_h:", T0 + 5) == {
        "lead_h:msl:3": 8,
        "lead_h:part:1001-A": 2.5,
    }
    assert policies.policy_values("lead_h:", T0 - 1) == {}
