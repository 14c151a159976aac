"""Chromium, driven by Playwright, in front of a server process of the tests' own."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from msdtrack.store.connection import close_store, open_store
from tests.browser.live_server import LiveServer
from tests.browser.quiet import quiet_page
from tests.browser.scan_station import HEAR_TONES
from tests.web.workshop import Workshop, fill

ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")
WALL = {"width": 1920, "height": 1080}

NewServer = Callable[[Callable[[Workshop], None]], tuple[LiveServer, Workshop]]


@pytest.fixture(scope="session")
def chromium(chromium_path: Path) -> Iterator[Browser]:
    """Chromium with a fresh profile."""
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=str(chromium_path), args=list(ARGUMENTS))
        yield found
        found.close()


@pytest.fixture
def page(chromium: Browser) -> Iterator[Page]:
    """An empty page on a wall screen; an error in a script fails the test."""
    options = {"viewport": WALL, "locale": "en-GB", "timezone_id": "Europe/Lisbon"}
    with quiet_page(chromium, **options) as new:
        yield new


def nothing_more(shop: Workshop) -> None:
    """The workshop as it is."""


def _workshop(path: Path, more: Callable[[Workshop], None]) -> tuple[LiveServer, Workshop]:
    open_store(f"sqlite:///{path}")
    shop = fill(int(time.time()))
    more(shop)
    close_store()
    server = LiveServer(path)
    server.start()
    return server, shop


@pytest.fixture
def new_server(tmp_path: Path) -> Iterator[NewServer]:
    """Starts a server on a fresh workshop, to be killed; `more` adds to the workshop."""
    started: list[LiveServer] = []

    def start(more: Callable[[Workshop], None]) -> tuple[LiveServer, Workshop]:
        server, shop = _workshop(tmp_path / f"live{len(started)}.db", more)
        started.append(server)
        return server, shop

    yield start
    for server in started:
        server.kill()


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[LiveServer, Workshop]]:
    """A server that tests share which leave the workshop as it is, or only add to it."""
    server, shop = _workshop(tmp_path_factory.mktemp("browser") / "shared.db", nothing_more)
    yield server, shop
    server.kill()


@pytest.fixture
def live(new_server: NewServer) -> tuple[LiveServer, Workshop]:
    """A server over a small workshop of this test's own, as it is this minute."""
    return new_server(nothing_more)


@pytest.fixture
def server(live: tuple[LiveServer, Workshop]) -> LiveServer:
    """The server."""
    return live[0]


@pytest.fixture
def shop(live: tuple[LiveServer, Workshop]) -> Workshop:
    """What is in the workshop."""
    return live[1]


@pytest.fixture
def station(chromium: Browser, server: LiveServer) -> Iterator[Page]:
    """The scan station on a tablet; anything a script complains about fails the test."""
    with quiet_page(chromium, HEAR_TONES) as page:
        page.goto(f"{server.url}/scan?station=Bench")
        expect(page.locator("[data-station-name]")).to_have_text("Bench")
        expect(page.locator("[data-start]")).to_have_count(0)
        yield page
