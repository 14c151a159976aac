"""Folds a carrier's events over the air of its places (design 4.3 to 4.5).

`fold` makes a `Ledger` at a moment; `Fold` can be kept and carried on from where it stands, which
gives the same ledger as folding anew: every sum is exact and stretches of time may be split
anywhere.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from dataclasses import replace
from datetime import UTC, date, datetime
from fractions import Fraction
from math import lcm

from msdtrack.exposure import bake_rules, oven
from msdtrack.exposure.air import AirKey, PlaceAir, Span
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import HOUR_S, CarrierFacts, PartFacts, Policies
from msdtrack.exposure.joining import absorb
from msdtrack.exposure.ledger import Bake, Basis, Interval, Joined, Ledger, Phase, Storage
from msdtrack.exposure.rates import label_rate, rate
from msdtrack.standard import derating, drypack, indicator, recovery

BEYOND_TABLE_S = 15 * 60
"""Longer than this beyond Table 7-1 without a break, and only a bake resets (design 4.2)."""

HOT_C = 90

NO_PLACE = PlaceAir(None)

DURING_A_BAKE = frozenset({Kind.HOLD, Kind.RELEASE, Kind.SPLIT, Kind.TAKE})
"""Kinds that leave a running bake as it is."""


class Places:
    """The air of each place, and which places are dry cabinets or ovens."""

    def __init__(self, airs: Mapping[str, PlaceAir], kinds: Mapping[str, str]) -> None:
        self._airs = airs
        self._kinds = kinds
        self._oven_floor: dict[str, PlaceAir] = {}

    def is_cabinet(self, code: str | None) -> bool:
        """Return whether the place is a dry cabinet."""
        return code is not None and self._kinds.get(code) == "cabinet"

    def is_oven(self, code: str | None) -> bool:
        """Return whether the place is an oven."""
        return code is not None and self._kinds.get(code) == "oven"

    def air(self, code: str | None) -> PlaceAir:
        """Return the air a carrier is exposed to there: never an oven's own readings."""
        if code is None or code not in self._airs:
            return NO_PLACE
        if self._kinds.get(code) == "oven":
            if code not in self._oven_floor:
                self._oven_floor[code] = replace(self._airs[code], readings=())
            return self._oven_floor[code]
        return self._airs[code]

    def oven(self, code: str | None) -> PlaceAir:
        """Return an oven's own readings."""
        return NO_PLACE if code is None else self._airs.get(code, NO_PLACE)


