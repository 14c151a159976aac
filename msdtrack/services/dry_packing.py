"""Closing a dry bag: how much desiccant it needs, and what its closing label says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final

from msdtrack.errors import BadInput, FieldError, NotFound
from msdtrack.exposure.clock import day
from msdtrack.exposure.state import CarrierState
from msdtrack.printing import label
from msdtrack.services import labelling
from msdtrack.services.carrier_states import states
from msdtrack.services.people import person_code
from msdtrack.standard import baking, drypack
from msdtrack.store import carriers, catalog, prints
from msdtrack.store.connection import write

LAYOUT: Final = "closing"
MM2_PER_IN2: Final = Decimal("645.16")


@dataclass(frozen=True, slots=True)
class BagSize:
    """A size of dry bag, measured inside.

    Source: common practice, no source.
    """

    name: str
    width_mm: int
    length_mm: int


BAG_SIZES: Final[tuple[BagSize, ...]] = (
    BagSize("small reel", 200, 250),
    BagSize("large reel", 400, 450),
    BagSize("stack of trays", 250, 500),
    BagSize("bundle of tubes", 150, 650),
)


@dataclass(frozen=True, slots=True)
class NewPacking:
    """What a person says of a bag.

    Args:
        width_mm, length_mm: inside of the bag between its seals, mm.
        wvtr_g_per_100in2_day: water vapour it lets through, g per 100 in2 and day, from its maker.
        unit_g: water that one unit of desiccant takes up at 10 % RH and 25 °C, g, from its maker.
        months: planned shelf life.
    """

    width_mm: float
    length_mm: float
    wvtr_g_per_100in2_day: float
    unit_g: float
    months: int = drypack.SHELF_LIFE_MONTHS


@dataclass(frozen=True, slots=True)
class Packing:
    """What a bag needs.

    Args:
        area_in2: inside surface, both faces, in2.
        units: desiccant by the formula, not rounded.
        half_units: the same rounded up to half units, what to put in.
    """

    new: NewPacking
    area_in2: Decimal
    units: Fraction
    half_units: Fraction

    @property
    def line(self) -> str:
        """Return it as the closing label says it."""
        word = "unit" if self.half_units <= 1 else "units"
        size = f"{self.new.width_mm:g} x {self.new.length_mm:g} mm"
        return f"{float(self.half_units):g} {word}, bag {size}"


@dataclass(frozen=True, slots=True)
class ShelfLife:
    """When the shelf life will end if the bag is closed now.

    Args:
        ends: the last day; None: not known.
        is_new: a new shelf life begins.
        why: what decides, in a sentence.
    """

    ends: date | None
    is_new: bool
    why: str


@dataclass(frozen=True, slots=True)
class SupplierBake:
    """A bake before dry packing: hours at each temperature, and where they stand.

    Args:
        hours: (temperature in °C, hours or None where there is no figure).
    """

    part: str
    msl: str
    body_mm: float | None
    hours: tuple[tuple[int, int | None], ...]
    source: str


def packing(new: NewPacking) -> Packing:
    """Return how much desiccant a bag needs.

    Raises:
        BadInput: a value that can't be; the field is named.

    Source: J-STD-033 (B.1) section 3, U = 0.304 M WVTR A / D; half units: common practice.
    """
    wrong = [
        FieldError(name, "above 0")
        for name in ("width_mm", "length_mm", "wvtr_g_per_100in2_day", "unit_g", "months")
        if not 0 < getattr(new, name) < float("inf")
    ]
    if wrong:
        raise BadInput(f"{wrong[0].field}: {wrong[0].message}.", wrong)
    area = 2 * Decimal(str(new.width_mm)) * Decimal(str(new.length_mm)) / MM2_PER_IN2
    units = drypack.desiccant_units(new.months, new.wvtr_g_per_100in2_day, area, new.unit_g)
    return Packing(new, area, units, drypack.to_half_units(units))


def shelf_life(state: CarrierState) -> ShelfLife:
    """Return the shelf life of a carrier that is closed now with everything fresh and heat-sealed.

    Source: J-STD-033: a new shelf life after a good humidity card or a reset.
    """
    ledger = state.ledger
    if ledger.hic_good:
        ends = drypack.shelf_life_end(day(state.at))
        return ShelfLife(ends, True, "A new one begins: heat seal, fresh desiccant, fresh card.")
    why = "Its card was not read as good and nothing has reset it: the earlier end stands."
    return ShelfLife(state.shelf_life_ends, False, why)


def supplier_bake(number: str) -> SupplierBake:
    """Return how a part is baked before it is dry-packed.

    Raises:
        NotFound: there is no such part.

    Source: J-STD-033 (D) Table 4-2.
    """
    part = catalog.part(number)
    hours = tuple(
        (temp_c, baking.supplier_bake_h(part.msl, part.body_mm, temp_c))
        for temp_c in baking.SUPPLIER_TEMPS_C
    )
    source = baking.supplier_bake_source(part.msl, part.body_mm)
    return SupplierBake(part.number, part.msl, part.body_mm, hours, source)


def closing_labels_pdf(
    codes: Sequence[str], what: Packing, now: int, person: str | None = None
) -> bytes:
    """Return the closing label of a bag for each carrier in it, as PDF.

    Raises:
        NotFound: there is no such carrier.
        BadInput: no carrier is named.
        DoesNotFit: a fact is too long for the layout.
    """
    if not codes:
        raise BadInput("There is nothing to print: name at least one code.")
    known = carriers.carriers_by_code(codes)
    for code in codes:
        if code not in known:
            raise NotFound(f"There is no carrier {code}.")
    found = states(codes, now)
    facts = []
    for code in codes:
        state = found[code]
        one = replace(labelling.label_facts(state, "bag"), desiccant=what.line)
        if state.opened_at is not None:
            # It is printed before the bag is closed, for the bag that is being closed.
            life = shelf_life(state)
            one = replace(
                one,
                seal_date=day(now) if life.is_new else one.seal_date,
                shelf_life_ends=life.ends,
                runs=labelling.clock_runs(state, in_dry_storage=True),
            )
        facts.append(one)
    document = label.label_pdf(facts, LAYOUT)
    with write():
        who = None if person is None else person_code(person, now)
        for code in codes:
            prints.log_print(code, LAYOUT, "bag", now, who)
    return document
