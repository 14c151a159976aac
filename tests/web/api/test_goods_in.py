"""Goods-in, makers' parts and photos through the API; each answer is as the document says."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from tests.pictures import bench, jpeg, symbol
from tests.web.api.conftest import Api

GS = "\x1d"
LABEL = f"[)>\x1e06{GS}PBUOY-7{GS}Q500{GS}1TL-77{GS}10D2614{GS}3SPK-1\x1e\x04"
ANSWERS = {"kind": "reel", "bag_condition": "sealed", "sealed_on": "2026-04-20", "life_h": ""}


def parse(api: Api, *scans: str, **more: Any) -> Any:
    return api.post("/goods-in/parse", {"scans": list(scans)} | more, 200)


def test_a_label_is_read_answered_and_received_once(api: Api) -> None:
    """`scans` and `answers` of a reading are those to send with the next one."""
    api.part()
    reading = parse(api, LABEL)
    asked = []
    while reading["question"] is not None:
        name = reading["question"]["name"]
        asked.append(name)
        reading = parse(api, *reading["scans"], answers=reading["answers"] | {name: ANSWERS[name]})
    assert asked == list(ANSWERS)
    assert reading["ready"]
    assert not reading["at_once"]
    body = {"scans": reading["scans"], "answers": reading["answers"], "id": str(uuid4())}
    done = api.post("/goods-in", body)
    assert api.post("/goods-in", body, 200) == done
    state = api.get(f"/carriers/{done['code']}")
    assert (state["part"], state["lot"], state["quantity"]) == ("BUOY-7", "L-77", 500)
    assert state["status"] == "in_dry_bag"
    changed = api.refused("POST", "/goods-in", body | {"answers": {}})
    assert (changed["status"], changed["code"]) == (409, "conflict")
    twice = parse(api, LABEL, follows=done["code"])
    assert twice["question"]["name"] == "twice:PK-1"
    series = parse(api, LABEL.replace("PK-1", "PK-2"), follows=done["code"])
    assert series["at_once"]


def test_what_can_not_be_read_is_refused_with_what_to_do(api: Api) -> None:
    problem = api.refused(
        "POST", "/goods-in/parse", {"scans": ["[)>06PBUOY-7Q5001TL-77"], "answers": {}}
    )
    assert (problem["status"], problem["code"]) == (422, "bad_label")
    assert "Set the scanner" in problem["detail"]
    open_ = api.refused("POST", "/goods-in", {"scans": ["PBUOY-9"], "id": str(uuid4())})
    assert (open_["status"], open_["code"]) == (409, "refused")
    for wrong in (
        {"scans": [""]},
        {"scans": ["Q1"] * 41},
        {"scans": ["Q1"], "answers": {"kind": 1}},
        {"scans": ["Q1"], "colour": "red"},
        {"answers": {}},
    ):
        assert api.refused("POST", "/goods-in/parse", wrong)["status"] == 422
    assert api.get("/carriers")["items"] == []


def test_any_control_character_in_a_scan_is_an_answer_in_words(api: Api) -> None:
    for scan in ("\x00", "\x00\x1d\x1e\x04", "Q\x00", "[)>\x1e06\x1d\x00", "\t\t", "é" * 300):
        answer = api.send("POST", "/goods-in/parse", {"scans": [scan]})
        assert answer.status_code in (200, 422), answer.text


def test_a_photo_gives_what_a_scanner_types(api: Api) -> None:
    picture = jpeg(bench(symbol(LABEL, "DataMatrix")))
    answer = api.client.post("/api/v1/photos", data=picture, content_type="image/jpeg")
    assert answer.status_code == 200
    assert answer.json == {"codes": [{"text": LABEL, "symbology": "d1"}]}
    problem = api.client.post("/api/v1/photos", data=b"x", content_type="image/png")
    assert problem.status_code == 422
    assert problem.json is not None
    assert problem.json["code"] == "unreadable_photo"
    other = api.client.post("/api/v1/photos", data=picture, content_type="image/gif")
    assert other.status_code == 415
    large = api.client.post(
        "/api/v1/photos", data=bytes(21 * 1024 * 1024), content_type="image/jpeg"
    )
    assert large.status_code == 413


def test_makers_parts(api: Api) -> None:
    number = api.part()
    made = api.post("/maker-parts", {"part": number, "maker_number": "MK-1", "msl": "2a"})
    assert made["body_mm"] is None
    assert api.get("/maker-parts", part=number)["items"] == [made]
    changes = {"msl": "4", "person": "Ines Falk", "reason": "new data sheet"}
    changed = api.patch(f"/maker-parts/{made['id']}", changes)
    assert changed == made | {"msl": "4"}
    assert (
        api.refused("POST", "/maker-parts", {"part": number, "maker_number": "MK-1"})["status"]
        == 409
    )
    assert (
        api.refused("POST", "/maker-parts", {"part": "NONE", "maker_number": "M"})["status"] == 404
    )
    assert api.refused("PATCH", "/maker-parts/99", changes)["status"] == 404
    assert api.refused("GET", "/maker-parts", query_string={"part": "NONE"})["status"] == 404