class Fold:
    """Carries one carrier's account through time.

    Args:
        facts: the carrier.
        places: the air of the places it has been.
        policies: the site's dated choices.
        at: the moment asked about; readings up to it count.
        joined: by join event, the account of what was joined into this carrier.
        working: keep the intervals behind the account; without them it is made much sooner.
    """

    def __init__(
        self,
        facts: CarrierFacts,
        places: Places,
        policies: Policies,
        at: int,
        joined: Mapping[str, Joined] | None = None,
        working: bool = True,
    ) -> None:
        self.facts = facts
        self.working = working
        self.part = facts.part
        self.places = places
        self.policies = policies
        self.at = at
        self.joined = joined or {}
        self._rule = recovery.dry_storage_rule(self.part.msl)
        self._limit_rh_c100 = recovery.storage_limit_rh_pct(self.part.msl) * 100
        sealed = facts.sealed_on
        self.ledger = Ledger(
            now=-(1 << 40),
            phase=Phase.BAGGED,
            place=facts.place,
            bag=facts.bag,
            quantity=facts.quantity,
            known_closed_at=facts.received_at,
            shelf_life_ends=facts.shelf_life_ends
            or (None if sealed is None else drypack.shelf_life_end(sealed)),
            history_unknown=sealed is None and self.part.msl != "1",
            unknowns=frozenset({"history_unknown"} if sealed is None else ()),
        )

    # -- time ------------------------------------------------------------------------------

    def advance(self, to: int) -> None:
        """Carry the account on to the moment `to`; earlier moments change nothing."""
        ledger = self.ledger
        if to <= ledger.now:
            return
        start, ledger.now = ledger.now, to
        if ledger.gone is not None:
            return
        if ledger.phase is not Phase.BAGGED:
            self._note_stay(start, to)
        if ledger.phase is Phase.BAKING:
            self._bake_time(start, to)
        elif ledger.phase is Phase.BAGGED:
            self._store(start, to, dries=True, what="in its dry bag")
        elif ledger.phase is Phase.OPEN and self.places.is_cabinet(ledger.place):
            air = self.places.air(ledger.place)
            for s, e, spell in air.spells(start, to, self.at, self._limit_rh_c100):
                if spell == "dry":
                    self._store(s, e, dries=True, what="in the dry cabinet")
                elif spell == "brief":
                    self._store(s, e, dries=False, what="cabinet excursion, back within 60 min")
                else:
                    self._expose(s, e, "cabinet out of its limit")
        else:
            tired = ledger.phase is Phase.TIRED_BAG
            self._expose(start, to, "in a bag whose desiccant does not count" if tired else "")

    def _expose(self, start: int, end: int, note: str) -> None:
        ledger = self.ledger
        self._break_storage(start)
        credit = self.policies.credit
        if not self.working:
            self._expose_at_once(start, end)
            return
        for span in self.places.air(ledger.place).spans(start, end, self.at):
            edges = [span.start, *credit.moments_between(span.start, span.end), span.end]
            for s, e in itertools.pairwise(edges):
                self._expose_span(span._replace(start=s, end=e), credit.at(s), note)

    def _expose_at_once(self, start: int, end: int) -> None:
        """Expose it as `_expose_span` does, but sum the seconds of each rate first."""
        ledger, credit = self.ledger, self.policies.credit
        air = self.places.air(ledger.place)
        edges = [start, *credit.moments_between(start, end), end]
        pieces = [
            (span, credit.at(s))
            for s, e in itertools.pairwise(edges)
            for span in air.spans(s, e, self.at)
        ]
        seconds: dict[tuple[AirKey, bool], int] = {}
        run_s = ledger.beyond_run_s
        for (span_start, span_end, key, _, _), credited in pieces:
            span_s = span_end - span_start
            seconds[key, credited] = seconds.get((key, credited), 0) + span_s
            run_s = run_s + span_s if key.cell == derating.BEYOND else 0
            if run_s > BEYOND_TABLE_S and self.part.msl != "1":
                ledger.beyond_table = True
        rates = {of: rate(self.part, *of) for of in seconds}
        shares = {of: rates[of] * of_s for of, of_s in seconds.items()}
        share = sum(shares.values(), Fraction(0))
        if ledger.used < 1 <= ledger.used + share:
            ledger.full_since = _moment_of(1 - ledger.used, pieces, rates)
        ledger.used += share
        ledger.exposure_s += end - start
        ledger.beyond_run_s = run_s
        for (key, _), of_share in shares.items():
            if not key.within_30_60:
                ledger.outside_30_60 = True
            if key.missing is not None:
                ledger.assumed += of_share
                ledger.unknowns |= {key.missing}

    def _note_stay(self, start: int, end: int) -> None:
        """Note where the air has decided about it."""
        place, stays = self.ledger.place, self.ledger.stays
        if place is None:
            return
        if stays and stays[-1][0] == place and stays[-1][2] == start:
            start = stays.pop()[1]
        stays.append((place, start, end))

    def _expose_span(self, span: Span, credit: bool, note: str) -> None:
        ledger, key = self.ledger, span.key
        seconds = span.end - span.start
        per_s = rate(self.part, key, credit)
        share = per_s * seconds
        if ledger.used < 1 <= ledger.used + share:
            ledger.full_since = span.start + _ceil((1 - ledger.used) / per_s)
        ledger.used += share
        ledger.exposure_s += seconds
        if not key.within_30_60:
            ledger.outside_30_60 = True
        ledger.beyond_run_s = ledger.beyond_run_s + seconds if key.cell == derating.BEYOND else 0
        if ledger.beyond_run_s > BEYOND_TABLE_S and self.part.msl != "1":
            ledger.beyond_table = True
        basis: Basis = "measured"
        if key.missing is not None:
            basis = "assumed"
            ledger.assumed += share
            ledger.unknowns |= {key.missing}
        self._record(span.start, span.end, basis, per_s, share, span, note)

    def _store(self, start: int, end: int, dries: bool, what: str) -> None:
        ledger = self.ledger
        ledger.beyond_run_s = 0
        storage = ledger.storage = ledger.storage or self._new_storage(start)
        if ledger.exposure_s == 0:
            if ledger.last_reset_at is not None or ledger.intervals:
                self._record(start, end, "dry_storage", Fraction(0), Fraction(0), None, what)
            return
        reset_at = None
        if storage.reset_possible and dries and self._rule is not None:
            need = self._rule.factor * ledger.exposure_s - storage.dry_s
            if end - start >= need:
                reset_at, end_counted = start + need, start + need
            else:
                end_counted = end
        else:
            end_counted = end
        pause = self.policies.pause_levels_4_to_5a
        edges = [start, *pause.moments_between(start, end_counted), end_counted]
        for s, e in itertools.pairwise(edges):
            self._store_piece(s, e, storage_rate(self.part, dries and pause.at(s)), what)
        if dries:
            storage.dry_s += end_counted - start
        if reset_at is not None:
            self._reset(reset_at)
            ledger.storage = self._new_storage(reset_at)
            if reset_at < end:
                self._store(reset_at, end, dries, what)

    def _store_piece(self, start: int, end: int, per_s: Fraction, what: str) -> None:
        if start >= end:
            return
        ledger, storage = self.ledger, self.ledger.storage
        assert storage is not None
        share = per_s * (end - start)
        basis: Basis = "dry_storage"
        note = what
        if share:
            if ledger.share < 1 <= ledger.share + share:
                full_at = start + _ceil((1 - ledger.share) / per_s)
                if storage.reset_possible:
                    storage.full_since = full_at
                else:
                    ledger.full_since = full_at
            storage.counted_s += end - start
            if storage.reset_possible:
                storage.provisional += share
                basis = "provisional"
                note = f"{what}: clock running until the reset"
            else:
                ledger.used += share
                note = f"{what}: moisture inside moves on, the clock runs"
        self._record(start, end, basis, per_s, share, None, note)

    def _new_storage(self, start: int) -> Storage:
        return Storage(start, can_reset_by_storage(self.part, self.ledger))

    def _break_storage(self, at: int) -> None:
        ledger, storage = self.ledger, self.ledger.storage
        ledger.storage = None
        if storage is None:
            return
        ledger.exposure_s += storage.counted_s
        if not storage.provisional:
            return
        ledger.used += storage.provisional
        if ledger.used >= 1 and ledger.full_since is None:
            ledger.full_since = storage.full_since
        ledger.intervals = [
            replace(line, basis="dry_storage", note="storage broke before the reset: it counts")
            if line.basis == "provisional"
            else line
            for line in ledger.intervals
        ]

    def _bake_time(self, start: int, end: int) -> None:
        ledger, bake = self.ledger, self.ledger.bake
        assert bake is not None
        if bake.temp_c > HOT_C:
            ledger.hot_s += end - start
        hours = bake.need.hours
        needed_s = None if hours is None else _ceil(hours * HOUR_S)
        done = oven.progress(
            self.places.oven(bake.oven), bake.need.band, bake.started_at, end, self.at, needed_s
        )
        note = f"bake at {bake.temp_c:g} °C, {done.basis}"
        if done.reached_at is not None and bake.reached_at is None:
            bake.reached_at = done.reached_at
            self._record(start, max(start, done.reached_at), "bake", *_NOTHING, None, note)
            self._reset(done.reached_at)
            ledger.baked_once, ledger.baked_at = True, done.reached_at
            ledger.maker_bakes += bake.need.makers
            ledger.hic_failed = ledger.hic_missing = ledger.history_unknown = False
            ledger.opened_after_shelf_life = False
            start = max(start, done.reached_at)
        self._record(start, end, "bake", *_NOTHING, None, note)

    def _reset(self, at: int) -> None:
        ledger = self.ledger
        ledger.used = ledger.assumed = Fraction(0)
        ledger.exposure_s = ledger.beyond_run_s = 0
        ledger.outside_30_60 = ledger.beyond_table = False
        ledger.full_since = ledger.storage = None
        ledger.last_reset_at = at
        ledger.hic_good = True
        ledger.unknowns &= {"history_unknown"} if ledger.history_unknown else frozenset()
        ledger.before_reset = ledger.before_reset + ledger.intervals
        ledger.intervals = []

    def _record(
        self,
        start: int,
        end: int,
        basis: Basis,
        per_s: Fraction,
        share: Fraction,
        span: Span | None,
        note: str,
    ) -> None:
        if start >= end or not self.working:
            return
        ledger, key = self.ledger, span.key if span is not None else None
        line = Interval(start, end, ledger.place, basis, per_s, share, key, note)
        if ledger.intervals and ledger.intervals[-1].end == start:
            last = ledger.intervals[-1]
            if replace(last, start=0, end=0, share=share) == replace(line, start=0, end=0):
                ledger.intervals[-1] = replace(last, end=end, share=last.share + share)
                return
        ledger.intervals.append(line)

    # -- events ----------------------------------------------------------------------------

    def apply(self, event: Event) -> None:
        """Carry the account on to the event and let it happen."""
        # Which of an oven's readings count is judged over the whole bake: nothing may cut it.
        if self.ledger.phase is not Phase.BAKING or event.kind not in DURING_A_BAKE:
            self.advance(min(event.at, self.at))
        handler = _HANDLERS.get(event.kind)
        if handler is not None:
            handler(self, event)

    def _open(self, event: Event) -> None:
        ledger = self.ledger
        ledger.phase = Phase.OPEN
        ledger.opened_at = event.at
        if event.place is not None:
            ledger.place = event.place
        if not event.id:
            # Nobody saw this opening: what an earlier card said says nothing about it.
            ledger.hic, ledger.hic_good = None, False
            return
        ledger.hic = dict(event.hic) if event.hic is not None else None
        verdict = indicator.judge(self.part.msl, event.hic)
        ledger.hic_good = verdict == "good"
        ledger.hic_failed |= verdict == "failed"
        ledger.hic_missing |= verdict == "missing"
        over = ledger.shelf_life_ends is not None and day(event.at) > ledger.shelf_life_ends
        ledger.opened_after_shelf_life |= over

    def _close(self, event: Event) -> None:
        ledger = self.ledger
        if ledger.opened_at is not None:
            ledger.desiccant_out_s += event.at - ledger.opened_at
        fresh = event.desiccant == "fresh"
        if fresh:
            ledger.desiccant_out_s = 0
        five_dry = ledger.hic is not None and ledger.hic.get("5") == "dry"
        reusable = ledger.desiccant_out_s <= drypack.DESICCANT_REUSE_MIN * 60 and five_dry
        ledger.phase = Phase.BAGGED if fresh or reusable else Phase.TIRED_BAG
        ledger.opened_at = None
        ledger.known_closed_at = event.at
        ledger.bag = event.bag
        if event.place is not None:
            ledger.place = event.place
        if fresh and event.new_hic == "fresh" and event.seal == "heat" and ledger.hic_good:
            ledger.shelf_life_ends = drypack.shelf_life_end(day(event.at))
            ledger.opened_after_shelf_life &= ledger.hic_missing

    def _move(self, event: Event) -> None:
        if self.ledger.phase is Phase.BAKING:
            self._leave_oven()
        self.ledger.place = event.place

    def _load(self, event: Event) -> None:
        if self.ledger.phase is Phase.BAKING:
            self._leave_oven()
        if event.place is not None:
            self.ledger.place = event.place

    def _bake_start(self, event: Event) -> None:
        ledger = self.ledger
        self._break_storage(event.at)
        ledger.beyond_run_s = 0
        temp_c = event.temp_c if event.temp_c is not None else 0.0
        need = bake_rules.need(self.part, ledger, temp_c)
        ledger.bake = Bake(event.at, temp_c, event.place, ledger.place, need)
        ledger.bakes += 1
        ledger.phase, ledger.place = Phase.BAKING, event.place

    def _bake_end(self, event: Event) -> None:
        if self.ledger.phase is Phase.BAKING:
            self._leave_oven()
        if event.place is not None:
            self.ledger.place = event.place

    def _leave_oven(self) -> None:
        ledger = self.ledger
        if ledger.bake is not None:
            ledger.place = ledger.bake.home
        ledger.bake, ledger.phase = None, Phase.OPEN

    def _split(self, event: Event) -> None:
        ledger = self.ledger
        taken = event.quantity or 0
        if event.child == self.facts.code:
            ledger.quantity = taken
        else:
            ledger.quantity = max(0, ledger.quantity - taken)

    def _place_on_board(self, event: Event) -> None:
        self._split(event)
        if event.child == self.facts.code:
            self.ledger.board = event.board

    def _reflow(self, event: Event) -> None:
        ledger = self.ledger
        ledger.passes += 1
        if event.peak_c is not None:
            ledger.peak_c = max(event.peak_c, ledger.peak_c or event.peak_c)
        if event.last:
            ledger.gone = "soldered"

    def _join(self, event: Event) -> None:
        if event.id in self.joined:
            self._break_storage(event.at)
            absorb(self.ledger, self.joined[event.id].ledger)
        elif event.joined is None:
            self.ledger.gone = f"joined into {event.into}"

    def _take(self, event: Event) -> None:
        self.ledger.quantity = max(0, self.ledger.quantity - (event.quantity or 0))

    def _hold(self, event: Event) -> None:
        self.ledger.held += (event.reason or "no reason given",)

    def _release(self, event: Event) -> None:
        self.ledger.held = ()
        self.ledger.hic_missing = False

    def _scrap(self, event: Event) -> None:
        self.ledger.gone = event.reason or "scrapped"


