"""What a carrier is at a moment: status, verdict, time left and next step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Literal

from msdtrack.exposure import bake_rules
from msdtrack.exposure.bake_advice import BakeAdvice, OvenLimits, advise
from msdtrack.exposure.begun import Begun
from msdtrack.exposure.clock import can_reset_by_storage, day
from msdtrack.exposure.contradictions import settle
from msdtrack.exposure.dry_spells import spells
from msdtrack.exposure.events import Event
from msdtrack.exposure.facts import HOUR_S, CarrierFacts, Policies
from msdtrack.exposure.history import fold
from msdtrack.exposure.ledger import Conflict, Joined, Ledger, Phase
from msdtrack.exposure.places import Places
from msdtrack.exposure.rates import label_rate, rate
from msdtrack.exposure.spans import Air, Missing
from msdtrack.standard import recovery

Status = Literal["in_dry_bag", "exposed", "dry_storage", "baking", "on_board", "gone"]
Verdict = Literal["use", "do_not_use"]

MAX_PASSES = 3
"""Reflows a component stands (common practice; J-STD-020 classifies with three)."""

USE_FIRST_BELOW_H = 8
"""An exposed carrier with less time left than a shift is one to use first (site practice)."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """The air that the time left assumes.

    Args:
        raw: temperature and humidity, hundredths; None: 30 °C / 60 % RH at most, once out.
        missing: why that air is assumed; None is measured.
        remaining_h: hours of floor life left in it; None: it sets no limit.
    """

    raw: Air | None
    missing: Missing | None
    remaining_h: Fraction | None


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do. `text` may hold "{at}", to be filled with the moment in the reader's time."""

    kind: str
    text: str
    at: int | None = None


@dataclass(frozen=True, slots=True)
class CarrierState:
    """The state of a carrier at `at`. Shares are of the floor life; `used_share` includes the
    provisional hours and may pass 1."""

    facts: CarrierFacts
    at: int
    ledger: Ledger
    status: Status
    verdict: Verdict
    reasons: tuple[str, ...]
    next_step: NextStep
    forecast: Forecast
    shelf_life_ends: date | None
    reset_due_at: int | None
    conflicts: tuple[Conflict, ...]
    unknowns: tuple[str, ...]
    bake: BakeAdvice

    @property
    def used_share(self) -> Fraction:
        """Return the used share, provisional hours included."""
        return self.ledger.share

    @property
    def expires_at(self) -> int | None:
        """Return when the floor life runs out in the forecast's air."""
        left_h = self.forecast.remaining_h
        if left_h is None:
            return None
        return self.at + left_h.numerator * HOUR_S // left_h.denominator

    @property
    def opened_at(self) -> int | None:
        """Return when the bag was opened, None while it is closed."""
        return self.ledger.opened_at if self.ledger.phase is Phase.OPEN else None


def state_of(
    facts: CarrierFacts,
    events: Sequence[Event],
    places: Places,
    policies: Policies,
    at: int,
    oven: OvenLimits | None = None,
    joined: Mapping[str, Joined] | None = None,
    working: bool = True,
    begun: Begun | None = None,
) -> CarrierState:
    """Return the state of a carrier as of `at`.

    Args:
        facts: the carrier.
        events: its effective events (`events.lineage`), those after `at` do not count.
        places: air of its places.
        policies: the site's dated choices.
        at: the moment asked about; a future one is a forecast.
        oven: the oven that bake advice is for, None for any.
        joined: by join event, the account of what was joined into this carrier.
        working: keep the intervals that a working is made of.
        begun: what an earlier state of the same began, without a working; it is carried on.
    """
    account = account_of(facts, events, places, policies, at, joined, working, begun)
    ledger, conflicts = account.ledger, account.conflicts
    status = _status(ledger, places, facts, at)
    bake = advise(facts, ledger, policies.cumulative_bake_h.at(at), oven)
    reset_due_at = _reset_due_at(facts, ledger, status)
    forecast = _forecast(facts, ledger, status, places, policies, at)
    reasons = _reasons(facts, ledger, status, conflicts, at)
    unknowns = set(ledger.unknowns)
    if ledger.history_unknown:
        unknowns.add("history_unknown")
    else:
        unknowns.discard("history_unknown")
    if ledger.place is None:
        unknowns.add("place_unknown")
    if facts.part.body_mm is None and facts.part.msl != "1":
        unknowns.add("thickness_unknown")
    return CarrierState(
        facts=facts,
        at=at,
        ledger=ledger,
        status=status,
        verdict="do_not_use" if reasons else "use",
        reasons=reasons,
        next_step=_next_step(
            facts, ledger, status, reasons, conflicts, bake, reset_due_at, forecast
        ),
        forecast=forecast,
        shelf_life_ends=ledger.shelf_life_ends,
        reset_due_at=reset_due_at,
        conflicts=conflicts,
        unknowns=tuple(sorted(unknowns)),
        bake=bake,
    )


