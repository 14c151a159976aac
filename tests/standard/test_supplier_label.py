"""Suppliers' labels as scanners type them: what is read, and what is refused instead of guessed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from msdtrack.standard.data_identifiers import IDENTIFIERS
from msdtrack.standard.supplier_label import BadLabel, read_label

RS, GS, EOT = "\x1e", "\x1d", "\x04"

# The 69 bytes of a label in format 06 of ISO/IEC 15434 with identifiers of ANSI MH10.8.2; a
# synthetic example put together by hand from public descriptions of both.
EXAMPLE = bytes.fromhex(
    "5b293e1e3036"
    "1d50435553542d30303432"
    "1d3150414243313233342d51464e3438"
    "1d5131303030"
    "1d31304432363338"
    "1d31544c4f5437413931"
    "1d344c4d59"
    "1d31334533"
    "1e04"
).decode("ascii")

EXAMPLE_FIELDS = [
    ("P", "CUST-0042"),
    ("1P", "ABC1234-QFN48"),
    ("Q", "1000"),
    ("10D", "2638"),
    ("1T", "LOT7A91"),
    ("4L", "MY"),
    ("13E", "3"),
]


def fields(text: str) -> list[tuple[str, str]]:
    """Return what is read of a scan."""
    return [(one.identifier, one.value) for one in read_label(text).fields]


def typed(rs: str, gs: str, eot: str, text: str = EXAMPLE) -> str:
    """Return a label as a scanner types it that sends other signs for the separators."""
    signs = {RS: rs, GS: gs, EOT: eot}
    return "".join(signs.get(sign, sign) for sign in text)


@pytest.mark.oracle
def test_the_worked_example_is_read() -> None:
    """Source: header, format and identifiers of ISO/IEC 15434 and ANSI MH10.8.2, second-hand."""
    assert len(EXAMPLE.encode()) == 69
    read = read_label(EXAMPLE)
    assert fields(EXAMPLE) == EXAMPLE_FIELDS
    assert read.whole
    assert read.doubt == ""


@pytest.mark.oracle
@pytest.mark.parametrize("prefix", ["]d1", "]Q1", "]C0", "]C1", "]L2"])
def test_a_symbology_identifier_in_front_is_taken_off(prefix: str) -> None:
    """Source: ISO/IEC 15424 for Data Matrix, QR, Code 128 and PDF417; ]C1 from memory."""
    assert fields(prefix + EXAMPLE) == EXAMPLE_FIELDS
    assert fields(f"{prefix}1TLOT7A91") == [("1T", "LOT7A91")]


# What keyboard-wedge scanners make of the separators: common practice, no source.
@pytest.mark.parametrize(
    ("rs", "gs", "eot"),
    [
        (RS, GS, EOT),
        (RS, GS, ""),
        ("", GS, EOT),
        ("", GS, ""),
        ("^", "]", "D"),
        ("^", "]", "d"),
        ("^", "]", ""),
        ("^^", "^]", "^D"),
        ("\ue01e", "\ue01d", "\ue004"),
        ("\uf01e", "\uf01d", ""),
        ("\u241e", "\u241d", "\u2404"),
        ("\t", "\t", "\t"),
        ("\t", "\t", ""),
        ("", "\t", ""),
        ("|", "|", "|"),
        ("{RS}", "{GS}", "{EOT}"),
        ("<RS>", "<GS>", "<EOT>"),
        ("\\x1e", "\\x1d", "\\x04"),
    ],
)
def test_what_stands_for_the_separators_is_learned_from_the_header(
    rs: str, gs: str, eot: str
) -> None:
    read = read_label(typed(rs, gs, eot))
    assert [(one.identifier, one.value) for one in read.fields] == EXAMPLE_FIELDS
    assert read.doubt == ""


@pytest.mark.parametrize(
    ("rs", "gs", "eot"), [("030", "029", "004"), ("Alt+030", "Alt+029", "Alt+004"), (" ", " ", " ")]
)
def test_separators_that_could_be_data_are_read_and_said_to_be_doubtful(
    rs: str, gs: str, eot: str
) -> None:
    """Alt+029 typed as its digits: the reading must be compared with the print."""
    read = read_label(typed(rs, gs, eot))
    assert [(one.identifier, one.value) for one in read.fields] == EXAMPLE_FIELDS
    assert gs in read.doubt


@pytest.mark.parametrize(("rs", "eot"), [(RS, EOT), ("^", "D"), ("", ""), ("030", "004")])
def test_dropped_separators_are_refused_with_how_to_set_the_scanner(rs: str, eot: str) -> None:
    with pytest.raises(BadLabel, match="run together") as refused:
        read_label(typed(rs, "", eot))
    assert "ASCII 29, 30 and 4" in refused.value.message


def test_a_value_that_holds_the_doubtful_separator_is_refused() -> None:
    """The digits 029 inside a lot look like a separator: no split of it is sure."""
    label = EXAMPLE.replace("LOT7A91", "LOT029-7")
    assert ("1T", "LOT029-7") in fields(label)
    with pytest.raises(BadLabel, match="holds the same"):
        read_label(typed("030", "029", "004", label))


def test_a_last_value_that_may_hold_the_end_is_refused() -> None:
    """Without its end, nobody can tell whether Q1030 is 1030 pieces or 1 and a separator."""
    label = f"[)>{RS}06{GS}PCUST-0042{GS}1TLOT7{GS}Q1030"
    assert ("Q", "1030") in fields(label)
    with pytest.raises(BadLabel, match="last value"):
        read_label(typed("030", "029", "004", label))
    assert ("Q", "1030") in fields(typed("030", "029", "004", label + RS + EOT))


def test_a_printed_sign_that_ends_a_record_inside_a_value_is_refused() -> None:
    with pytest.raises(BadLabel, match="more than one record"):
        read_label(typed("^", "]", "D", EXAMPLE.replace("LOT7", "LO^T7")))


def test_caps_lock_and_a_wrong_keyboard_layout_are_named() -> None:
    with pytest.raises(BadLabel, match="Caps Lock"):
        read_label(EXAMPLE.swapcase())
    with pytest.raises(BadLabel, match="keyboard layout"):
        read_label("\u00fc=:" + EXAMPLE[3:])


def test_another_format_is_named() -> None:
    with pytest.raises(BadLabel, match="format 05"):
        read_label(f"[)>{RS}05{GS}0112345678901231{RS}{EOT}")


def test_two_values_for_one_thing_are_refused() -> None:
    with pytest.raises(BadLabel, match="two values for lot"):
        read_label(EXAMPLE.replace(f"{GS}4LMY", f"{GS}1TLOT7A92"))


def test_an_unknown_identifier_is_kept_as_it_is() -> None:
    """The list has hundreds of identifiers; one that is not known here is no reason to refuse."""
    assert ("31P", "X-9") in fields(EXAMPLE.replace("4LMY", "31PX-9"))


def test_a_value_longer_than_usual_makes_the_label_doubtful() -> None:
    read = read_label(EXAMPLE.replace("LOT7A91", "L" * 21))
    assert "lot" in read.doubt


def test_single_codes() -> None:
    assert fields("1TLOT7A91") == [("1T", "LOT7A91")]
    assert fields("Q1000") == [("Q", "1000")]
    for plain in ("LOT7A91", "1000", "q1000", "X-9", "1T"):
        read = read_label(plain)
        assert (read.fields, read.text, read.whole) == ((), plain, False)
    with pytest.raises(BadLabel, match="Nothing was read"):
        read_label(" \r\n")


_DATA = st.text(
    st.sampled_from("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-./+ "), min_size=1, max_size=18
).filter(lambda text: text == text.strip())
_FIELDS = st.dictionaries(st.sampled_from(sorted(IDENTIFIERS)), _DATA, min_size=1, max_size=9)
_SURE = st.sampled_from(
    [(RS, GS, EOT), ("", GS, ""), ("^", "]", "D"), ("\ue01e", "\ue01d", "\ue004"), ("\t",) * 3]
)


@given(_FIELDS, _SURE, st.booleans(), st.sampled_from(["", "]d1", "]Q1"]))
def test_whatever_is_put_in_comes_out(
    values: dict[str, str], signs: tuple[str, str, str], trailer: bool, prefix: str
) -> None:
    """A label with any fields, typed by any sure scanner, with or without trailer."""
    rs, gs, eot = signs
    label = prefix + f"[)>{rs}06" + "".join(f"{gs}{name}{value}" for name, value in values.items())
    assert fields(label + (rs + eot if trailer else "")) == list(values.items())


@given(_FIELDS, st.sampled_from([("030", "029", "004"), (" ", " ", " "), ("-", "-", "-")]))
def test_a_doubtful_scanner_never_gives_other_values_unsaid(
    values: dict[str, str], signs: tuple[str, str, str]
) -> None:
    """Either the label is refused, or the reading says that it must be compared with the print."""
    rs, gs, eot = signs
    text = f"[)>{rs}06" + "".join(f"{gs}{name}{value}" for name, value in values.items()) + rs + eot
    try:
        read = read_label(text)
    except BadLabel:
        return
    assert read.doubt or [(one.identifier, one.value) for one in read.fields] == list(
        values.items()
    )


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        read = read_label(text)
    except BadLabel as error:
        told = error.message
    else:
        told = read.text
        assert all(one.value.isprintable() for one in read.fields)
    assert told
