"""The air of each step of time, and what it uses of a floor life, as plainly as possible."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from msdtrack.exposure.events import Event
from msdtrack.exposure.facts import AirSettings, CarrierFacts, Dated, Policies
from msdtrack.standard import derating, levels, recovery
from msdtrack.standard.package_groups import groups_for

MIN = 60
HOUR = 3600
GAP_S = 30 * MIN
DEFAULT = Dated(AirSettings())

Air = tuple[int, int]


@dataclass
class World:
    """Everything known: one carrier, its effective events, the places and the policies."""

    facts: CarrierFacts
    events: Sequence[Event]
    readings: Mapping[str, Sequence[tuple[int, int, int]]]
    settings: Mapping[str, Dated[AirSettings]]
    kinds: Mapping[str, str]
    policies: Policies
    step_s: int = MIN


class SlowAir:
    """Knows the air and its rates as of one moment `at`."""

    def __init__(self, world: World, at: int) -> None:
        self.w = world
        self.at = at
        self.part = world.facts.part
        self.known = {
            place: [r for r in readings if r[0] <= at] for place, readings in world.readings.items()
        }
        self.limit_rh_c100 = 100 * recovery.storage_limit_rh_pct(self.part.msl)
        self.airs: dict[tuple[str | None, int], tuple[Air, Air, bool]] = {}

    def around(
        self, place: str | None, t: int
    ) -> tuple[tuple[int, int, int] | None, tuple[int, int, int] | None]:
        """Return the last reading at or before `t` and the first one after it."""
        before = None
        for reading in self.known.get(place or "", []):
            if reading[0] > t:
                return before, reading
            before = reading
        return before, None

    def settings(self, place: str | None, t: int) -> AirSettings:
        return self.w.settings.get(place or "", DEFAULT).at(t)

    def air(self, place: str | None, t: int) -> tuple[Air, Air, bool]:
        """Return raw air, guarded air and whether it is assumed, in the step that begins at t."""
        if (place, t) not in self.airs:
            self.airs[place, t] = self.new_air(place, t)
        return self.airs[place, t]

    def new_air(self, place: str | None, t: int) -> tuple[Air, Air, bool]:
        if place is None or place not in self.w.kinds:
            return (3000, 6000), (3000, 6000), True
        s = self.settings(place, t)
        before, after = self.around(place, t)
        if self.w.kinds[place] == "oven":
            before = after = None
        if before is None:
            taken, assumed = [], True
        elif after is not None:
            taken, assumed = [before, after], after[0] - before[0] > GAP_S
        else:
            taken, assumed = [before], t >= before[0] + GAP_S
        raw = [(temp, rh) for _, temp, rh in taken]
        guarded = [(a + s.tolerance_temp_c100, b + s.tolerance_rh_c100) for a, b in raw]
        if assumed:
            raw.append((s.assumed_temp_c100, s.assumed_rh_c100))
            guarded.append((s.assumed_temp_c100, s.assumed_rh_c100))
        return (
            (max(a for a, _ in raw), max(b for _, b in raw)),
            (max(a for a, _ in guarded), max(b for _, b in guarded)),
            assumed,
        )

    def label_rate(self) -> Fraction:
        """Return the share per hour of the floor life on the label or of the level."""
        own = self.part.label_floor_life_hours
        if self.part.msl == "1":
            return Fraction(0)
        if self.part.msl == "6":
            return Fraction(0) if own is None else 1 / Fraction(own)
        hours = Fraction(levels.floor_life_h(self.part.msl) or 0)
        if own is not None and own < hours:
            hours = Fraction(own)
        return 1 / hours

    def table_rate(self, cell: int) -> Fraction:
        """Return the share per hour of Table 7-1, the worst of the groups in question."""
        part = self.part
        if cell == derating.BEYOND:
            cell = derating.WORST_CELL
        level = "2a" if part.msl == "2" else part.msl
        rates = []
        for group in groups_for(part.family, part.pins, part.square, part.body_mm):
            days = derating.life_days(group, level, cell)
            rates.append(Fraction(0) if days is None else 1 / (24 * days))
        level_h = levels.floor_life_h(level)
        assert level_h is not None
        own = part.label_floor_life_hours
        factor = level_h / Fraction(own) if own is not None and own < level_h else Fraction(1)
        return max(rates) * factor

    def rate(self, raw: Air, guarded: Air, assumed: bool, t: int) -> Fraction:
        """Return the share per hour of exposure in this air."""
        label = self.label_rate()
        if self.part.msl in ("1", "6"):
            return label
        table = self.table_rate(derating.cell_for(*guarded))
        within = raw[0] <= 3000 and raw[1] <= 6000
        if self.w.policies.credit.at(t) and self.part.compound_confirmed:
            if within:
                return min(label, table)
            return max(label, table) if assumed else table
        return label if within else max(label, table)

    def out_of_limit(self, place: str, t: int) -> bool:
        raw, _, _ = self.air(place, t)
        return raw[1] > self.limit_rh_c100

    def cabinet(self, place: str, t: int) -> str:
        """Return dry, brief or out for the step that begins at `t`."""
        if not self.out_of_limit(place, t):
            return "dry"
        step = self.w.step_s
        start, end = t, t + step
        while end - start <= HOUR and self.out_of_limit(place, start - step):
            start -= step
        while end - start <= HOUR and end <= self.at and self.out_of_limit(place, end):
            end += step
        back = end <= self.at
        return "brief" if back and end - start <= HOUR else "out"
