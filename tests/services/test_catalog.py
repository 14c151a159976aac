"""Facts go on file once, are checked whole, and are corrected with a trace."""

from __future__ import annotations

from dataclasses import replace
from uuid import uuid4

import pytest

from msdtrack.errors import BadInput, Conflict, NotFound
from msdtrack.exposure.facts import AirSettings, MakerBake, PartFacts
from msdtrack.printing.codes import CodeKind, make_code, read_code
from msdtrack.services import catalog, people
from msdtrack.services.catalog import NewPlace
from msdtrack.store import places as place_table
from msdtrack.store import traces
from msdtrack.store.connection import write
from tests.services.conftest import NOW

pytestmark = pytest.mark.usefixtures("store")

PART = PartFacts(
    "BL-0300", "MSL 2A", "pressure sensor", body_mm=2, pins=8, label_floor_life_hours=96
)
BAKE = MakerBake(100, 24, 5, once=True)


def wrong_fields(error: pytest.ExceptionInfo[BadInput]) -> list[str]:
    return [finding.field for finding in error.value.errors]


def test_a_part_is_kept_with_its_level_as_the_tables_have_it() -> None:
    """Levels are read as people write them, and what was stored is what was sent."""
    created, is_new = catalog.create_part(replace(PART, maker_bake=BAKE), NOW)
    assert is_new
    assert created.msl == "2a"
    assert catalog.part("BL-0300") == created
    assert created.maker_bake == BAKE
    assert catalog.parts() == [created]


def test_a_part_sent_again_is_the_same_part_and_other_facts_are_refused() -> None:
    """The same content is answered with what is there; other content needs a correction."""
    catalog.create_part(PART, NOW)
    again, is_new = catalog.create_part(replace(PART, msl="2a"), NOW + 5)
    assert not is_new
    assert again.number == "BL-0300"
    with pytest.raises(Conflict, match="PATCH"):
        catalog.create_part(replace(PART, body_mm=2.5), NOW + 5)
    assert catalog.part("BL-0300").body_mm == 2.0


def test_every_wrong_fact_of_a_part_is_named_and_nothing_is_written() -> None:
    """A person sees all that is wrong at once."""
    bad = PartFacts(
        " ",
        "7",
        body_mm=0,
        pins=0,
        label_floor_life_hours=-1,
        max_bake_c=float("nan"),
        peak_body_c=True,
        large_bga=1,  # type: ignore[arg-type]
        maker_bake=MakerBake(0, 5, 101),
    )
    with pytest.raises(BadInput) as error:
        catalog.create_part(bad, NOW)
    assert set(wrong_fields(error)) == {
        "number",
        "msl",
        "body_mm",
        "pins",
        "label_floor_life_hours",
        "max_bake_c",
        "peak_body_c",
        "large_bga",
        "maker_bake.temp_c",
        "maker_bake.max_rh_pct",
    }
    assert catalog.parts() == []


def test_a_correction_of_a_part_is_checked_and_traced() -> None:
    """What it was, what it is, who and why stay on file."""
    catalog.create_part(PART, NOW)
    after = catalog.amend_part("BL-0300", {"msl": "3", "pins": 8}, NOW + 60, "Ines Prado", "label")
    assert after == catalog.part("BL-0300")
    assert after.msl == "3"
    (change,) = traces.fact_changes("part", "BL-0300")
    assert (change.field, change.before, change.after) == ("msl", "2a", "3")
    assert (change.reason, change.recorded_at) == ("label", NOW + 60)
    assert people.person(change.person or "").name == "Ines Prado"
    for changes in ({"body_mm": -1}, {"number": "X"}, {"colour": "red"}):
        with pytest.raises(BadInput) as error:
            catalog.amend_part("BL-0300", changes, NOW + 60)
        assert wrong_fields(error) == list(changes)
    with pytest.raises(NotFound):
        catalog.amend_part("BL-9999", {"msl": "3"}, NOW)


def test_places_get_codes_and_defaults() -> None:
    """A place's code can be read back, and what is not stated is 30 °C / 60 % RH, 0.5 °C, 3 %."""
    floor, _ = catalog.create_place(NewPlace(name="Bench", kind="floor"), NOW)
    oven, _ = catalog.create_place(
        NewPlace(name="Oven", kind="oven", max_temp_c=150, max_rh_pct=4.5), NOW
    )
    assert read_code(floor.code).kind is CodeKind.PLACE
    assert (floor.assumed_temp_c, floor.assumed_rh_pct) == (30.0, 60.0)
    assert (floor.tolerance_c, floor.tolerance_rh_pct) == (0.5, 3.0)
    assert (oven.max_temp_c, oven.max_rh_pct) == (150, 4.5)
    assert catalog.places() == [floor, oven]
    assert catalog.places(after=floor.code) == [oven]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"kind": "shed"}, "kind"),
        ({"name": ""}, "name"),
        ({"name": "a\nb"}, "name"),
        ({"assumed_temp_c": 61}, "assumed_temp_c"),
        ({"assumed_temp_c": -20.5}, "assumed_temp_c"),
        ({"assumed_temp_c": False}, "assumed_temp_c"),
        ({"assumed_rh_pct": 100.1}, "assumed_rh_pct"),
        ({"assumed_rh_pct": float("inf")}, "assumed_rh_pct"),
        ({"tolerance_c": -0.1}, "tolerance_c"),
        ({"tolerance_rh_pct": -1}, "tolerance_rh_pct"),
        ({"max_temp_c": 125}, "max_temp_c"),
    ],
)
def test_a_place_that_can_not_be_is_refused(wrong: dict[str, object], field: str) -> None:
    """The field is named, new or changed, and nothing is written."""
    sound = {"name": "Bench", "kind": "floor"}
    with pytest.raises(BadInput) as error:
        catalog.create_place(NewPlace(**(sound | wrong)), NOW)  # type: ignore[arg-type]
    assert wrong_fields(error) == [field]
    assert catalog.places() == []
    place, _ = catalog.create_place(NewPlace(**sound), NOW)  # type: ignore[arg-type]
    with pytest.raises(BadInput) as error:
        catalog.amend_place(place.code, wrong, NOW)
    assert wrong_fields(error) == [field]
    assert catalog.place(place.code) == place


