"""/boards, and the kinds of event that lead to it: join, place_on_board."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest

from tests.web.api.conftest import Api


@pytest.fixture
def line(api: Api) -> str:
    """A line, and a part on file."""
    api.part()
    return api.place("line")


def opened(api: Api, line: str, hours: float) -> str:
    """An open carrier of 500 pieces at the line."""
    code = api.carrier(place=line)
    api.record(code, "open", at=api.hours_ago(hours))
    return code


def batch(api: Api, line: str) -> str:
    """A batch of 20 boards at the line."""
    code: str = api.post("/boards", {"name": "Logger", "boards": 20, "place": line})["code"]
    return code


def happens(api: Api, code: str, kind: str, status: int = 201, **fields: Any) -> Any:
    """Record what happened to a batch and return the answer."""
    body = {"id": str(uuid4()), "kind": kind} | fields
    return api.post(f"/boards/{code}/events", body, status)


def test_a_batch_is_created_once(api: Api, line: str) -> None:
    """The same id with the same content answers 200 and the same batch."""
    body = {"name": "Logger", "boards": 20, "place": line, "id": str(uuid4())}
    first = api.post("/boards", body)
    assert (first["status"], first["components"]) == ("empty", [])
    assert api.post("/boards", body, 200)["code"] == first["code"]
    assert [one["code"] for one in api.get("/boards")["items"]] == [first["code"]]


def test_batches_come_in_pages(api: Api, line: str) -> None:
    """`next` leads on, and is null on the last page."""
    codes = [batch(api, line) for _ in range(3)]
    first = api.get("/boards", limit=2)
    assert first["next"] == codes[1]
    rest = api.get("/boards", limit=2, after=first["next"])
    assert ([one["code"] for one in rest["items"]], rest["next"]) == (codes[2:], None)


def test_place_on_board_answers_the_placement(api: Api, line: str) -> None:
    """A child code; the batch has the worst share of what is placed on it."""
    code, worse, better = batch(api, line), opened(api, line, 84), opened(api, line, 10)
    for carrier in (better, worse):
        placed = api.record(carrier, "place_on_board", quantity=40, board=code, at=api.hours_ago(1))
        assert api.get(f"/carriers/{placed['child']}")["status"] == "on_board"
        assert placed["state"]["quantity"] == 460
    found = api.get(f"/boards/{code}")
    assert found["used_share"] == pytest.approx(0.5)
    assert [one["carrier"] for one in found["components"]] == [worse, better]
    assert found["remaining_hours_now"] == pytest.approx(84)
    earlier = api.get(f"/boards/{code}", at=api.hours_ago(2))
    assert earlier["status"] == "empty"


def test_what_is_held_is_recorded_when_it_is_used_and_called_a_conflict(
    api: Api, line: str
) -> None:
    """The log keeps what happened; the reel, what was placed of it and the boards say that it
    should not have, until quality releases them."""
    code, reel, loaded = batch(api, line), opened(api, line, 10), opened(api, line, 10)
    for carrier in (reel, loaded):
        api.record(carrier, "hold", at=api.hours_ago(5), reason="dropped", person="Ines")
    placing = {"quantity": 100, "board": code, "at": api.hours_ago(4)}
    child = api.record(reel, "place_on_board", **placing)["child"]
    api.record(loaded, "load", at=api.hours_ago(4))
    for carrier in (reel, child, loaded):
        state = api.get(f"/carriers/{carrier}")
        assert state["reasons"] == ["held", "history_conflict"], carrier
    assert api.get(f"/boards/{code}")["reasons"] == ["held", "history_conflict"]
    happens(api, code, "release", reason="leads are straight", person="Ines")
    assert api.get(f"/carriers/{child}")["reasons"] == []
    assert api.get(f"/boards/{code}")["verdict"] == "use"
    assert "history_conflict" in api.get(f"/carriers/{reel}")["reasons"]


def test_a_reflow_while_on_hold_is_recorded_and_called_a_conflict(api: Api, line: str) -> None:
    """The boards and each component say so until they are released."""
    code = batch(api, line)
    child = api.record(opened(api, line, 10), "place_on_board", quantity=1, board=code)["child"]
    happens(api, code, "hold", reason="smear")
    recorded = happens(api, code, "reflow", peak_c=240.0)["state"]
    assert (recorded["passes"], recorded["verdict"]) == (1, "do_not_use")
    assert recorded["reasons"] == ["held", "history_conflict"]
    assert api.get(f"/carriers/{child}")["reasons"] == ["held", "history_conflict"]
    assert recorded["components"][0]["reasons"] == ["held", "history_conflict"]
    assert happens(api, code, "release", reason="wiped")["state"]["reasons"] == []


def test_passes_are_recorded_on_all_and_the_last_one_ends_it(api: Api, line: str) -> None:
    """A reflow with its peak; sent twice it counts once; the log has it once."""
    code = batch(api, line)
    children = [
        api.record(opened(api, line, 10), "place_on_board", quantity=1, board=code)["child"]
        for _ in range(2)
    ]
    body = {"id": str(uuid4()), "kind": "reflow", "peak_c": 242.5}
    assert api.post(f"/boards/{code}/events", body)["state"]["passes"] == 1
    assert api.post(f"/boards/{code}/events", body, 200)["result"] == "duplicate"
    ended = happens(api, code, "reflow", last=True)["state"]
    assert (ended["status"], ended["passes"], ended["peak_c"]) == ("finished", 2, 242.5)
    kinds = [line["kind"] for line in api.get(f"/boards/{code}/events")["items"]]
    assert kinds == ["place_on_board", "place_on_board", "reflow", "reflow"]
    for child in children:
        log = api.get(f"/carriers/{child}/events")["items"]
        assert [one["kind"] for one in log] == ["reflow", "reflow"]
    problem = api.refused("POST", f"/boards/{code}/events", body | {"id": str(uuid4())})
    assert (problem["status"], problem["code"]) == (409, "refused")


def test_dry_bag_oven_and_hold_are_kinds_of_a_batch(api: Api, line: str) -> None:
    """Each kind is taken, and changes where the boards are."""
    oven, code = api.place("oven", max_temp_c=130), batch(api, line)
    api.record(opened(api, line, 10), "place_on_board", quantity=1, board=code)
    closed = happens(api, code, "close", desiccant="fresh", hic="fresh", seal="heat")["state"]
    assert closed["status"] == "in_dry_bag"
    dry = {"5": "dry", "10": "dry", "60": "dry"}
    assert happens(api, code, "open", hic=dry)["state"]["status"] == "on_board"
    baking = happens(api, code, "bake_start", place=oven, temp_c=125.0)["state"]
    assert baking["status"] == "baking"
    assert happens(api, code, "bake_end", place=line)["state"]["place"] == line
    assert happens(api, code, "hold", reason="smear")["state"]["reasons"] == ["held"]
    assert happens(api, code, "release", reason="wiped")["state"]["reasons"] == []
    assert happens(api, code, "move", place=line)["state"]["place"] == line
    assert happens(api, code, "scrap")["state"]["status"] == "gone"


def test_a_correction_reaches_every_placement(api: Api, line: str) -> None:
    """Also the one of a placing, which is on the log of the carrier."""
    code, carrier = batch(api, line), opened(api, line, 10)
    placing = api.record(carrier, "place_on_board", quantity=10, board=code)["id"]
    reflow = happens(api, code, "reflow", peak_c=260.0)["id"]
    signed: dict[str, Any] = {"person": "Ines", "reason": "slip"}
    fixed = happens(api, code, "correct", event=reflow, fields={"peak_c": 245.0}, **signed)
    assert fixed["state"]["peak_c"] == 245.0
    fewer = happens(api, code, "correct", event=placing, fields={"quantity": 8}, **signed)
    assert fewer["state"]["components"][0]["quantity"] == 8
    assert api.get(f"/carriers/{carrier}")["quantity"] == 492
    gone = happens(api, code, "correct", event=reflow, void=True, **signed)
    assert gone["state"]["passes"] == 0


def test_a_corrected_bake_of_boards_needs_an_oven(api: Api, line: str) -> None:
    """As a bake does that is recorded."""
    code, oven = batch(api, line), api.place("oven", max_temp_c=130)
    api.record(opened(api, line, 10), "place_on_board", quantity=10, board=code)
    baked = happens(api, code, "bake_start", place=oven, temp_c=125.0)["id"]
    body = {"id": str(uuid4()), "kind": "correct", "event": baked, "person": "Ines"}
    wrong = body | {"reason": "slip", "fields": {"place": line}}
    problem = api.refused("POST", f"/boards/{code}/events", wrong)
    assert [one["field"] for one in problem["errors"]] == ["fields.place"]
    assert api.get(f"/boards/{code}")["place"] == oven


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"kind": "reflow", "peak_c": False}, "peak_c"),
        ({"kind": "reflow", "peak_c": 20.0}, "peak_c"),
        ({"kind": "move"}, "place"),
        ({"kind": "move", "place": "P000999X"}, "place"),
        ({"kind": "split", "quantity": 1}, "kind"),
        ({"kind": "hold"}, "reason"),
        ({"kind": "reflow", "carrier": "C000001X"}, "carrier"),
        ({"kind": "correct", "reason": "slip", "person": "Ines", "event": str(uuid4())}, "void"),
        ({"kind": "correct", "reason": "slip", "person": "Ines", "event": str(uuid4()),
          "void": True}, "event"),
    ],
)  # fmt: skip
def test_a_wrong_field_is_named(api: Api, line: str, body: dict[str, Any], field: str) -> None:
    """And nothing is on the log."""
    code = batch(api, line)
    api.record(opened(api, line, 10), "place_on_board", quantity=1, board=code)
    problem = api.refused("POST", f"/boards/{code}/events", {"id": str(uuid4())} | body)
    assert (problem["status"], problem["code"]) == (422, "bad_input")
    assert field in [one["field"] for one in problem["errors"]]
    assert len(api.get(f"/boards/{code}/events")["items"]) == 1


def test_an_unknown_batch_is_not_found(api: Api, line: str) -> None:
    """With 404, by every call."""
    for method, path, body in (
        ("GET", "/boards/J000999X", None),
        ("GET", "/boards/J000999X/events", None),
        ("POST", "/boards/J000999X/events", {"id": str(uuid4()), "kind": "reflow"}),
    ):
        assert api.refused(method, path, body)["status"] == 404


def test_join_goes_into_the_other_log_too(api: Api, line: str) -> None:
    """The giver names the taker, the taker names the giver; the worst share counts."""
    giver, taker = opened(api, line, 84), opened(api, line, 2)
    api.record(giver, "join", into=taker)
    assert api.get(f"/carriers/{giver}")["status"] == "gone"
    after = api.get(f"/carriers/{taker}")
    assert after["quantity"] == 1000
    assert after["floor_life"]["used_share"] == pytest.approx(0.5)
    assert api.get(f"/carriers/{giver}/events")["items"][-1]["into"] == taker
    assert api.get(f"/carriers/{taker}/events")["items"][-1]["joined"] == giver


def test_a_batch_is_proved(api: Api, line: str) -> None:
    """What each component had used at each reflow, and what that comes to."""
    code, late = batch(api, line), opened(api, line, 170)
    api.record(late, "place_on_board", board=code, quantity=20, at=api.hours_ago(169))
    happens(api, code, "reflow", at=api.hours_ago(168), peak_c=245)
    assert api.get(f"/boards/{code}/proof")["finding"] == "within_so_far"
    last = happens(api, code, "reflow", at=api.hours_ago(1), last=True)["id"]
    proof = api.get(f"/boards/{code}/proof")
    assert (proof["finding"], proof["corrections"]) == ("outside", 0)
    assert [(one["peak_c"], one["last"]) for one in proof["reflows"]] == [
        (245, False),
        (None, True),
    ]
    (component,) = proof["components"]
    assert (component["carrier"], component["within"]) == (late, False)
    first, second = component["reflows"]
    assert (first["used_share"], first["within"]) == (pytest.approx(2 / 168), True)
    assert (second["event"], second["reasons"]) == (last, ["floor_life_exceeded"])
    before = api.get(f"/boards/{code}/proof", at=api.hours_ago(2))
    assert (before["finding"], len(before["reflows"])) == ("within_so_far", 1)
