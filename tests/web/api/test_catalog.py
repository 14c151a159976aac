"""Parts, places, people and policies."""

from __future__ import annotations

from uuid import uuid4

import pytest

from tests.web.api.conftest import Api, on_sqlite

PART = {"number": "BUOY-7", "description": "Pressure front end", "msl": "3", "body_mm": 1.4}
EVERY_FACT = PART | {
    "family": "TQFP",
    "pins": 64,
    "square": True,
    "large_bga": False,
    "stacked_die": False,
    "compound_confirmed": True,
    "label_floor_life_hours": 96,
    "carrier_max_c": 125,
    "max_bake_c": 150,
    "peak_body_c": 260,
    "maker_bake": {"temp_c": 110, "hours": 12, "max_rh_pct": 5, "once": True},
}


class TestParts:
    """POST, GET and PATCH of parts."""

    def test_a_part_is_created_with_every_fact(self, api: Api) -> None:
        """201 with what was sent; the same is found again."""
        created = api.post("/parts", EVERY_FACT, 201)
        assert created == EVERY_FACT
        assert api.get("/parts/BUOY-7") == created

    def test_what_is_left_out_is_unknown(self, api: Api) -> None:
        """Facts left out are null, and the flags are off."""
        created = api.post("/parts", {"number": "B", "description": "", "msl": "2a"})
        assert (created["body_mm"], created["maker_bake"], created["large_bga"]) == (
            None, None, False,
        )  # fmt: skip

    def test_the_same_part_sent_again_answers_200(self, api: Api) -> None:
        """Sent twice is created once, with an `id` and without."""
        api.post("/parts", PART, 201)
        api.post("/parts", PART, 200)
        with_id = PART | {"number": "BUOY-8", "id": str(uuid4())}
        api.post("/parts", with_id, 201)
        api.post("/parts", with_id, 200)

    def test_a_known_number_with_other_content_is_a_conflict(self, api: Api) -> None:
        """409, and it says to use PATCH."""
        api.post("/parts", PART)
        problem = api.refused("POST", "/parts", PART | {"msl": "4"})
        assert (problem["status"], "PATCH" in problem["detail"]) == (409, True)
        assert api.get("/parts/BUOY-7")["msl"] == "3"

    def test_an_id_used_for_something_else_is_a_conflict(self, api: Api) -> None:
        """An `id` belongs to one content."""
        sent = PART | {"id": str(uuid4())}
        api.post("/parts", sent)
        assert api.refused("POST", "/parts", sent | {"number": "BUOY-9"})["status"] == 409

    def test_a_correction_holds_for_all_time(self, api: Api) -> None:
        """PATCH changes what it names, leaves the rest, and states follow."""
        api.post("/parts", PART)
        carrier = api.carrier()
        changed = api.patch("/parts/BUOY-7", {"msl": "4", "body_mm": None, "person": "Ines"})
        assert (changed["msl"], changed["body_mm"]) == ("4", None)
        assert changed["description"] == PART["description"]
        assert api.get(f"/carriers/{carrier}", at=api.hours_ago(48))["msl"] == "4"

    def test_numbers_may_hold_slashes_and_other_signs(self, api: Api) -> None:
        """A part number is the factory's own."""
        number = "BUOY/7 #ä"
        api.post("/parts", PART | {"number": number})
        assert api.get("/parts/BUOY%2F7%20%23%C3%A4")["number"] == number

    @on_sqlite
    @pytest.mark.parametrize(
        ("fields", "field"),
        [
            ({"msl": 3}, "msl"),
            ({"msl": "7"}, "msl"),
            ({"body_mm": False}, "body_mm"),
            ({"body_mm": "1.4"}, "body_mm"),
            ({"body_mm": 0}, "body_mm"),
            ({"pins": 1.0}, "pins"),
            ({"pins": 0}, "pins"),
            ({"square": 1}, "square"),
            ({"large_bga": "no"}, "large_bga"),
            ({"number": ""}, "number"),
            ({"number": "A\u0000"}, "number"),
            ({"number": None}, "number"),
            ({"description": None}, "description"),
            ({"maker_bake": {"temp_c": 125}}, "maker_bake.hours"),
            ({"maker_bake": {"temp_c": True, "hours": 1}}, "maker_bake.temp_c"),
            ({"thickness": 1.4}, "thickness"),
        ],
    )
    def test_a_wrong_field_is_named(self, api: Api, fields: dict[str, object], field: str) -> None:
        """Loose types, impossible values and unknown fields are refused by name."""
        problem = api.refused("POST", "/parts", PART | fields)
        assert problem["status"] == 422
        assert field in [one["field"] for one in problem["errors"]]
        assert api.get("/parts")["items"] == []

    @pytest.mark.parametrize("changes", [{"msl": None}, {"number": "X"}, {"msl": "9"}, []])
    def test_a_wrong_correction_changes_nothing(self, api: Api, changes: object) -> None:
        """Null where a part needs a value, and what can't be changed, is refused."""
        api.post("/parts", PART)
        assert api.refused("PATCH", "/parts/BUOY-7", changes)["status"] == 422
        assert api.get("/parts/BUOY-7")["msl"] == "3"

    def test_an_unknown_part_is_not_found(self, api: Api) -> None:
        """404 for GET and PATCH."""
        assert api.refused("GET", "/parts/NONE")["status"] == 404
        assert api.refused("PATCH", "/parts/NONE", {"msl": "4"})["status"] == 404


