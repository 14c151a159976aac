"""One bake for several carriers: what dries them all, or how to split what no bake dries
together."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from msdtrack.exposure.bake_advice import (
    BakeOption,
    OvenLimits,
    Refusal,
    advise,
    checked,
    option_at,
)
from msdtrack.exposure.facts import CarrierFacts
from msdtrack.exposure.ledger import Ledger

Wet = tuple[CarrierFacts, Ledger]


@dataclass(frozen=True, slots=True)
class LoadBake:
    """One bake of an oven.

    Args:
        temp_c: oven temperature, °C.
        hours: the longest that one of its carriers needs.
        max_rh_pct: the driest air that one of them needs, % RH; None: no limit.
        codes: the carriers it dries.
    """

    temp_c: float
    hours: Fraction
    max_rh_pct: float | None
    codes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Against:
    """What stands against baking all together at a temperature: carrier and why."""

    temp_c: float
    whys: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class LoadPlan:
    """What an oven can do for the carriers put together.

    Args:
        bakes: bakes that dry all, shortest first; empty where there is none.
        groups: where no bake dries all, the loads to split them into.
        against: why, by temperature, hottest first.
        refused: carriers that this oven can't bake at all, with the reason.
    """

    bakes: tuple[LoadBake, ...]
    groups: tuple[LoadBake, ...]
    against: tuple[Against, ...]
    refused: tuple[tuple[str, str], ...]


def plan(
    carriers: Sequence[Wet],
    cumulative_h: int,
    oven: OvenLimits | None = None,
    running_c: float | None = None,
) -> LoadPlan:
    """Return how carriers are baked in one oven.

    All stay in until the slowest is dry, so each is checked for the hours of the whole load. The
    maker's own bake is given for its own hours, neither more nor less.

    Args:
        carriers: facts and account of each.
        cumulative_h: the site's limit of hours above 90 °C for each carrier.
        oven: what the oven can do, None for any.
        running_c: temperature the oven runs at with other goods in it, °C; None: it is free.

    Source: J-STD-033, Table 4-1.
    """
    plans = _Plans(carriers, cumulative_h, oven, running_c)
    refused = tuple((code, why) for code, why in plans.refused.items())
    wanted = [code for code in plans.wet if code not in plans.refused]
    if not wanted:
        return LoadPlan((), (), (), refused)
    whole = [bake for bake in plans.bakes if set(wanted) <= set(bake.codes)]
    if whole:
        shortest = {bake.temp_c: bake for bake in reversed(whole)}
        best = sorted(shortest.values(), key=lambda bake: bake.hours)
        return LoadPlan(tuple(best), (), (), refused)
    return LoadPlan((), plans.split(wanted), plans.against(wanted), refused)


class _Plans:
    def __init__(
        self,
        carriers: Iterable[Wet],
        cumulative_h: int,
        oven: OvenLimits | None,
        running_c: float | None,
    ) -> None:
        self.wet = {facts.code: (facts, ledger) for facts, ledger in carriers}
        self.cumulative_h, self.oven = cumulative_h, oven
        advices = {code: advise(*wet, cumulative_h, oven) for code, wet in self.wet.items()}
        if running_c is not None:
            temps: set[float] = {running_c}
        else:
            temps = {option.temp_c for one in advices.values() for option in one.options}
        self.at: Mapping[float, Mapping[str, BakeOption | Refusal]] = {
            temp_c: {
                code: option_at(*wet, temp_c, cumulative_h, oven) for code, wet in self.wet.items()
            }
            for temp_c in sorted(temps, reverse=True)
        }
        self.refused: dict[str, str] = {}
        for code, advice in advices.items():
            if any(isinstance(found[code], BakeOption) for found in self.at.values()):
                continue
            whys = [one.why for one in advice.refused]
            if running_c is not None and isinstance(found := self.at[running_c][code], Refusal):
                whys = [f"The oven runs at {running_c:g} °C. {found.why}"]
            self.refused[code] = " ".join(dict.fromkeys(whys))
        self.bakes = sorted(self._all_bakes(), key=lambda bake: bake.hours)

    def _all_bakes(self) -> Iterable[LoadBake]:
        for temp_c, found in self.at.items():
            options = [one for one in found.values() if isinstance(one, BakeOption)]
            for hours in sorted({option.hours for option in options}):
                fits = {
                    code: option
                    for code in found
                    if isinstance(option := self._for(code, temp_c, hours), BakeOption)
                }
                limits = [one.max_rh_pct for one in fits.values() if one.max_rh_pct is not None]
                if fits:
                    yield LoadBake(temp_c, hours, min(limits, default=None), tuple(fits))

    def _for(self, code: str, temp_c: float, hours: Fraction) -> BakeOption | Refusal:
        """Return what a load of these hours is for a carrier."""
        option = self.at[temp_c][code]
        if isinstance(option, Refusal):
            return option
        if option.hours > hours:
            return Refusal(temp_c, f"It needs {float(option.hours):g} h.")
        facts, ledger = self.wet[code]
        if facts.part.maker_bake is not None and option.hours < hours:
            own_h = float(option.hours)
            why = f"Its maker gives {own_h:g} h at {temp_c:g} °C, the others need {float(hours):g}."
            return Refusal(temp_c, why)
        longer = replace(option, hours=hours)
        return checked(facts, ledger, longer, self.cumulative_h, self.oven)

    def split(self, wanted: Sequence[str]) -> tuple[LoadBake, ...]:
        """Return the loads that together dry all: two if two can, the shortest in sum."""
        pairs = [
            pair
            for pair in itertools.combinations(self.bakes, 2)
            if set(wanted) <= {*pair[0].codes, *pair[1].codes}
        ]
        if pairs:
            first, second = min(pairs, key=lambda pair: pair[0].hours + pair[1].hours)
            return self._parted([first, second], wanted)
        chosen, left = [], set(wanted)
        while left:
            best = max(self.bakes, key=lambda bake: (len(left & set(bake.codes)), -bake.hours))
            chosen.append(best)
            left -= set(best.codes)
        return self._parted(sorted(chosen, key=lambda bake: bake.hours), wanted)

    def _parted(self, bakes: Sequence[LoadBake], wanted: Sequence[str]) -> tuple[LoadBake, ...]:
        """Return the bakes, each carrier in the first that dries it, no longer than they need."""
        left, parted = list(wanted), []
        for bake in bakes:
            mine = tuple(code for code in left if code in bake.codes)
            left = [code for code in left if code not in mine]
            if mine:
                options = [self.at[bake.temp_c][code] for code in mine]
                hours = max(one.hours for one in options if isinstance(one, BakeOption))
                parted.append(replace(bake, codes=mine, hours=hours))
        return tuple(parted)

    def against(self, wanted: Sequence[str]) -> tuple[Against, ...]:
        """Return what stands against one bake for all, at each temperature."""
        found = []
        for temp_c, options in self.at.items():
            hours = [o.hours for code in wanted if isinstance(o := options[code], BakeOption)]
            if not hours:
                continue
            each = [(code, self._for(code, temp_c, max(hours))) for code in wanted]
            whys = tuple((code, one.why) for code, one in each if isinstance(one, Refusal))
            found.append(Against(temp_c, whys))
        return tuple(found)