_NOTHING = (Fraction(0), Fraction(0))

_HANDLERS: dict[Kind, Callable[[Fold, Event], None]] = {
    Kind.OPEN: Fold._open,
    Kind.CLOSE: Fold._close,
    Kind.MOVE: Fold._move,
    Kind.LOAD: Fold._load,
    Kind.BAKE_START: Fold._bake_start,
    Kind.BAKE_END: Fold._bake_end,
    Kind.SPLIT: Fold._split,
    Kind.JOIN: Fold._join,
    Kind.PLACE_ON_BOARD: Fold._place_on_board,
    Kind.REFLOW: Fold._reflow,
    Kind.TAKE: Fold._take,
    Kind.HOLD: Fold._hold,
    Kind.RELEASE: Fold._release,
    Kind.SCRAP: Fold._scrap,
}


def storage_rate(part: PartFacts, paused_by_policy: bool) -> Fraction:
    """Return the share of the floor life that a second of dry storage uses (design 4.3)."""
    rule = recovery.dry_storage_rule(part.msl)
    if rule is not None and (rule.pauses or paused_by_policy):
        return Fraction(0)
    return label_rate(part)


def can_reset_by_storage(part: PartFacts, ledger: Ledger) -> bool:
    """Return whether a dry storage that begins now can reset the floor life.

    Source: J-STD-033, Table 4-3 (short duration exposure; figures from memory).
    """
    rule = recovery.dry_storage_rule(part.msl)
    return (
        rule is not None
        and 0 < ledger.exposure_s <= rule.max_exposure_h * HOUR_S
        and ledger.used < 1
        and not ledger.outside_30_60
        and not bake_rules.reasons(part, ledger)
    )


