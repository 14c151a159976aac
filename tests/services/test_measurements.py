"""Tables of limits and of values as people paste them, and what values say of pieces and lots."""

from __future__ import annotations

from decimal import Decimal

import pytest

from msdtrack.errors import BadInput, NotFound
from msdtrack.services import measurements
from msdtrack.services.value_tables import PieceValues, read_channels, read_number, read_values
from msdtrack.store.sample_checks import Channel, CheckRecord, ValueRecord
from tests.services.conftest import NOW

OFFSET = Channel("offset at 0 dbar", Decimal("-1.5"), Decimal("1.5"), "mV")
GAIN = Channel("gain", Decimal("19.8"), Decimal("20.2"), "mV/dbar")
CELL = Channel("leak", None, Decimal("0.3"), "nA")
CHANNELS = (OFFSET, GAIN)


def faults(text: str, channels: tuple[Channel, ...] = CHANNELS) -> dict[str, str]:
    """Return what is found wrong with a pasted table, by row and column."""
    with pytest.raises(BadInput) as caught:
        read_values(text, channels)
    return {one.field: one.message for one in caught.value.errors}


@pytest.mark.parametrize(
    "text",
    [
        "piece\toffset at 0 dbar\tgain\n1\t-0.25\t20.01\n2\t0.5\t19.9",
        "piece;offset at 0 dbar;gain\n1;-0,25;20,01\n2;0,5;19,9\n",
        "piece,offset at 0 dbar,gain\n1,-0.25,20.01\n2,0.5,19.9",
        'piece,offset at 0 dbar,gain\n1,"-0,25","20,01"\n2,"0,5","19,9"',
        "\ufeffPiece\tGain [mV/dbar]\tOffset at 0 dbar, mV\r\n\r\n"
        "1\t20.01\t−0.25\r\n2\t19.9\t.5\t\t\r\n",
        "offset at 0 dbar;gain\n-0,25;20,01\n0,5;19,9",
    ],
    ids=["tabs", "semicolons", "commas", "quoted", "spreadsheet", "unnumbered"],
)  # fmt: skip
def test_a_table_is_read_whatever_its_separators(text: str) -> None:
    """Tabs, semicolons, commas; decimal points or commas; columns in any order, units beside."""
    assert read_values(text, CHANNELS) == [
        PieceValues("1", (Decimal("-0.25"), Decimal("20.01"))),
        PieceValues("2", (Decimal("0.5"), Decimal("19.9"))),
    ]


def test_pieces_without_numbers_are_counted_on() -> None:
    text = "gain\toffset at 0 dbar\n20\t0\n20\t1"
    assert [one.piece for one in read_values(text, CHANNELS, ["1", "3"])] == ["2", "4"]


def test_every_wrong_cell_is_named_with_row_and_column() -> None:
    """All at once, by the rows as pasted, with what to do."""
    found = faults(
        "piece;offset at 0 dbar;gain\n1;0,1;20,0\n\n2;;20,0\n3;0,1 mV;n/a\n1;0,1;20,0\n;0;20\n"
        "7;1.234,5;20,0;5"
    )
    assert set(found) == {
        "row 4, offset at 0 dbar", "row 5, offset at 0 dbar", "row 5, gain", "row 6, piece",
        "row 7, piece", "row 8, column 4",
    }  # fmt: skip
    assert "leave the whole row out" in found["row 4, offset at 0 dbar"]
    assert "without unit" in found["row 5, offset at 0 dbar"]
    assert "stands above already" in found["row 6, piece"]
    assert "4 cells for 3 columns" in found["row 8, column 4"]


@pytest.mark.parametrize(
    ("text", "where", "said"),
    [
        ("piece;offset at 0 dbar;gain\n1;0,1;20.0", "row 2, offset at 0 dbar", "one sign"),
        ("piece\toffset at 0 dbar\tgain\n1\t1,234.5\t20", "row 2, offset at 0 dbar", "1234.5"),
        ("piece,offset at 0 dbar,gain\n1,0,1,20,0", "row 2, column 4", "tabs or semicolons"),
        ("piece\toffset at 0 dbar\tgian\n1\t0\t20", "row 1, column 3", '"gian" is no channel'),
        ("piece\toffset at 0 dbar\n1\t0", "row 1, gain", "no column"),
        ("piece\toffset at 0 dbar [V]\tgain\n1\t0\t20", "row 1, column 2", "convert"),
        ("piece\tgain\tgain\toffset at 0 dbar\n1\t0\t20\t1", "row 1, column 3", "already"),
        ("1\t0.1\t20.0", "row 1, column 1", "first row names the columns"),
        ("piece\toffset at 0 dbar\tgain", "row 1, column 1", "no value"),
        ("piece\toffset at 0 dbar\tgain\n1\tNaN\t20", "row 2, offset at 0 dbar", "no number"),
        ("piece\toffset at 0 dbar\tgain\n1\tinf\t20", "row 2, offset at 0 dbar", "no number"),
        ("piece\toffset at 0 dbar\tgain\n1\t1 000\t20", "row 2, offset at 0 dbar", "spaces"),
        (f"piece\toffset at 0 dbar\tgain\n{'9' * 41}\t1\t20", "row 2, piece", "40 characters"),
        ("  \n", "row 1, column 1", "paste the table"),
    ],
)  # fmt: skip
def test_what_could_be_misread_is_asked_for(text: str, where: str, said: str) -> None:
    """Thousands, mixed signs, other units, misspelt columns: told, never guessed."""
    assert said in faults(text)[where]


def test_a_typed_number_may_have_a_comma() -> None:
    assert read_number(" 20,05 ") == (Decimal("20.05"), "")
    assert read_number("1,234.5")[0] is None
    assert "is empty" in read_number("")[1]


