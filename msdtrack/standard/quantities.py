"""Numbers as they were written: 2.1 mm stays 2.1 mm however it was stored."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from msdtrack.errors import BadInput

Number = float | int | Decimal


def exact_positive(value: Number, what: str) -> Decimal:
    """Returns a number above 0 as the decimal that was written.

    Args:
        value: The number; its shortest decimal form counts, so the float 2.1 is 2.1 exactly.
        what: What it is and its unit, as a sentence begins: "Body thickness in mm".

    Raises:
        BadInput: Not a finite number above 0.
    """
    try:
        exact = Decimal(str(value))
    except InvalidOperation:
        exact = Decimal("NaN")
    if not exact.is_finite() or exact <= 0:
        raise BadInput(f"{what} must be a number above 0, not {value}.")
    return exact


def exact_body(body_mm: Number) -> Decimal:
    """Returns a body thickness in mm as the decimal that was written.

    Raises:
        BadInput: Not a finite number above 0.
    """
    return exact_positive(body_mm, "Body thickness in mm")
