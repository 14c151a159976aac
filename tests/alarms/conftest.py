"""An open store with one opened reel, on each database in turn."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from uuid import uuid4

import pytest

from msdtrack.exposure.facts import PartFacts
from msdtrack.services import catalog, event_recording, receiving
from msdtrack.services.event_recording import NewEvent
from msdtrack.services.receiving import NewCarrier
from msdtrack.store.connection import close_store, open_store

NOW = 1_790_000_000
"""When the bag of the reel is opened."""


@pytest.fixture
def reel(database_url: str) -> Iterator[str]:
    """The code of a level 3 reel, open on a bench without a sensor, in a store of its own."""
    open_store(database_url)
    catalog.create_part(PartFacts("BL-0101", "3", body_mm=1.4), NOW)
    bench, _ = catalog.create_place(catalog.NewPlace(name="Bench", kind="floor"), NOW)
    new = NewCarrier("BL-0101", "L-1", 500, "reel", sealed_on=date(2026, 6, 1), place=bench.code)
    received, _ = receiving.receive(new, NOW)
    dry = {"5": "dry", "10": "dry", "60": "dry"}
    event_recording.record([NewEvent(str(uuid4()), received.code, "open", NOW, hic=dry)], NOW)
    yield received.code
    close_store()
