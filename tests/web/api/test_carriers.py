"""Carriers: receipt, lists, state, working and bake advice as of any moment."""

from __future__ import annotations

from uuid import uuid4

import pytest

from tests.web.api.conftest import Api, on_sqlite


@pytest.fixture
def floor(api: Api) -> str:
    """A floor with a day of readings at 26 °C / 58 % RH."""
    api.part()
    place = api.place("floor")
    api.air(place, 26, 58, since_h=24)
    return place


@pytest.fixture
def exposed(api: Api, floor: str) -> str:
    """A carrier opened 24 hours ago."""
    carrier = api.carrier(place=floor)
    api.record(carrier, "open", at=api.hours_ago(24))
    return carrier


class TestReceipt:
    """POST /carriers."""

    def test_a_carrier_gets_a_code_and_a_bag(self, api: Api, floor: str) -> None:
        """201 with both; the state says what was received."""
        sent = {
            "part": "BUOY-7", "lot": "L-9", "quantity": 250, "kind": "tray", "place": floor,
            "sealed_on": "2026-04-14", "received_at": api.hours_ago(48),
        }  # fmt: skip
        received = api.post("/carriers", sent, 201)
        state = api.get(f"/carriers/{received['code']}")
        assert state["bag"] == received["bag"]
        assert (state["part"], state["lot"], state["quantity"]) == ("BUOY-7", "L-9", 250)
        assert (state["status"], state["verdict"], state["reasons"]) == ("in_dry_bag", "use", [])

    def test_shelf_life_is_twelve_months_unless_the_label_says_otherwise(
        self, api: Api, floor: str
    ) -> None:
        """Source: J-STD-033, clause 3.3.3 as the design states it: 12 months from the seal."""
        for given, ends in ((None, "2027-04-14"), ("2028-01-31", "2028-01-31")):
            carrier = api.carrier(shelf_life_ends=given)
            assert api.get(f"/carriers/{carrier}")["shelf_life_ends"] == ends

    def test_without_a_seal_date_its_history_is_unknown(self, api: Api, floor: str) -> None:
        """No confirmed dry bag: bake first."""
        carrier = api.carrier(sealed_on=None)
        assert "history_unknown" in api.get(f"/carriers/{carrier}")["reasons"]
        assert api.get(f"/carriers/{carrier}/bake")["needed"] is True

    def test_its_own_label_counts(self, api: Api, floor: str) -> None:
        """Level, thickness and a shorter floor life of its label hold for this carrier alone."""
        carrier = api.carrier(msl="4", body_mm=2.0, label_floor_life_hours=48)
        state = api.get(f"/carriers/{carrier}")
        assert (state["msl"], state["floor_life"]["label_hours"]) == ("4", 48)
        assert api.get("/parts/BUOY-7")["msl"] == "3"

    def test_opened_at_receipt_it_is_exposed_since_then(self, api: Api, floor: str) -> None:
        """`opened_at` starts the clock."""
        carrier = api.carrier(opened_at=api.hours_ago(5), place=floor)
        state = api.get(f"/carriers/{carrier}")
        assert (state["status"], state["opened_at"]) == ("exposed", api.hours_ago(5))

    def test_earlier_events_are_accepted(self, api: Api, floor: str) -> None:
        """What is stated at receipt holds for all earlier time."""
        carrier = api.carrier(received_at=api.hours_ago(1))
        state = api.record(carrier, "open", at=api.hours_ago(20))["state"]
        assert state["opened_at"] == api.hours_ago(20)

    def test_the_same_id_receives_once(self, api: Api, floor: str) -> None:
        """With an `id` sent twice is received once; other content is a conflict."""
        sent = {
            "part": "BUOY-7", "lot": "L-9", "quantity": 250, "kind": "tray", "id": str(uuid4()),
        }  # fmt: skip
        first = api.post("/carriers", sent, 201)
        assert api.post("/carriers", sent, 200) == first
        assert api.refused("POST", "/carriers", sent | {"quantity": 1})["status"] == 409
        assert len(api.get("/carriers")["items"]) == 1

    @on_sqlite
    @pytest.mark.parametrize(
        ("fields", "field"),
        [
            ({"part": "NONE"}, "part"),
            ({"lot": ""}, "lot"),
            ({"quantity": 0}, "quantity"),
            ({"quantity": False}, "quantity"),
            ({"quantity": 10**30}, "quantity"),
            ({"kind": "bucket"}, "kind"),
            ({"sealed_on": "14.4.2026"}, "sealed_on"),
            ({"sealed_on": 20260414}, "sealed_on"),
            ({"sealed_on": "2027-01-01"}, "sealed_on"),
            ({"place": "P000009X"}, "place"),
            ({"received_at": "2026-05-15T12:00:00Z"}, "received_at"),
            ({"opened_at": "2026-05-14T12:00:00"}, "opened_at"),
            ({"msl": "3a"}, "msl"),
            ({"body_mm": -1}, "body_mm"),
            ({"label_floor_life_hours": 0}, "label_floor_life_hours"),
            ({"label_floor_life_hours": 5e-324}, "label_floor_life_hours"),
            ({"owner": "Ines"}, "owner"),
        ],
    )
    def test_a_wrong_field_is_named(
        self, api: Api, floor: str, fields: dict[str, object], field: str
    ) -> None:
        """Each by its name, and nothing is received."""
        sent = {"part": "BUOY-7", "lot": "L-9", "quantity": 250, "kind": "tray"} | fields
        problem = api.refused("POST", "/carriers", sent)
        assert (problem["status"], problem["code"]) == (422, "bad_input")
        assert field in [one["field"] for one in problem["errors"]]
        assert api.get("/carriers")["items"] == []


