"""Which bakes a carrier may have, which it may not and why."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import inf

from msdtrack.exposure import bake_rules
from msdtrack.exposure.facts import HOUR_S, CarrierFacts, PartFacts
from msdtrack.exposure.ledger import Ledger
from msdtrack.standard import baking, drypack

ON_BOARD = "board"
"""The kind of carrier that a placing on boards makes."""

PLAIN_CARRIERS = "tapes, reels, tubes, strips and trays without a marked temperature"

_NO_NEED = "Level 1 takes no harm from moisture: no bake needed."

CAUTIONS = (
    "Follow the component maker's instructions and the site's own procedures first.",
    "Take it out of the dry bag; no bag, desiccant, indicator card, foam, paper or rubber band in "
    "the oven.",
    "Oven, trays and parts are hot when they come out: use gloves and let them cool.",
    f"Plastic carriers warp or melt: {PLAIN_CARRIERS} stand "
    f"{drypack.LOW_TEMPERATURE_CARRIER_C} °C at most.",
    "Very dry air charges up: ground yourself, the trays and the oven (ESD).",
    "A nitrogen oven or cabinet can displace the air you breathe: keep the room ventilated.",
    "Long bakes oxidise leads and balls: keep the hours above 90 °C within the limit and check "
    "solderability, and the peel of cover tapes, afterwards.",
)


@dataclass(frozen=True, slots=True)
class OvenLimits:
    """What an oven can do. None: not stated."""

    max_temp_c: float | None = None
    max_rh_pct: float | None = None


@dataclass(frozen=True, slots=True)
class BakeOption:
    """One bake: hours at temperature, and the humidity limit of the oven's air."""

    temp_c: float
    hours: Fraction
    max_rh_pct: float | None
    source: str


@dataclass(frozen=True, slots=True)
class Refusal:
    """A bake that may not be done, and why."""

    temp_c: float | None
    why: str


@dataclass(frozen=True, slots=True)
class BakeAdvice:
    """What a bake must be, if one is needed.

    Args:
        needed: only a bake makes the carrier usable.
        column: column of Table 4-1, None where it does not apply.
        options: what is allowed, shortest first.
        chosen: the shortest allowed, None where there is none.
    """

    needed: bool
    reasons: tuple[str, ...]
    column: baking.Column | None
    options: tuple[BakeOption, ...]
    chosen: BakeOption | None
    refused: tuple[Refusal, ...]
    cautions: tuple[str, ...] = CAUTIONS


def advise(
    facts: CarrierFacts, ledger: Ledger, cumulative_h: int, oven: OvenLimits | None = None
) -> BakeAdvice:
    """Return the bake options of a carrier as its account stands.

    Args:
        cumulative_h: the site's limit of hours above 90 °C.
        oven: the oven in question, None for any.

    Source: J-STD-033, Table 4-1.
    """
    part = facts.part
    if part.msl == "1":
        return BakeAdvice(False, (), None, (), None, (Refusal(None, _NO_NEED),))
    return _advice(
        part,
        facts.kind,
        bake_rules.reasons(part, ledger),
        bake_rules.column(part, ledger),
        ledger.maker_bakes,
        ledger.hot_s,
        cumulative_h,
        oven,
    )


@lru_cache(maxsize=4096)
def _advice(
    part: PartFacts,
    kind: str,
    reasons: tuple[str, ...],
    which: baking.Column,
    maker_bakes: int,
    hot_s: int,
    cumulative_h: int,
    oven: OvenLimits | None,
) -> BakeAdvice:
    """Return what carriers alike have in common, most of which were never baked."""
    options: list[BakeOption] = []
    refused: list[Refusal] = []
    for candidate in _candidates(part, maker_bakes, which, refused):
        why_not = _why_not(part, kind, hot_s, candidate, cumulative_h, oven)
        if why_not is None:
            options.append(candidate)
        else:
            refused.append(Refusal(candidate.temp_c, why_not))
    options.sort(key=lambda option: option.hours)
    return BakeAdvice(
        bool(reasons),
        reasons,
        None if part.maker_bake is not None else which,
        tuple(options),
        options[0] if options else None,
        tuple(refused),
    )