class TestLists:
    """`limit` and `after`."""

    def test_pages_follow_each_other_without_gap_or_repeat(self, api: Api) -> None:
        """Following `next` shows each part once, in order, and ends with null."""
        for n in range(5):
            api.part(number=f"BUOY-{n}")
        seen, query = [], {"limit": 2}
        while True:
            page = api.get("/parts", **query)
            seen += [part["number"] for part in page["items"]]
            if page["next"] is None:
                break
            query["after"] = page["next"]
        assert seen == [f"BUOY-{n}" for n in range(5)]

    def test_a_full_last_page_has_no_next(self, api: Api) -> None:
        """As many as the limit, and no more: `next` is null."""
        api.part()
        assert api.get("/parts", limit=1)["next"] is None

    @on_sqlite
    @pytest.mark.parametrize(
        "query", ["limit=0", "limit=1001", "limit=ten", "limit=1&limit=2", "page=2", "after="]
    )
    def test_a_wrong_page_is_refused(self, api: Api, query: str) -> None:
        """A limit outside 1 to 1000, a parameter given twice, an unknown one."""
        assert api.refused("GET", "/parts", query_string=query)["status"] == 422


class TestPlaces:
    """POST, GET and PATCH of places."""

    def test_a_place_gets_a_code_and_the_default_air(self, api: Api) -> None:
        """Default assumed air 30 °C / 60 % RH, tolerances 0.5 °C and 3 % RH (design 4.1)."""
        place = api.post("/places", {"name": "Line 2", "kind": "line"}, 201)
        assert place == api.get(f"/places/{place['code']}")
        assert (place["assumed_temp_c"], place["assumed_rh_pct"]) == (30, 60)
        assert (place["tolerance_c"], place["tolerance_rh_pct"]) == (0.5, 3)

    def test_its_settings_are_its_own(self, api: Api) -> None:
        """What is sent is kept, and an oven says what it can do."""
        sent = {
            "name": "Oven", "kind": "oven", "assumed_temp_c": 28.5, "assumed_rh_pct": 55,
            "tolerance_c": 0, "tolerance_rh_pct": 2.5, "max_temp_c": 125, "max_rh_pct": 5,
        }  # fmt: skip
        assert api.post("/places", sent).items() >= sent.items()

    def test_sending_twice_needs_an_id_to_count_once(self, api: Api) -> None:
        """With an `id` a place is made once."""
        sent = {"name": "Line 2", "kind": "line", "id": str(uuid4())}
        first = api.post("/places", sent, 201)
        assert api.post("/places", sent, 200) == first
        assert api.refused("POST", "/places", sent | {"kind": "floor"})["status"] == 409

    def test_a_change_holds_from_its_date(self, api: Api) -> None:
        """Air assumed from now on leaves earlier hours as they were counted."""
        api.part()
        place = api.place("floor")
        carrier = api.carrier(place=place)
        api.record(carrier, "open", at=api.hours_ago(10))
        before = api.get(f"/carriers/{carrier}")["floor_life"]["used_share"]
        api.patch(f"/places/{place}", {"assumed_temp_c": 35, "assumed_rh_pct": 90})
        after = api.get(f"/carriers/{carrier}")["floor_life"]["used_share"]
        assert before == after == pytest.approx(10 / 168)
        api.clock.now += 3600
        later = api.get(f"/carriers/{carrier}")["floor_life"]["used_share"]
        assert later > before + 1 / 168

    @on_sqlite
    @pytest.mark.parametrize(
        ("fields", "field"),
        [
            ({"kind": "shelf"}, "kind"),
            ({"name": "\t"}, "name"),
            ({"assumed_temp_c": False}, "assumed_temp_c"),
            ({"assumed_rh_pct": 101}, "assumed_rh_pct"),
            ({"tolerance_c": -1}, "tolerance_c"),
            ({"colour": "red"}, "colour"),
        ],
    )
    def test_a_wrong_field_is_named(self, api: Api, fields: dict[str, object], field: str) -> None:
        """Each by its name, and no place is made."""
        sent = {"name": "Line 2", "kind": "line"} | fields
        problem = api.refused("POST", "/places", sent)
        assert field in [one["field"] for one in problem["errors"]]
        assert api.get("/places")["items"] == []


