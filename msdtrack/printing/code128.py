"""Code 128 bars on whole printer dots.

The bars come from python-barcode as a string of modules; how wide a module is printed is decided
here, because a module that is not a whole number of dots comes out uneven and may not decode.

Source: symbology ISO/IEC 15417; its quiet zone of 10 modules on each side from memory.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache

from barcode import Code128

from msdtrack.errors import BadInput

DPIS = (203, 300, 600)
"""Printer resolutions labels are made for, in dots per inch."""

QUIET_MODULES = 10
"""White modules on either side of the bars."""

NARROW_MODULE_MM = 0.25
"""The narrowest module printed: 2 dots at 203 dpi, 3 at 300 dpi, 6 at 600 dpi; never one dot."""

MM_PER_INCH = 25.4


class DoesNotFit(BadInput):
    """What should be printed is too long for its place; nothing was printed."""

    code = "does_not_fit"


@lru_cache(maxsize=512)
def symbol_modules(text: str) -> str:
    """Return the modules of a Code 128 symbol, "1" for a bar and "0" for a space.

    Args:
        text: What a scanner shall type; ASCII.

    Returns:
        Start, data, check and stop characters, without quiet zones.
    """
    modules: str = Code128(text).build()[0]
    return modules


def bar_runs(text: str) -> list[tuple[int, int]]:
    """Return the (first module, width in modules) of every bar, from left to right."""
    bars = re.finditer("1+", symbol_modules(text))
    return [(bar.start(), bar.end() - bar.start()) for bar in bars]


def module_count(text: str) -> int:
    """Return the width of the symbol in modules, without quiet zones."""
    return len(symbol_modules(text))


def module_dots(dpi: int, module_mm: float = NARROW_MODULE_MM) -> int:
    """Return the fewest whole dots that make a module at least `module_mm` wide.

    Args:
        dpi: One of `DPIS`.
        module_mm: In mm, `NARROW_MODULE_MM` or more.

    Raises:
        BadInput: Labels are not made for this resolution.
    """
    if dpi not in DPIS:
        offered = ", ".join(str(each) for each in DPIS)
        raise BadInput(f"Labels are made for {offered} dpi, not {dpi}.")
    # A dot at 203 dpi is 0.1251 mm: two of them are the 0.25 mm module of the trade.
    return max(2, math.ceil(module_mm * dpi / MM_PER_INCH - 0.01))


def module_size_mm(dpi: int, module_mm: float = NARROW_MODULE_MM) -> float:
    """Return the width of a module as printed, in mm: `module_dots` of them."""
    return module_dots(dpi, module_mm) * MM_PER_INCH / dpi


def quiet_zone_mm(module_mm: float) -> float:
    """Return the white left free on either side, in mm: enough at every resolution."""
    return QUIET_MODULES * max(module_size_mm(dpi, module_mm) for dpi in DPIS)


def require_fit(text: str, module_mm: float, width_mm: float) -> None:
    """Check that the bars and both quiet zones fit a width at every resolution.

    Args:
        text: The code.
        module_mm: The narrowest module wanted, in mm.
        width_mm: What there is, quiet zones included, in mm.

    Raises:
        DoesNotFit: They do not; the message says by how much.
    """
    bars_mm = module_count(text) * max(module_size_mm(dpi, module_mm) for dpi in DPIS)
    needed_mm = bars_mm + 2 * quiet_zone_mm(module_mm)
    if needed_mm > width_mm:
        raise DoesNotFit(
            f"The bars of {text} need {needed_mm:.1f} mm with their white margins, there are "
            f"{width_mm:.1f} mm: choose a larger layout, or narrower bars in the layout file."
        )
