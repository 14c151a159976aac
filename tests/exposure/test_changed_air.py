"""Air that took in late, replaced or further readings equals air made anew from all of them."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.facts import FOREVER, AirSettings, Dated
from msdtrack.exposure.spans import Span

CALM = [(2200, 4800), (2210, 4810)]
VALUES = st.sampled_from([*CALM, *CALM, *CALM, (2600, 5200), (3600, 6500), (2200, 300)])
"""Mostly of one cell, so that spans are long."""

ROWS = st.dictionaries(st.integers(0, 40).map(lambda n: n * 600), VALUES, min_size=1, max_size=30)
FEW = st.dictionaries(st.integers(0, 40).map(lambda n: n * 600), VALUES, min_size=1, max_size=3)
SETTINGS = st.sampled_from(
    [Dated(AirSettings()), Dated(AirSettings(), ((7_777, AirSettings(2000, 4000, 100, 500)),))]
)


def air(rows: dict[int, tuple[int, int]], settings: Dated[AirSettings]) -> PlaceAir:
    return PlaceAir("floor", [(at, *rows[at]) for at in sorted(rows)], settings)


def spans(of: PlaceAir) -> list[Span]:
    return list(of.spans(-1000, 50_000, FOREVER))


@given(ROWS, FEW, SETTINGS)
def test_changed_air_is_air_made_anew(
    before: dict[int, tuple[int, int]],
    written: dict[int, tuple[int, int]],
    settings: Dated[AirSettings],
) -> None:
    kept = air(before, settings)
    spans(kept)
    both = before | written
    first, last = min(written), max(written)
    rows = [(at, *both[at]) for at in sorted(both) if first <= at <= last]
    assert spans(kept.changed(first, last, rows)) == spans(air(both, settings))


@given(ROWS, ROWS, SETTINGS)
def test_extended_air_is_air_made_anew(
    before: dict[int, tuple[int, int]],
    more: dict[int, tuple[int, int]],
    settings: Dated[AirSettings],
) -> None:
    kept = air(before, settings)
    spans(kept)
    later = {max(before) + 600 + at: values for at, values in more.items()}
    extended = kept.extended([(at, *later[at]) for at in sorted(later)])
    assert spans(extended) == spans(air(before | later, settings))
