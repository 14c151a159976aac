"""The watch list, alarms and health."""

from __future__ import annotations

import pytest
from flask import Flask

from msdtrack.services import alarm_rules
from msdtrack.store import connection
from tests.web.api.conftest import Api


@pytest.fixture
def floor(api: Api) -> str:
    """A floor with readings at 26 °C / 58 % RH for eight days."""
    api.part()
    place = api.place("floor")
    api.air(place, 26, 58, since_h=8 * 24)
    return place


class TestWatch:
    """GET /watch."""

    def test_the_most_urgent_comes_first_and_sealed_ones_are_left_out(
        self, api: Api, floor: str
    ) -> None:
        """What ran out, then by time left; a carrier in its dry bag does not need watching."""
        opened = {}
        for hours in (10, 100, 170, 150):
            carrier = api.carrier(place=floor, received_at=api.hours_ago(400))
            api.record(carrier, "open", at=api.hours_ago(hours))
            opened[hours] = carrier
        api.carrier(place=floor)
        items = api.get("/watch")["items"]
        assert [one["code"] for one in items] == [opened[hours] for hours in (170, 150, 100, 10)]
        # Shares on the list are rounded up each second, to 1e-15 of the floor life.
        alone = api.get(f"/carriers/{opened[170]}")
        listed, exact = items[0]["floor_life"], alone["floor_life"]
        for name in ("used_share", "used_hours_at_label"):
            rounded = listed.pop(name)
            assert rounded == pytest.approx(exact[name], rel=1e-12)
            assert rounded >= exact.pop(name)
        assert items[0] == alone

    def test_it_is_asked_for_one_place_and_another_moment(self, api: Api, floor: str) -> None:
        """`place` leaves the others out, `at` looks back and ahead."""
        carrier = api.carrier(place=floor)
        api.record(carrier, "open", at=api.hours_ago(10))
        assert [one["code"] for one in api.get("/watch", place=floor)["items"]] == [carrier]
        assert api.get("/watch", place=api.place("line"))["items"] == []
        assert api.get("/watch", at=api.hours_ago(11))["items"] == []
        assert api.get("/watch", known_at=api.hours_ago(1))["items"] == []
        assert len(api.get("/watch", known_at=api.hours_ago(0))["items"]) == 1
        ahead = api.get("/watch", at=api.hours_ago(-160))
        assert (ahead["at"], ahead["items"][0]["verdict"]) == (api.hours_ago(-160), "do_not_use")

    def test_it_comes_in_pages(self, api: Api, floor: str) -> None:
        """Following `next` shows each carrier once; what left the list begins it anew."""
        for hours in (10, 30, 20):
            api.record(api.carrier(place=floor), "open", at=api.hours_ago(hours))
        whole = api.get("/watch")
        first = api.get("/watch", limit=2)
        rest = api.get("/watch", limit=2, after=first["next"])
        assert (whole["next"], rest["next"]) == (None, None)
        assert first["items"] + rest["items"] == whole["items"]
        problem = api.refused("GET", "/watch", query_string={"after": "C999999Q"})
        assert problem["errors"][0]["field"] == "after"

    def test_unchanged_it_costs_nothing(self, api: Api, floor: str) -> None:
        """304 while nothing was written; after an event, or half a minute, the list again."""
        carrier = api.carrier(place=floor)
        tag = api.send("GET", "/watch").headers["ETag"]
        held = {"headers": {"If-None-Match": tag}}
        unchanged = api.send("GET", "/watch", **held)
        assert (unchanged.status_code, unchanged.data) == (304, b"")
        api.record(carrier, "open")
        assert api.send("GET", "/watch", **held).status_code == 200
        tag = api.send("GET", "/watch").headers["ETag"]
        api.clock.now += 30
        again = api.send("GET", "/watch", headers={"If-None-Match": tag})
        assert again.status_code == 200


