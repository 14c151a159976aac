"""The whole calculation a second time, slow and plain: one step of time after the other.

Written from the rules alone, not from the package, so that a slip in one is not a slip in the
other. Nothing is merged over time or resumed. Every moment (readings, events, changes, the moment
asked) must be a whole number of steps, and a step must divide 15 minutes.
"""

from __future__ import annotations

import itertools
from fractions import Fraction

from msdtrack.exposure.events import Event, Kind
from msdtrack.standard import baking, drypack, indicator
from tests.exposure.slow_air import GAP_S, HOUR, MIN, World
from tests.exposure.slow_log import settled
from tests.exposure.slow_storage import QUICKLY_DRIED, Account, SlowStorage, day_of


class Slow(SlowStorage):
    """Answers for one moment `at`."""

    # --- 4.4 bake ------------------------------------------------------------------------

    def which_column(self, t: int) -> str:
        a = self.a
        if a.outside or self.bake_only() & {
            "beyond_table", "hic_failed", "history_unknown", "shelf_life_over",
        }:  # fmt: skip
            return "over_72h"
        if a.used < 1:
            return "up_to_72h"
        excess_h = (a.used - 1) / self.label_rate()
        if a.full_since is not None:
            excess_h = max(excess_h, Fraction(t - a.full_since, HOUR))
        return "over_72h" if excess_h > 72 else "up_to_72h"

    def start_bake(self, event: Event) -> None:
        a, part = self.a, self.part
        self.break_storage()
        a.beyond_s = 0
        a.inside, a.home, a.place = "oven", a.place, event.place
        a.bake_started_at, a.bake_temp_c = event.at, event.temp_c or 0.0
        a.bake_band = a.bake_need_s = None
        a.bake_makers = a.bake_reached = False
        stated = round(100 * a.bake_temp_c)
        if part.maker_bake is not None:
            low = round(100 * part.maker_bake.temp_c)
            if low <= stated <= low + 500:
                a.bake_makers = True
                a.bake_band = (low, low + 500)
                if not (part.maker_bake.once and a.makers_bakes):
                    a.bake_need_s = Fraction(part.maker_bake.hours) * HOUR
            return
        for temp_c in baking.TEMPS_C:
            if 100 * temp_c <= stated <= 100 * (temp_c + baking.PLUS_C[temp_c]):
                a.bake_band = (100 * temp_c, 100 * (temp_c + baking.PLUS_C[temp_c]))
                hours = baking.user_bake_h(
                    part.msl,
                    part.body_mm,
                    temp_c,
                    self.which_column(event.at),
                    part.large_bga or part.stacked_die,
                )
                a.bake_need_s = None if hours is None else Fraction(hours * HOUR)

    def bake_end_at(self) -> int:
        """Return when the running bake ends, the moment asked at the latest."""
        for event in self.steady_events:
            later = (event.at, event.seq) > self.bake_key
            if later and event.kind in (Kind.MOVE, Kind.LOAD, Kind.BAKE_END):
                return event.at
        return self.at

    def baked_s(self, until: int) -> int:
        """Return the seconds of [bake start, until) that count."""
        a, step = self.a, self.w.step_s
        readings = self.known.get(a.place or "", [])
        start = a.bake_started_at
        if not any(start - GAP_S <= r[0] < self.bake_end_at() for r in readings):
            return until - start
        hot = [t for t in range(start, until, step) if self.in_band(t)]
        counted = len(hot) * step
        for t, following in itertools.pairwise(hot):
            pause = following - t - step
            if pause <= 15 * MIN:
                counted += pause
        return counted

    def in_band(self, t: int) -> bool:
        """Return whether the oven is known to be hot enough, and not too hot, from `t` on."""
        key = (self.a.place, self.a.bake_band, t)
        if key not in self.hot:
            assert self.a.bake_band is not None
            low, high = self.a.bake_band
            before, after = self.around(self.a.place, t)
            if before is None:
                fits = False
            elif after is None:
                fits = t < before[0] + GAP_S and low <= before[1] <= high
            else:
                both = low <= before[1] <= high and low <= after[1] <= high
                fits = both and after[0] - before[0] <= GAP_S
            self.hot[key] = fits
        return self.hot[key]

    def bake(self, t: int) -> None:
        a = self.a
        if a.bake_temp_c > 90:
            a.hot_s += self.w.step_s
        need = a.bake_need_s
        until = t + self.w.step_s
        if need is None or a.bake_reached or until - a.bake_started_at < need:
            return
        if self.baked_s(until) >= need:
            a.bake_reached = True
            self.reset()
            a.baked = True
            a.makers_bakes += a.bake_makers
            a.beyond = a.card_failed = a.card_missing = a.history_unknown = False
            a.opened_late = False

    # --- 4.5 events ----------------------------------------------------------------------

    def happen(self, event: Event) -> None:
        a = self.a
        kind = event.kind
        if kind is Kind.OPEN:
            self.open(event)
        elif kind is Kind.CLOSE:
            self.close(event)
        elif kind is Kind.BAKE_START:
            self.bake_key = (event.at, event.seq)
            self.start_bake(event)
        elif kind in (Kind.MOVE, Kind.LOAD, Kind.BAKE_END):
            if a.inside == "oven":
                a.inside, a.place = "air", a.home
            if event.place is not None:
                a.place = event.place
        elif kind is Kind.HOLD:
            a.held = True
        elif kind is Kind.RELEASE:
            a.held = a.card_missing = False
        elif kind is Kind.SCRAP or event.last:
            a.inside = "gone"

    def open(self, event: Event) -> None:
        a = self.a
        a.inside = "air"
        a.place = event.place or a.place
        if not event.id:
            # Nobody saw this opening, nobody read its card.
            a.card_good = a.five_dry = False
            return
        judged = indicator.judge(self.part.msl, event.hic)
        a.card_good = judged == "good"
        a.card_missing = a.card_missing or judged == "missing"
        a.card_failed = a.card_failed or judged == "failed"
        a.five_dry = (event.hic or {}).get("5") == "dry"
        if a.shelf_life_ends is not None and day_of(event.at) > a.shelf_life_ends:
            a.opened_late = True

    def close(self, event: Event) -> None:
        a = self.a
        a.place = event.place or a.place
        fresh = event.desiccant == "fresh"
        good = fresh or (a.desiccant_s <= 30 * MIN and a.five_dry)
        a.inside = "bag" if good else "tired bag"
        if fresh:
            a.desiccant_s = 0
        if fresh and event.seal == "heat" and event.new_hic == "fresh" and a.card_good:
            a.shelf_life_ends = drypack.shelf_life_end(day_of(event.at))
            # A late bag whose card was never read stays one, whatever it is sealed in now.
            a.opened_late = a.opened_late and a.card_missing

    # --- all of it -----------------------------------------------------------------------

    def answer(self) -> Account:
        a, facts = self.a, self.w.facts
        a.history_unknown = facts.sealed_on is None
        a.shelf_life_ends = facts.shelf_life_ends
        if a.shelf_life_ends is None and facts.sealed_on is not None:
            a.shelf_life_ends = drypack.shelf_life_end(facts.sealed_on)
        so_far = [event for event in self.w.events if event.at <= self.at]
        self.steady_events, a.conflicts = settled(so_far, facts.received_at)
        waiting = list(self.steady_events)
        t = min([facts.received_at, self.at, *(event.at for event in waiting)])
        while True:
            while waiting and waiting[0].at <= t:
                self.happen(waiting.pop(0))
            if t >= self.at:
                break
            self.pass_time(t)
            t += self.w.step_s
        self.conclude()
        return a

    def pass_time(self, t: int) -> None:
        a = self.a
        if a.inside == "gone":
            return
        if a.inside in ("air", "oven"):
            a.desiccant_s += self.w.step_s
        what = self.where(t)
        if what == "exposed":
            self.expose(t)
            return
        a.beyond_s = 0
        if what == "oven":
            self.bake(t)
        else:
            self.store(t, what)

    def conclude(self) -> None:
        a = self.a
        what = "gone" if a.inside == "gone" else self.where(self.at)
        a.status = {
            "gone": "gone",
            "oven": "baking",
            "exposed": "exposed",
            "dry": "in_dry_bag" if a.inside == "bag" else "dry_storage",
            "brief": "dry_storage",
        }[what]
        a.bake_reasons = self.bake_only()
        if a.bake_reasons and self.part.maker_bake is None:
            a.column = self.which_column(self.at)
        a.reasons = set(a.bake_reasons)
        if a.used < 1 <= a.share:
            a.reasons.add("drying")
        if a.card_missing and self.part.msl != "1":
            a.reasons.add("hic_missing")
        late = a.shelf_life_ends is not None and day_of(self.at) > a.shelf_life_ends
        if late and a.inside == "bag" and self.part.msl != "1":
            a.reasons.add("shelf_life_over")
        if a.conflicts:
            a.reasons.add("history_conflict")
        if a.held:
            a.reasons.add("held")
        if a.status in ("baking", "gone"):
            a.reasons.add(a.status)
        if self.part.msl == "6" and self.part.label_floor_life_hours is None:
            a.reasons.add("label_time_missing")
        if a.status in ("in_dry_bag", "dry_storage") and a.exposure_s > 0:
            if not a.storing:
                self.begin_storage()
            if a.may_reset:
                factor = 5 if self.part.msl in QUICKLY_DRIED else 10
                a.reset_due_at = self.at + factor * a.exposure_s - a.dry_s


def slow_answer(world: World, at: int) -> Account:
    """Return the account of the carrier at `at`, computed step by step."""
    return Slow(world, at).answer()
