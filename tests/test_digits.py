"""What is a whole number when typed or scanned: plain digits, and not too many."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from msdtrack.digits import only_digits, whole_number


@pytest.mark.parametrize(
    ("text", "most", "number"),
    [
        ("0", 1, 0), ("7", 1, 7), ("07", 2, 7), ("120", 3, 120), ("9" * 15, 15, 10**15 - 1),
        ("10", 1, None), ("0007", 3, None), ("9" * 5000, 15, None),
        ("", 3, None), (" 7", 3, None), ("7 ", 3, None), ("+7", 3, None), ("-7", 3, None),
        ("7.0", 3, None), ("1_0", 3, None), ("0x7", 3, None), ("7e1", 3, None), ("7\n", 3, None),
        ("٣", 3, None), ("３", 3, None), ("³", 3, None), ("Ⅷ", 3, None), ("C7", 3, None),
    ],
)  # fmt: skip
def test_plain_digits_only(text: str, most: int, number: int | None) -> None:
    """No sign, no space, no digits of other scripts, which a scanner never sends."""
    assert whole_number(text, most) == number


@given(st.integers(0, 10**15 - 1))
def test_every_number_is_read_as_it_is_written(number: int) -> None:
    """With as many digits as it has, and no fewer."""
    text = str(number)
    assert whole_number(text, len(text)) == number
    assert whole_number(text, len(text) - 1) is None


@given(st.text(max_size=8))
def test_any_text_is_read_or_not(text: str) -> None:
    """Nothing that is typed can break it."""
    plain = text != "" and set(text) <= set("0123456789")
    assert only_digits(text) is plain
    assert (whole_number(text, 8) is not None) is plain
