"""Health says whether the watch runs and how old the readings are."""

from __future__ import annotations

import pytest

from msdtrack import __version__
from msdtrack.alarms.scheduler import tick
from msdtrack.services import climate
from msdtrack.services.climate import NewReading
from msdtrack.services.health import health
from msdtrack.store.connection import close_store, is_sqlite
from msdtrack.store.errors import StoreUnavailable
from tests.services.conftest import NOW


def test_health_shows_the_watch_and_the_age_of_readings(shop: dict[str, str]) -> None:
    """A place without readings has no age, which is not an age of 0."""
    climate.add_readings([NewReading(shop["Bench"], NOW - 300, 24, 45)], NOW)
    before = health(NOW)
    assert before["scheduler"]["state"] == "not_started"
    tick(NOW, "server-7")
    found = health(NOW + 40)
    assert (found["status"], found["version"]) == ("ok", __version__)
    assert found["scheduler"] == {
        "state": "running",
        "holder": "server-7",
        "last_run_at": "2026-09-21T14:13:20Z",
        "age_s": 40,
    }
    ages = {place["code"]: place["newest_reading_age_s"] for place in found["places"]}
    assert ages == {shop["Bench"]: 340, shop["Cabinet"]: None, shop["Oven"]: None}
    assert found["database"]["kind"] == ("sqlite" if is_sqlite() else "postgresql")
    assert health(NOW + 600)["scheduler"]["state"] == "late"


def test_without_a_database_there_is_no_health(shop: dict[str, str]) -> None:
    """It is an error that the web layer answers as one, not a friendly field."""
    close_store()
    with pytest.raises(StoreUnavailable):
        health(NOW)
