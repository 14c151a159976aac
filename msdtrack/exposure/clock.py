"""What time does to a carrier: exposure, dry storage and its reset, bakes.

Whatever is not in a closed bag with good desiccant, in dry storage or in a running bake is exposed.
Bag and cabinets one after another are one dry storage. It stops the clock of levels 2, 2a and 3;
at levels 4 to 5a the label rate goes on, for moisture already inside moves inward: provisionally
while a reset is possible, cancelled by the reset, for good if the storage breaks before.

Every sum is exact, so a stretch of time may be split anywhere but inside a running bake: which of
an oven's readings count is judged over the whole of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from fractions import Fraction
from functools import lru_cache

from msdtrack.exposure import bake_rules, oven
from msdtrack.exposure.air_use import plain_use
from msdtrack.exposure.dry_spells import spells
from msdtrack.exposure.facts import FOREVER, HOUR_S, CarrierFacts, PartFacts, Policies
from msdtrack.exposure.ledger import Basis, Interval, Joined, Ledger, Phase, Storage
from msdtrack.exposure.places import Places
from msdtrack.exposure.rates import RateClass, label_rate, rate, rate_class
from msdtrack.exposure.spans import AirKey, Span
from msdtrack.standard import derating, drypack, recovery

BEYOND_TABLE_S = 15 * 60
"""Longer than this beyond Table 7-1 without a break, and only a bake resets (our own rule)."""

_NOTHING = Fraction(0)


class Clock:
    """Carries one carrier's account through time between its events.

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
        self.part = part = facts.part
        self.places = places
        self.policies = policies
        self.at = at
        self.joined = joined or {}
        # Looked up once, as it is mostly the same for good.
        self._class = None if policies.credit.changes else rate_class(part, policies.credit.first)
        self._rule = recovery.dry_storage_rule(part.msl)
        self._pauses = self._rule is not None and self._rule.pauses
        sealed = facts.sealed_on
        self.ledger = Ledger(
            now=-FOREVER,
            phase=Phase.BAGGED,
            place=facts.place,
            bag=facts.bag,
            quantity=facts.quantity,
            known_closed_at=facts.received_at,
            sealed_on=sealed,
            shelf_life_ends=facts.shelf_life_ends
            or (None if sealed is None else _shelf_life_end(sealed)),
            history_unknown=sealed is None and part.msl != "1",
            unknowns=frozenset({"history_unknown"} if sealed is None else ()),
        )

    def advance(self, to: int) -> None:
        """Carry the account on to the moment `to`; earlier moments change nothing."""
        ledger = self.ledger
        start, phase = ledger.now, ledger.phase
        if to <= start:
            return
        ledger.now = to
        if ledger.gone is not None:
            return
        if phase is Phase.BAGGED:
            self._store(start, to, dries=True, what="in its dry bag")
            return
        self._note_stay(start, to)
        if phase is Phase.BAKING:
            self._bake_time(start, to)
        elif phase is Phase.OPEN and self.places.is_cabinet(ledger.place):
            air = self.places.air(ledger.place)
            limit = recovery.storage_limit_rh_pct(self.part.msl) * 100
            for s, e, spell in spells(air, start, to, self.at, limit):
                if spell == "dry":
                    self._store(s, e, dries=True, what="in the dry cabinet")
                elif spell == "brief":
                    self._store(s, e, dries=False, what="cabinet excursion, back within 60 min")
                else:
                    self._expose(s, e, "cabinet out of its limit")
        else:
            tired = phase is Phase.TIRED_BAG
            self._expose(start, to, "in a bag whose desiccant does not count" if tired else "")

    def _expose(self, start: int, end: int, note: str) -> None:
        ledger = self.ledger
        credit = self.policies.credit
        if ledger.storage is not None:
            self._break_storage(ledger.storage)
        if not self.working:
            for s, e, now in credit.pieces(start, end):
                self._expose_in(self._class or rate_class(self.part, now), s, e)
            return
        for span in self.places.air(ledger.place).spans(start, end, self.at):
            for s, e, now in credit.pieces(span.start, span.end):
                self._expose_span(span._replace(start=s, end=e), now, note)

    def _expose_in(self, of: RateClass, start: int, end: int) -> None:
        """Expose it as `_expose_span` does, but sum the parts that are used first."""
        ledger, air = self.ledger, self.places.air(self.ledger.place)
        plain = plain_use(air, of, start, end, self.at)
        if plain is not None:
            whole, outside = plain
            ledger.outside_30_60 |= outside
            ledger.beyond_run_s = 0
        else:
            whole = self._expose_by_spans(of, air.spans(start, end, self.at))
        was_full = ledger.is_full
        ledger.use(whole, of.parts)
        if ledger.is_full and not was_full:
            before = ledger.used - Fraction(whole, of.parts)
            spans = air.spans(start, end, self.at)
            ledger.full_since = _moment_of(1 - before, spans, of)
        ledger.exposure_s += end - start

    def _expose_by_spans(self, of: RateClass, spans: Iterable[Span]) -> int:
        """Note what the spans say and return how many parts they use."""
        ledger, whole = self.ledger, 0
        for start, end, key, _, _ in spans:
            used = of.whole(key) * (end - start)
            whole += used
            self._note_air(key, end - start)
            if key.missing is not None:
                ledger.assumed += Fraction(used, of.parts)
        return whole

    def _note_air(self, key: AirKey, seconds: int) -> None:
        """Note what an exposure in this air leaves behind beside the share."""
        ledger = self.ledger
        ledger.beyond_run_s = ledger.beyond_run_s + seconds if key.cell == derating.BEYOND else 0
        if ledger.beyond_run_s > BEYOND_TABLE_S and self.part.msl != "1":
            ledger.beyond_table = True
        if not key.within_30_60:
            ledger.outside_30_60 = True
        if key.missing is not None:
            ledger.unknowns |= {key.missing}

    def _note_stay(self, start: int, end: int) -> None:
        """Note where the air has decided about it."""
        place, stays = self.ledger.place, self.ledger.stays
        if place is None:
            return
        if stays and stays[-1][2] == start and stays[-1][0] == place:
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
        self._note_air(key, seconds)
        basis: Basis = "measured"
        if key.missing is not None:
            basis = "assumed"
            ledger.assumed += share
        self._record(span.start, span.end, basis, note, per_s, share, span)

    def _store(self, start: int, end: int, dries: bool, what: str) -> None:
        ledger = self.ledger
        ledger.beyond_run_s = 0
        storage = ledger.storage = ledger.storage or self._new_storage()
        if ledger.exposure_s == 0:
            if self.working and (ledger.last_reset_at is not None or ledger.intervals):
                self._record(start, end, "dry_storage", what)
            return
        until, resets = end, False
        if storage.reset_possible and dries and self._rule is not None:
            due_at = start + self._rule.factor * ledger.exposure_s - storage.dry_s
            until, resets = min(end, due_at), due_at <= end
        if self.working or not self._pauses:
            for s, e, pause in self.policies.pause_levels_4_to_5a.pieces(start, until):
                self._store_piece(s, e, storage_rate(self.part, dries and pause), what)
        if dries:
            storage.dry_s += until - start
        if resets:
            self._reset(until)
            ledger.storage = self._new_storage()
            if until < end:
                self._store(until, end, dries, what)

    def _store_piece(self, start: int, end: int, per_s: Fraction, what: str) -> None:
        ledger, storage = self.ledger, self.ledger.storage
        assert storage is not None
        share = per_s * (end - start) if per_s else per_s
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
        self._record(start, end, basis, note, per_s, share)

    def _new_storage(self) -> Storage:
        return Storage(can_reset_by_storage(self.part, self.ledger))

    def _break_storage(self, storage: Storage) -> None:
        ledger = self.ledger
        ledger.storage = None
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
        if bake.temp_c > drypack.HOT_C:
            ledger.hot_s += end - start
        hours = bake.need.hours
        needed_s = None if hours is None else _ceil(hours * HOUR_S)
        done = oven.progress(
            self.places.oven(bake.oven), bake.need.band, bake.started_at, end, self.at, needed_s
        )
        note = f"bake at {bake.temp_c:g} °C, {done.basis}"
        if done.reached_at is not None and bake.reached_at is None:
            bake.reached_at = done.reached_at
            self._record(start, max(start, done.reached_at), "bake", note)
            self._reset(done.reached_at)
            ledger.baked_once, ledger.baked_at = True, done.reached_at
            ledger.maker_bakes += bake.need.makers
            ledger.hic_failed = ledger.hic_missing = ledger.history_unknown = False
            ledger.opened_after_shelf_life = False
            start = max(start, done.reached_at)
        self._record(start, end, "bake", note)

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
        note: str,
        per_s: Fraction = _NOTHING,
        share: Fraction = _NOTHING,
        span: Span | None = None,
    ) -> None:
        if start >= end or not self.working:
            return
        ledger, key = self.ledger, span.key if span is not None else None
        like = (ledger.place, basis, per_s, key, note)
        if ledger.intervals and ledger.intervals[-1].end == start:
            last = ledger.intervals[-1]
            if (last.place, last.basis, last.rate, last.key, last.note) == like:
                ledger.intervals[-1] = replace(last, end=end, share=last.share + share)
                return
        ledger.intervals.append(Interval(start, end, ledger.place, basis, per_s, share, key, note))