class TestAlarms:
    """GET /alarms and what is done with one."""

    @pytest.fixture
    def alarm(self, api: Api, floor: str) -> dict[str, object]:
        """The alarm of a floor life that is over, as the API lists it."""
        carrier = api.carrier(place=floor, received_at=api.hours_ago(400))
        api.record(carrier, "open", at=api.hours_ago(170))
        alarm_rules.evaluate(api.clock.now)
        listed = api.get("/alarms")["items"]
        found = [one for one in listed if one["carrier"] == carrier]
        assert found
        return dict(found[0])

    def test_it_is_acknowledged_by_name(self, api: Api, alarm: dict[str, object]) -> None:
        """ISA-18.2: unacknowledged, then acknowledged by somebody, at a moment.

        Source: ISA-18.2 / IEC 62682, alarm states, from memory.
        """
        assert (alarm["state"], alarm["acknowledged_by"]) == ("unacknowledged", None)
        person = api.post("/people", {"name": "Ines"})["code"]
        path = f"/alarms/{alarm['id']}/acknowledge"
        answer = api.post(path, {"person": person}, 200)
        assert (answer["state"], answer["acknowledged_by"]) == ("acknowledged", person)
        assert answer["acknowledged_at"] == api.hours_ago(0)
        assert api.post(path, {"person": person}, 200) == answer
        assert api.refused("POST", path, {"person": "Rui"})["status"] == 409

    def test_those_listed_are_acknowledged_together(self, api: Api, floor: str) -> None:
        """What changed since is left, and told as it is now; sent again it is the same answer."""
        for _ in range(3):
            carrier = api.carrier(place=floor, received_at=api.hours_ago(400))
            api.record(carrier, "open", at=api.hours_ago(170))
        alarm_rules.evaluate(api.clock.now)
        names = ("id", "state", "priority", "times")
        listed = api.get("/alarms")["items"]
        body = {"person": "Ines", "alarms": [{one: each[one] for one in names} for each in listed]}
        taken = api.post(f"/alarms/{listed[0]['id']}/acknowledge", {"person": "Rui"}, 200)
        answer = api.post("/alarms/acknowledge", body, 200)
        assert answer["left"] == [{"change": "acknowledged", "alarm": taken}]
        assert [one["id"] for one in answer["acknowledged"]] == [one["id"] for one in listed[1:]]
        assert {one["state"] for one in answer["acknowledged"]} == {"acknowledged"}
        stand = {one["id"]: one for one in api.get("/alarms")["items"]}
        assert answer["acknowledged"] == [stand[one["id"]] for one in listed[1:]]
        assert api.post("/alarms/acknowledge", body, 200) == answer

    def test_what_is_no_list_of_alarms_is_refused(self, api: Api, alarm: dict[str, object]) -> None:
        """422 that names the field, 404 for one that is not there; no alarm is acknowledged."""
        one = {name: alarm[name] for name in ("id", "state", "priority", "times")}
        for wrong, field in (
            ({"alarms": []}, "alarms"),
            ({"alarms": [one] * 201}, "alarms"),
            ({"alarms": [one | {"state": "acknowledged"}]}, "alarms.0.state"),
            ({"alarms": [{"id": alarm["id"]}]}, "alarms.0.state"),
            ({"person": " "}, "person"),
        ):
            body = {"person": "Ines", "alarms": [one]} | wrong
            problem = api.refused("POST", "/alarms/acknowledge", body)
            assert problem["status"] == 422
            assert problem["errors"][0]["field"] == field, wrong
        body = {"person": "Ines", "alarms": [one, one | {"id": 999}]}
        assert api.refused("POST", "/alarms/acknowledge", body)["status"] == 404
        (listed,) = [each for each in api.get("/alarms")["items"] if each["id"] == alarm["id"]]
        assert listed == alarm

    def test_ended_ones_are_history(self, api: Api, alarm: dict[str, object]) -> None:
        """Acknowledged and its cause gone, it has ended, and is listed with `ended` only."""
        api.post(f"/alarms/{alarm['id']}/acknowledge", {"person": "Ines"}, 200)
        api.record(str(alarm["carrier"]), "scrap")
        alarm_rules.evaluate(api.clock.now)
        assert alarm["id"] not in [one["id"] for one in api.get("/alarms")["items"]]
        history = api.get("/alarms", ended=True, limit=1000)["items"]
        assert [one["state"] for one in history if one["id"] == alarm["id"]] == ["ended"]

    def test_lists_come_in_pages(self, api: Api, floor: str) -> None:
        """Following `next` shows each alarm once, active ones and history alike."""
        for _ in range(3):
            carrier = api.carrier(place=floor, received_at=api.hours_ago(400))
            api.record(carrier, "open", at=api.hours_ago(170))
        alarm_rules.evaluate(api.clock.now)
        for query in ({}, {"ended": True}):
            whole = [one["id"] for one in api.get("/alarms", **query)["items"]]
            seen, after = [], {}
            while len(seen) < len(whole):
                page = api.get("/alarms", limit=1, **query, **after)
                seen += [one["id"] for one in page["items"]]
                after = {"after": page["next"]}
            assert (seen, after) == (whole, {"after": None})

    def test_it_is_shelved_and_taken_off_by_name(self, api: Api, alarm: dict[str, object]) -> None:
        """For some hours or until a moment; it is listed last, and unacknowledged once it is back.

        Source: ISA-18.2 / IEC 62682, shelving, from memory.
        """
        path = f"/alarms/{alarm['id']}"
        shelving = {"person": "Ines", "reason": "baked tonight"}
        answer = api.post(f"{path}/shelve", shelving | {"hours": 2}, 200)
        assert (answer["state"], answer["shelved_reason"]) == ("shelved", "baked tonight")
        assert answer["shelved_until"] == api.hours_ago(-2)
        assert api.get("/alarms")["items"][-1] == answer
        assert api.refused("POST", f"{path}/shelve", shelving | {"hours": 1})["status"] == 409
        assert api.refused("POST", f"{path}/acknowledge", {"person": "Ines"})["status"] == 409
        back = api.post(f"{path}/unshelve", {"person": "Olu"}, 200)
        assert (back["state"], back["shelved_until"]) == ("unacknowledged", None)
        again = api.post(f"{path}/shelve", shelving | {"until": api.hours_ago(-8)}, 200)
        assert again["shelved_until"] == api.hours_ago(-8)
        api.clock.now += 8 * 3600
        alarm_rules.evaluate(api.clock.now)
        states = {one["id"]: one["state"] for one in api.get("/alarms")["items"]}
        assert states[alarm["id"]] == "unacknowledged"

    def test_what_is_no_shelving_is_refused(self, api: Api, alarm: dict[str, object]) -> None:
        """422 that names the field; the alarm stays where it is."""
        shelving = {"person": "Ines", "reason": "baked tonight"}
        for wrong, field in (
            ({"hours": 0.5}, "hours"),
            ({"hours": 24.5}, "hours"),
            ({"hours": 9}, "until"),
            ({"until": api.hours_ago(1)}, "until"),
            ({}, "body"),
            ({"hours": 1, "until": api.hours_ago(-1)}, "body"),
            ({"hours": 1, "reason": " "}, "reason"),
            ({"hours": 1, "person": " "}, "person"),
        ):
            problem = api.refused("POST", f"/alarms/{alarm['id']}/shelve", shelving | wrong)
            assert problem["status"] == 422
            assert [one["field"] for one in problem["errors"]] == [field], wrong
        assert (
            api.refused("POST", f"/alarms/{alarm['id']}/unshelve", {"person": "Ines"})["status"]
            == 409
        )
        (listed,) = [one for one in api.get("/alarms")["items"] if one["id"] == alarm["id"]]
        assert listed == alarm

    def test_one_that_stands_for_a_day_is_stale(self, api: Api, alarm: dict[str, object]) -> None:
        """It says nothing new any more, and the answer says that."""
        assert alarm["stale"] is False
        api.clock.now += 24 * 3600
        (listed,) = [one for one in api.get("/alarms")["items"] if one["id"] == alarm["id"]]
        assert listed["stale"] is True

    def test_an_unknown_alarm_is_not_found(self, api: Api) -> None:
        """404; a name is needed in any case."""
        path = "/alarms/999/acknowledge"
        assert api.refused("POST", path, {"person": "Ines"})["status"] == 404
        assert api.refused("POST", path, {"person": " "})["status"] == 422
        assert api.refused("POST", path, {})["errors"][0]["field"] == "person"


class TestHealth:
    """GET /health."""

    def test_it_says_how_old_the_newest_reading_of_each_place_is(
        self, api: Api, floor: str
    ) -> None:
        """200, with the scheduler and the age of each place's newest reading."""
        api.clock.now += 90
        health = api.get("/health")
        (place,) = health["places"]
        assert (place["code"], place["newest_reading_age_s"]) == (floor, 90)
        assert health["scheduler"]["state"] == "not_started"
        assert health["alarms"]["flood"] is False
        assert health["notices"] == {"waiting": 0, "failed": 0, "last_error": None}

    def test_without_a_database_it_is_503(self, api: Api, app: Flask) -> None:
        """A problem document too, so that a program can tell it from a bug."""
        connection.close_store()
        problem = api.refused("GET", "/health")
        assert (problem["status"], problem["code"]) == (503, "store_unavailable")
