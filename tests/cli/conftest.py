"""A small shop in a database of its own, and the command line on it at a known moment."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from uuid import uuid4

import pytest
from click.testing import CliRunner, Result

from msdtrack.cli import main
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import catalog, climate, event_recording, receiving
from msdtrack.store.connection import close_store, open_store

NOW = int(datetime(2026, 11, 24, 14, 0, tzinfo=UTC).timestamp())
HOUR_S = 3_600

Run = Callable[..., Result]


@dataclass(frozen=True)
class Shop:
    """The codes of a small shop: one reel opened a day ago, one still in its bag."""

    url: str
    path: Path
    line: str
    opened: str
    sealed: str


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """A level 3 reel, open for 24 h in measured air of 26 °C and 58 % RH, and a sealed one."""
    path = tmp_path / "shop.db"
    url = f"sqlite:///{path}"
    open_store(url)
    week_ago = NOW - 7 * 24 * HOUR_S
    catalog.create_part(PartFacts("BL-0312", "3", "Converter", body_mm=1.4), week_ago)
    place, _ = catalog.create_place(catalog.NewPlace(name="Line 1", kind="line"), week_ago)
    new = receiving.NewCarrier(
        part="BL-0312",
        lot="T4-2201",
        quantity=2500,
        kind="reel",
        sealed_on=date(2026, 9, 1),
        place=place.code,
    )
    codes = [receiving.receive(new, week_ago)[0].code for _ in range(2)]
    rows = [
        climate.NewReading(place.code, at, 26.0, 58.0)
        for at in range(NOW - 24 * HOUR_S, NOW + 1, 300)
    ]
    climate.add_readings(rows, NOW)
    opening = event_recording.NewEvent(
        id=str(uuid4()),
        carrier=codes[0],
        kind="open",
        at=NOW - 24 * HOUR_S,
        hic=dict.fromkeys(("5", "10", "60"), "dry"),
    )
    event_recording.record([opening], NOW)
    close_store()
    return Shop(url, path, place.code, *codes)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Run]:
    """Run `msdtrack` with arguments, at NOW, in a folder of its own."""
    monkeypatch.setattr("msdtrack.cli.session.utc_now", lambda: NOW)
    monkeypatch.chdir(tmp_path)

    def call(*arguments: object, given: str | bytes | None = None) -> Result:
        return CliRunner().invoke(main, [str(one) for one in arguments], input=given)

    yield call
    close_store()
