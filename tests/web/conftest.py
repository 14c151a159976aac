"""The application over the small workshop, with a clock that stands until it is moved."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from msdtrack.config import load_settings
from msdtrack.store.connection import close_store, open_store
from msdtrack.times import parse_time
from msdtrack.web.app import create_app
from tests.web.workshop import Workshop, fill

NOW = parse_time("2026-05-14T12:00:00Z")
ORIGIN = {"Origin": "http://localhost"}


@dataclass
class Clock:
    """A clock that stands until it is moved."""

    now: int = NOW

    def __call__(self) -> int:
        return self.now


@pytest.fixture
def wall_clock() -> Clock:
    """The clock of the application."""
    return Clock()


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Workshop]:
    """A database with the workshop in it, to be copied, and what is in it."""
    path = tmp_path_factory.mktemp("workshop") / "filled.db"
    open_store(f"sqlite:///{path}")
    shop = fill(NOW)
    close_store()
    return path, shop


@pytest.fixture
def site_app(request: pytest.FixtureRequest, tmp_path: Path, wall_clock: Clock) -> Iterator[Flask]:
    """The application; its database is empty unless the test asks for the workshop too."""
    path = tmp_path / "web.db"
    if "shop" in request.fixturenames:
        shutil.copyfile(request.getfixturevalue("filled")[0], path)
    settings = load_settings(
        {
            "database": f"sqlite:///{path}",
            "timezone": "Europe/Lisbon",
            "site_name": "Buoy yard",
        }
    )
    yield create_app(settings, wall_clock)
    close_store()


@pytest.fixture
def browser(site_app: Flask) -> FlaskClient:
    """A browser on the empty application: its forms say where they come from."""
    client = site_app.test_client()
    client.environ_base["HTTP_ORIGIN"] = ORIGIN["Origin"]
    return client


@pytest.fixture
def shop(site_app: Flask, filled: tuple[Path, Workshop]) -> Workshop:
    """The workshop, which stands in the application's database."""
    return filled[1]