def test_channels_are_read_with_limits_on_one_side_or_both() -> None:
    text = "channel;minimum;maximum;unit\noffset at 0 dbar;-1,5;1,5;mV\nleak;;0,3;nA\ncount;5;"
    assert read_channels(text) == (OFFSET, CELL, Channel("count", Decimal(5), None, ""))


@pytest.mark.parametrize(
    ("text", "where", "said"),
    [
        ("gain;20;19;mV", "row 1, column 3", "below the minimum"),
        ("gain;;;mV", "row 1, column 2", "minimum, a maximum"),
        ("gain;1;2;mV\nGain;1;2;mV", "row 2, column 1", "above already"),
        ("gain;low;2;mV", "row 1, column 2", "no number"),
        (";1;2;mV", "row 1, column 1", "name the channel"),
        ("gain,19,8,20,2,mV", "row 1, column 5", "tabs or semicolons"),
        ("channel;minimum;maximum;unit", "row 1, column 1", "no channel"),
    ],
)
def test_limits_that_make_no_sense_are_refused(text: str, where: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_channels(text)
    found = {one.field: one.message for one in caught.value.errors}
    assert said in found[where]


# -- what values say ---------------------------------------------------------------------------

CHECK = CheckRecord(
    1, "BL-0101", "L-1", "as delivered", CHANNELS, 100, "II", "1.0", "E", 3, 1, 1, "", "W1", NOW
)


def value(piece: str, channel: Channel, number: str, reason: str = "") -> ValueRecord:
    return ValueRecord(1, piece, channel.name, Decimal(number), reason, "W1", NOW)


def piece(name: str, offset: str, gain: str) -> list[ValueRecord]:
    return [value(name, OFFSET, offset), value(name, GAIN, gain)]


def test_a_value_at_its_limit_is_good_and_the_next_one_fails() -> None:
    """Compared as decimals: 0.1 + 0.2 of a binary float would be beyond 0.3."""
    assert measurements.side_of(CELL, Decimal("0.3")) == ""
    assert measurements.side_of(CELL, Decimal("0.30000000000000004")) == "above"
    assert measurements.side_of(OFFSET, Decimal("-1.5")) == ""
    assert measurements.side_of(OFFSET, Decimal("-1.50001")) == "below"


def test_a_piece_fails_once_however_many_channels_fail() -> None:
    """The lot goes by failing pieces, the channels each count their own."""
    verdict = measurements.judge(CHECK, [*piece("1", "2", "25"), *piece("2", "0", "20")])
    assert (verdict.measured, verdict.failing, verdict.decision) == (2, 1, None)
    assert [one.failing for one in verdict.channels] == [1, 1]
    assert [one.fails for one in verdict.pieces] == [True, False]
    channel = verdict.channels[0]
    assert (channel.least, channel.mean, channel.greatest) == (0, 1, 2)


def test_the_lot_is_accepted_only_when_every_piece_is_measured() -> None:
    three = [*piece("1", "2", "20"), *piece("2", "0", "20"), *piece("3", "0", "20")]
    assert measurements.judge(CHECK, three[:4]).decision is None
    assert measurements.judge(CHECK, three).decision == "accept"


def test_the_lot_is_rejected_as_soon_as_too_many_fail() -> None:
    """The third piece can't change it any more."""
    assert measurements.judge(CHECK, [*piece("1", "2", "20"), *piece("2", "0", "9")]).decision == (
        "reject"
    )


def test_the_newest_value_of_a_piece_counts() -> None:
    values = [*piece("1", "2", "20"), value("1", OFFSET, "0.2", "probe was loose")]
    verdict = measurements.judge(CHECK, values)
    assert verdict.failing == 0
    assert verdict.pieces[0].replaced == 1


# -- limits on file ----------------------------------------------------------------------------


def test_limits_are_kept_by_variant_with_who_and_why(shop: dict[str, str]) -> None:
    """The newest of a variant is in force; an empty table withdraws it."""
    for name, high in (("on the board", "2"), ("bare", "3"), ("bare", "4")):
        measurements.set_limits("BL-0101", name, f"gain;1;{high};mV", "Ines", "drawing 7", NOW)
    found = measurements.variants("BL-0101")
    assert [(one.variant, one.channels[0].high) for one in found] == [
        ("bare", Decimal(4)),
        ("on the board", Decimal(2)),
    ]
    assert found[0].reason == "drawing 7"
    measurements.set_limits("BL-0101", "bare", "", "Ines", "not made any more", NOW)
    assert [one.variant for one in measurements.variants("BL-0101")] == ["on the board"]
    with pytest.raises(BadInput, match="no limits for the variant"):
        measurements.variant("BL-0101", "bare")


def test_limits_need_a_name_a_reason_and_a_person(shop: dict[str, str]) -> None:
    """Everything that is wrong is named at once, and nothing is kept."""
    with pytest.raises(BadInput) as caught:
        measurements.set_limits("BL-0101", " ", "gain;2;1;mV", "", " ", NOW)
    fields = {one.field for one in caught.value.errors}
    assert fields == {"variant", "reason", "person", "table, row 1, column 3"}
    assert measurements.variants("BL-0101") == []
    with pytest.raises(NotFound):
        measurements.set_limits("NONE", "bare", "gain;1;2;mV", "Ines", "x", NOW)


@pytest.mark.parametrize("text", ["1e309", "-1e15", "1e-320", "9" * 400])
def test_what_nobody_measures_is_no_value(text: str) -> None:
    """A chart that has to show it shows nothing any more."""
    assert "beyond anything" in read_number(text)[1]


def test_zero_and_the_smallest_values_are_values() -> None:
    """Both signs count."""
    assert [read_number(text)[1] for text in ("0", "-0.0", "1e-15", "-999999999999999")] == [""] * 4