def option_at(
    facts: CarrierFacts,
    ledger: Ledger,
    temp_c: float,
    cumulative_h: int,
    oven: OvenLimits | None = None,
) -> BakeOption | Refusal:
    """Return the bake that an oven at `temp_c` gives a carrier, or why it may not have it.

    Args:
        temp_c: stated oven temperature, °C; it need not be one of the table.
        cumulative_h: the site's limit of hours above 90 °C.
        oven: the oven in question, None for any.

    Source: J-STD-033, Table 4-1.
    """
    if facts.part.msl == "1":
        return Refusal(temp_c, _NO_NEED)
    need = bake_rules.need(facts.part, ledger, temp_c)
    if need.hours is None:
        refused: list[Refusal] = []
        which = bake_rules.column(facts.part, ledger)
        known = _candidates(facts.part, ledger.maker_bakes, which, refused)
        why = [one.why for one in refused if one.temp_c in (None, temp_c)]
        if why or not known:
            return Refusal(temp_c, (why or [refused[0].why])[0])
        given = " or ".join(f"{option.temp_c:g}" for option in known)
        return Refusal(temp_c, f"It has no bake at {temp_c:g} °C, only at {given} °C.")
    own = facts.part.maker_bake
    if need.makers and own is not None:
        max_rh_pct = own.max_rh_pct
    else:
        max_rh_pct = baking.MAX_RH_PCT[need.band.low_c100 // 100]
    return checked(
        facts, ledger, BakeOption(temp_c, need.hours, max_rh_pct, need.source), cumulative_h, oven
    )


def checked(
    facts: CarrierFacts,
    ledger: Ledger,
    option: BakeOption,
    cumulative_h: int,
    oven: OvenLimits | None = None,
) -> BakeOption | Refusal:
    """Return the bake if carrier, component, oven and the sum of its bakes allow it, else why not;
    arguments as `option_at`."""
    why = _why_not(facts.part, facts.kind, ledger.hot_s, option, cumulative_h, oven)
    return option if why is None else Refusal(option.temp_c, why)


def _candidates(
    part: PartFacts, maker_bakes: int, which: baking.Column, refused: list[Refusal]
) -> list[BakeOption]:
    own = part.maker_bake
    if own is not None:
        if own.once and maker_bakes:
            refused.append(
                Refusal(own.temp_c, "The maker allows this bake once only, and it has been done.")
            )
            return []
        return [BakeOption(own.temp_c, Fraction(own.hours), own.max_rh_pct, "maker's own bake")]
    found = []
    for temp_c in baking.TEMPS_C:
        hours = bake_rules.table_hours(part, which, temp_c)
        if hours is None:
            refused.append(Refusal(temp_c, _why_no_figure(part)))
        else:
            source = bake_rules.table_source(part, which)
            found.append(BakeOption(temp_c, Fraction(hours), baking.MAX_RH_PCT[temp_c], source))
    return found


def _why_no_figure(part: PartFacts) -> str:
    if part.msl == "6":
        return "Level 6: bake as the label and the maker say; the table has no figure."
    if part.body_mm is None:
        return "The body thickness is not known: enter it, or ask the maker."
    if baking.thickness_row(part.body_mm) is None:
        return "Thicker than 4.5 mm: the table has no figure, ask the maker."
    return "Large BGA or stacked die: only 125 °C is given."


def _why_not(
    part: PartFacts,
    kind: str,
    hot_s: int,
    option: BakeOption,
    cumulative_h: int,
    oven: OvenLimits | None,
) -> str | None:
    temp_c = option.temp_c
    carrier_max_c = carrier_limit_c(part, kind)
    if temp_c > carrier_max_c:
        return (
            f"The {kind} stands {carrier_max_c:g} °C at most: "
            f"move the parts to a carrier marked for {temp_c:g} °C."
        )
    if part.max_bake_c is not None and temp_c > part.max_bake_c:
        return f"The component stands {part.max_bake_c:g} °C at most."
    if temp_c > drypack.HOT_C and Fraction(hot_s, HOUR_S) + option.hours > cumulative_h:
        done = hot_s / HOUR_S
        return f"It would pass the limit of {cumulative_h} h above 90 °C ({done:.1f} h done)."
    if oven is not None:
        if oven.max_temp_c is not None and temp_c > oven.max_temp_c:
            return f"The oven reaches {oven.max_temp_c:g} °C at most."
        limit = option.max_rh_pct
        if limit is not None and (oven.max_rh_pct is None or oven.max_rh_pct > limit):
            return f"It needs air of at most {limit:g} % RH, which this oven does not state."
    return None


def carrier_limit_c(part: PartFacts, kind: str) -> float:
    """Return the highest temperature a carrier of a kind stands, °C: as marked, else 40 °C.

    Components on a board are in no carrier any more: infinity.

    Source: J-STD-033 (low-temperature carriers, published).
    """
    if kind == ON_BOARD:
        return inf
    marked = part.carrier_max_c
    return drypack.LOW_TEMPERATURE_CARRIER_C if marked is None else marked
