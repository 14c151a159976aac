"""A row says in a word, a shape and a time what a carrier is."""

from __future__ import annotations

import pytest
from flask import Flask

from msdtrack.services import carrier_states
from msdtrack.services.climate import AirNow
from msdtrack.web.marks import MarkKind, air_mark
from msdtrack.web.rows import Row, row_of
from tests.web.conftest import NOW
from tests.web.workshop import HOUR_S, Workshop, record


@pytest.fixture
def rows(site_app: Flask, shop: Workshop) -> dict[str, Row]:
    """The row of each carrier by its name in the workshop."""
    names = ("usable", "short", "expired", "opened", "closed", "drying", "baking", "unknown")
    with site_app.test_request_context():
        return {
            name: row_of(carrier_states.state(getattr(shop, name), NOW), {shop.line: "Line 1"})
            for name in names
        }


@pytest.mark.parametrize(
    ("name", "kind", "word", "left"),
    [
        ("usable", "ok", "Usable", "6 d 22 h"),
        ("short", "soon", "Use first", "3 h 00 min"),
        ("expired", "stop", "Bake first", "expired"),
        ("closed", "bag", "In dry bag", "7 d 0 h"),
        ("baking", "do", "Baking", "bake 25 h"),
        ("unknown", "stop", "Bake first", "bake first"),
    ],
)
def test_a_state_has_its_mark(
    name: str, kind: MarkKind, word: str, left: str, rows: dict[str, Row]
) -> None:
    """Shape, word and time left fit the state (level 3: 168 h, 5a: 24 h, both at the label rate).

    Source: J-STD-033, floor life of levels 3 and 5a; Table 4-1, level 5, body up to 2.0 mm,
    floor life exceeded by 72 h or less, 125 °C: 25 h.
    """
    row = rows[name]
    assert (row.mark.kind, row.mark.word, row.left) == (kind, word, left)


def test_only_what_runs_counts_down(rows: dict[str, Row]) -> None:
    """A screen counts down what is exposed, to the second, and nothing else."""
    assert rows["usable"].ends_at == NOW + 166 * HOUR_S
    assert rows["short"].ends_at == NOW + 3 * HOUR_S
    assert {name for name, row in rows.items() if row.ends_at is not None} == {
        "usable", "short", "opened",
    }  # fmt: skip


def test_an_opened_bag_shows_both_clocks(rows: dict[str, Row]) -> None:
    """Opened ten minutes ago: twenty for the desiccant, fifty to reseal.

    Source: J-STD-033, desiccant 30 min and reseal 60 min (from memory).
    """
    clocks = {clock.brief: clock.ends_at for clock in rows["opened"].clocks}
    assert clocks == {"desiccant": NOW + 20 * 60, "reseal": NOW + 50 * 60}
    assert rows["opened"].bag_to_close
    assert not rows["usable"].bag_to_close
    assert not rows["closed"].clocks


def test_the_air_that_is_assumed_is_named(
    site_app: Flask, shop: Workshop, rows: dict[str, Row]
) -> None:
    """Measured air is called measured; where there is no sensor the assumed air says why."""
    assert rows["usable"].air == "24.5 °C 47 % RH measured"
    record(shop.usable, "move", NOW, NOW, place=shop.bench)
    with site_app.test_request_context():
        row = row_of(carrier_states.state(shop.usable, NOW), {})
    assert row.air == "30.0 °C 60 % RH assumed: no reading yet"


@pytest.mark.parametrize(
    ("kind", "temp_c", "rh_pct", "missing", "mark"),
    [
        ("line", 30.0, 60.0, None, ("ok", "within 30 °C / 60 % RH")),
        ("line", 30.1, 40.0, None, ("soon", "outside 30 °C / 60 % RH")),
        ("line", 25.0, 60.1, None, ("soon", "outside 30 °C / 60 % RH")),
        ("line", 25.0, 50.0, "no_reading_since", ("soon", "no reading since")),
        ("line", None, None, "no_reading_yet", ("soon", "no reading yet")),
        ("line", 25.0, None, None, ("soon", "no humidity measured")),
        ("cabinet", 25.0, 5.0, None, ("ok", "dry storage for all levels")),
        ("cabinet", 25.0, 10.0, None, ("ok", "dry storage for levels 2, 2a, 3")),
        ("cabinet", 25.0, 10.1, None, ("soon", "too humid for dry storage")),
        ("oven", 125.0, None, None, ("bag", "oven, no floor air")),
    ],
)
def test_air_has_its_mark(
    kind: str,
    temp_c: float | None,
    rh_pct: float | None,
    missing: str | None,
    mark: tuple[str, str],
) -> None:
    """The limits are those of the floor life and of dry storage, the limit itself within.

    Source: J-STD-033, 30 °C / 60 % RH; dry storage 5 and 10 % RH (Table 4-3, from memory).
    """
    air = AirNow("P1", temp_c, rh_pct, NOW, 60, missing, None)  # type: ignore[arg-type]
    found = air_mark(kind, air)
    assert (found.kind, found.word) == mark
