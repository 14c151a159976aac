"""What is on hand of the parts that a run needs, and what the run may expect of each carrier.

Carriers are folded only as far as they are asked about. Standings and receipts say in which order
to ask; whether a carrier may be used is the fold's answer. Two things are known without a fold of
their own: bags alike that nothing happened to have one outlook, and of carriers in the same air,
whose floor life is used up at the same rate, each uses up as much as the first one did.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import NamedTuple, TypeVar

from msdtrack.exposure.bake_advice import OvenLimits
from msdtrack.exposure.begun import Begun
from msdtrack.exposure.clock import day
from msdtrack.exposure.facts import HOUR_S, Policies
from msdtrack.exposure.places import Places
from msdtrack.exposure.run import LIFTED_BY_TIME, Outlook, PlannedBake, Run, Supposed
from msdtrack.exposure.run import bake_outlook as bake_outlook_of
from msdtrack.exposure.run import outlook as outlook_of
from msdtrack.exposure.state import CarrierState
from msdtrack.services import oven_loads
from msdtrack.services.accounts import Account, accounts
from msdtrack.services.air_cache import all_places
from msdtrack.services.glance import Glance, glance_of, of_standing
from msdtrack.services.run_carriers import (
    OPENED_FOR_ANOTHER,
    Alike,
    Asked,
    Candidate,
    on_hand,
)
from msdtrack.standard import derating, drypack
from msdtrack.store import policies, run_stock
from msdtrack.store import standings as table
from msdtrack.store.run_stock import Out, Resting

AT_ONCE = 16
"""So many carriers are read together: most needs are met by fewer."""

_DOUBT = 1e-8
"""Standings round up 1e-15 of the floor life each second: close to its end the fold is asked."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class PartStock:
    """What is on hand of a part.

    Args:
        begun: carriers that may be usable whose floor life has begun, or which are out of the bag,
            the least floor life left first.
        sealed: bags whose floor life has not begun, the oldest end of shelf life first.
        barred: carriers that may not be used as they are, whatever the time, with the reasons.
    """

    begun: tuple[Candidate, ...]
    sealed: tuple[Candidate, ...]
    barred: tuple[Candidate, ...]

    @property
    def count(self) -> int:
        """Return how many carriers there are."""
        return len(self.begun) + len(self.sealed) + len(self.barred)


class _Use(NamedTuple):
    """What carriers have in common that are in the same air and used up at the same rate.

    Attributes:
        share: of the floor life, used from now to the last reflow.
        per_s: share used a second after it; None: nothing is.
        lasts: nothing but the share used stands against one of them: another lasted, and the air is
            not beyond the table, where the length of a spell counts.
    """

    share: Fraction
    per_s: float | None
    lasts: bool