def test_assumed_air_and_tolerances_change_from_now_on() -> None:
    """What was assumed before the change stays assumed for that time; the rest is a correction."""
    place, _ = catalog.create_place(NewPlace(name="Bench", kind="floor"), NOW)
    changes = {"assumed_rh_pct": 45.5, "tolerance_c": 0.2, "name": "Bench 1"}
    after = catalog.amend_place(place.code, changes, NOW + 60, "Ines", "sensor was calibrated")
    assert after == catalog.place(place.code)
    assert (after.name, after.assumed_rh_pct, after.tolerance_c) == ("Bench 1", 45.5, 0.2)
    settings = place_table.place(place.code).settings
    assert settings.at(NOW + 59) == AirSettings()
    assert settings.at(NOW + 60) == AirSettings(3000, 4550, 20, 300)
    traced = traces.fact_changes("place", place.code)
    assert {change.field for change in traced} == set(changes)
    assert {change.reason for change in traced} == {"sensor was calibrated"}
    back = catalog.amend_place(place.code, {"assumed_rh_pct": None}, NOW + 120)
    assert back.assumed_rh_pct == 60.0


def test_assumed_air_is_never_rounded_to_better_air() -> None:
    """What is finer than a hundredth goes up."""
    place, _ = catalog.create_place(
        NewPlace(name="Bench", kind="floor", assumed_rh_pct=60.001, assumed_temp_c=25.1), NOW
    )
    assert (place.assumed_temp_c, place.assumed_rh_pct) == (25.1, 60.01)


def test_nothing_becomes_an_oven_or_ceases_to_be_one() -> None:
    """An oven's readings are no floor air, so the history would change its meaning."""
    place, _ = catalog.create_place(NewPlace(name="Bench", kind="floor"), NOW)
    with pytest.raises(BadInput, match="oven"):
        catalog.amend_place(place.code, {"kind": "oven"}, NOW)
    assert catalog.amend_place(place.code, {"kind": "line"}, NOW).kind == "line"


def test_a_request_sent_twice_is_done_once() -> None:
    """The same id and content give the first result; other content is refused."""
    id_ = str(uuid4())
    new = NewPlace(name="Bench", kind="floor")
    place, is_new = catalog.create_place(new, NOW, id_)
    catalog.amend_place(place.code, {"name": "Bench 1"}, NOW + 1)
    assert is_new
    assert catalog.create_place(new, NOW + 2, id_.upper()) == (place, False)
    assert len(catalog.places()) == 1
    with pytest.raises(Conflict):
        catalog.create_place(replace(new, name="Bank"), NOW, id_)
    with pytest.raises(Conflict):
        catalog.create_part(PART, NOW, id_)
    part_id = str(uuid4())
    first, _ = catalog.create_part(replace(PART, maker_bake=BAKE), NOW, part_id)
    catalog.amend_part(PART.number, {"msl": "4", "maker_bake": None}, NOW)
    assert catalog.create_part(replace(PART, maker_bake=BAKE), NOW, part_id) == (first, False)
    with pytest.raises(BadInput, match="UUID"):
        catalog.create_place(new, NOW, "again")


def test_people_are_found_by_badge_or_name() -> None:
    """A new name is put on file once; a name that two have needs the badge."""
    ines = people.add_person("Ines Prado", NOW)
    assert read_code(ines.code).kind is CodeKind.PERSON
    with write():
        assert people.person_code(ines.code.lower(), NOW) == ines.code
        assert people.person_code(" ines  prado ", NOW) == ines.code
        olu = people.person_code("Olu", NOW)
        assert people.person_code("Olu", NOW) == olu != ines.code
    assert [one.name for one in people.people()] == ["Ines Prado", "Olu"]
    people.add_person("Olu", NOW)
    with write():
        for who in ("Olu", " ", make_code(CodeKind.PERSON, 999_999)):
            with pytest.raises(BadInput):
                people.person_code(who, NOW)
    with pytest.raises(BadInput):
        people.add_person("  ", NOW)
