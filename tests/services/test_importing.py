"""Files of parts, carriers and readings: good lines are kept, the others named."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from msdtrack.errors import BadInput
from msdtrack.exposure.facts import MakerBake
from msdtrack.services import carrier_states, catalog, climate, importing
from msdtrack.store import carriers
from msdtrack.store.connection import close_store, open_store

NOW = int(datetime(2026, 11, 24, 14, 0, tzinfo=UTC).timestamp())
LISBON, BERLIN = ZoneInfo("Europe/Lisbon"), ZoneInfo("Europe/Berlin")

PARTS = """\
number;msl;body_mm;family;pins;large_bga;maker_bake.temp_c;maker_bake.hours;maker_bake.once
BL-0312;MSL 3;1,4;QFN;24;no;;;
BL-0506;5A;0,95;;;;80;24;yes
"""
CARRIERS = """\
part,lot,quantity,kind,sealed_on,place,received_at,opened_at
BL-0312,T4-2201,2500,reel,2026-09-01,Parts store,2026-11-20 08:30,
BL-0312,T4-2202,2500,reel,2026-09-01,Parts store,2026-11-20T08:30:00Z,2026-11-24 10:00
"""


@pytest.fixture(autouse=True)
def _store(database_url: str) -> Iterator[None]:
    """A database with one place."""
    open_store(database_url)
    catalog.create_place(catalog.NewPlace(name="Parts store", kind="store"), NOW)
    yield
    close_store()


def _refused(done: importing.Imported) -> dict[int, str]:
    return {one.row: one.message for one in done.refused}


def test_parts_come_in_with_decimal_commas_and_their_makers_bake() -> None:
    """Semicolons, decimal commas and levels as people write them."""
    done = importing.import_parts(PARTS, NOW)
    assert (done.created, done.unchanged, done.refused) == (2, 0, ())
    assert catalog.part("BL-0312").body_mm == 1.4
    assert catalog.part("BL-0312").msl == "3"
    assert catalog.part("BL-0506").msl == "5a"
    assert catalog.part("BL-0506").maker_bake == MakerBake(80.0, 24.0, None, True)


def test_a_file_of_parts_sent_twice_changes_nothing() -> None:
    """What is on file with the same facts stays; other facts are refused, not written over."""
    importing.import_parts(PARTS, NOW)
    again = importing.import_parts(PARTS.replace("0,95", "1,95"), NOW + 60)
    assert (again.created, again.unchanged) == (0, 1)
    assert "other facts" in _refused(again)[3]
    assert catalog.part("BL-0506").body_mm == 0.95


def test_every_bad_line_is_named_with_its_number_and_the_good_ones_are_kept() -> None:
    """Lines are counted as an editor counts them, blank ones and the first too."""
    done = importing.import_parts(
        "number\tmsl\tbody_mm\tpins\n"
        "BL-0101\t3\t1,4\t8\n"
        "\n"
        "BL-0102\t7\t1,4\t8\n"
        "BL-0103\t3\tthick\t8,5\n"
        "BL-0104\t\t1\t\n"
        "BL-0105\t3\n"
        "BL-0106\t4\t0,9\t48\n",
        NOW,
    )
    assert [part.number for part in catalog.parts()] == ["BL-0101", "BL-0106"]
    assert sorted(_refused(done)) == [4, 5, 6, 7]
    assert "no moisture sensitivity level" in _refused(done)[4]
    assert "body_mm: 'thick' is no number" in _refused(done)[5]
    assert "pins: '8.5'" not in _refused(done)[5]
    assert "pins: '8,5' is no whole number" in _refused(done)[5]
    assert "msl: it is missing" in _refused(done)[6]
    assert not [words for words in _refused(done).values() if ".." in words]
    assert "4 values expected, 2 found" in _refused(done)[7]


def test_half_a_makers_bake_is_refused() -> None:
    """A temperature without hours is no bake."""
    done = importing.import_parts("number,msl,maker_bake.temp_c\nBL-0101,3,80\n", NOW)
    assert "maker_bake.hours" in _refused(done)[2]


def test_a_comma_in_a_number_is_refused_where_commas_separate() -> None:
    """ "1,000" may be one thousand or one: nobody guesses."""
    done = importing.import_parts('number,msl,body_mm\nBL-0101,3,"1,000"\n', NOW)
    assert "is no number" in _refused(done)[2]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "it lacks number, msl"),
        ("number\nBL-0101\n", "it lacks msl"),
        ("number,msl,colour\n", "does not know colour"),
        ("number,msl,msl\n", "stands there twice"),
    ],
)
def test_a_file_without_the_right_first_line_is_refused_whole(text: str, said: str) -> None:
    """Columns are never guessed."""
    with pytest.raises(BadInput, match=said):
        importing.import_parts(text, NOW)


def test_carriers_come_in_with_local_times() -> None:
    """A time without an offset is local, one with an offset is what it says."""
    importing.import_parts(PARTS, NOW)
    done = importing.import_carriers(CARRIERS, BERLIN, NOW)
    assert (done.created, done.refused) == (2, ())
    first, second = (carriers.carrier(one.name) for one in done.taken)
    assert [one.row for one in done.taken] == [2, 3]
    assert first.received_at == int(datetime(2026, 11, 20, 7, 30, tzinfo=UTC).timestamp())
    assert second.received_at == int(datetime(2026, 11, 20, 8, 30, tzinfo=UTC).timestamp())
    assert first.sealed_on == date(2026, 9, 1)
    assert first.place == catalog.places()[0].code
    state = carrier_states.state(second.code, NOW)
    assert state.status == "exposed"
    assert state.opened_at == int(datetime(2026, 11, 24, 9, 0, tzinfo=UTC).timestamp())


def test_carriers_sent_twice_are_received_once() -> None:
    """A carrier counted twice is a carrier that nobody finds; equal ones in one file are two."""
    importing.import_parts(PARTS, NOW)
    twins = CARRIERS + CARRIERS.splitlines()[1] + "\n"
    done = importing.import_carriers(twins, LISBON, NOW)
    again = importing.import_carriers(twins, LISBON, NOW + 3600)
    assert (done.created, again.created, again.unchanged) == (3, 0, 3)
    assert [one.name for one in again.taken] == [one.name for one in done.taken]
    assert len(carriers.carrier_codes()) == 3


def test_an_id_of_ones_own_says_which_carrier_is_meant() -> None:
    """With other content the same id is refused."""
    importing.import_parts(PARTS, NOW)
    id_ = "6f2c2c3e-5a4e-4c1b-9a57-0f6d3c1b2a10"
    head = "id,part,lot,quantity,kind\n"
    assert importing.import_carriers(f"{head}{id_},BL-0312,L1,5,reel\n", LISBON, NOW).created == 1
    done = importing.import_carriers(f"{head}{id_},BL-0312,L2,5,reel\n", LISBON, NOW)
    assert "used for something else" in _refused(done)[2]


def test_carriers_that_cant_be_are_refused() -> None:
    """Unknown parts and places, slips in days and counts."""
    importing.import_parts(PARTS, NOW)
    done = importing.import_carriers(
        "part,lot,quantity,kind,sealed_on,place\n"
        "BL-9999,L1,5,reel,,\n"
        "BL-0312,L1,5.5,reel,,\n"
        "BL-0312,L1,5,reel,1.9.2026,\n"
        "BL-0312,L1,5,reel,,Loft\n"
        "BL-0312,L1,5,bucket,,\n",
        LISBON,
        NOW,
    )
    said = _refused(done)
    assert sorted(said) == [2, 3, 4, 5, 6]
    assert "no part BL-9999" in said[2]
    assert "no whole number" in said[3]
    assert "no day like 2026-05-04" in said[4]
    assert "no place is called 'Loft'" in said[5]
    assert "kind" in said[6]
    assert carriers.carrier_codes() == []


def test_readings_come_in_out_of_order_and_once() -> None:
    """Decimal commas, local times, duplicates; what can't be is named."""
    place = catalog.places()[0].code
    text = (
        "place;at;temp_c;rh_pct\n"
        "Parts store;2026-11-24 13:10;22,5;44,0\n"
        "Parts store;2026-11-24 13:00;22,4;43,5\n"
        "Parts store;2026-11-24 13:10;22,5;44,0\n"
        "Parts store;2026-11-24 13:20;22,5;144\n"
        "Cellar;2026-11-24 13:20;22,5;44\n"
    )
    done = importing.import_readings(text, LISBON, NOW)
    assert (done.created, done.unchanged) == (2, 1)
    assert sorted(_refused(done)) == [5, 6]
    history = climate.history(place, NOW - 7200, NOW, 1)
    assert [(at - NOW, temp_c, rh_pct) for at, temp_c, rh_pct in history] == [
        (-3600, 22.4, 43.5),
        (-3000, 22.5, 44.0),
    ]


def test_a_dry_run_says_the_same_and_keeps_nothing() -> None:
    """What would be refused is found before anything is written."""
    importing.import_parts(PARTS, NOW)
    bad = CARRIERS + "BL-9999,L1,5,reel,,,,\n"
    tried = importing.import_carriers(bad, BERLIN, NOW, dry_run=True)
    assert carriers.carrier_codes() == []
    done = importing.import_carriers(bad, BERLIN, NOW)
    assert tried == done
    assert len(carriers.carrier_codes()) == 2
    readings = "place,at,temp_c,rh_pct\nParts store,2026-11-24T13:00:00Z,22,40\n"
    assert importing.import_readings(readings, BERLIN, NOW, dry_run=True).created == 1
    assert importing.import_readings(readings, BERLIN, NOW).created == 1


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (f"BL-1;3;{'9' * 400};QFN;24;no;;;", "number"),
        (f"BL-1;3;1,4;QFN;{'9' * 5000};no;;;", "whole"),
    ],
)
def test_digits_without_end_are_a_fault_of_their_line(line: str, said: str) -> None:
    """And not of the program."""
    done = importing.import_parts(f"{PARTS.splitlines()[0]}\n{line}\n", NOW)
    assert f"is no {said}" in _refused(done)[2]
