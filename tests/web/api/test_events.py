"""POST /events and GET /carriers/<code>/events: what happened, put on the log once."""

from __future__ import annotations

from uuid import uuid4

import pytest

from tests.web.api.conftest import Api, on_sqlite


@pytest.fixture
def carrier(api: Api) -> str:
    """A carrier in its dry bag at the line."""
    api.part()
    return api.carrier(place=api.place("line"))


def test_an_event_is_created_and_answers_the_state_after_it(api: Api, carrier: str) -> None:
    """One event answers 201 with its id, the carrier and the carrier's state."""
    event = api.event(carrier, "open", at=api.hours_ago(2))
    (result,) = api.post("/events", event)["results"]
    assert (result["id"], result["result"], result["carrier"]) == (event["id"], "created", carrier)
    assert result["state"]["status"] == "exposed"
    assert result["state"]["opened_at"] == api.hours_ago(2)
    assert result["state"] == api.get(f"/carriers/{carrier}")


def test_the_same_event_sent_twice_changes_nothing(api: Api, carrier: str) -> None:
    """The same id with the same content answers 200 and the first result, and counts once."""
    event = api.event(carrier, "take", quantity=10)
    first = api.post("/events", event, 201)["results"][0]
    api.clock.now += 60
    again = api.post("/events", event, 200)["results"][0]
    assert (first["result"], again["result"]) == ("created", "duplicate")
    assert again["state"]["quantity"] == 490
    assert len(api.get(f"/carriers/{carrier}/events")["items"]) == 1


def test_the_same_id_with_other_content_is_a_conflict(api: Api, carrier: str) -> None:
    """The same id with other content answers 409 and changes nothing."""
    event = api.event(carrier, "take", quantity=10)
    api.post("/events", event)
    problem = api.refused("POST", "/events", event | {"quantity": 11})
    assert (problem["status"], problem["code"]) == (409, "conflict")
    assert api.get(f"/carriers/{carrier}")["quantity"] == 490


def test_what_the_server_filled_in_is_no_content(api: Api, carrier: str) -> None:
    """An event without `at` is the same event an hour later, at the moment it was first sent."""
    event = api.event(carrier, "open")
    api.post("/events", event)
    api.clock.now += 3600
    result = api.post("/events", event, 200)["results"][0]
    assert result["state"]["opened_at"] == api.hours_ago(1)


def test_ids_count_as_the_same_however_they_are_written(api: Api, carrier: str) -> None:
    """A UUID in upper case is the same UUID."""
    event = api.event(carrier, "take", quantity=10)
    api.post("/events", event)
    api.post("/events", event | {"id": event["id"].upper()}, 200)


def test_a_list_is_recorded_whole_or_not_at_all(api: Api, carrier: str) -> None:
    """One wrong event in a list, and none of it is on the log; the wrong field is named."""
    good = api.event(carrier, "open")
    bad = api.event(carrier, "move", place="P000009X")
    problem = api.refused("POST", "/events", [good, bad])
    assert problem["status"] == 422
    assert problem["errors"][0]["field"] == "1.place"
    assert api.get(f"/carriers/{carrier}/events")["items"] == []


def test_a_list_with_one_new_event_answers_201(api: Api, carrier: str) -> None:
    """201 if any was created, 200 if all were there; each says which."""
    first, second = api.event(carrier, "load"), api.event(carrier, "take", quantity=1)
    api.post("/events", [first])
    results = api.post("/events", [first, second], 201)["results"]
    assert [one["result"] for one in results] == ["duplicate", "created"]
    api.post("/events", [first, second], 200)


def test_opening_a_shared_bag_opens_all_in_it(api: Api, carrier: str) -> None:
    """`open` opens all that share the bag, unless `only_this`."""
    bag = api.get(f"/carriers/{carrier}")["bag"]
    twin, third = api.carrier(bag=bag), api.carrier(bag=bag)
    api.record(carrier, "open", only_this=True)
    assert api.get(f"/carriers/{twin}")["status"] == "in_dry_bag"
    api.record(twin, "open")
    assert api.get(f"/carriers/{third}")["status"] == "exposed"


def test_what_is_closed_together_shares_a_new_bag(api: Api, carrier: str) -> None:
    """Two closed at one moment in one call share a bag of a new code."""
    other = api.carrier()
    at = api.hours_ago(1)
    api.post("/events", [api.event(one, "open", at=at) for one in (carrier, other)])
    api.clock.now += 60
    closing = [api.event(one, "close", at=api.hours_ago(0.5)) for one in (carrier, other)]
    bags = {one["state"]["bag"] for one in api.post("/events", closing)["results"]}
    assert len(bags) == 1
    assert None not in bags


