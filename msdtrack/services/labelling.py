"""Prints labels of carriers and bags, signs of places, badges and the action card.

Everything printed is on the log; a second print of the same is on it as a reprint.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from msdtrack.errors import BadInput, NotFound
from msdtrack.exposure import bake_rules
from msdtrack.exposure.clock import day
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.spans import MAX_RH_C100, MAX_TEMP_C100
from msdtrack.exposure.state import CarrierState
from msdtrack.printing import card, label, sheet
from msdtrack.printing.label import LabelFacts, SignFacts
from msdtrack.printing.layouts import layout_names, load_layout
from msdtrack.services import catalog, people
from msdtrack.services.carrier_states import states
from msdtrack.standard import levels, recovery
from msdtrack.store import carriers, prints
from msdtrack.store.connection import write

StuckOn = Literal["bag", "carrier"]

CARD = "ACTIONS"
"""What the log calls the action card."""

_UNKNOWN_BAKE = "no figure: ask the maker"


@dataclass(frozen=True, slots=True)
class LabelLayout:
    """A label design to choose from.

    Attributes:
        draws: "carrier" for labels of carriers and bags, "sign" for places and people.
    """

    name: str
    title: str
    draws: str
    width_mm: float
    height_mm: float


def layouts() -> list[LabelLayout]:
    """Return the label designs there are, by name."""
    return [
        LabelLayout(one.name, one.title, one.draws, one.width_mm, one.height_mm)
        for one in map(load_layout, layout_names())
    ]


def label_png(
    code: str,
    layout: str,
    dpi: int,
    now: int,
    person: str | None = None,
    stuck_on: StuckOn | None = None,
    preview: bool = False,
) -> bytes:
    """Return the label of a carrier as a PNG for a label printer.

    Args:
        code: the carrier.
        layout: name of a layout for carriers.
        dpi: 203, 300 or 600.
        now: the present moment.
        person: badge code or name of who prints it.
        stuck_on: which of the two labels it is; None for neither word.
        preview: it is only shown, and not put on the log.

    Raises:
        NotFound: there is no such carrier.
        LayoutError: there is no such layout, or it is for something else.
        DoesNotFit: a fact is too long for the layout.
        BadInput: labels are not made for this resolution.
    """
    facts = label_facts(_states([code], now)[code], stuck_on)
    image = label.label_png(facts, layout, dpi)
    if not preview:
        _log([(code, stuck_on or "carrier")], layout, now, person)
    return image


def labels_pdf(
    codes: Sequence[str],
    layout: str,
    now: int,
    person: str | None = None,
    both: bool = False,
    dpi: int = 300,
    a4: bool = False,
) -> bytes:
    """Return labels of carriers as a PDF, in the order given.

    Args:
        codes: the carriers.
        layout: name of a layout for carriers.
        now: the present moment.
        person: badge code or name of who prints them.
        both: two labels of each, one for the bag and one for the carrier.
        dpi: resolution of the label printer.
        a4: several to an A4 sheet to be cut out, instead of one to a page of its own size.

    Raises:
        NotFound: there is no such carrier.
        LayoutError, DoesNotFit, BadInput: as for `label_png`; nothing is printed then.
    """
    found = _states(codes, now)
    wanted: tuple[StuckOn | None, ...] = ("bag", "carrier") if both else (None,)
    facts = [label_facts(found[code], stuck_on) for code in codes for stuck_on in wanted]
    document = sheet.sheet_pdf(facts, layout) if a4 else label.label_pdf(facts, layout, dpi)
    printed = [(one.code, one.stuck_on or "carrier") for one in facts]
    _log(printed, layout, now, person)
    return document


def place_labels_pdf(codes: Sequence[str], now: int, person: str | None = None) -> bytes:
    """Return signs of places on A4 sheets.

    Raises:
        NotFound: there is no such place.
    """
    signs = []
    for code in codes:
        place = catalog.place(code)
        signs.append(SignFacts(code=code, title=place.name, detail=_air_wanted(place.kind)))
    document = sheet.sheet_pdf(signs, "place")
    _log([(code, "place") for code in codes], "place", now, person)
    return document


def badges_pdf(codes: Sequence[str], now: int, person: str | None = None) -> bytes:
    """Return badges of people on A4 sheets.

    Raises:
        NotFound: nobody has the code.
    """
    badges = [SignFacts(code=code, title=people.badge(code).name) for code in codes]
    document = sheet.sheet_pdf(badges, "badge")
    _log([(code, "person") for code in codes], "badge", now, person)
    return document


def action_card_pdf(now: int, person: str | None = None) -> bytes:
    """Return the action card on A4 pages."""
    document = card.card_pdf()
    _log([(CARD, "card")], "card", now, person)
    return document


def label_facts(state: CarrierState, stuck_on: StuckOn | None = None) -> LabelFacts:
    """Return what the label of a carrier says as things stand.

    Args:
        state: the carrier's state.
        stuck_on: which of the two labels it is; None for neither word.
    """
    facts, ledger = state.facts, state.ledger
    part = facts.part
    bagged = ledger.phase in (Phase.BAGGED, Phase.TIRED_BAG)
    if levels.is_unlimited(part.msl):
        floor_life_h: float | None = math.inf
    else:
        floor_life_h = None if part.label_hours is None else float(part.label_hours)
    return LabelFacts(
        code=facts.code,
        msl=part.msl,
        part=part.number,
        lot=facts.lot,
        quantity=ledger.quantity,
        kind=facts.kind,
        description=part.description,
        floor_life_h=floor_life_h,
        left_h=_left_h(state),
        runs=clock_runs(state, state.status in ("in_dry_bag", "dry_storage")),
        seal_date=ledger.sealed_on,
        shelf_life_ends=state.shelf_life_ends,
        bake_line=bake_line(state),
        bag=ledger.bag if bagged else None,
        stuck_on=stuck_on,
    )


def clock_runs(state: CarrierState, in_dry_storage: bool) -> bool:
    """Return whether the floor life of a carrier goes on being used as it is kept.

    Args:
        state: the carrier's state.
        in_dry_storage: it is in a good dry bag or a dry cabinet.

    Source: J-STD-033, Table 4-3. Levels 4 to 5a count as running: whether a site lets them pause
        may change after the label is printed.
    """
    rule = recovery.dry_storage_rule(state.facts.part.msl)
    pauses = in_dry_storage and rule is not None and rule.pauses
    return not pauses and _left_h(state) is not None


def _left_h(state: CarrierState) -> int | None:
    """Return the whole hours at 30 °C / 60 % RH that are left of a floor life, None if all are."""
    label_h = state.facts.part.label_hours
    if label_h is None or levels.is_unlimited(state.facts.part.msl):
        return None
    if state.bake.needed:
        return 0
    return math.floor((1 - state.used_share) * label_h) if state.used_share else None


def bake_line(state: CarrierState) -> str | None:
    """Return how to bake a carrier, in a few words; None for level 1.

    Fresh from a bake that was complete it says when that was instead.

    A bake that is due now has one figure. Otherwise the label outlives the moment, so it says both
    columns of Table 4-1: the floor life exceeded by up to 72 h, and by more.
    """
    part, advice, ledger = state.facts.part, state.bake, state.ledger
    if levels.is_unlimited(part.msl):
        return None
    baked_at = ledger.baked_at
    whole = not ledger.share and ledger.last_reset_at == baked_at and not advice.needed
    if baked_at is not None and whole:
        return f"baked {day(baked_at).isoformat()}, floor life whole"
    chosen = advice.chosen
    if chosen is None:
        return _UNKNOWN_BAKE
    dry = "" if chosen.max_rh_pct is None else f" at ≤ {chosen.max_rh_pct:g} % RH"
    hours = f"{float(chosen.hours):g} h"
    if advice.column is None:
        return f"{hours} at {chosen.temp_c:g} °C{dry} (maker's)"
    if advice.needed:
        return f"before use: {hours} at {chosen.temp_c:g} °C{dry}"
    if advice.column == "over_72h":
        return f"{chosen.temp_c:g} °C{dry}: {hours}"
    longer_h = bake_rules.table_hours(part, "over_72h", int(chosen.temp_c))
    if longer_h is None:
        return f"{hours} at {chosen.temp_c:g} °C{dry}; late by > 72 h: {_UNKNOWN_BAKE}"
    return f"{chosen.temp_c:g} °C{dry}: {hours}; late by > 72 h: {longer_h} h"


def _air_wanted(kind: str) -> str:
    """Return what the air of a kind of place is meant to be, as a sign says it.

    Source: J-STD-033, clause 5 (30 °C / 60 % RH) and Table 4-3 (dry storage).
    """
    if kind == "oven":
        return "oven"
    if kind == "cabinet":
        wide, narrow = recovery.storage_limit_rh_pct("3"), recovery.storage_limit_rh_pct("4")
        return f"dry cabinet: {wide} % RH at most, {narrow} % for levels 4 to 5a"
    return f"{kind}: {MAX_TEMP_C100 // 100} °C / {MAX_RH_C100 // 100} % RH at most"


def _states(codes: Sequence[str], now: int) -> dict[str, CarrierState]:
    if not codes:
        raise BadInput("There is nothing to print: name at least one code.")
    known = carriers.carriers_by_code(codes)
    for code in codes:
        if code not in known:
            raise NotFound(f"There is no carrier {code}.")
    return states(codes, now)


def _log(printed: Iterable[tuple[str, str]], layout: str, now: int, person: str | None) -> None:
    with write():
        who = None if person is None else people.person_code(person, now)
        for code, stuck_on in printed:
            prints.log_print(code, layout, stuck_on, now, who)