def fold(
    facts: CarrierFacts,
    events: Sequence[Event],
    places: Places,
    policies: Policies,
    at: int,
    joined: Mapping[str, Joined] | None = None,
    working: bool = True,
) -> Ledger:
    """Return the account of a carrier at the moment `at`.

    Args:
        facts: the carrier.
        events: its effective events in order, with no contradictions (`contradictions.settle`).
        places: air of its places, readings up to `at` at least.
        policies: the site's dated choices.
        at: the moment asked about; a future one is a forecast.
        joined: by join event, the account of what was joined into this carrier.
        working: keep the intervals behind the account.
    """
    account = Fold(facts, places, policies, at, joined, working)
    for event in events:
        if event.at > at:
            break
        account.apply(event)
    account.advance(at)
    return account.ledger


def carried_on(account: Fold, at: int) -> Fold:
    """Return a copy of a kept fold that asks about a later moment.

    The kept fold must stand in a closed bag, or at a moment no later than the newest reading it
    knew of its place: what lies behind that may still turn out otherwise. So may a bake that runs,
    and a cabinet out of its limit that is not back yet: no fold that stands there is carried on.
    """
    later = Fold(
        account.facts, account.places, account.policies, at, account.joined, account.working
    )
    later.ledger = deepcopy(account.ledger)
    return later


def day(moment: int) -> date:
    """Return the UTC day of a moment."""
    return datetime.fromtimestamp(moment, UTC).date()


def _moment_of(
    share: Fraction,
    pieces: Sequence[tuple[Span, bool]],
    rates: Mapping[tuple[AirKey, bool], Fraction],
) -> int:
    """Return when so much has been used along the pieces, which use at least that.

    In whole numbers of the rates' common part: adding thousands of fractions takes ten times as
    long.
    """
    parts = lcm(share.denominator, *(per_s.denominator for per_s in rates.values()))
    whole = {of: int(per_s * parts) for of, per_s in rates.items()}
    left = int(share * parts)
    for span, credited in pieces:
        per_s = whole[span.key, credited]
        used = per_s * (span.end - span.start)
        if used >= left:
            return span.start - (-left // per_s)
        left -= used
    raise ValueError("the pieces use less than that")


def _ceil(value: Fraction) -> int:
    return -(-value.numerator // value.denominator)