def account_of(
    facts: CarrierFacts,
    events: Sequence[Event],
    places: Places,
    policies: Policies,
    at: int,
    joined: Mapping[str, Joined] | None = None,
    working: bool = True,
    begun: Begun | None = None,
) -> Joined:
    """Return the ledger of a carrier as of `at` and what contradicted; arguments as `state_of`."""
    until = [event for event in events if event.at <= at]
    settled, conflicts = settle(until, facts.received_at)
    ledger = fold(facts, settled, places, policies, at, joined, working, begun)
    inherited = [
        c for event in until if joined and event.id in joined for c in joined[event.id].conflicts
    ]
    return Joined(ledger, (*conflicts, *inherited))


def usable_until(state: CarrierState, ends_at: int) -> tuple[Verdict, tuple[str, ...]]:
    """Return the verdict for a run whose last reflow ends at `ends_at`, with its reasons."""
    reasons = state.reasons
    left_h = state.forecast.remaining_h
    if left_h is not None and left_h * HOUR_S <= ends_at - state.at and not reasons:
        reasons = ("floor_life_ends_before_the_run",)
    return ("do_not_use" if reasons else "use"), reasons


def _status(ledger: Ledger, places: Places, facts: CarrierFacts, at: int) -> Status:
    if ledger.gone is not None or ledger.quantity == 0:
        return "gone"
    if ledger.phase is Phase.BAKING:
        return "baking"
    if ledger.phase is Phase.BAGGED:
        return "in_dry_bag"
    if ledger.phase is Phase.OPEN and places.is_cabinet(ledger.place):
        limit = recovery.storage_limit_rh_pct(facts.part.msl) * 100
        found = spells(places.air(ledger.place), at, at + 1, at, limit)
        if next(found)[2] != "out":
            return "dry_storage"
    return "exposed" if ledger.board is None else "on_board"


def is_sheltered(status: Status, ledger: Ledger, places: Places) -> bool:
    """Return whether the air where a carrier is says nothing about the air that it will come out
    into: an oven's or a cabinet's, bag or no bag."""
    in_cabinet = status == "in_dry_bag" and places.is_cabinet(ledger.place)
    return in_cabinet or status in ("dry_storage", "baking")


def _reset_due_at(facts: CarrierFacts, ledger: Ledger, status: Status) -> int | None:
    rule = recovery.dry_storage_rule(facts.part.msl)
    if rule is None or status not in ("in_dry_bag", "dry_storage") or not ledger.exposure_s:
        return None
    storage = ledger.storage
    possible = (
        can_reset_by_storage(facts.part, ledger) if storage is None else storage.reset_possible
    )
    dried_s = 0 if storage is None else storage.dry_s
    return ledger.now + rule.factor * ledger.exposure_s - dried_s if possible else None


def _forecast(
    facts: CarrierFacts,
    ledger: Ledger,
    status: Status,
    places: Places,
    policies: Policies,
    at: int,
) -> Forecast:
    raw: Air | None = None
    missing: Missing | None = None
    if is_sheltered(status, ledger, places):
        per_s = label_rate(facts.part)
    else:
        present = places.air(ledger.place).present(at)
        raw, missing = present.raw, present.key.missing
        per_s = rate(facts.part, present.key, policies.credit.at(at))
    if not per_s:
        return Forecast(raw, missing, None)
    used, of = ledger.share.as_integer_ratio()
    left, per_h = max(0, of - used), per_s.numerator * HOUR_S
    return Forecast(raw, missing, Fraction(left * per_s.denominator, of * per_h))