_shelf_life_end = lru_cache(maxsize=1024)(drypack.shelf_life_end)


def storage_rate(part: PartFacts, paused_by_policy: bool) -> Fraction:
    """Return the share of the floor life that a second of dry storage uses."""
    rule = recovery.dry_storage_rule(part.msl)
    if rule is not None and (rule.pauses or paused_by_policy):
        return _NOTHING
    return label_rate(part)


def can_reset_by_storage(part: PartFacts, ledger: Ledger) -> bool:
    """Return whether a dry storage that begins now can reset the floor life.

    Source: J-STD-033, Table 4-3 (short duration exposure; figures from memory).
    """
    if not ledger.exposure_s:
        return False
    rule = recovery.dry_storage_rule(part.msl)
    return (
        rule is not None
        and ledger.exposure_s <= rule.max_exposure_h * HOUR_S
        and not ledger.is_full
        and not ledger.outside_30_60
        and not bake_rules.reasons(part, ledger)
    )


def day(moment: int) -> date:
    """Return the UTC day of a moment."""
    return datetime.fromtimestamp(moment, UTC).date()


def _moment_of(share: Fraction, spans: Sequence[Span], of: RateClass) -> int:
    """Return when this share has been used along the spans, which use at least that."""
    left = share * of.parts
    for span in spans:
        per_s = of.whole(span.key)
        used = per_s * (span.end - span.start)
        if used >= left:
            return span.start + _ceil(left / per_s)
        left -= used
    raise ValueError("the spans use less than that")


def _ceil(value: Fraction) -> int:
    return -(-value.numerator // value.denominator)