class TestPeopleAndPolicies:
    """Who works here, and what the site has decided."""

    def test_a_person_gets_a_badge_code(self, api: Api) -> None:
        """A person is found in the list by the code that was answered."""
        person = api.post("/people", {"name": "Ines"})
        assert api.get("/people")["items"] == [person]

    def test_a_person_is_renamed_and_leaves(self, api: Api) -> None:
        """PATCH changes what it names; a badge out of use signs nothing, in words."""
        code = api.post("/people", {"name": "Ines"})["code"]
        by = {"person": "Olu", "reason": "a marriage"}
        assert api.patch(f"/people/{code}", {"name": "Ines Lund"} | by)["in_use"] is True
        left = api.patch(f"/people/{code}", {"in_use": False} | by)
        assert left == {"code": code, "name": "Ines Lund", "in_use": False}
        assert left in api.get("/people")["items"]
        change = {"name": "credit", "value": True, "person": code, "reason": "on file"}
        problem = api.refused("PATCH", "/policies", change)
        assert (problem["status"], "no longer in use" in problem["detail"]) == (422, True)
        assert api.refused("PATCH", f"/people/{code}", {"in_use": True})["status"] == 422
        assert api.refused("PATCH", "/people/W9999997", {"in_use": True} | by)["status"] == 404
        assert api.patch(f"/people/{code}", {"in_use": True} | by)["in_use"] is True

    def test_a_policy_holds_from_its_date(self, api: Api) -> None:
        """The list shows the change; who and why must be said."""
        assert api.get("/policies")["credit"] is False
        change = {"name": "credit", "value": True, "person": "Ines", "reason": "Compounds known"}
        assert api.patch("/policies", change)["credit"] is True
        for missing in ("person", "reason"):
            given = {name: value for name, value in change.items() if name != missing}
            assert api.refused("PATCH", "/policies", given)["status"] == 422

    @on_sqlite
    @pytest.mark.parametrize(
        ("name", "value"), [("credit", 1), ("cumulative_bake_h", False), ("mood", True)]
    )
    def test_a_policy_takes_its_own_kind_of_value(self, api: Api, name: str, value: object) -> None:
        """Loose types and unknown names are refused."""
        change = {"name": name, "value": value, "person": "Ines", "reason": "Try"}
        assert api.refused("PATCH", "/policies", change)["status"] == 422
