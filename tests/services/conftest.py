"""An open store for the tests of the services, on each database in turn."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import boards, catalog, receiving
from msdtrack.services.boards import NewBatch
from msdtrack.services.receiving import NewCarrier
from msdtrack.store.connection import close_store, open_store

NOW = 1_790_000_000
"""The present moment of these tests."""


@pytest.fixture
def store(database_url: str) -> Iterator[None]:
    """Open an empty store."""
    open_store(database_url)
    yield
    close_store()


@pytest.fixture
def shop(store: None) -> dict[str, str]:
    """Put a part, three places and an oven on file; return the places' codes by name."""
    catalog.create_part(PartFacts("BL-0101", "3", body_mm=1.4), NOW)
    codes = {}
    for name, kind in (("Bench", "floor"), ("Cabinet", "cabinet"), ("Oven", "oven")):
        place, _ = catalog.create_place(catalog.NewPlace(name=name, kind=kind), NOW)
        codes[name] = place.code
    return codes


@pytest.fixture
def batch(shop: dict[str, str]) -> str:
    """A batch of 50 boards at the bench."""
    made, _ = boards.create(NewBatch("Pressure board, top side", 50, shop["Bench"]), NOW)
    return made.code


def receive(place: str | None = None, **given: object) -> receiving.Received:
    """Receive a reel sealed three months ago."""
    from datetime import date

    facts: dict[str, object] = {
        "part": "BL-0101",
        "lot": "L-1",
        "quantity": 500,
        "kind": "reel",
        "sealed_on": date(2026, 6, 1),
        "received_at": NOW - 7 * 86400,
        "place": place,
    }
    received, _ = receiving.receive(NewCarrier(**(facts | given)), NOW)  # type: ignore[arg-type]
    return received
