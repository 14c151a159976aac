"""Shelf life, desiccant and the limits of handling around the dry bag."""

from __future__ import annotations

import math
from datetime import date
from fractions import Fraction
from typing import Final

from dateutil.relativedelta import relativedelta

from msdtrack.errors import BadInput
from msdtrack.standard.figures import load
from msdtrack.standard.quantities import Number, exact_positive

_DATA: Final = load("drypack")

SHELF_LIFE_MONTHS: Final[int] = _DATA["shelf_life"]["value"]
"""Shelf life of a sealed dry bag in months. Source: J-STD-033 (B.1 to D), published."""

RESEAL_WITHIN_MIN: Final[int] = _DATA["reseal_within"]["value"]
"""Longest quick check of an opened bag in minutes. Source: J-STD-033, from memory."""

DESICCANT_REUSE_MIN: Final[int] = _DATA["desiccant_reuse"]["value"]
"""Longest time out, in minutes, of desiccant used again. Source: J-STD-033, from memory."""

HOT_C: Final[int] = _DATA["cumulative_bake"]["above_c"]
"""Hours of bake above this temperature in °C are summed. Source: J-STD-033 (B.1), published."""

CUMULATIVE_BAKE_H: Final[int] = _DATA["cumulative_bake"]["value"]
"""Most hours of bake above `HOT_C`. Source: J-STD-033 (B.1), published; older editions 48 h."""

BAKE_INTERRUPTION_MIN: Final[int] = _DATA["bake_interruption"]["value"]
"""Longest interruption, in minutes, not added to a bake. Source: J-STD-033 (B.1), published."""

CABINET_RECOVERS_WITHIN_MIN: Final[int] = _DATA["cabinet_recovers_within"]["value"]
"""Minutes in which a cabinet is back within its limit. Source: J-STD-033, published."""

LOW_TEMPERATURE_CARRIER_C: Final[int] = _DATA["low_temperature_carrier"]["value"]
"""Hottest bake of carriers not marked for heat, in °C. Source: J-STD-033 (B.1), published."""

REMOVAL_BODY_C: Final[int] = _DATA["removal_body"]["value"]
"""Body temperature in °C above which a board is baked before removal. Source: published."""

_PER_100IN2_MONTH = Fraction(str(_DATA["desiccant"]["per_100in2_month"]))


def shelf_life_end(seal_date: date) -> date:
    """Returns the day on which the shelf life ends: the same day of the month it ends in.

    A day that month does not have becomes its last (29 February: 28 February).

    Args:
        seal_date: The day the bag was sealed.

    Raises:
        BadInput: No calendar has the end.

    Source: J-STD-033 (B.1 to D): 12 months from the seal date, published.
    """
    try:
        return seal_date + relativedelta(months=SHELF_LIFE_MONTHS)
    except (OverflowError, ValueError):
        raise BadInput(f"{seal_date} is no seal date: look at the label again.") from None


def desiccant_units(
    months: Number, wvtr_g_per_100in2_day: Number, area_in2: Number, capacity_g: Number
) -> Fraction:
    """Returns the desiccant a dry bag needs, in units, not rounded (`to_half_units` rounds up).

    Args:
        months: Planned shelf life in months, above 0.
        wvtr_g_per_100in2_day: Water vapour the bag lets through, in g per 100 in2 and day,
            above 0.
        area_in2: Inside surface of the bag, both faces, in in2, above 0.
        capacity_g: Water that one unit takes up at 10 % RH and 25 °C, in g, above 0.

    Raises:
        BadInput: A value that is no number above 0.

    Source: J-STD-033 (B.1) section 3, U = 0.304 M WVTR A / D, as quoted in public.
    """
    months_area_wvtr = (
        exact_positive(wvtr_g_per_100in2_day, "Water vapour transmission (g/100 in2/day)")
        * exact_positive(area_in2, "Bag area in in2")
        * exact_positive(months, "Shelf life in months")
    )
    capacity = exact_positive(capacity_g, "Capacity of a desiccant unit in g")
    return _PER_100IN2_MONTH * Fraction(months_area_wvtr) / Fraction(capacity)


def to_half_units(units: Fraction) -> Fraction:
    """Returns desiccant rounded up to the next half unit, the smallest bag that is sold.

    Source: common practice, no source.
    """
    return Fraction(math.ceil(2 * units), 2)
