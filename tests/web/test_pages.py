"""Every page answers, says what its template sees, and leads nowhere that is not there."""

from __future__ import annotations

import dataclasses
import logging
import re
from datetime import date
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urljoin, urlsplit

import pytest
from flask import Flask, template_rendered
from flask.testing import FlaskClient

from msdtrack.services import receiving
from msdtrack.services.receiving import NewCarrier
from tests.web.workshop import DRY, Workshop, record

PAGES = (
    "/", "/scan", "/line", "/line/{line}", "/watch", "/watch?place={line}", "/carriers",
    "/carriers?search=U-1", "/carriers?place={line}", "/carriers/{usable}", "/carriers/{expired}",
    "/carriers/{closed}", "/carriers/{drying}", "/carriers/{baking}", "/carriers/{unknown}",
    "/receive", "/receive?like={usable}", "/receive/{usable}", "/parts", "/parts/new",
    "/parts/WB-PRS-3", "/parts/WB-PRS-3/correct", "/places", "/places/new", "/places/{line}",
    "/places/{oven}", "/places/{bench}", "/places/{line}/change", "/alarms", "/tables", "/setup",
    "/count", "/count/{line}", "/plan",
    "/plan?place={line}&begins=2026-05-15T06:00&ends=2026-05-15T14:00&needs=WB-PRS-3;900",
)  # fmt: skip


def address(page: str, shop: Workshop) -> str:
    """Return the address of a page with the codes of the workshop filled in."""
    return page.format(**dataclasses.asdict(shop))


@pytest.mark.parametrize("page", PAGES)
def test_a_page_answers_with_a_documented_context(
    page: str, site_app: Flask, browser: FlaskClient, shop: Workshop
) -> None:
    """A template sees one frozen dataclass whose docstring explains every field."""
    seen: list[Any] = []

    def look(sender: Flask, template: Any, context: dict[str, Any], **_: Any) -> None:
        seen.append(context["page"])

    with template_rendered.connected_to(look, site_app):
        answer = browser.get(address(page, shop))
    assert answer.status_code == 200
    (context,) = seen
    assert dataclasses.is_dataclass(context)
    assert context.__dataclass_params__.frozen
    explained = set(re.findall(r"\w+", type(context).__doc__ or ""))
    assert {field.name for field in dataclasses.fields(context)} <= explained


@pytest.mark.parametrize("page", ["/", "/line", "/watch", "/carriers", "/parts", "/places",
                                  "/alarms", "/tables", "/setup", "/receive"])  # fmt: skip
def test_a_page_says_what_to_do_when_nothing_is_on_file(page: str, browser: FlaskClient) -> None:
    """An empty database breaks no page."""
    assert browser.get(page).status_code == 200


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def tags_of(text: str) -> list[tuple[str, dict[str, str | None]]]:
    """Return every opening tag of a page with its attributes."""
    parser = _Tags()
    parser.feed(text)
    return parser.tags


def test_every_link_leads_somewhere(browser: FlaskClient, shop: Workshop) -> None:
    """Every link, picture, script and style of every page answers; every anchor is there."""
    waiting = ["/", *(address(page, shop) for page in PAGES)]
    done: set[str] = set()
    anchors: dict[str, set[str]] = {}
    wanted: set[tuple[str, str]] = set()
    while waiting:
        here = waiting.pop()
        if here in done:
            continue
        done.add(here)
        answer = browser.get(here)
        text = answer.text if answer.mimetype == "text/html" else ""
        answer.close()
        assert answer.status_code == 200, here
        if answer.mimetype != "text/html" or here.endswith("/data"):
            continue
        tags = tags_of(text)
        path = urlsplit(here).path
        anchors.setdefault(path, set()).update(a["id"] or "" for _, a in tags if "id" in a)
        for _, attributes in tags:
            for name in ("href", "src", "data-live"):
                if attributes.get(name):
                    target = urlsplit(urljoin(here, attributes[name]))
                    assert target.netloc == ""
                    if target.fragment:
                        wanted.add((target.path, target.fragment))
                    waiting.append(target._replace(fragment="").geturl())
    assert len(done) > len(PAGES)
    missing = [(path, name) for path, name in wanted if name not in anchors[path]]
    assert missing == []


@pytest.mark.parametrize("page", PAGES)
def test_a_page_keeps_to_its_own_policy(page: str, browser: FlaskClient, shop: Workshop) -> None:
    """No inline script, style or handler, nothing from elsewhere: the policy would block it."""
    text = browser.get(address(page, shop)).text
    for tag, attributes in tags_of(text):
        assert tag != "style"
        assert "style" not in attributes
        assert not [name for name in attributes if name.startswith("on")]
        if tag == "script" and attributes.get("type") != "application/json":
            assert attributes.get("src")


@pytest.mark.parametrize("page", PAGES)
def test_every_field_has_its_words(page: str, browser: FlaskClient, shop: Workshop) -> None:
    """A field that a person fills in has a label; ids are there once."""
    tags = tags_of(browser.get(address(page, shop)).text)
    ids = [attributes["id"] for _, attributes in tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    labelled = {
        attributes["for"] for tag, attributes in tags if tag == "label" and attributes.get("for")
    }
    assert labelled <= set(ids)


@pytest.mark.parametrize(
    "page", ["/carriers/C0000999", "/line/P0000999", "/line/P0000999/data", "/places/P0000999",
             "/parts/NONE", "/receive/C0000999", "/carriers/nonsense", "/nowhere",
             "/watch?place=P0000999", "/watch/data?place=P0000999"]
)  # fmt: skip
def test_what_is_not_there_is_said_in_words(
    page: str, browser: FlaskClient, shop: Workshop
) -> None:
    """An unknown code gets a page that says what happened and what to do."""
    answer = browser.get(page)
    assert answer.status_code == 404
    assert "Nothing is known under this name" in answer.text
    assert "Check the code or address" in answer.text


def _queries(browser: FlaskClient, path: str, caplog: pytest.LogCaptureFixture) -> int:
    browser.get(path)
    caplog.clear()
    with caplog.at_level(logging.DEBUG, logger="peewee"):
        browser.get(path)
    return sum("SELECT" in str(record.msg) for record in caplog.records)


@pytest.mark.parametrize("page", ["/", "/watch", "/carriers", "/line/{line}", "/parts/WB-PRS-3"])
def test_a_list_asks_no_more_for_more_carriers(
    page: str, browser: FlaskClient, shop: Workshop, caplog: pytest.LogCaptureFixture
) -> None:
    """The number of queries of a list does not grow with what is on it."""
    path = address(page, shop)
    before = _queries(browser, path, caplog)
    for number in range(12):
        new = NewCarrier("WB-PRS-3", f"M-{number}", 100, "reel", sealed_on=date(2026, 4, 1))
        code = receiving.receive(new, shop.now)[0].code
        record(code, "open", shop.now, shop.now, place=shop.line, hic=DRY)
    assert 0 < before <= 30
    assert _queries(browser, path, caplog) == before


@pytest.mark.parametrize(
    ("page", "status"),
    [
        (f"/checks/{'9' * 23}", 404),
        (f"/checks?before={'9' * 23}", 200),
        ("/carriers/{usable}?at=9999-12-31T23:59:59-14:00", 422),
        ("/carriers/{usable}?known_at=0001-01-01T00:00:00%2B14:00", 422),
    ],
)
def test_an_address_beyond_everything_is_answered_in_words(
    page: str, status: int, browser: FlaskClient, shop: Workshop
) -> None:
    """Numbers that no database holds, years that no calendar has."""
    assert browser.get(address(page, shop)).status_code == status