class Stock:
    """What is on hand of parts, asked about for one run. To be made and used in one transaction.

    Args:
        parts: their numbers.
        run: the run.
        now: the present moment.
        stale: carriers whose standings do not answer; None: none does.
    """

    def __init__(
        self, parts: Iterable[str], run: Run, now: int, stale: Sequence[str] | None
    ) -> None:
        wanted = list(parts)
        self.run, self.now = run, now
        self.places: Places = all_places()
        self.policies: Policies = policies.policies()
        self._resting = [] if stale is None else run_stock.resting(wanted)
        out = run_stock.ever(wanted) if stale is None else run_stock.out(wanted)
        unsure = {one.code for one in out} if stale is None else set(stale)
        self._parts = {number: self._stock(number, out, unsure) for number in wanted}
        self._alike: dict[Alike | None, Asked] = {}
        self._baked_alike: dict[Alike | None, PlannedBake | tuple[str, ...]] = {}
        self._uses: dict[tuple[str, str], _Use] = {}
        self._baking: dict[str, dict[str, int | None]] = {}
        self._opened: dict[str, tuple[int, str | None]] = {}

    def of(self, part: str) -> PartStock:
        """Return what is on hand of one of the parts."""
        return self._parts[part]

    def suppose_opened(self, openings: Mapping[str, tuple[int, str | None]]) -> bool:
        """Suppose from now on that bags are opened for others that are in them; return whether that
        is new.

        Args:
            openings: when and at which place, by carrier; None: where it is then.
        """
        new = {
            code: opening
            for code, opening in openings.items()
            if code not in self._opened or opening[0] < self._opened[code][0]
        }
        self._opened.update(new)
        return bool(new)

    def ask(self, candidates: Sequence[Candidate]) -> Iterator[Asked | None]:
        """Yield what the run may expect of carriers, in their order; None for one that is no more,
        that is on boards, or whose part is another one."""
        for chunk in _chunks(candidates, AT_ONCE):
            # Of those alike the first one says what the others need not be read for.
            unread = {
                self._alike_of(one) or one.code: one.code
                for one in reversed(chunk)
                if self._unfolded(one) is None
            }
            read = {one.facts.code: one for one in self._accounts(unread.values())}
            for one in chunk:
                known = self._unfolded(one)
                if known is None and one.code not in read:
                    read[one.code] = next(self._accounts([one.code]))
                yield known or self._folded(one, read[one.code])

    def knows_bake(self, one: Asked) -> bool:
        """Return whether `bake` can answer without a fold."""
        return self._alike_of(one.candidate) in self._baked_alike

    def bake(
        self, one: Asked, ovens: Mapping[str, OvenLimits], cumulative_h: int
    ) -> PlannedBake | tuple[str, ...]:
        """Return the bake after which a carrier may be used for the run, or why there is none."""
        alike = self._alike_of(one.candidate)
        if alike in self._baked_alike:
            return self._baked_alike[alike]
        (account,) = self._accounts([one.own.code])
        supposed, opening = _supposed(account), self._opened.get(one.own.code)
        found = bake_outlook_of(supposed, self.run, self.now, ovens, cumulative_h)
        if opening is not None and _begins_after(found, opening[0]):
            supposed = supposed.opened(one.own.code, *opening)
            found = bake_outlook_of(supposed, self.run, self.now, ovens, cumulative_h)
            found = found if _begins_after(found, opening[0]) else (OPENED_FOR_ANOTHER,)
        if alike is not None:
            self._baked_alike[alike] = found
        return found

    def shared_bags(self, bags: Iterable[str]) -> dict[str, list[str]]:
        """Return the carriers that are in each of these closed bags."""
        wanted = set(bags)
        had = run_stock.had_bags(wanted)
        # Most bags have ever held one carrier.
        several = {bag: codes for bag, codes in had.items() if len(codes) > 1}
        codes = set().union(*several.values())
        bag_of = {
            found.facts.code: glance_of(found.state(self.now)).more.bag
            for found in self._accounts(sorted(codes))
        }
        return {
            bag: sorted(code for code in codes if bag_of[code] == bag)
            for bag, codes in several.items()
        }

    def _alike_of(self, one: Candidate) -> Alike | None:
        return None if one.code in self._opened else one.alike

    def _stock(self, number: str, out: Sequence[Out], unsure: set[str]) -> PartStock:
        mine = {one.code: one for one in out if one.part == number}
        fresh = table.lines_of(mine.keys() - unsure, self.now) if mine else []
        seen = [of_standing(one, self.now) for one in fresh]
        folded = [code for code in mine if code in unsure]
        for chunk in _chunks(folded, 500):
            seen += [glance_of(one.state(self.now)) for one in self._accounts(chunk)]
        begun: list[Candidate] = []
        barred: list[Candidate] = []
        sealed = [self._sealed(row) for row in self._resting if row.part == number]
        for one in seen:
            if one.status in ("gone", "on_board") or one.part != number:
                continue
            order = (one.shelf_life_ends or date.max, one.more.bag or "", one.code)
            use_class = self._use_class(one, mine[one.code])
            found = Candidate(one.code, order, seen=one, use_class=use_class)
            may_become = one.status == "baking" or LIFTED_BY_TIME.issuperset(one.reasons)
            if one.verdict != "use" and not may_become:
                barred.append(found)
            elif one.status == "in_dry_bag" and not one.was_exposed and not one.used:
                sealed.append(found)
            else:
                begun.append(found)
        begun.sort(key=lambda one: (-one.seen.used if one.seen else 0, one.code))
        sealed.sort(key=lambda one: one.in_order)
        return PartStock(tuple(begun), tuple(sealed), tuple(barred))

    def _sealed(self, row: Resting) -> Candidate:
        if row.shelf_life_ends is not None:
            last = date.fromisoformat(row.shelf_life_ends)
        elif row.sealed_on is not None:
            last = drypack.shelf_life_end(date.fromisoformat(row.sealed_on))
        else:
            last = date.max
        alike = None
        if not row.touched:
            # Not its code, its lot, its pieces or where it rests; nor the day its shelf life ends
            # if that is after the run.
            over = None if last > day(self.run.ends_at) else last
            facts = (row.part, row.kind, row.msl, row.body_mm, row.floor_life_h)
            alike = (*facts, row.sealed_on is None, over)
        return Candidate(row.code, (last, row.bag or "", row.code), row=row, alike=alike)

    def _accounts(self, codes: Iterable[str]) -> Iterator[Account]:
        return accounts(codes, places=self.places, dated=self.policies)

    def _unfolded(self, one: Candidate) -> Asked | None:
        """Return what can be said of a carrier without folding it."""
        seen = one.seen
        alike = self._alike_of(one)
        if one.row is not None and alike in self._alike:
            first, row, last = self._alike[alike], one.row, one.in_order[0]
            own = replace(
                first.own,
                code=row.code,
                lot=row.lot,
                pieces=row.pieces,
                place=row.place,
                bag=row.bag,
                shelf_life_ends=None if last == date.max else last,
            )
            return replace(first, candidate=one, own=own)
        uses = None if one.use_class is None else self._uses.get(one.use_class)
        if seen is None or uses is None:
            return None
        used_at_end = seen.used + float(uses.share)
        if used_at_end > 1 + _DOUBT:
            found = Outlook("take", ("floor_life_ends_before_the_run",), None)
        elif used_at_end < 1 - _DOUBT and uses.lasts and seen.opened_at is not None:
            begins_at, ends_at = self.run.begins_at, self.run.ends_at
            left_s = None if uses.per_s is None else (1 - used_at_end) / uses.per_s
            until = None if left_s is None else ends_at + int(left_s)
            found = Outlook("take", (), begins_at, None, until)
        else:
            return None
        return Asked(one, on_hand(seen), found, None, seen.used)

    def _folded(self, one: Candidate, account: Account) -> Asked | None:
        supposed = _supposed(account)
        now = supposed.state(self.now)
        seen = glance_of(now)
        part = one.row.part if one.row is not None else seen.part
        if seen.status in ("gone", "on_board") or seen.part != part:
            return None
        found = outlook_of(supposed, self.run)
        if one.code in self._opened and found.from_at is not None:
            found = outlook_of(supposed.opened(one.code, *self._opened[one.code]), self.run)
            if found.from_at is None:
                found = replace(found, reasons=(*found.reasons, OPENED_FOR_ANOTHER))
        done_at = None
        if seen.status == "baking" and found.reasons:
            done_at = self._done_at(seen)
            if done_at is not None and done_at <= self.run.begins_at:
                found = outlook_of(supposed.in_a_steady_oven(), self.run)
        bakes = seen.status == "baking"
        asked = Asked(one, on_hand(seen), found, done_at, seen.used, bakes)
        alike = self._alike_of(one)
        if alike is not None:
            self._alike[alike] = asked
        if one.use_class is not None:
            before = self._uses.get(one.use_class)
            if before is None or not before.lasts:
                self._uses[one.use_class] = self._use(now, found)
        return asked

    def _use(self, now: CarrierState, found: Outlook) -> _Use:
        share, left_h = found.used_at_end - now.used_share, found.left_h
        begins_at, ends_at = self.run.begins_at, self.run.ends_at
        spans = self.places.air(now.ledger.place).spans(self.now, begins_at, begins_at)
        spans += self.places.air(self.run.place).spans(begins_at, ends_at, ends_at)
        calm = all(span.key.cell != derating.BEYOND for span in spans)
        per_s = float((1 - found.used_at_end) / (left_h * HOUR_S)) if left_h else None
        return _Use(share, per_s, calm and not found.reasons)

    def _done_at(self, seen: Glance) -> int | None:
        """Return when a running bake is complete if its oven stays hot."""
        oven = seen.bake.oven if seen.bake is not None else None
        if oven is None:
            return None
        if oven not in self._baking:
            inside = oven_loads.oven_now(oven, self.now).baking
            self._baking[oven] = {one.state.facts.code: one.ends_at for one in inside}
        return self._baking[oven].get(seen.code)

    def _use_class(self, seen: Glance, out: Out) -> tuple[str, str] | None:
        """Return what carriers have in common that use up as much as each other up to the end of
        the run: none does whose storage may break or whose cabinet may be dry again."""
        steady = seen.status == "exposed" and not seen.more.provisional
        if not steady or self.places.is_cabinet(seen.place) or seen.place != out.air_place:
            return None
        if out.air_place is None or out.rate_class is None:
            return None
        return out.air_place, out.rate_class


def _begins_after(bake: PlannedBake | tuple[str, ...], at: int) -> bool:
    return isinstance(bake, PlannedBake) and bake.start_by is not None and bake.start_by > at


def _supposed(account: Account) -> Supposed:
    # Its log is folded once and carried on for each moment and each event that is supposed.
    one = replace(account, begun=Begun())
    return Supposed(one.events, lambda events, at: replace(one, events=[*events]).state(at))


def _chunks(items: Sequence[T], size: int) -> Iterator[Sequence[T]]:
    return (items[start : start + size] for start in range(0, len(items), size))
