"""Codes: made, read back, and refused in plain words when a character is wrong."""

from __future__ import annotations

import string

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from msdtrack.errors import BadInput
from msdtrack.printing.codes import (
    ACTIONS,
    BadCode,
    CodeKind,
    keyboard_fault,
    make_action_code,
    make_code,
    read_code,
)

ALPHABET = string.digits + string.ascii_uppercase
NUMBERED = [kind for kind in CodeKind if kind is not CodeKind.ACTION]

numbered_codes = st.builds(make_code, st.sampled_from(NUMBERED), st.integers(1, 9_999_999))
any_code = st.one_of(numbered_codes, st.sampled_from([make_action_code(name) for name in ACTIONS]))


@pytest.mark.oracle
def test_check_character_is_the_published_one() -> None:
    # Source: the worked number of the documentation of python-stdnum, module iso7064.mod_37_36,
    # which is that of the IFPI Global Release Identifier standard (ISO/IEC 7064 MOD 37,36).
    assert mod_37_36.calc_check_digit("A12425GABC1234002") == "M"


def mod_37_36_by_hand(body: str) -> str:
    """Return the check character by the recursion of ISO/IEC 7064 for hybrid systems.

    Source: ISO/IEC 7064:2003, hybrid systems (from memory): P = M; for each character
    S = (P + value) mod M, or M if that is 0, then P = 2 S mod (M + 1); the check character c
    makes (P + c) mod M equal to 1.
    """
    product = 36
    for character in body:
        total = (product + ALPHABET.index(character)) % 36 or 36
        product = total * 2 % 37
    return ALPHABET[(1 - product) % 36]


@pytest.mark.oracle
@given(any_code)
def test_every_code_ends_in_the_check_character_of_the_standard(code: str) -> None:
    assert mod_37_36_by_hand("A12425GABC1234002") == "M"
    assert code[-1] == mod_37_36_by_hand(code[:-1])


@given(st.sampled_from(NUMBERED), st.integers(1, 99_999_999))
def test_a_numbered_code_reads_back_as_what_it_names(kind: CodeKind, serial: int) -> None:
    code = read_code(make_code(kind, serial))
    assert (code.kind, code.serial, code.action) == (kind, serial, None)
    assert set(code.text) <= set(ALPHABET)


@pytest.mark.parametrize("name", ACTIONS)
def test_an_action_code_reads_back_as_its_action(name: str) -> None:
    code = read_code(make_action_code(name))
    assert code.kind is CodeKind.ACTION
    assert code.action is ACTIONS[name]
    assert code.serial is None
    assert set(code.text) <= set(ALPHABET)


@pytest.mark.parametrize("typed", [" {} ", "{}\r\n", "\t{}", "]C0{}", "{0[0]} {0[1]}{0[2]}"])
def test_what_a_scanner_adds_does_no_harm(typed: str) -> None:
    code = make_code("C", 123)
    parts = (code[0], code[1:5], code[5:])
    text = typed.format(parts) if "[" in typed else typed.format(code)
    assert read_code(text).text == code
    assert read_code(text.lower()).text == code


@given(any_code, st.data())
def test_a_single_wrong_character_is_always_refused(code: str, data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(code) - 1))
    wrong = data.draw(st.sampled_from(ALPHABET).filter(lambda c: c != code[place]))
    with pytest.raises(BadCode):
        read_code(code[:place] + wrong + code[place + 1 :])


@given(any_code, st.data())
def test_two_swapped_neighbours_are_refused(code: str, data: st.DataObject) -> None:
    # A hybrid system of ISO/IEC 7064 misses a swap only of characters whose values are next to
    # each other (0 after Z), and of those one in 36.
    place = data.draw(st.integers(0, len(code) - 2))
    one, other = code[place : place + 2]
    assume((ALPHABET.index(one) - ALPHABET.index(other)) % 36 not in (0, 1, 35))
    with pytest.raises(BadCode):
        read_code(code[:place] + other + one + code[place + 2 :])