class TestState:
    """GET /carriers/<code>."""

    def test_a_day_at_26_c_and_58_pct_uses_a_day_of_a_week(self, api: Api, exposed: str) -> None:
        """24 h within 30 °C / 60 % RH are 24 of the 168 h of level 3.

        Source: J-STD-033, Table 5-1 (level 3: 168 h).
        """
        life = api.get(f"/carriers/{exposed}")["floor_life"]
        assert life["label_hours"] == 168
        assert life["used_share"] == pytest.approx(24 / 168, abs=1e-12)
        assert life["used_hours_at_label"] == pytest.approx(24, abs=1e-9)
        assert life["remaining_hours_now"] == pytest.approx(144, abs=1e-9)
        assert life["expires_at"] == api.hours_ago(-144)
        assert (life["provisional_share"], life["assumed_share"]) == (0, 0)

    def test_as_of_a_past_moment_it_is_what_it_was(self, api: Api, exposed: str) -> None:
        """`at` looks back; the answer is dated with it."""
        state = api.get(f"/carriers/{exposed}", at=api.hours_ago(12))
        assert state["at"] == api.hours_ago(12)
        assert state["floor_life"]["used_share"] == pytest.approx(12 / 168)
        assert api.get(f"/carriers/{exposed}", at=api.hours_ago(30))["status"] == "in_dry_bag"

    def test_as_of_a_future_moment_it_is_a_forecast(self, api: Api, exposed: str) -> None:
        """A GET may look ahead: 24 h more at the assumed air make 48 of 168 h."""
        state = api.get(f"/carriers/{exposed}", at=api.hours_ago(-24))
        assert state["floor_life"]["used_share"] == pytest.approx(48 / 168)

    def test_any_offset_is_understood(self, api: Api, exposed: str) -> None:
        """The same moment in another offset is the same question."""
        there = api.get(f"/carriers/{exposed}", at="2026-05-14T02:00:00+02:00")
        assert there == api.get(f"/carriers/{exposed}", at="2026-05-14T00:00:00Z")

    def test_known_at_leaves_out_what_came_later(self, api: Api, exposed: str) -> None:
        """A correction that came now was not known a minute ago."""
        before = api.hours_ago(0)
        api.clock.now += 60
        opening = api.get(f"/carriers/{exposed}/events")["items"][0]["id"]
        api.record(exposed, "correct", event=opening, reason="slip", person="Ines", void=True)
        assert api.get(f"/carriers/{exposed}")["status"] == "in_dry_bag"
        assert api.get(f"/carriers/{exposed}", known_at=before)["status"] == "exposed"

    def test_until_asks_for_a_run(self, api: Api, exposed: str) -> None:
        """A run that ends after the floor life does may not use it."""
        assert api.get(f"/carriers/{exposed}", until=api.hours_ago(-100))["verdict"] == "use"
        late = api.get(f"/carriers/{exposed}", until=api.hours_ago(-145))
        assert late["verdict"] == "do_not_use"
        assert late["reasons"] == ["floor_life_ends_before_the_run"]

    def test_a_floor_life_that_is_over_says_so(self, api: Api, floor: str) -> None:
        """At 168 h it is not usable, and the next step is the bake."""
        carrier = api.carrier(place=floor, received_at=api.hours_ago(400))
        api.record(carrier, "open", at=api.hours_ago(168))
        state = api.get(f"/carriers/{carrier}")
        assert (state["verdict"], state["floor_life"]["used_share"]) == ("do_not_use", 1)
        assert "floor_life_exceeded" in state["reasons"]
        assert "Bake" in state["next_step"]

    def test_an_unknown_carrier_is_not_found(self, api: Api) -> None:
        """404 for every question about it."""
        for rest in ("", "/working", "/bake", "/events", "/label.png", "/label.pdf"):
            assert api.refused("GET", f"/carriers/C999999Q{rest}")["status"] == 404

    @on_sqlite
    @pytest.mark.parametrize(
        "query",
        ["at=now", "at=2026-05-14T12:00:00", "at=2026-05-14", "at=", "at=9999-12-31T00:00:00Z",
         "known_at=1778760000", "until=soon", "when=2026-05-14T12:00:00Z"],
    )  # fmt: skip
    def test_a_wrong_question_is_refused(self, api: Api, exposed: str, query: str) -> None:
        """A moment without offset, none at all, or an unknown parameter."""
        problem = api.refused("GET", f"/carriers/{exposed}", query_string=query)
        assert problem["errors"][0]["field"] == query.split("=")[0]


