"""POST /readings: good rows are kept, whatever the others are."""

from __future__ import annotations

from typing import Any

import pytest

from tests.web.api.conftest import Api


@pytest.fixture
def floor(api: Api) -> str:
    """A floor without readings."""
    return api.place("floor")


def reading(api: Api, place: str, hours_ago: float = 1, **values: Any) -> dict[str, Any]:
    """Return a reading as sent."""
    given = {"place": place, "at": api.hours_ago(hours_ago), "temp_c": 23.5, "rh_pct": 47.25}
    return given | values


def test_good_rows_are_kept_and_bad_ones_listed_by_row(api: Api, floor: str) -> None:
    """Rows count from 1; each refused row says why; the good ones count."""
    rows = [
        reading(api, floor, 2),
        reading(api, "P000009X"),
        reading(api, floor, 1, temp_c=False),
        reading(api, floor, 1, temp_c="23.5"),
        reading(api, floor, 1, rh_pct=101),
        reading(api, floor, 1, temp_c=float("nan")),
        reading(api, floor, -1),
        reading(api, floor, 1, at="2026-05-14T11:00:00"),
        reading(api, floor, 1, station="S1"),
        {"place": floor},
        17,
        reading(api, floor, 1),
    ]
    answer = api.post("/readings", rows, 200)
    assert (answer["accepted"], answer["duplicates"]) == (2, 0)
    assert [one["row"] for one in answer["refused"]] == list(range(2, 12))
    assert all(one["message"] for one in answer["refused"])
    for row, field in (
        (3, "temp_c"),
        (5, "rh_pct"),
        (6, "temp_c"),
        (7, "at"),
        (8, "at"),
        (9, "station"),
    ):
        assert field in answer["refused"][row - 2]["message"]


def test_a_row_sent_twice_counts_once(api: Api, floor: str) -> None:
    """The same values again are duplicates, in one request and in the next."""
    row = reading(api, floor)
    assert api.post("/readings", [row, row], 200) == {
        "accepted": 1, "duplicates": 1, "refused": [],
    }  # fmt: skip
    assert api.post("/readings", [row], 200)["duplicates"] == 1


def test_other_values_need_to_say_that_they_replace(api: Api, floor: str) -> None:
    """Other values for the same place and second are refused unless the row `replaces`."""
    api.part()
    carrier = api.carrier(place=floor)
    api.record(carrier, "open", at=api.hours_ago(1))
    api.post("/readings", [reading(api, floor), reading(api, floor, 0.75)], 200)
    other = reading(api, floor, temp_c=29)
    refused = api.post("/readings", [other], 200)["refused"]
    assert [one["row"] for one in refused] == [1]
    assert api.post("/readings", [other | {"replaces": True}], 200)["accepted"] == 1
    first = api.get(f"/carriers/{carrier}/working")["intervals"][0]
    assert first["raw"]["temp_c"] == 29


def test_rows_are_taken_in_their_order(api: Api, floor: str) -> None:
    """A replacement in the same list comes after what it replaces."""
    rows = [reading(api, floor), reading(api, floor, temp_c=29, replaces=True)]
    assert api.post("/readings", rows, 200)["accepted"] == 2
    assert api.post("/readings", [reading(api, floor, temp_c=29)], 200)["duplicates"] == 1


def test_the_query_can_say_that_all_replace(api: Api, floor: str) -> None:
    """`?replaces=true` holds for every row of a list or a file."""
    api.post("/readings", [reading(api, floor)], 200)
    answer = api.send(
        "POST", "/readings", [reading(api, floor, temp_c=29)], query_string="replaces=true"
    ).json
    assert answer == {"accepted": 1, "duplicates": 0, "refused": []}


def test_only_an_oven_may_leave_out_the_humidity(api: Api, floor: str) -> None:
    """`rh_pct` may be empty for ovens."""
    oven = api.place("oven", max_temp_c=125)
    rows = [reading(api, place, temp_c=60, rh_pct=None) for place in (oven, floor)]
    answer = api.post("/readings", rows, 200)
    assert (answer["accepted"], [one["row"] for one in answer["refused"]]) == (1, [2])


