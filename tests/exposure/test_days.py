"""Air read day by day equals air made reading by reading, also after something was written."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from msdtrack.exposure import readings
from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.dry_spells import joined, spell_at, spells
from msdtrack.exposure.facts import FOREVER, AirSettings, Dated
from msdtrack.exposure.readings import DAY_S, Day, Days, Reading
from msdtrack.exposure.spans import Air, Span, merged, worst_of

CALM = [(2200, 4800), (2210, 4810)]
ODD = [(2600, 5200), (3001, 5999), (3600, 6500), (2200, 300)]
VALUES = st.sampled_from([*CALM, *CALM, *CALM, *ODD])
"""Mostly of one cell, so that spans are long."""

MOMENTS = st.one_of(
    st.integers(0, 40).map(lambda n: n * 600),
    st.integers(0, 600).map(lambda n: n * 900),
    st.integers(-40, 40).map(lambda n: 3 * DAY_S + n * 300),
)
"""Close together, over several days with gaps, and around a midnight."""

ROWS = st.dictionaries(MOMENTS, VALUES, min_size=1, max_size=60)
FEW = st.dictionaries(MOMENTS, VALUES, min_size=1, max_size=3)
SETTINGS = st.sampled_from(
    [
        Dated(AirSettings()),
        Dated(AirSettings(), ((7_777, AirSettings(2000, 4000, 100, 500)),)),
        Dated(AirSettings(2000, 300), ((2 * DAY_S, AirSettings(3200, 7000, 0, 0)),)),
    ]
)
Rows = dict[int, tuple[int, int]]


def in_order(rows: Rows) -> list[Reading]:
    return [(at, *rows[at]) for at in sorted(rows)]


def lazily(rows: Rows) -> Days:
    """Return days that are read one by one, as from a database."""
    numbers = sorted({at // DAY_S for at in rows})
    return Days(numbers, lambda n: (Day(r for r in in_order(rows) if r[0] // DAY_S == n), True))


def one_by_one(rows: Rows, settings: Dated[AirSettings], start: int, end: int) -> list[Span]:
    """Return the pieces of [start, end), each between two readings or beyond them, unmerged."""
    air = PlaceAir("floor", in_order(rows), settings)
    known = in_order(rows)
    pieces = list(air.before_readings(start, known[0][0]))
    for pair in pairwise(known):
        pieces += air.between(*pair)
    pieces += air.after(known[-1], known[-1][0], end)
    return [
        piece._replace(start=max(piece.start, start), end=min(piece.end, end))
        for piece in pieces
        if piece.start < end and piece.end > start
    ]


def keys(spans: list[Span]) -> list[tuple[int, int, object]]:
    return [span[:3] for span in merged(spans)]


@given(ROWS, SETTINGS, st.integers(-DAY_S, 8 * DAY_S), st.integers(1, 4 * DAY_S))
def test_spans_and_worst_air_are_those_of_every_reading_alone(
    rows: Rows, settings: Dated[AirSettings], start: int, length: int
) -> None:
    end = start + length
    air = PlaceAir("floor", lazily(rows), settings)
    pieces = one_by_one(rows, settings, start, end)
    assert keys(air.spans(start, end, FOREVER)) == keys(pieces)
    worst: tuple[Air, Air] = (
        worst_of([piece.raw for piece in pieces]),
        worst_of([piece.guarded for piece in pieces]),
    )
    assert air.worst(start, end, FOREVER) == worst


@given(ROWS, SETTINGS, st.integers(-DAY_S, 8 * DAY_S), st.integers(1, 4 * DAY_S))
def test_what_was_measured_later_is_left_out(
    rows: Rows, settings: Dated[AirSettings], at: int, length: int
) -> None:
    known = {moment: values for moment, values in rows.items() if moment <= at}
    air, earlier = (PlaceAir("floor", lazily(some), settings) for some in (rows, known))
    start, end = at - length, at + 1
    assert keys(air.spans(start, end, at)) == keys(earlier.spans(start, end, at))
    assert air.worst(start, end, at) == earlier.worst(start, end, at)
    assert air.present(at) == earlier.present(at)
    assert list(spells(air, start, end, at, 500)) == list(spells(earlier, start, end, at, 500))


@given(ROWS, SETTINGS, st.integers(-DAY_S, 8 * DAY_S), st.integers(1, 2 * DAY_S))
def test_dry_spells_are_those_of_every_reading_alone(
    rows: Rows, settings: Dated[AirSettings], start: int, length: int
) -> None:
    end = start + length
    at = end - 1
    known = {moment: values for moment, values in rows.items() if moment <= at}
    air = PlaceAir("cabinet", lazily(rows), settings)
    if known:
        pieces = one_by_one(known, settings, -FOREVER, end)
    else:
        pieces = list(air.before_readings(-FOREVER, end))
    runs = joined((piece.start, piece.end, piece.raw[1] <= 500) for piece in pieces)
    expected = []
    for n, (s, e, dry) in enumerate(runs):
        back = n + 1 < len(runs)
        spell = "dry" if dry else "brief" if back and e - s <= 3600 else "out"
        if e > start:
            expected.append((max(s, start), e, spell))
    assert list(spells(air, start, end, at, 500)) == expected
    begun, spell = spell_at(air, at, 500)
    assert (begun, spell) == (max(runs[-1][0], -FOREVER), expected[-1][2])


@given(ROWS, FEW, SETTINGS)
def test_renewed_days_are_days_made_anew(
    before: Rows, written: Rows, settings: Dated[AirSettings]
) -> None:
    kept = PlaceAir("floor", lazily(before), settings)
    kept.spans(-1000, 9 * DAY_S, FOREVER)
    list(spells(kept, -1000, 9 * DAY_S, FOREVER, 500))
    both = before | written
    now = lazily(both)
    days = kept.days.renewed(now.numbers, now._read, min(written), max(written))
    renewed, anew = PlaceAir("floor", days, settings), PlaceAir("floor", now, settings)
    asked = -1000, 9 * DAY_S, FOREVER
    assert renewed.spans(*asked) == anew.spans(*asked)
    assert list(spells(renewed, *asked, 500)) == list(spells(anew, *asked, 500))


@given(ROWS, st.integers(-DAY_S, 8 * DAY_S))
def test_readings_are_found_as_in_a_list(rows: Rows, at: int) -> None:
    days, known = lazily(rows), in_order(rows)
    before, after = [r for r in known if r[0] <= at], [r for r in known if r[0] > at]
    assert days.newest(at) == (before[-1] if before else None)
    assert days.following(at) == (after[0] if after else None)
    assert list(days.backwards(at)) == before[::-1]
    assert list(days.forwards(at)) == [r for r in known if r[0] >= at]
    assert days.begin_after(at) == (at < known[0][0])
    assert days.between(at, at + DAY_S) == [r for r in known if at <= r[0] <= at + DAY_S]


def test_only_so_many_days_stay_in_memory() -> None:
    read: list[int] = []

    def day(number: int) -> tuple[Day, bool]:
        read.append(number)
        return Day([(number * DAY_S, 2200, 4800)]), True

    days = Days(range(readings.KEPT_DAYS + 1), day)
    for i in range(len(days)):
        days.day(i)
    assert read == [*range(len(days))]
    for i in range(1, len(days)):
        days.day(i)
    assert read == [*range(len(days))]
    days.day(0)
    assert read[-1] == 0


def test_a_day_that_is_not_to_be_kept_is_read_again() -> None:
    read: list[int] = []

    def day(number: int) -> tuple[Day, bool]:
        read.append(number)
        return Day([(number * DAY_S, 2200, 4800)]), False

    days = Days([7], day)
    assert days.day(0).reading(0) == days.day(0).reading(0)
    assert read == [7, 7]


def test_what_is_made_of_a_day_that_is_not_kept_is_not_kept() -> None:
    """Who sees other readings than the rest go by leaves no trace of them."""
    rows: list[Rows] = [{600: CALM[0]}, {600: ODD[1]}]
    seen = [Day(in_order(rows[1])), Day(in_order(rows[0]))]
    air = PlaceAir("floor", Days([0], lambda _: (seen[0], len(seen) == 1)))
    asked = 600, 900, 1200
    first = air.kept_spans(*asked)
    assert first == air.kept_spans(*asked) == PlaceAir("floor", in_order(rows[1])).spans(*asked)
    del seen[0]
    later = air.kept_spans(*asked)
    assert later == PlaceAir("floor", in_order(rows[0])).spans(*asked) != first
    assert air.kept_spans(*asked) is later
