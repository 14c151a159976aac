"""Draws the lines of carriers and of the air of places that standings are made of, by the fold."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from msdtrack.exposure import lines
from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.dry_spells import spells, wet_from, wet_to
from msdtrack.exposure.facts import FOREVER
from msdtrack.exposure.places import Places
from msdtrack.exposure.rates import class_named
from msdtrack.exposure.spans import HOLDS_S, AirKey
from msdtrack.exposure.state import CarrierState
from msdtrack.exposure.urgency import is_watched
from msdtrack.exposure.urgency import urgency as _urgency
from msdtrack.services import glance
from msdtrack.services.accounts import Account, accounts
from msdtrack.services.air_cache import all_places
from msdtrack.standard import derating
from msdtrack.store import concerned, policies, stays, whereabouts
from msdtrack.store import standings as table
from msdtrack.store.standings import PlaceNow, Standing
from msdtrack.store.stays import Stay
from msdtrack.store.touched import TouchedReadings

KEPT_S = 600
"""Who asks as of so long before the newest write is answered from the standings; as of earlier,
from the whole log."""

_CABINET_DRY_C100 = 500
"""Dry for every level: the tighter of the two limits of dry storage."""


class Drawn(NamedTuple):
    """What folding some carriers gave, to be stored in place of what was there.

    Attributes:
        dropped: carriers that have no standing.
        resting: where carriers without a standing are that are not gone.
        stays: of each carrier that was folded.
        lines: of places that had none for a class.
    """

    changed: list[Standing]
    dropped: list[str]
    resting: dict[str, str | None]
    stays: dict[str, Sequence[Stay]]
    lines: list[PlaceNow]

    def put(self) -> None:
        """Store it, inside a write transaction."""
        table.put(self.changed, self.dropped)
        stays.put(self.stays)
        whereabouts.put_resting(self.resting, self.stays.keys() - self.resting.keys())
        if self.lines:
            table.put_places_now(self.lines)


class Drawing:
    """Draws lines as of one moment, inside a transaction.

    Args:
        now: the moment.
        as_of: of the newest write.
        like: an account that the same transaction has read, whose air and policies still hold.
    """

    def __init__(self, now: int, as_of: int, like: Account | None = None) -> None:
        self.now = now
        self.as_of = as_of
        self._gone_kept_from = as_of - KEPT_S
        self.places: Places = all_places() if like is None else like.places
        self.policies = policies.policies() if like is None else like.policies
        self._lines: dict[str, dict[str, PlaceNow]] = {}
        self._new: list[PlaceNow] = []

    def fold(
        self, codes: Iterable[str], known: Mapping[str, Account] | None = None
    ) -> dict[str, CarrierState]:
        """Fold carriers, store their standings and return their states.

        Args:
            known: accounts that need not be read.
        """
        states: dict[str, CarrierState] = {}
        if drawn := self.drawn(codes, known, states):
            drawn.put()
        return states

    def drawn(
        self,
        codes: Iterable[str],
        known: Mapping[str, Account] | None = None,
        states: dict[str, CarrierState] | None = None,
    ) -> Drawn | None:
        """Fold carriers and return what is to be stored; None if there are no carriers.

        Args:
            known: accounts that need not be read.
            states: takes in the states.
        """
        wanted = sorted(codes)
        if not wanted:
            return None
        drawn = Drawn([], [], {}, {}, [])
        self._new = drawn.lines
        at_hand = [known[code] for code in wanted if code in known] if known else []
        others = [code for code in wanted if code not in known] if known else wanted
        read = accounts(others, places=self.places, dated=self.policies) if others else ()
        for account in itertools.chain(at_hand, read):
            code, state = account.facts.code, account.state(self.now)
            if states is not None:
                states[code] = state
            gone = state.status == "gone"
            drawn.stays[code] = () if gone else lines.stays_of(state)
            ahead = [event.at for event in account.events if event.at > self.now]
            if gone:
                went_at = max((e.at for e in account.events if e.at <= self.now), default=self.now)
                if ahead:
                    drawn.changed.append(_gone(state, self.now, min(ahead)))
                elif went_at > self._gone_kept_from:
                    drawn.changed.append(_gone(state, went_at, FOREVER))
                else:
                    drawn.dropped.append(code)
            elif ahead or lines.was_out(state) or state.ledger.board is not None:
                drawn.changed.append(self._standing(account, state, ahead))
            else:
                drawn.dropped.append(code)
                drawn.resting[code] = state.ledger.place
        return drawn

    def _standing(self, account: Account, state: CarrierState, ahead: list[int]) -> Standing:
        line = lines.line_of(state, account.events, self.places, self.policies)
        share, rate, until = lines.up(line.share), lines.up(line.rate), line.until
        air_place = rate_class = None
        if line.air is not None:
            air_place, rate_class = line.air[0], str(line.air[1])
            at_place = self._line(air_place, rate_class)
            if not at_place.since <= self.now < at_place.until:
                until = self.now
            elif line.in_air:
                share, rate = lines.up_before(line, self.now - at_place.at) - at_place.share, 0
        left_rate = line.left_rate
        if max(rate, left_rate or 0) > lines.FASTEST or lines.has_no_line(state):
            share, rate, until = 0, 0, self.now
            left_rate = None if left_rate is None else 0
        return Standing(
            carrier=state.facts.code,
            part=state.facts.part.number,
            place=state.ledger.place,
            listed=is_watched(state),
            urgency=_urgency(state)[0],
            since=self.now,
            until=until,
            moves_at=min(ahead, default=FOREVER),
            share=share,
            rate=rate,
            next_share=line.next_share,
            air_place=air_place,
            rate_class=rate_class,
            in_air=line.in_air,
            left_rate=left_rate,
            heeds_air=line.heeds_air,
            gone_at=None,
            glance=glance.kept(state, line),
        )

    # -- the air of places ---------------------------------------------------------------------

    def _line(self, place: str, rate_class: str) -> PlaceNow:
        """Return the line of a place and class, drawn now if there is none."""
        at_place = self._lines.get(place)
        if at_place is None:
            found = table.places_now(place)
            at_place = self._lines[place] = {one.rate_class: one for one in found}
        if rate_class not in at_place:
            drawn = self._drawn(place, rate_class, share=0)
            at_place[rate_class] = drawn
            self._new.append(drawn)
        return at_place[rate_class]

    def _drawn(self, place: str, rate_class: str, share: int) -> PlaceNow:
        of = class_named(rate_class)
        line = lines.air_line(self.places.air(place), of, self.policies, self.now)
        if max(line.rate, line.left_rate) > lines.FASTEST:
            line = replace(line, rate=0, left_rate=0, until=self.now)
        return PlaceNow(
            place=place,
            rate_class=rate_class,
            at=line.at,
            share=share,
            rate=line.rate,
            since=line.since,
            until=line.until,
            left_rate=line.left_rate,
            settles_at=line.settles_at,
            temp_c100=line.present.raw[0],
            rh_c100=line.present.raw[1],
            missing=line.present.key.missing,
        )

    def settle(self, at_place: Sequence[PlaceNow]) -> None:
        """Draw the forecast of a place anew; how its air uses up shares stays as it was."""
        drawn = []
        for one in at_place:
            line = self._drawn(one.place, one.rate_class, one.share)
            drawn.append(line._replace(share=one.share + one.rate * (line.at - one.at)))
        table.put_places_now(drawn)

    def read(self, note: TouchedReadings) -> set[str]:
        """Take in readings of a place, and return the carriers that must be folded."""
        air = self.places.air(note.place)
        if self.places.is_oven(note.place):
            start, end = _between_readings(self.places.oven(note.place), note)
            return set(concerned.staying(note.place, start - HOLDS_S, end + HOLDS_S))
        codes: set[str] = set()
        appended = note.newest_before is not None and note.first > note.newest_before
        if appended:
            fallen = self._goes_on(air, note)
            stands = fallen is not None
            codes |= fallen or set()
        else:
            stands = self._stays_ahead(air, note)
        if not stands:
            table.drop_places_now(note.place)
            self._lines.pop(note.place, None)
            codes |= set(concerned.dependent_on(note.place))
        if note.newest_before is None:
            codes |= set(concerned.unmeasured_at(note.place))
        return codes | self._touched_stays(air, note, appended)

    def _goes_on(self, air: PlaceAir, note: TouchedReadings) -> set[str] | None:
        """Carry the lines of a place on over new readings, if they only go on.

        Returns:
            The carriers that have used less in that air than was thought, so that what is known
            of them does not hold; None if the lines do not go on.
        """
        before = note.newest_before
        assert before is not None
        at_place = table.places_now(note.place)
        if not at_place:
            return set()
        after = air.spans(before, note.last, note.last)
        after += air.spans(note.last, self.now + 1, self.now)
        plain = (
            all(one.at == before for one in at_place)
            and self.now < note.last + HOLDS_S
            and all(s.key.missing is None and s.key.cell != derating.BEYOND for s in after)
            and not air.settings.moments_between(before - 1, self.now + 1)
            and not self.policies.credit.moments_between(before - 1, self.now + 1)
            and (not self.places.is_cabinet(note.place) or _dry_since(air, before, self.now))
        )
        if not plain:
            return None
        seconds: dict[AirKey, int] = {}
        for span in air.spans(before, note.last, note.last):
            seconds[span.key] = seconds.get(span.key, 0) + span.end - span.start
        carried = []
        for one in at_place:
            of = class_named(one.rate_class)
            used = sum(lines.up(of.rate(key)) * of_s for key, of_s in seconds.items())
            if one.share + used > lines.NEVER // 2:
                return None
            carried.append(self._drawn(note.place, one.rate_class, one.share + used))
        table.put_places_now(carried)
        return self._fallen(at_place, carried)

    def _fallen(self, thought: Sequence[PlaceNow], carried: Sequence[PlaceNow]) -> set[str]:
        """Return the carriers that have used less than a share that turns something, though they
        had by the lines that were there before."""
        found: set[str] = set()
        for one, after in zip(thought, carried, strict=True):
            before, used = (at.share + at.rate * (self.now - at.at) for at in (one, after))
            if used < before:
                for share in lines.turning_shares(class_named(one.rate_class).label_h):
                    found |= set(concerned.fallen_below(share, one, before, used))
        return found

    def _stays_ahead(self, air: PlaceAir, note: TouchedReadings) -> bool:
        """Draw the forecasts of a place anew if the readings lie behind its newest one: how its
        air uses up shares from that one on is as it was."""
        at_place = table.places_now(note.place)
        after = air.following(note.last)
        if after is None or not all(one.since <= self.now < one.until for one in at_place):
            return False
        if after <= air.looks_back_to(self.now):
            return True
        self._lines.pop(note.place, None)
        if at_place:
            self.settle(at_place)
        return True

    def _touched_stays(self, air: PlaceAir, note: TouchedReadings, appended: bool) -> set[str]:
        place, cabinet = note.place, self.places.is_cabinet(note.place)
        if appended:
            before = note.newest_before
            assert before is not None
            if cabinet and not _dry_since(air, before, self.now):
                start = wet_from(air, before, _CABINET_DRY_C100)
                return set(concerned.staying(place, start, FOREVER + 1))
            codes = set(concerned.came_or_left(place, before))
            spans = air.spans(before, self.now + 1, self.now)
            if any(not span.key.within_30_60 for span in spans):
                codes |= set(concerned.dependent_on(place, heeding=True))
            return codes
        start, end = _between_readings(air, note)
        if cabinet:
            start = wet_from(air, start, _CABINET_DRY_C100)
            end = wet_to(air, end, _CABINET_DRY_C100)
        return set(concerned.staying(place, start, end))


def _gone(state: CarrierState, gone_at: int, until: int) -> Standing:
    """Return the standing of a carrier that is gone.

    Args:
        gone_at: when it was first seen gone.
        until: up to when it answers.
    """
    return table.unknown(state.facts.code)._replace(
        part=state.facts.part.number,
        place=state.ledger.place,
        since=gone_at,
        until=until,
        moves_at=until,
        next_share=lines.NEVER,
        gone_at=gone_at,
        glance="[]",
    )


def _between_readings(air: PlaceAir, note: TouchedReadings) -> tuple[int, int]:
    """Return the readings around those that were written: what lies between may be otherwise."""
    before, after = air.newest(note.first - 1), air.following(note.last)
    return -FOREVER if before is None else before[0], FOREVER + 1 if after is None else after


def _dry_since(air: PlaceAir, at: int, until: int) -> bool:
    """Return whether a cabinet was dry for every level from the reading at `at` on, and just
    before it."""
    found = spells(air, at - 1, until + 1, until, _CABINET_DRY_C100)
    return all(spell == "dry" for _, _, spell in found)