def test_opening_without_a_card_asks_quality(api: Api, carrier: str) -> None:
    """`hic` may be left out, and then counts as missing: do not use."""
    event = api.event(carrier, "open")
    del event["hic"]
    state = api.post("/events", event)["results"][0]["state"]
    assert (state["verdict"], state["reasons"]) == ("do_not_use", ["hic_missing"])


def test_a_humid_ten_percent_spot_fails_a_level_3_carrier(api: Api, carrier: str) -> None:
    """Levels 2a to 5a fail with the 10 % spot humid.

    Source: J-STD-033, the rule as the design states it (levels 2a to 5a: the 10 % spot).
    """
    state = api.record(carrier, "open", hic={"5": "humid", "10": "humid", "60": "dry"})["state"]
    assert "hic_failed" in state["reasons"]
    assert api.get(f"/carriers/{carrier}/bake")["needed"] is True


def test_a_split_makes_a_child_with_the_parents_history(api: Api, carrier: str) -> None:
    """`split` answers the child's code; the child has the parent's share and lot."""
    api.record(carrier, "open", at=api.hours_ago(10))
    result = api.record(carrier, "split", quantity=120)
    child = api.get(f"/carriers/{result['child']}")
    parent = api.get(f"/carriers/{carrier}")
    assert (result["carrier"], parent["quantity"], child["quantity"]) == (carrier, 380, 120)
    assert child["lot"] == parent["lot"]
    assert child["floor_life"]["used_share"] == parent["floor_life"]["used_share"] > 0


def test_a_split_sent_twice_makes_one_child(api: Api, carrier: str) -> None:
    """The duplicate of a split answers the first child's code."""
    event = api.event(carrier, "split", quantity=120)
    first = api.post("/events", event)["results"][0]["child"]
    assert api.post("/events", event, 200)["results"][0]["child"] == first


@on_sqlite
@pytest.mark.parametrize(
    ("kind", "fields", "field"),
    [
        ("close", {"seal": None}, "seal"),
        ("close", {"desiccant": "old"}, "desiccant"),
        ("close", {"hic": {"5": "dry"}}, "hic"),
        ("move", {}, "place"),
        ("bake_start", {"temp_c": 125}, "place"),
        ("split", {}, "quantity"),
        ("take", {"quantity": 0}, "quantity"),
        ("take", {"quantity": True}, "quantity"),
        ("take", {"quantity": 1.5}, "quantity"),
        ("take", {"quantity": "3"}, "quantity"),
        ("hold", {}, "reason"),
        ("hold", {"reason": "  "}, "reason"),
        ("release", {}, "reason"),
        ("open", {"hic": {"5": "wet"}}, "hic.5"),
        ("open", {"hic": {"7": "dry"}}, "hic.7"),
        ("open", {"only_this": 1}, "only_this"),
        ("open", {"temp_c": 30}, "temp_c"),
        ("load", {"at": "2026-05-14T12:00:00"}, "at"),
        ("load", {"at": "2026-05-14T12:00:00.5Z"}, "at"),
        ("load", {"at": 1778760000}, "at"),
        ("load", {"at": "yesterday"}, "at"),
        ("load", {"at": "0001-01-01T00:00:00Z"}, "at"),
        ("load", {"id": "first"}, "id"),
        ("load", {"id": None}, "id"),
        ("correct", {"event": str(uuid4()), "reason": "slip", "void": True}, "person"),
        ("correct", {"event": str(uuid4()), "person": "Ines", "void": True}, "reason"),
        ("correct", {"reason": "slip", "person": "Ines", "void": True}, "event"),
        ("teleport", {}, "kind"),
        ("join", {}, "into"),
        ("join", {"into": "C000001X"}, "into"),
        ("place_on_board", {"board": "J000001X"}, "quantity"),
        ("place_on_board", {"board": "J000001X", "quantity": 1}, "board"),
        (None, {}, "kind"),
    ],
)
def test_a_wrong_field_is_named_and_nothing_is_recorded(
    api: Api, carrier: str, kind: str, fields: dict[str, object], field: str
) -> None:
    """Each wrong, missing or unknown field of a kind is refused by its name."""
    problem = api.refused("POST", "/events", api.event(carrier, kind, **fields))
    assert (problem["status"], problem["code"]) == (422, "bad_input")
    assert field in [one["field"] for one in problem["errors"]]
    assert api.get(f"/carriers/{carrier}/events")["items"] == []