def test_at_most_four_in_a_thousand_swaps_of_neighbours_pass() -> None:
    swaps = passed = 0
    for serial in range(1, 3000):
        code = make_code("C", serial)
        for place in range(len(code) - 1):
            if code[place] != code[place + 1]:
                swaps += 1
                swapped = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
                passed += mod_37_36.is_valid(swapped)
    assert passed / swaps <= 0.004


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Nothing was read"),
        ("   \r", "Nothing was read"),
        ("C000123W", "One character is wrong or missing: scan it again"),
        ("C00012V", "One character is wrong or missing: scan it again"),
        ("C-00123V", "keyboard layout"),
        ('Cààà&é"V', "keyboard layout"),
        ("ſ000123V", "keyboard layout"),
        ("X000123V", 'begins with "X"'),
        ("4006381333931", 'begins with "4"'),
        (mod_37_36.calc_check_digit("AFLY").join(["AFLY", ""]), 'no action "FLY"'),
        (mod_37_36.calc_check_digit("C123").join(["C123", ""]), "no carrier code"),
        (mod_37_36.calc_check_digit("C12345X").join(["C12345X", ""]), "no carrier code"),
    ],
)
def test_a_refused_code_says_what_to_do(typed: str, words: str) -> None:
    with pytest.raises(BadCode, match=words) as caught:
        read_code(typed)
    assert caught.value.code == "bad_code"
    assert isinstance(caught.value, BadInput)


def test_a_swapped_letter_points_at_the_keyboard_layout() -> None:
    code = next(c for c in (make_code("C", n) for n in range(1, 999)) if c.endswith("Y"))
    with pytest.raises(BadCode, match="scanner's keyboard layout may be the cause"):
        read_code(code[:-1] + "Z")


@pytest.mark.parametrize(("kind", "serial"), [("A", 1), ("X", 1), ("C", 0), ("C", -5), ("", 1)])
def test_no_code_is_made_for_what_has_none(kind: str, serial: int) -> None:
    with pytest.raises(BadCode):
        make_code(kind, serial)


def test_no_code_is_made_for_an_unknown_action() -> None:
    with pytest.raises(BadCode, match="FLY"):
        make_action_code("FLY")


def test_kind_letters_are_those_of_the_design() -> None:
    letters = {kind.word: kind.value for kind in CodeKind}
    assert letters == {
        "carrier": "C",
        "place": "P",
        "person": "W",
        "action": "A",
        "job": "J",
        "bag": "B",
    }


# What a scanner set to a US layout types on a computer set to another (common practice, no source).
QWERTZ = str.maketrans("YZ", "ZY")
AZERTY = str.maketrans("AQZWM1234567890", "QAWZ?&é\"'(-è_çà")
CZECH = str.maketrans("YZ1234567890", "ZY+ěščřžýáíé")


@pytest.mark.parametrize("layout", [QWERTZ, AZERTY, CZECH])
def test_the_scanner_test_finds_a_wrong_keyboard_layout(layout: dict[int, int]) -> None:
    printed = make_action_code("TEST")
    fault = keyboard_fault(printed.translate(layout))
    assert fault is not None
    assert "keyboard layout" in fault


def test_the_scanner_test_passes_a_right_layout() -> None:
    assert keyboard_fault(make_action_code("TEST") + "\r") is None
    assert keyboard_fault(make_action_code("TEST").lower()) is None


def test_the_scanner_test_says_when_characters_are_missing() -> None:
    assert "instead of" in (keyboard_fault(make_action_code("TEST")[:-3]) or "")


def test_actions_say_what_they_record() -> None:
    assert ACTIONS["HIC10"].hic_spots() == {"5": "humid", "10": "humid", "60": "dry"}
    assert ACTIONS["OPEN"].hic_spots() is None
    closings = {
        name: (action.desiccant, action.hic, action.seal)
        for name, action in ACTIONS.items()
        if action.event == "close"
    }
    assert closings == {
        "CLOSEFRESH": ("fresh", "fresh", "heat"),
        "CLOSEQUICK": ("reused", "kept", "clip"),
        "CLOSEHEAT": ("reused", "kept", "heat"),
    }
    assert {a.temp_c for a in ACTIONS.values() if a.event == "bake_start"} == {125, 90, 40}
    assert [a.minutes_ago for a in ACTIONS.values() if a.minutes_ago] == [5, 15, 30, 60]
    assert all(action.title and action.instruction for action in ACTIONS.values())
