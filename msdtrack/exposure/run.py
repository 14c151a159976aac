"""What a run may expect of a carrier: whether it may be taken to the line when the run begins, and
be soldered up to the last reflow.

What is asked is the fold itself: the events that would be recorded are put after the log, and the
state at the last reflow is read off. So every rule holds as if it had been done. Nothing here makes
a life longer: moments at which something may begin are put later, those by which it must be done
earlier, to whole minutes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from msdtrack.exposure.bake_advice import BakeOption, OvenLimits, advise
from msdtrack.exposure.events import Event, Kind
from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState

MINUTE_S = 60

DRY_CARD = {"5": "dry", "10": "dry", "60": "dry"}
"""What the card of a bag must show when it is opened, for the run to get what is planned."""

Act = Literal["take", "open", "take_out", "bake"]
"""Take it from where it is out; open its bag; take it out of the oven; bake it before."""

LIFTED_BY_TIME = frozenset({"drying", "baking"})
"""Reasons not to use a carrier now that may be gone when the run begins, with nothing done."""

_LAST = 1 << 62
_CLOSED = (Phase.BAGGED, Phase.TIRED_BAG)


@dataclass(frozen=True, slots=True)
class Run:
    """A run of a line.

    Args:
        place: code of the line.
        begins_at: when its carriers are taken there.
        ends_at: its last reflow.
    """

    place: str
    begins_at: int
    ends_at: int


@dataclass(frozen=True, slots=True)
class Supposed:
    """A carrier, to be asked what would be if more were on its log.

    Args:
        events: its effective events.
        fold: returns its state with these events as of a moment.
    """

    events: Sequence[Event]
    fold: Callable[[Sequence[Event], int], CarrierState]

    def state(self, at: int, *more: Event) -> CarrierState:
        """Return the state as of `at` if these events had happened, too."""
        events = [*self.events, *more]
        return self.fold(sorted(events, key=lambda event: event.at), at)

    def in_a_steady_oven(self) -> Supposed:
        """Return the same with the running bake in an oven that nobody measures, so that its stated
        temperature counts from its start to its end."""
        starts = [n for n, event in enumerate(self.events) if event.kind is Kind.BAKE_START]
        events = list(self.events)
        if starts:
            events[starts[-1]] = events[starts[-1]]._replace(place=None)
        return replace(self, events=events)

    def opened(self, code: str, at: int, place: str | None) -> Supposed:
        """Return the same with its bag opened at a moment; `place` None: where it is then."""
        opening = _event(code, Kind.OPEN, at, place=place, hic=DRY_CARD)
        return replace(self, events=[*self.events, opening])


@dataclass(frozen=True, slots=True)
class Outlook:
    """Whether a carrier may be used from a moment on up to the last reflow.

    Args:
        act: how it gets to the line.
        reasons: why it may not be used; empty if it may.
        from_at: the earliest moment of the run to take it or to open it, so that it lasts; None: it
            can't be used.
        ends_early_at: when its floor life ends if it comes when the run begins; None: it lasts, or
            that is not what stands against it.
        lasts_until: when its floor life ends if it comes at `from_at`, in the air forecast for the
            line; None: no limit there, or it can't be used.
        used_at_end: share used at the last reflow if it comes when the run begins.
        left_h: hours left then, in the air forecast for the line; None: no limit there.
    """

    act: Act
    reasons: tuple[str, ...]
    from_at: int | None
    ends_early_at: int | None = None
    lasts_until: int | None = None
    used_at_end: Fraction = Fraction(0)
    left_h: Fraction | None = None


@dataclass(frozen=True, slots=True)
class PlannedBake:
    """A bake that makes a carrier usable.

    Args:
        oven: place code.
        option: temperature, hours and the air that the oven must have.
        start_by: the latest moment it must be in the hot oven so that it is done when the run
            begins; None: too late for that.
        done_at: when it is done if it starts then; if it is too late, if it starts now.
        lasts_until: when the floor life ends after it, in the air forecast for the line, if the
            carrier leaves the oven when the run begins; None: no limit there.
    """

    oven: str
    option: BakeOption
    start_by: int | None
    done_at: int
    lasts_until: int | None


def coming(state: CarrierState, place: str, at: int) -> tuple[Event, ...]:
    """Return the events that bring a carrier to a place, as it is just before.

    Args:
        state: the carrier at that moment.
        place: code of the line.
        at: the moment.
    """
    code, phase = state.facts.code, state.ledger.phase
    if phase in _CLOSED:
        return (_event(code, Kind.OPEN, at, place=place, hic=DRY_CARD),)
    if phase is Phase.BAKING:
        return (_event(code, Kind.BAKE_END, at, place=place),)
    return (_event(code, Kind.MOVE, at, place=place),)


def outlook(carrier: Supposed, run: Run) -> Outlook:
    """Return what a run may expect of a carrier with nothing done to it before.

    One that would not last if it came when the run begins, but rests dry till then, may come later:
    the first whole minute from which it lasts is looked for.
    """
    before, reasons, end = _tried(carrier, run, run.begins_at)
    act, used, left_h = _act(before), end.used_share, end.forecast.remaining_h
    if not reasons:
        return Outlook(act, (), run.begins_at, None, end.expires_at, used, left_h)
    early_at = end.ledger.full_since if reasons == ("floor_life_exceeded",) else None
    if before.status in ("in_dry_bag", "dry_storage"):
        later = _first_that_lasts(carrier, run)
        if later is not None:
            at, until = later
            return Outlook(act, (), at, early_at, until, used, left_h)
    if early_at is not None and before.verdict == "use":
        reasons = ("floor_life_ends_before_the_run",)
    return Outlook(act, reasons, None, early_at, None, used, left_h)


def bake_outlook(
    carrier: Supposed,
    run: Run,
    now: int,
    ovens: Mapping[str, OvenLimits],
    cumulative_h: int,
) -> PlannedBake | tuple[str, ...]:
    """Return the shortest bake after which a carrier may be used for a run, or why there is none:
    names of reasons, or sentences.

    The hours are those of the latest start, when more of the floor life may have been used up.

    Args:
        carrier: one that is not in a running bake.
        run: the run.
        now: the present moment.
        ovens: what the site's ovens can do, by place code.
        cumulative_h: the site's limit of hours above 90 °C.

    Source: J-STD-033, Table 4-1 and clause 4.2.
    """
    state = carrier.state(now)
    if "hic_missing" in state.reasons:
        return ("hic_missing",)
    bag = carrier.state(run.begins_at)
    if "shelf_life_over" in bag.reasons and not bag.bake.needed:
        # Its card decides, and a bake may not be needed at all.
        return ("shelf_life_over",)
    found = _shortest(state, ovens, cumulative_h)
    if isinstance(found, str):
        return (found,)
    oven, option = found
    start = _latest_start(run, option.hours)
    if start >= now:
        then = _option_like(carrier.state(start), option, ovens[oven], cumulative_h)
        longer = -1 if then is None else _latest_start(run, then.hours)
        # Begun at once, the hours of now are those that count.
        option, start = (then, longer) if then is not None and longer >= now else (option, now)
    late = start < now
    start = now if late else start
    done_at = start + _seconds(option.hours)
    after = _after_bake(carrier, run, start, done_at, option.temp_c)
    if after.reasons == ("floor_life_exceeded",):
        return ("Even after a bake its floor life ends before the last reflow.",)
    if after.reasons:
        return after.reasons
    return PlannedBake(oven, option, None if late else start, done_at, after.expires_at)


def _after_bake(
    carrier: Supposed, run: Run, start: int, done_at: int, temp_c: float
) -> CarrierState:
    """Return a carrier at the last reflow after a bake: one that is too late is asked about for a
    run that begins when it is done, and is as long."""
    begin = max(run.begins_at, done_at)
    end = run.ends_at + begin - run.begins_at
    before = carrier.state(start)
    code = before.facts.code
    opened = coming(before, run.place, start) if before.ledger.phase in _CLOSED else ()
    return carrier.state(
        end,
        *opened,
        # No oven is named, for nothing is known of its readings to come.
        _event(code, Kind.BAKE_START, start, temp_c=temp_c),
        _event(code, Kind.BAKE_END, begin, place=run.place),
    )


def _tried(
    carrier: Supposed, run: Run, at: int
) -> tuple[CarrierState, tuple[str, ...], CarrierState]:
    """Return a carrier before it comes to the line at a moment, why it may not be used up to the
    last reflow, and its state then."""
    before = carrier.state(at)
    end = carrier.state(run.ends_at, *coming(before, run.place, at))
    # Reasons of a closed bag, such as its shelf life, are gone once it is open: the card decides
    # then, and nobody has read it yet.
    against = before.reasons if before.status != "baking" else ()
    return before, tuple(dict.fromkeys((*against, *end.reasons))), end


def _first_that_lasts(carrier: Supposed, run: Run) -> tuple[int, int | None] | None:
    """Return the first whole minute of a run from which a dry carrier lasts to its end, and when
    its floor life ends then."""
    low, high = run.begins_at // MINUTE_S, run.ends_at // MINUTE_S
    _, reasons, end = _tried(carrier, run, high * MINUTE_S)
    if reasons or high <= low:
        return None
    while high - low > 1:
        middle = (low + high) // 2
        _, reasons, tried = _tried(carrier, run, middle * MINUTE_S)
        if reasons:
            low = middle
        else:
            high, end = middle, tried
    return high * MINUTE_S, end.expires_at


def _act(state: CarrierState) -> Act:
    if state.ledger.phase in _CLOSED:
        return "open"
    return "take_out" if state.ledger.phase is Phase.BAKING else "take"


def _shortest(
    state: CarrierState, ovens: Mapping[str, OvenLimits], cumulative_h: int
) -> tuple[str, BakeOption] | str:
    facts, ledger = state.facts, state.ledger
    found = [
        (option.hours, code, option)
        for code, limits in sorted(ovens.items())
        for option in advise(facts, ledger, cumulative_h, limits).options[:1]
    ]
    if found:
        _, code, option = min(found, key=lambda one: one[:2])
        return code, option
    anywhere = advise(facts, ledger, cumulative_h)
    if anywhere.chosen is None:
        return anywhere.refused[0].why
    wanted = f"{float(anywhere.chosen.hours):g} h at {anywhere.chosen.temp_c:g} °C"
    return f"No oven here fits: it needs {wanted}."


def _option_like(
    state: CarrierState, option: BakeOption, limits: OvenLimits, cumulative_h: int
) -> BakeOption | None:
    """Return the bake of the same temperature that a carrier needs at another moment."""
    options = advise(state.facts, state.ledger, cumulative_h, limits).options
    return next((one for one in options if one.temp_c == option.temp_c), None)


def _latest_start(run: Run, hours: Fraction) -> int:
    return (run.begins_at - _seconds(hours)) // MINUTE_S * MINUTE_S


def _seconds(hours: Fraction) -> int:
    whole = hours * HOUR_S
    return -(-whole.numerator // whole.denominator)


def _event(
    code: str,
    kind: Kind,
    at: int,
    *,
    place: str | None = None,
    hic: Mapping[str, str] | None = None,
    temp_c: float | None = None,
) -> Event:
    return Event("plan", code, kind, at, _LAST, at, place=place, hic=hic, temp_c=temp_c)
