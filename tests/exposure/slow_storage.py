"""The account that the slow computation keeps: what exposure adds, what dry storage resets."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from fractions import Fraction

from msdtrack.standard import derating
from tests.exposure.slow_air import HOUR, MIN, SlowAir, World

SLOWLY_DRIED = ("4", "5", "5a")
QUICKLY_DRIED = ("2", "2a", "3")


@dataclass
class Account:
    """The carrier as it stands; also the answer."""

    inside: str = "bag"  # bag, tired bag, air, oven, gone
    place: str | None = None
    used: Fraction = Fraction(0)
    provisional: Fraction = Fraction(0)
    assumed: Fraction = Fraction(0)
    exposure_s: int = 0
    outside: bool = False
    beyond_s: int = 0
    beyond: bool = False
    full_since: int | None = None
    storing: bool = False
    may_reset: bool = False
    dry_s: int = 0
    counted_s: int = 0
    desiccant_s: int = 0
    five_dry: bool = False
    card_good: bool = False
    card_missing: bool = False
    card_failed: bool = False
    opened_late: bool = False
    history_unknown: bool = False
    shelf_life_ends: date | None = None
    baked: bool = False
    makers_bakes: int = 0
    hot_s: int = 0
    held: bool = False
    home: str | None = None
    bake_started_at: int = 0
    bake_temp_c: float = 0.0
    bake_band: tuple[int, int] | None = None
    bake_need_s: Fraction | None = None
    bake_makers: bool = False
    bake_reached: bool = False
    conflicts: set[str] = field(default_factory=set)
    status: str = ""
    reasons: set[str] = field(default_factory=set)
    bake_reasons: set[str] = field(default_factory=set)
    column: str | None = None
    reset_due_at: int | None = None

    @property
    def share(self) -> Fraction:
        """Return the used share, provisional hours included."""
        return self.used + self.provisional


def day_of(moment: int) -> date:
    """Return the UTC day."""
    return datetime.fromtimestamp(moment, UTC).date()


class SlowStorage(SlowAir):
    """Exposure and dry storage, one step of time after the other, for one moment `at`."""

    def __init__(self, world: World, at: int) -> None:
        super().__init__(world, at)
        self.a = Account(place=world.facts.place)
        self.hot: dict[tuple[str | None, tuple[int, int] | None, int], bool] = {}

    def where(self, t: int) -> str:
        """Return what the step that begins at `t` is: exposed, dry, brief or oven."""
        if self.a.inside == "oven":
            return "oven"
        if self.a.inside == "bag":
            return "dry"
        place = self.a.place
        if self.a.inside == "air" and place and self.w.kinds.get(place) == "cabinet":
            spell = self.cabinet(place, t)
            return "exposed" if spell == "out" else spell
        return "exposed"

    def begin_storage(self) -> None:
        a = self.a
        a.storing, a.dry_s, a.counted_s = True, 0, 0
        limit_h = 12 if self.part.msl in QUICKLY_DRIED else 8
        a.may_reset = (
            self.part.msl in QUICKLY_DRIED + SLOWLY_DRIED
            and a.used < 1
            and not self.bake_only()
            and not a.outside
            and a.exposure_s <= limit_h * HOUR
        )

    def break_storage(self) -> None:
        a = self.a
        if a.storing:
            a.used += a.provisional
            a.exposure_s += a.counted_s
        a.storing, a.may_reset, a.provisional, a.counted_s = False, False, Fraction(0), 0

    def store(self, t: int, kind: str) -> None:
        a, step = self.a, self.w.step_s
        if a.exposure_s == 0:
            return
        if not a.storing:
            self.begin_storage()
        level = self.part.msl
        runs = (level == "6" and self.label_rate() > 0) or (
            level in SLOWLY_DRIED
            and (kind == "brief" or not self.w.policies.pause_levels_4_to_5a.at(t))
        )
        if runs:
            more = self.label_rate() / HOUR * step
            self.note_full(t, self.label_rate() / HOUR)
            a.counted_s += step
            if a.may_reset:
                a.provisional += more
            else:
                a.used += more
        if kind == "dry":
            a.dry_s += step
        factor = 5 if level in QUICKLY_DRIED else 10
        if a.may_reset and a.dry_s >= factor * a.exposure_s:
            self.reset()

    def expose(self, t: int) -> None:
        a, step = self.a, self.w.step_s
        self.break_storage()
        raw, guarded, assumed = self.air(a.place, t)
        per_s = self.rate(raw, guarded, assumed, t) / HOUR
        self.note_full(t, per_s)
        a.used += per_s * step
        if assumed:
            a.assumed += per_s * step
        a.exposure_s += step
        if raw[0] > 3000 or raw[1] > 6000:
            a.outside = True
        if derating.cell_for(*guarded) == derating.BEYOND and self.part.msl != "1":
            a.beyond_s += step
            a.beyond = a.beyond or a.beyond_s > 15 * MIN
        else:
            a.beyond_s = 0

    def note_full(self, t: int, per_s: Fraction) -> None:
        """Note the first whole second of the step at which the share is 1 or more."""
        a = self.a
        if a.full_since is None and a.share + per_s * self.w.step_s >= 1:
            a.full_since = t + max(0, -(-(1 - a.share) // per_s))

    def reset(self) -> None:
        a = self.a
        a.used = a.provisional = a.assumed = Fraction(0)
        a.exposure_s = a.dry_s = a.counted_s = 0
        a.outside = a.storing = a.may_reset = False
        a.full_since = None
        # A reset since the last opening stands for a good card at the next closing.
        a.card_good = True

    def bake_only(self) -> set[str]:
        a, found = self.a, set()
        if self.part.msl == "1":
            return found
        if a.used >= 1:
            found.add("floor_life_exceeded")
        if a.beyond:
            found.add("beyond_table")
        if a.card_failed:
            found.add("hic_failed")
        if a.history_unknown:
            found.add("history_unknown")
        if self.part.msl == "6" and not a.baked:
            found.add("bake_before_use")
        if a.opened_late and a.card_missing:
            found.add("shelf_life_over")
        return found
