"""Scans of a station, and labels to scan."""

from __future__ import annotations

import io
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from msdtrack.printing.codes import make_action_code
from tests.web.api.conftest import Api, on_sqlite


@pytest.fixture
def carrier(api: Api) -> str:
    """A carrier in its dry bag."""
    api.part()
    return api.carrier(place=api.place("line"))


def scan(api: Api, code: str, **fields: object) -> dict[str, object]:
    """Return a scan that is not yet sent."""
    return {"id": str(uuid4()), "station": "S1", "code": code} | fields


class TestScans:
    """POST /scans."""

    def test_carrier_then_action_does_it(self, api: Api, carrier: str) -> None:
        """The second scan is an event of the carrier, with the station on it."""
        api.record(carrier, "open")
        first = api.post("/scans", scan(api, carrier), 200)
        assert first["carrier"] == carrier
        assert first["state"] == api.get(f"/carriers/{carrier}")
        second = api.post("/scans", scan(api, make_action_code("LOAD")), 200)
        assert second["tone"] in ("ok", "ask")
        events = api.get(f"/carriers/{carrier}/events")["items"]
        assert [event["kind"] for event in events] == ["open", "load"]
        assert events[1]["station"] == "S1"

    def test_a_scan_sent_twice_is_done_once(self, api: Api, carrier: str) -> None:
        """The same id answers the first answer again; with another code it is a conflict."""
        api.record(carrier, "open")
        api.post("/scans", scan(api, carrier), 200)
        action = scan(api, make_action_code("LOAD"))
        first = api.post("/scans", action, 200)
        assert api.post("/scans", action, 200)["message"] == first["message"]
        assert len(api.get(f"/carriers/{carrier}/events")["items"]) == 2
        assert api.refused("POST", "/scans", action | {"code": carrier})["status"] == 409

    def test_what_must_not_be_used_asks_for_an_eye(self, api: Api, carrier: str) -> None:
        """Clients know three tones; the state says that it must not be used."""
        api.record(carrier, "hold", reason="bent leads")
        answer = api.post("/scans", scan(api, carrier), 200)
        assert (answer["tone"], answer["state"]["verdict"]) == ("ask", "do_not_use")

    def test_a_wrong_check_character_is_refused_in_words(self, api: Api, carrier: str) -> None:
        """A refusal is an answer like any other: 200, its tone says so, nothing is changed."""
        wrong = carrier[:-1] + ("A" if carrier[-1] != "A" else "B")
        answer = api.post("/scans", scan(api, wrong), 200)
        assert answer["tone"] == "refuse"
        assert answer["message"]
        assert api.get(f"/carriers/{carrier}/events")["items"] == []

    @on_sqlite
    @pytest.mark.parametrize(
        ("fields", "field"),
        [
            ({"id": "1"}, "id"),
            ({"id": None}, "id"),
            ({"station": ""}, "station"),
            ({"code": 17}, "code"),
            ({"code": ""}, "code"),
            ({"at": "2026-05-14T12:03:00Z"}, "at"),
            ({"carrier": "C000001G"}, "carrier"),
        ],
    )
    def test_a_wrong_field_is_named(self, api: Api, fields: dict[str, object], field: str) -> None:
        """A scan without an id or a station can't be acknowledged."""
        problem = api.refused("POST", "/scans", scan(api, "C000001G") | fields)
        assert problem["status"] == 422
        assert field in [one["field"] for one in problem["errors"]]


def _decoded(image: Image.Image) -> list[str]:
    return [found.text for found in zxingcpp.read_barcodes(image)]


def _pages(pdf: bytes) -> list[Image.Image]:
    document = pypdfium2.PdfDocument(pdf)
    pages = [page.render(scale=300 / 72).to_pil() for page in document]
    document.close()
    return pages


class TestLabels:
    """Labels as PNG and PDF; what is printed decodes to the carrier's code."""

    @pytest.mark.parametrize("layout", ["62x29", "100x50"])
    @on_sqlite
    @pytest.mark.parametrize("dpi", [203, 300, 600])
    def test_a_png_decodes_at_the_printers_resolution(
        self, api: Api, carrier: str, layout: str, dpi: int
    ) -> None:
        """Every layout and resolution; decoding by zxing-cpp, a library of its own."""
        answer = api.send(
            "GET", f"/carriers/{carrier}/label.png", query_string={"layout": layout, "dpi": dpi}
        )
        assert answer.content_type == "image/png"
        assert _decoded(Image.open(io.BytesIO(answer.data))) == [carrier]

    def test_a_pdf_decodes(self, api: Api, carrier: str) -> None:
        """One page with the carrier's code."""
        answer = api.send("GET", f"/carriers/{carrier}/label.pdf")
        assert answer.content_type == "application/pdf"
        assert [_decoded(page) for page in _pages(answer.data)] == [[carrier]]

    def test_many_are_one_document(self, api: Api, carrier: str) -> None:
        """A page each, in the order asked for; both labels of each if wanted."""
        other = api.carrier()
        order = {"codes": [other, carrier], "layout": "100x50"}
        answer = api.send("POST", "/labels", order)
        assert answer.status_code == 200
        assert [_decoded(page) for page in _pages(answer.data)] == [[other], [carrier]]
        both = api.send("POST", "/labels", order | {"both": True})
        assert len(_pages(both.data)) == 4

    @on_sqlite
    @pytest.mark.parametrize("query", ["dpi=72", "dpi=fine", "layout=none", "layout=badge", "x=1"])
    def test_what_cannot_be_printed_is_refused(self, api: Api, carrier: str, query: str) -> None:
        """An unknown layout, one for something else, a resolution that no printer has."""
        path = f"/carriers/{carrier}/label.png"
        assert api.refused("GET", path, query_string=query)["status"] == 422

    def test_one_unknown_code_prints_nothing(self, api: Api, carrier: str) -> None:
        """404 for the whole order; an order without codes is refused."""
        order = {"codes": [carrier, "C999999Q"]}
        assert api.refused("POST", "/labels", order)["status"] == 404
        assert api.refused("POST", "/labels", {"codes": []})["status"] == 422