def test_a_kind_of_boards_says_that_it_is_not_offered_here(api: Api, carrier: str) -> None:
    """A reflow is known, but happens to batches of boards: it answers more than "unknown"."""
    problem = api.refused("POST", "/events", api.event(carrier, "reflow"))
    assert "not offered here" in problem["detail"]


def test_a_moment_ahead_of_the_clock_is_refused(api: Api, carrier: str) -> None:
    """A write dated more than 2 minutes ahead is refused; 2 minutes are let pass."""
    api.record(carrier, "load", at=api.hours_ago(-120 / 3600))
    problem = api.refused("POST", "/events", api.event(carrier, "load", at=api.hours_ago(-0.034)))
    assert problem["errors"][0]["field"] == "at"


def test_an_unknown_carrier_is_not_found(api: Api, carrier: str) -> None:
    """An event of a carrier that is not on file answers 404."""
    assert api.refused("POST", "/events", api.event("C999999Q", "load"))["status"] == 404


def test_an_event_that_contradicts_the_history_is_kept_and_shown(api: Api, carrier: str) -> None:
    """Closing a closed bag is stored and answers do_not_use until it is corrected."""
    result = api.record(carrier, "close")
    assert "history_conflict" in result["state"]["reasons"]
    state = api.record(
        carrier, "correct", event=result["id"], reason="wrong reel", person="Ines", void=True
    )["state"]
    assert (state["verdict"], state["reasons"]) == ("use", [])


def test_the_log_comes_in_pages(api: Api, carrier: str) -> None:
    """Following `next` shows each event once, in order of receipt."""
    ids = [api.record(carrier, "take", quantity=1)["id"] for _ in range(3)]
    path = f"/carriers/{carrier}/events"
    first = api.get(path, limit=2)
    rest = api.get(path, limit=2, after=first["next"])
    assert [one["id"] for one in first["items"] + rest["items"]] == ids
    assert rest["next"] is None