class TestWorking:
    """GET /carriers/<code>/working."""

    def test_the_shares_of_its_lines_sum_to_the_used_share(self, api: Api, exposed: str) -> None:
        """Each line has its air, its cell, its hours and its share."""
        working = api.get(f"/carriers/{exposed}/working")
        lines = working["intervals"]
        assert sum(line["share"] for line in lines) == pytest.approx(working["used_share"])
        assert sum(line["hours"] for line in lines) == pytest.approx(24)
        assert working["used_share"] == api.get(f"/carriers/{exposed}")["floor_life"]["used_share"]

    def test_guarded_air_adds_the_tolerance_and_finds_the_cell(
        self, api: Api, exposed: str
    ) -> None:
        """26 °C / 58 % RH plus 0.5 °C and 3 % RH: cell 30 °C / 70 % (design 4.1)."""
        (line,) = api.get(f"/carriers/{exposed}/working")["intervals"]
        assert line["raw"] == {"temp_c": 26, "rh_pct": 58}
        assert line["guarded"] == {"temp_c": 26.5, "rh_pct": 61}
        assert (line["cell"]["temp_c"], line["cell"]["rh_pct"]) == (30, 70)
        assert (line["cell"]["table"], line["cell"]["level"]) == ("7-1", "3")
        assert line["basis"] == "measured"

    def test_as_of(self, api: Api, exposed: str) -> None:
        """A working of a past moment ends there."""
        working = api.get(f"/carriers/{exposed}/working", at=api.hours_ago(12))
        assert working["intervals"][-1]["to"] == working["at"] == api.hours_ago(12)

    def test_what_was_not_known_is_assumed(self, api: Api, exposed: str) -> None:
        """Before the readings came the same hours stood on assumed air, and said so."""
        api.clock.now += 3600
        lines = api.get(f"/carriers/{exposed}/working")["intervals"]
        assert lines[-1]["basis"] == "assumed"
        assert "no reading since" in lines[-1]["note"]