def test_a_late_reading_changes_past_states(api: Api, floor: str) -> None:
    """A state of the past uses every reading dated up to it, whenever it was received."""
    api.part()
    carrier = api.carrier(place=floor)
    api.record(carrier, "open", at=api.hours_ago(5))
    then = {"at": api.hours_ago(1)}
    before = api.get(f"/carriers/{carrier}/working", **then)["intervals"]
    assert {line["basis"] for line in before} == {"assumed"}
    known = api.hours_ago(0)
    api.clock.now += 60
    api.air(floor, 23, 50, since_h=6)
    after = api.get(f"/carriers/{carrier}/working", **then)["intervals"]
    assert {line["basis"] for line in after} == {"measured"}
    assert api.get(f"/carriers/{carrier}/working", known_at=known, **then)["intervals"] == before


class TestCsv:
    """text/csv with the header place,at,temp_c,rh_pct."""

    def send(self, api: Api, text: str | bytes, media: str = "text/csv", **kwargs: Any) -> Any:
        """Return the answer to a file."""
        answer = api.send("POST", "/readings", data=text, content_type=media, **kwargs)
        assert answer.status_code == 200, answer.text
        return answer.json

    def test_a_file_is_taken_row_by_row(self, api: Api, floor: str) -> None:
        """Rows that can't be read are listed with their line, the header being line 1."""
        text = (
            "place,at,temp_c,rh_pct\n"
            f"{floor},2026-05-14T10:00:00Z,23.5,47\n"
            f"{floor},2026-05-14T10:05:00Z,warm,47\n"
            f"{floor},2026-05-14T10:10:00+01:00,23.5,47\n"
        )
        answer = self.send(api, text)
        assert (answer["accepted"], [one["row"] for one in answer["refused"]]) == (2, [3])
        assert "temp_c" in answer["refused"][0]["message"]

    def test_decimal_commas_and_local_times_are_read(self, api: Api, floor: str) -> None:
        """Semicolons, decimal commas, and times of the site's zone (Lisbon: +01:00 in May)."""
        self.send(api, f"place;at;temp_c;rh_pct\n{floor};2026-05-14 11:00;23,5;47,25\n")
        same = reading(api, floor, at="2026-05-14T10:00:00Z")
        assert api.post("/readings", [same], 200)["duplicates"] == 1

    def test_its_charset_is_heeded(self, api: Api) -> None:
        """A place may be given by its name, in the charset that the request says."""
        api.place("floor", name="Werkbank Süd")
        text = "place,at,temp_c,rh_pct\nWerkbank Süd,2026-05-14T10:00:00Z,23.5,47\n"
        latin = self.send(api, text.encode("latin-1"), "text/csv; charset=iso-8859-1")
        assert latin["accepted"] == 1
        utf8 = self.send(api, "\ufeff" + text, "text/csv; charset=utf-8")
        assert utf8["duplicates"] == 1

    def test_a_file_may_replace(self, api: Api, floor: str) -> None:
        """`?replaces=true` for a file that puts values right."""
        head = "place,at,temp_c,rh_pct\n"
        self.send(api, f"{head}{floor},2026-05-14T10:00:00Z,23.5,47\n")
        other = f"{head}{floor},2026-05-14T10:00:00Z,24.5,47\n"
        assert len(self.send(api, other)["refused"]) == 1
        assert self.send(api, other, query_string="replaces=true")["accepted"] == 1

    def test_what_is_no_file_of_readings_is_refused_whole(self, api: Api) -> None:
        """Another header, an empty file, bytes of another charset, an unknown charset."""
        for text, media, status in (
            ("when,temp\n1,2\n", "text/csv", 422),
            ("", "text/csv", 422),
            (b"place,at,temp_c,rh_pct\n\xfc", "text/csv", 400),
            ("place,at,temp_c,rh_pct\n", "text/csv; charset=klingon", 415),
        ):
            problem = api.refused("POST", "/readings", data=text, content_type=media)
            assert problem["status"] == status


@pytest.mark.parametrize(
    ("data", "media", "status"),
    [
        ("[", "application/json", 400),
        ("{}", "application/json", 422),
        ("null", "application/json", 422),
        ("[]", "text/plain", 415),
        ("[]", None, 415),
    ],
)
def test_a_body_that_is_no_list_is_refused_whole(
    api: Api, data: str, media: str | None, status: int
) -> None:
    """What is no JSON, no list or of another type is a problem, not a refused row."""
    problem = api.refused("POST", "/readings", data=data, content_type=media)
    assert problem["status"] == status
    assert ("give a list in square brackets" in problem["detail"]) is (status == 422)
