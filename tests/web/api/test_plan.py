"""The plan of a run."""

from __future__ import annotations

from typing import Any

import pytest

from tests.web.api.conftest import Api, on_sqlite


@pytest.fixture
def run(api: Api) -> dict[str, Any]:
    """A run of 8 h on a line, 12 h ahead, that needs 600 pieces."""
    api.part(carrier_max_c=140)
    api.place("oven", max_temp_c=150)
    return {
        "place": api.place("line"),
        "begins_at": api.hours_ago(-12),
        "ends_at": api.hours_ago(-20),
        "needs": [{"part": "BUOY-7", "pieces": 600}],
    }


class TestPlan:
    """POST /plan."""

    def test_it_says_what_to_take_open_and_bake(self, api: Api, run: dict[str, Any]) -> None:
        """One is out, one in its bag, one worn out: 7 h at 125 °C before the run.

        Source: J-STD-033, Table 4-1, level 3, body <= 1.4 mm, exceeded by up to 72 h.
        """
        floor = api.place("floor")
        out, worn = (api.carrier(received_at=api.hours_ago(400)) for _ in range(2))
        bag = api.carrier()
        api.record(out, "open", at=api.hours_ago(10), place=floor)
        api.record(worn, "open", at=api.hours_ago(170), place=floor)
        answer = api.post("/plan", run, 200)
        (part,) = answer["parts"]
        assert (answer["bags"], answer["bakes"], answer["short"]) == (1, 0, 0)
        assert (part["verdict"], part["found"], part["short"]) == ("covered", 1000, 0)
        assert [(one["code"], one["do"]) for one in part["carriers"]] == [
            (out, "take"),
            (bag, "open"),
        ]
        assert part["carriers"][1]["lasts_until"] == api.hours_ago(-12 - 168)
        assert answer["air"] == {"temp_c": 30.0, "rh_pct": 60.0, "missing": "no_reading_yet"}
        assert [one["reasons"] for one in part["barred"]] == [["floor_life_exceeded"]]
        run["needs"] *= 2
        more = api.post("/plan", run, 200)
        (load,) = more["loads"]
        assert more["parts"][0]["verdict"] == "covered_after_bake"
        assert (load["temp_c"], load["hours"], load["carriers"]) == (125, 7, [worn])
        assert load["start_by"] == api.hours_ago(-5)

    def test_nothing_is_stored(self, api: Api, run: dict[str, Any]) -> None:
        """Asked twice it is answered the same, and no log has grown."""
        code = api.carrier()
        first = api.post("/plan", run, 200)
        assert api.post("/plan", run, 200) == first
        assert api.get(f"/carriers/{code}/events")["items"] == []
        assert api.get(f"/carriers/{code}")["status"] == "in_dry_bag"

    @on_sqlite
    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"place": "P0000999"}, "place"),
            ({"ends_at": "2026-05-14T12:00:00Z"}, "ends_at"),
            ({"ends_at": "2026-05-15 12:00"}, "ends_at"),
            ({"begins_at": 1778760000}, "begins_at"),
            ({"needs": []}, "needs"),
            ({"needs": [{"part": "NONE", "pieces": 1}]}, "needs"),
            ({"needs": [{"part": "BUOY-7", "pieces": 0}]}, "needs.0.pieces"),
            ({"needs": [{"part": "BUOY-7", "pieces": "5"}]}, "needs.0.pieces"),
            ({"needs": [{"part": "BUOY-7", "pieces": True}]}, "needs.0.pieces"),
            ({"needs": [{"part": "BUOY-7"}]}, "needs.0.pieces"),
            ({"needs": [{"part": "BUOY-7", "pieces": 1}] * 201}, "needs"),
            ({"shift": "early"}, "shift"),
        ],
    )
    def test_what_is_wrong_is_named(
        self, api: Api, run: dict[str, Any], change: dict[str, Any], field: str
    ) -> None:
        problem = api.refused("POST", "/plan", run | change)
        assert (problem["status"], problem["errors"][0]["field"]) == (422, field)