class TestBake:
    """GET /carriers/<code>/bake."""

    def test_a_thin_reel_of_level_3_bakes_at_40_c(self, api: Api, floor: str) -> None:
        """A reel stands 40 °C; 1.4 mm, level 3, floor life over by up to 72 h: 9 days there.

        Source: J-STD-033, Table 4-1: 40 °C and <= 5 % RH, <= 1.4 mm, level 3: 13 days where the
        floor life is exceeded by more than 72 h, else 9 days.
        """
        carrier = api.carrier(place=floor, received_at=api.hours_ago(400))
        api.record(carrier, "open", at=api.hours_ago(24))
        bake = api.get(f"/carriers/{carrier}/bake", at=api.hours_ago(-150))
        assert (bake["needed"], bake["column"]) == (True, "up_to_72h")
        assert [(one["temp_c"], one["hours"]) for one in bake["options"]] == [(40, 9 * 24)]
        assert bake["options"][0]["max_rh_pct"] == 5
        assert bake["chosen"] == bake["options"][0]
        assert {one["temp_c"] for one in bake["refused"]} == {125, 90}
        assert all(one["why"] for one in bake["refused"])
        assert bake["cautions"]

    def test_an_oven_limits_the_options(self, api: Api, exposed: str) -> None:
        """With an oven named, what it can't do is refused with why."""
        oven = api.place("oven", max_temp_c=125)
        bake = api.get(f"/carriers/{exposed}/bake", oven=oven)
        assert bake["options"] == []
        assert any("oven" in one["why"] for one in bake["refused"])
        assert api.refused(
            "GET", f"/carriers/{exposed}/bake", query_string={"oven": "P000009X"}
        )["status"] == 404  # fmt: skip

    def test_a_bake_by_events_resets_the_floor_life(self, api: Api, exposed: str) -> None:
        """From `bake_start` to `bake_end`, its hours reached: the share is zero again."""
        oven = api.place("oven", max_temp_c=45, max_rh_pct=5)
        hours = api.get(f"/carriers/{exposed}/bake", oven=oven)["chosen"]["hours"]
        baking = api.record(exposed, "bake_start", place=oven, temp_c=40)["state"]
        assert (baking["status"], baking["place"]) == ("baking", oven)
        api.clock.now += int(hours * 3600) + 60
        done = api.record(exposed, "bake_end")["state"]
        assert (done["floor_life"]["used_share"], done["bakes"]["count"]) == (0, 1)


class TestList:
    """GET /carriers."""

    def test_it_lists_states_by_code_in_pages(self, api: Api, floor: str) -> None:
        """Following `next` shows each carrier once."""
        codes = sorted(api.carrier(lot=f"L-{n}") for n in range(3))
        first = api.get("/carriers", limit=2)
        rest = api.get("/carriers", limit=2, after=first["next"])
        assert [one["code"] for one in first["items"] + rest["items"]] == codes
        assert rest["next"] is None
        assert first["items"][0] == api.get(f"/carriers/{codes[0]}")

    def test_it_finds_by_part_lot_place_and_text(self, api: Api, floor: str) -> None:
        """Each filter leaves the others out."""
        api.part(number="BUOY-8")
        here = api.carrier(lot="L-1", place=floor)
        there = api.carrier(lot="L-2", part="BUOY-8", place=api.place("store"))
        for query in ({"lot": "L-1"}, {"part": "BUOY-7"}, {"place": floor}, {"search": here}):
            assert [one["code"] for one in api.get("/carriers", **query)["items"]] == [here]
        api.record(there, "move", place=floor)
        assert len(api.get("/carriers", place=floor)["items"]) == 2
        api.record(here, "move", place=api.place("line"))
        assert [one["code"] for one in api.get("/carriers", place=floor)["items"]] == [there]

    def test_it_lists_as_of(self, api: Api, exposed: str) -> None:
        """`at` and `known_at` work here too."""
        (then,) = api.get("/carriers", at=api.hours_ago(12))["items"]
        assert then == api.get(f"/carriers/{exposed}", at=api.hours_ago(12))
        known = api.get("/carriers", known_at=api.hours_ago(0))["items"]
        assert [one["code"] for one in known] == [exposed]
