"""What every call has in common: strictness, problems, content types."""

from __future__ import annotations

import pytest

from tests.web.api.conftest import Api, on_sqlite

pytestmark = on_sqlite

PLACE = '{"name": "Line 2", "kind": "line", "assumed_temp_c": %s}'


def post(api: Api, data: str | bytes, media: str | None = "application/json") -> dict[str, object]:
    """Return the problem of a place that is sent as these bytes."""
    return dict(api.refused("POST", "/places", data=data, content_type=media))


@pytest.mark.parametrize(
    "data",
    ["", "{", "name=Line", '{"name": "L"} x', b'{"name": "\xff"}', '"\\ud800"', "[" * 5000],
)
def test_what_is_no_json_is_malformed(api: Api, data: str | bytes) -> None:
    """400, and it says where it stops being JSON."""
    problem = post(api, data)
    assert problem["status"] == 400
    assert "JSON" in str(problem["detail"])


@pytest.mark.parametrize("value", ["false", "true", '"26"', "NaN", "Infinity", "1e999", "[26]"])
def test_a_number_is_a_number(api: Api, value: str) -> None:
    """No false for 0, no text, no NaN, no infinity."""
    problem = post(api, PLACE % value)
    assert problem["status"] == 422
    assert problem["errors"][0]["field"] == "assumed_temp_c"  # type: ignore[index]


def test_a_whole_number_may_stand_for_a_decimal_one(api: Api) -> None:
    """26 is 26.0."""
    answer = api.send("POST", "/places", data=PLACE % 26, content_type="application/json")
    assert (answer.status_code, answer.json["assumed_temp_c"]) == (201, 26)


@pytest.mark.parametrize("data", ["[]", "null", "3", '"place"', "true"])
def test_a_body_of_another_shape_is_refused(api: Api, data: str) -> None:
    """JSON that is no object is refused by the name of the body."""
    problem = post(api, data)
    assert (problem["status"], problem["errors"][0]["field"]) == (422, "body")  # type: ignore[index]


@pytest.mark.parametrize("media", [None, "text/plain", "application/x-www-form-urlencoded"])
def test_a_body_must_say_that_it_is_json(api: Api, media: str | None) -> None:
    """415, with the content type to send."""
    problem = post(api, PLACE % 26, media)
    assert problem["status"] == 415
    assert "application/json" in str(problem["detail"])


def test_several_findings_are_told_at_once(api: Api) -> None:
    """Every wrong field is named, not only the first."""
    problem = api.refused("POST", "/parts", {"msl": 3, "pins": "8", "colour": "red"})
    fields = {one["field"] for one in problem["errors"]}
    assert fields == {"number", "description", "msl", "pins", "colour"}
    for field in ("msl", "pins", "colour"):
        assert field in problem["detail"]


def test_addresses_that_are_none_answer_problems_too(api: Api) -> None:
    """404 and 405 below /api are problem documents."""
    assert api.refused("GET", "/nothing")["code"] == "not_found"
    assert api.refused("DELETE", "/parts")["code"] == "method_not_allowed"


def test_an_unknown_query_parameter_is_refused_everywhere(api: Api) -> None:
    """Also where a call takes no query, and where it writes."""
    for method, path in (("GET", "/health"), ("POST", "/parts"), ("GET", "/policies")):
        problem = api.refused(method, path, {} if method == "POST" else None, query_string="v=1")
        assert (problem["status"], problem["errors"][0]["field"]) == (422, "v")


def test_times_are_answered_in_utc_whole_seconds(api: Api) -> None:
    """Answers use Z."""
    api.part()
    carrier = api.carrier()
    state = api.record(carrier, "open", at="2026-05-14T13:30:00+02:00")["state"]
    assert state["opened_at"] == "2026-05-14T11:30:00Z"
