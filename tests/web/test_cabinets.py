"""Dry cabinets: what is in them, when it is whole again, and what to move first."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from msdtrack.services import climate
from msdtrack.services.climate import NewReading
from tests.web.conftest import NOW, Clock
from tests.web.workshop import HOUR_S, Workshop


def test_a_drying_carrier_says_when_it_is_whole(browser: FlaskClient, shop: Workshop) -> None:
    """Level 5, an hour out: 10 h of dry storage, 4 are behind it; its clock runs meanwhile."""
    text = browser.get(f"/cabinets/{shop.cabinet}").text
    assert shop.drying in text
    assert f'data-ends-at="{NOW + 6 * HOUR_S}"' in text
    assert "In dry storage, clock running" in text
    assert "It would lose 4 h 00 min of drying." in text
    assert "Move these first" not in text


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(30, "this excursion will not have counted"), (120, "The drying that was under way is lost.")],
)
def test_a_fault_says_what_to_move_first(
    minutes: int, words: str, browser: FlaskClient, shop: Workshop, wall_clock: Clock
) -> None:
    """Within the hour it can still be saved; after it, what it has cost is said."""
    wall_clock.now = NOW + minutes * 60
    rows = [NewReading(shop.cabinet, at, 23.0, 30.0) for at in range(NOW, wall_clock.now + 1, 600)]
    climate.add_readings(rows[1:], wall_clock.now)
    text = browser.get(f"/cabinets/{shop.cabinet}").text
    assert "Move these first" in text
    assert "Not dry enough for level 5" in text
    assert words in text
    assert "going on" in text
    assert shop.drying in browser.get("/cabinets").text


def test_the_live_part_is_polled_and_a_line_is_no_cabinet(
    browser: FlaskClient, shop: Workshop
) -> None:
    """And the list names every cabinet."""
    assert shop.drying in browser.get(f"/cabinets/{shop.cabinet}/data").text
    assert browser.get(f"/cabinets/{shop.line}").status_code == 404
    assert "Cabinet" in browser.get("/cabinets").text
