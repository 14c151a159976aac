"""What a run takes of one part: carriers in the order to take them, and those it must not use."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from msdtrack.exposure.bake_advice import OvenLimits
from msdtrack.exposure.facts import FOREVER, PartFacts
from msdtrack.exposure.run import Act, PlannedBake, Run
from msdtrack.services.run_carriers import Asked, Candidate, OnHand, as_seen
from msdtrack.services.run_stock import Stock

MOST_BAKES = 30
"""So many carriers of a part are asked about a bake: more than an oven is filled with in a day."""

Verdict = Literal["short", "covered_after_bake", "covered_later", "covered"]
VERDICTS: tuple[Verdict, ...] = ("short", "covered_after_bake", "covered_later", "covered")
"""The most critical first."""


@dataclass(frozen=True, slots=True)
class Step:
    """A carrier that the run takes.

    Args:
        own: the carrier as it is now.
        act: how it comes to the line.
        from_at: the earliest moment to take it or to open it.
        lasts_until: when its floor life ends then, in the air forecast for the line; None: no
            limit there.
        bake: the bake it needs before.
        bake_done_at: when the bake that runs is complete if its oven stays hot.
        opens_too: other carriers in its bag.
        ends_early_at: when its floor life would end if it came when the run begins, for one that
            may come only later.
        reasons: why it needs the bake.
    """

    own: OnHand
    act: Act
    from_at: int
    lasts_until: int | None
    bake: PlannedBake | None = None
    bake_done_at: int | None = None
    opens_too: tuple[str, ...] = ()
    ends_early_at: int | None = None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Barred:
    """A carrier that the run must not use.

    Args:
        reasons: why, as names or sentences.
        ends_early_at: when its floor life ends if it comes when the run begins, where only that
            stands against it.
        bake: the bake after which it could be used, too late for this run.
        ready_at: when it would be ready after that bake, or after the one that runs.
    """

    own: OnHand
    reasons: tuple[str, ...]
    ends_early_at: int | None = None
    bake: PlannedBake | None = None
    ready_at: int | None = None


@dataclass(frozen=True, slots=True)
class PartPlan:
    """What the run takes of a part.

    Args:
        needed: pieces.
        steps: carriers in the order to take them.
        barred: carriers that it must not use, the ones that only need more time first.
        spare: how many carriers besides are on hand and not needed; not all were looked at.
        unasked: how many of the barred ones may need only a bake, but were not asked about it.
    """

    part: PartFacts
    needed: int
    steps: tuple[Step, ...]
    barred: tuple[Barred, ...]
    spare: int
    unasked: int
    run: Run

    @property
    def found(self) -> int:
        """Return the pieces in the carriers it takes."""
        return sum(step.own.pieces for step in self.steps)

    @property
    def short(self) -> int:
        """Return how many pieces are missing."""
        return max(0, self.needed - self.found)

    @property
    def from_start(self) -> int:
        """Return the pieces that are there without a bake when the run begins."""
        ready = (one for one in self.steps if not _baked(one) and not self._later(one))
        return sum(step.own.pieces for step in ready)

    @property
    def verdict(self) -> Verdict:
        """Return how the need is met."""
        if self.short:
            return "short"
        if any(_baked(step) for step in self.steps):
            return "covered_after_bake"
        return "covered_later" if any(map(self._later, self.steps)) else "covered"

    @property
    def covered_from(self) -> int:
        """Return from when on all that is taken may be used."""
        return max((step.from_at for step in self.steps), default=self.run.begins_at)

    def _later(self, step: Step) -> bool:
        return step.from_at > self.run.begins_at


class Choosing:
    """Chooses the carriers of one part."""

    def __init__(
        self,
        stock: Stock,
        run: Run,
        part: PartFacts,
        needed: int,
        ovens: Mapping[str, OvenLimits],
        cumulative_h: int,
    ) -> None:
        self.stock, self.run, self.part, self.needed = stock, run, part, needed
        self.ovens, self.cumulative_h = ovens, cumulative_h
        self.steps: list[Step] = []
        self.later: list[Asked] = []
        self.baking: list[Asked] = []
        self.refused: list[Asked] = []
        self.gone = 0
        self.missing = needed

    def plan(self) -> PartPlan:
        """Take what is out, then bags, then what may come only later, then what bakes already, then
        what a bake makes usable, each only while pieces are missing."""
        mine = self.stock.of(self.part.number)
        self._take(mine.begun)
        self.steps.sort(key=lambda step: (step.lasts_until or FOREVER, step.own.code))
        self._take(mine.sealed)
        self.later.sort(key=lambda one: (one.outlook.from_at or 0, one.candidate.in_order))
        self._add(self.later)
        self._add(self.baking)
        barred, unasked = self._bake_or_bar(mine.barred)
        spare = mine.count - self.gone - len(self.steps) - len(barred)
        return PartPlan(
            self.part, self.needed, tuple(self.steps), tuple(barred), spare, unasked, self.run
        )

    def _take(self, candidates: Sequence[Candidate]) -> None:
        """Take those that last from the beginning, and set the others apart."""
        asked = self.stock.ask(candidates) if self.missing > 0 else iter(())
        for one in asked:
            if one is None:
                self.gone += 1
            elif one.outlook.from_at is None:
                self.refused.append(one)
            elif one.bake_done_at is not None:
                self.baking.append(one)
            elif one.outlook.from_at > self.run.begins_at:
                self.later.append(one)
            else:
                self._add([one])
            if self.missing <= 0:
                return

    def _add(self, found: Iterable[Asked]) -> None:
        for one in found:
            if self.missing <= 0:
                return
            look, from_at = one.outlook, one.outlook.from_at
            assert from_at is not None
            step = Step(one.own, look.act, from_at, look.lasts_until)
            self.missing -= one.own.pieces
            self.steps.append(
                replace(step, bake_done_at=one.bake_done_at, ends_early_at=look.ends_early_at)
            )

    def _bake_or_bar(self, barred: Iterable[Candidate]) -> tuple[list[Barred], int]:
        """Bake what is needed of the carriers that may not be used as they are; return the others,
        and how many of them nobody asked about a bake."""
        refused = [*self.refused, *map(as_seen, barred)]
        refused.sort(key=lambda one: (one.used, one.own.code))
        found: list[tuple[Asked, PlannedBake]] = []
        left: list[Barred] = []
        asked = unasked = 0
        for one in refused:
            look = one.outlook
            why = Barred(one.own, look.reasons, look.ends_early_at, None, one.bake_done_at)
            known = self.stock.knows_bake(one)
            if self.missing <= 0 or one.bakes:
                left.append(why)
            elif asked >= MOST_BAKES and not known:
                left.append(why)
                unasked += 1
            else:
                asked += not known
                bake = self.stock.bake(one, self.ovens, self.cumulative_h)
                if isinstance(bake, tuple):
                    reasons = tuple(dict.fromkeys((*look.reasons, *bake)))
                    left.append(replace(why, reasons=reasons))
                elif bake.start_by is None:
                    left.append(replace(why, bake=bake, ready_at=bake.done_at))
                else:
                    found.append((one, bake))
        found.sort(key=lambda pair: (pair[1].option.hours, pair[0].used, pair[0].own.code))
        for one, bake in found:
            look = one.outlook
            if self.missing > 0:
                step = Step(one.own, "bake", self.run.begins_at, bake.lasts_until, bake)
                self.steps.append(replace(step, reasons=look.reasons))
                self.missing -= one.own.pieces
            else:
                left.append(Barred(one.own, look.reasons, look.ends_early_at))
        left.sort(key=lambda one: (one.ready_at or FOREVER, one.reasons, one.own.code))
        return left, unasked


def _baked(step: Step) -> bool:
    return step.bake is not None or step.bake_done_at is not None