def _reasons(
    facts: CarrierFacts,
    ledger: Ledger,
    status: Status,
    conflicts: tuple[Conflict, ...],
    at: int,
) -> tuple[str, ...]:
    part = facts.part
    found = list(bake_rules.reasons(part, ledger))
    if status == "gone":
        found.insert(0, "gone")
    if ledger.held:
        found.append("held")
    if conflicts:
        found.append("history_conflict")
    if ledger.hic_missing and part.msl != "1":
        found.append("hic_missing")
    ends = ledger.shelf_life_ends
    if status == "in_dry_bag" and ends is not None and day(at) > ends and part.msl != "1":
        found.append("shelf_life_over")
    if ledger.provisional and not ledger.is_full and ledger.share >= 1:
        found.append("drying")
    if status == "baking":
        found.append("baking")
    if part.msl == "6" and part.label_hours is None:
        found.append("label_time_missing")
    if ledger.passes > MAX_PASSES:
        found.append("too_many_reflows")
    limit_c = part.peak_body_c
    if ledger.peak_c is not None and limit_c is not None and ledger.peak_c > limit_c:
        found.append("peak_body_exceeded")
    return tuple(dict.fromkeys(found))


def _next_step(
    facts: CarrierFacts,
    ledger: Ledger,
    status: Status,
    reasons: tuple[str, ...],
    conflicts: tuple[Conflict, ...],
    bake: BakeAdvice,
    reset_due_at: int | None,
    forecast: Forecast,
) -> NextStep:
    if "gone" in reasons:
        return NextStep("none", "Nothing: it is used up or scrapped.")
    if "held" in reasons:
        return NextStep("hold", f"Hold for quality: {'; '.join(ledger.held)}.")
    if conflicts:
        return NextStep("correct", f"Correct the log: {conflicts[0].message}. Count it unknown.")
    after_reflow = reflow_step(reasons, ledger.passes)
    if after_reflow is not None:
        return after_reflow
    if status == "baking" and ledger.bake is not None:
        return _bake_step(ledger)
    if bake.needed:
        return NextStep("bake", _bake_line(bake))
    if "hic_missing" in reasons:
        return NextStep("hold", "Hold for quality: humidity indicator card missing or unreadable.")
    if "shelf_life_over" in reasons:
        return NextStep("open", "Shelf life is over: open it and read the humidity indicator card.")
    if "label_time_missing" in reasons:
        return NextStep("hold", "Level 6: enter the floor life printed on its label.")
    if "drying" in reasons:
        return NextStep(
            "wait",
            "Leave it in dry storage until {at}: its floor life is whole then.",
            reset_due_at,
        )
    if status in ("in_dry_bag", "dry_storage"):
        if reset_due_at is not None:
            text = "May be used now. Left in dry storage its floor life is whole again at {at}."
            return NextStep("keep", text, reset_due_at)
        return NextStep("keep", "May be used. Keep it closed and dry until then.")
    return use_step(forecast.remaining_h)


def reflow_step(reasons: tuple[str, ...], passes: int) -> NextStep | None:
    """Return the next step where the reflows so far are why it must not be used, else None."""
    if "too_many_reflows" in reasons:
        return NextStep("hold", f"Hold for quality: {passes} reflows, {MAX_PASSES} are allowed.")
    if "peak_body_exceeded" in reasons:
        return NextStep("hold", "Hold for quality: a body got hotter than its part is rated for.")
    return None


def use_step(remaining_h: Fraction | float | None) -> NextStep:
    """Return the next step for an exposed carrier that may be used."""
    if remaining_h is not None and remaining_h < USE_FIRST_BELOW_H:
        return NextStep("use_first", "Use it first, or return it to dry storage now.")
    return NextStep("use", "Use it, or return it to dry storage.")


def _bake_step(ledger: Ledger) -> NextStep:
    bake = ledger.bake
    assert bake is not None
    if bake.reached_at is not None:
        return NextStep("take_out", "Bake complete: let it cool, then use it or seal it dry.")
    if bake.need.hours is None:
        return NextStep("ask", "No figure for this bake: it resets nothing. Ask the maker.")
    return NextStep("wait", f"Leave it in the oven: {float(bake.need.hours):g} h are needed.")


def _bake_line(bake: BakeAdvice) -> str:
    if bake.chosen is None:
        why = bake.refused[0].why if bake.refused else "no option"
        return f"Bake before use, as the maker says. {why}"
    dry = bake.chosen.max_rh_pct
    at = f" at no more than {dry:g} % RH" if dry is not None else ""
    return f"Bake before use: {float(bake.chosen.hours):g} h at {bake.chosen.temp_c:g} °C{at}."
