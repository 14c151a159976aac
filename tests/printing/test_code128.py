"""Code 128: the published check sums, and modules of whole printer dots."""

from __future__ import annotations

import pytest
from barcode.charsets import code128 as charset

from msdtrack.errors import BadInput
from msdtrack.printing.code128 import (
    DPIS,
    DoesNotFit,
    bar_runs,
    module_count,
    module_dots,
    module_size_mm,
    quiet_zone_mm,
    require_fit,
    symbol_modules,
)

START_A, START_B, CODE_C = 103, 104, 99


def symbol_values(text: str) -> list[int]:
    """Return the symbol characters of a printed code: start, data and check, without stop."""
    modules = symbol_modules(text)
    assert modules.endswith(charset.STOP + "11")
    body = modules[: -len(charset.STOP + "11")]
    return [charset.CODES.index(body[at : at + 11]) for at in range(0, len(body), 11)]


def weighted_sum(start: int, data: list[int]) -> int:
    return start + sum(place * value for place, value in enumerate(data, start=1))


@pytest.mark.oracle
def test_check_sum_of_the_worked_example_with_digit_pairs() -> None:
    # Source: worked example "R00012345" for ISO/IEC 15417, check sum 741, check 20, 101 modules.
    start, *data, check = symbol_values("R00012345")
    assert [start, *data] == [START_B, 50, CODE_C, 0, 1, 23, 45]
    assert weighted_sum(start, data) == 741
    assert check == 741 % 103 == 20
    assert module_count("R00012345") == len(symbol_modules("R00012345")) == 101


@pytest.mark.oracle
def test_check_sum_of_the_worked_example_in_set_a() -> None:
    # Source: worked example "PJJ123C" for ISO/IEC 15417 in code set A: sum 878, check 54. Sets A
    # and B give upper-case letters and digits the same values; we print set B, one more at the
    # start.
    start, *data, check = symbol_values("PJJ123C")
    assert weighted_sum(START_A, data) == 878
    assert 878 % 103 == 54
    assert start == START_B
    assert check == 879 % 103 == 55


@pytest.mark.parametrize(("dpi", "dots"), [(203, 2), (300, 3), (600, 6)])
def test_the_narrow_module_is_the_whole_dots_of_the_trade(dpi: int, dots: int) -> None:
    assert module_dots(dpi) == dots
    assert module_size_mm(dpi) == pytest.approx(0.25, abs=0.005)


@pytest.mark.parametrize(("dpi", "dots"), [(203, 3), (300, 5), (600, 9)])
def test_a_wider_module_is_never_narrower_than_asked(dpi: int, dots: int) -> None:
    assert module_dots(dpi, 0.375) == dots
    assert module_size_mm(dpi, 0.375) > 0.3749


def test_the_white_margin_is_ten_modules_at_every_resolution() -> None:
    for module_mm in (0.25, 0.375, 0.5, 0.875):
        assert all(quiet_zone_mm(module_mm) >= 10 * module_size_mm(dpi, module_mm) for dpi in DPIS)


def test_runs_paint_the_very_modules_of_the_symbol() -> None:
    painted = ["0"] * module_count("C000123V")
    for start, width in bar_runs("C000123V"):
        painted[start : start + width] = "1" * width
    assert "".join(painted) == symbol_modules("C000123V")


def test_other_resolutions_are_refused_with_the_ones_there_are() -> None:
    with pytest.raises(BadInput, match="203, 300, 600 dpi, not 96"):
        module_dots(96)


def test_a_code_too_wide_says_by_how_much() -> None:
    require_fit("C000123V", 0.25, 62)
    with pytest.raises(DoesNotFit, match=r"need 33\.5 mm .* there are 30\.0 mm"):
        require_fit("C000123V", 0.25, 30)