class TestCorrections:
    """`correct`: the newest recorded wins, and nothing is forgotten."""

    def test_a_corrected_time_moves_the_state(self, api: Api, carrier: str) -> None:
        """Correcting `at` of an opening makes the exposure longer."""
        opened = api.record(carrier, "open", at=api.hours_ago(1))["id"]
        fields = {"at": api.hours_ago(10)}
        state = api.record(
            carrier, "correct", event=opened, reason="late scan", person="Ines", fields=fields
        )["state"]
        assert state["opened_at"] == api.hours_ago(10)

    def test_the_newest_recorded_correction_wins(self, api: Api, carrier: str) -> None:
        """Two corrections of one event: the later one stands."""
        opened = api.record(carrier, "open", at=api.hours_ago(1))["id"]
        for hours in (10, 5):
            api.record(
                carrier, "correct", event=opened, reason="late scan", person="Ines",
                fields={"at": api.hours_ago(hours)},
            )  # fmt: skip
        assert api.get(f"/carriers/{carrier}")["opened_at"] == api.hours_ago(5)

    def test_the_log_shows_events_with_their_corrections(self, api: Api, carrier: str) -> None:
        """The log holds what was sent, what stands now, and every correction."""
        opened = api.record(carrier, "open", at=api.hours_ago(1))["id"]
        fields = {"at": api.hours_ago(10), "hic": {"5": "humid", "10": "dry", "60": "dry"}}
        api.record(carrier, "correct", event=opened, reason="slip", person="Ines", fields=fields)
        line = api.get(f"/carriers/{carrier}/events")["items"][0]
        assert line["at"] == api.hours_ago(1)
        assert (line["stands"]["at"], line["stands"]["hic"]) == (fields["at"], fields["hic"])
        assert [one["fields"] for one in line["corrections"]] == [fields]

    def test_a_voided_event_stays_on_the_log(self, api: Api, carrier: str) -> None:
        """`void` takes an event out of the state and leaves its trace."""
        opened = api.record(carrier, "open")["id"]
        api.record(carrier, "correct", event=opened, reason="slip", person="Ines", void=True)
        assert api.get(f"/carriers/{carrier}")["status"] == "in_dry_bag"
        assert api.get(f"/carriers/{carrier}/events")["items"][0]["stands"] is None

    def test_the_hic_of_a_closing_is_corrected_by_its_own_words(
        self, api: Api, carrier: str
    ) -> None:
        """`hic` is fresh or kept in a closing, spots in an opening: each kind has its own."""
        api.record(carrier, "open", at=api.hours_ago(2))
        closed = api.record(carrier, "close", at=api.hours_ago(1))["id"]
        correction = api.event(
            carrier, "correct", event=closed, reason="slip", person="Ines", fields={"hic": "kept"}
        )
        api.post("/events", correction)
        line = api.get(f"/carriers/{carrier}/events")["items"][1]
        assert (line["hic"], line["stands"]["hic"]) == ("fresh", "kept")
        spots = correction | {"id": str(uuid4()), "fields": {"hic": {"5": "dry"}}}
        assert api.refused("POST", "/events", spots)["errors"][0]["field"] == "fields.hic"

    @on_sqlite
    @pytest.mark.parametrize(
        ("fields", "field"),
        [
            ({"quantity": 3}, "fields.quantity"),
            ({"carrier": "C000002Y"}, "fields.carrier"),
            ({"at": "2030-01-01T00:00:00Z"}, "fields.at"),
            ({"at": "2026-05-14T12:00:00"}, "fields.at"),
            ({"hic": {"5": "wet"}}, "fields.hic.5"),
            ({"only_this": "yes"}, "fields.only_this"),
            ({"place": "P000009X"}, "fields.place"),
            ({}, "void"),
        ],
    )
    def test_fields_are_held_against_the_corrected_kind(
        self, api: Api, carrier: str, fields: dict[str, object], field: str
    ) -> None:
        """A correction can only say what the corrected kind of event could have said."""
        opened = api.record(carrier, "open", at=api.hours_ago(1))["id"]
        correction = api.event(
            carrier, "correct", event=opened, reason="slip", person="Ines", fields=fields
        )
        problem = api.refused("POST", "/events", correction)
        assert field in [one["field"] for one in problem["errors"]]
        assert api.get(f"/carriers/{carrier}")["opened_at"] == api.hours_ago(1)

    @pytest.mark.parametrize(
        ("fields", "field"),
        [
            ({"place": "the line"}, "fields.place"),
            ({"place": None}, "fields.place"),
            ({"temp_c": None}, "fields.temp_c"),
            ({"at": None}, "fields.at"),
        ],
    )
    def test_a_corrected_bake_is_held_against_the_rules_of_a_bake(
        self, api: Api, carrier: str, fields: dict[str, object], field: str
    ) -> None:
        """It starts in an oven, at a temperature and at some time, corrected or not."""
        line, oven = api.get(f"/carriers/{carrier}")["place"], api.place("oven")
        other = api.place("oven", name="Other oven")
        api.record(carrier, "open", at=api.hours_ago(2))
        baked = api.record(carrier, "bake_start", at=api.hours_ago(1), place=oven, temp_c=40)["id"]
        correction = api.event(carrier, "correct", event=baked, reason="slip", person="Ines")
        wrong = {name: line if value == "the line" else value for name, value in fields.items()}
        problem = api.refused("POST", "/events", correction | {"fields": wrong})
        assert [one["field"] for one in problem["errors"]] == [field]
        assert api.get(f"/carriers/{carrier}")["place"] == oven
        api.post("/events", correction | {"fields": {"place": other}})
        assert api.get(f"/carriers/{carrier}")["place"] == other

    def test_fields_and_void_exclude_each_other(self, api: Api, carrier: str) -> None:
        """A correction says what is right, or that nothing happened, not both."""
        opened = api.record(carrier, "open")["id"]
        correction = api.event(
            carrier, "correct", event=opened, reason="slip", person="Ines", void=True,
            fields={"at": api.hours_ago(1)},
        )  # fmt: skip
        assert api.refused("POST", "/events", correction)["status"] == 422

    def test_an_event_and_its_correction_may_come_in_one_list(self, api: Api, carrier: str) -> None:
        """What was written down by hand may be sent with its slips put right."""
        opened = api.event(carrier, "open", at=api.hours_ago(1))
        correction = api.event(
            carrier, "correct", event=opened["id"], reason="slip", person="Ines",
            fields={"at": api.hours_ago(3)},
        )  # fmt: skip
        results = api.post("/events", [opened, correction])["results"]
        assert results[1]["state"]["opened_at"] == api.hours_ago(3)

    def test_an_event_that_is_not_on_the_log_cannot_be_corrected(
        self, api: Api, carrier: str
    ) -> None:
        """Correcting what was never recorded names the field."""
        correction = api.event(
            carrier, "correct", event=str(uuid4()), reason="slip", person="Ines", void=True
        )
        problem = api.refused("POST", "/events", correction)
        assert [one["field"] for one in problem["errors"]] == ["event"]
