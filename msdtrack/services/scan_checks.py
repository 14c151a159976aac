"""Whether an action is possible for a carrier as it is, and in plain words why not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from msdtrack.exposure.bake_advice import BakeAdvice
from msdtrack.exposure.events import Kind
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.printing.codes import ACTIONS, Action
from msdtrack.services.accounts import Account
from msdtrack.services.carrier_states import oven_limits
from msdtrack.services.countdowns import next_step_text
from msdtrack.services.scan_replies import Stop, after
from msdtrack.services.scan_work import Work
from msdtrack.store import places
from msdtrack.store.records import PlaceRecord


def check_all(
    work: Work,
    action: Action,
    codes: Sequence[str],
    place: str | None = None,
    quantity: int | None = None,
) -> dict[str, CarrierState]:
    """Return the carriers as they are, if an action is possible for all of them.

    Args:
        place, quantity: as far as they are known by now.

    Raises:
        Stop: it is impossible for one of them.
    """
    found = {}
    for code in codes:
        found[code] = work.hand.state(code, work.at)
        try:
            _check(work, action, found[code], place, quantity)
        except Stop as stop:
            stop.of_several = len(codes) > 1
            stop.action = action
            raise
    return found


def possible_bakes(work: Work, codes: Sequence[str], oven: str) -> tuple[list[str], Stop | None]:
    """Return the names of the bakes that all of some carriers may have in an oven, and, if there
    is none, why.

    Raises:
        Stop: one of them can't even be put there.
    """
    check_all(work, ACTIONS["MOVE"], codes, oven)
    found, why = [], None
    for action in _BAKES:
        try:
            check_all(work, action, codes, oven)
        except Stop as stop:
            # The mildest comes last: what stands in its way stands in the way of all.
            why = stop
        else:
            found.append(action.name)
    return found, None if found else why


def _check(
    work: Work,
    action: Action,
    state: CarrierState,
    place: str | None,
    quantity: int | None,
) -> None:
    kind, code, phase = action.event, state.facts.code, state.ledger.phase

    def stop(title: str, message: str, next_step: str = "") -> Stop:
        return Stop(title, message, next_step, code)

    if state.status == "gone":
        why = state.ledger.gone
        raise stop("Gone", f"{code} is used up." if why is None else f"{code}: {why}.")
    if state.status == "on_board" and kind in (Kind.OPEN, Kind.CLOSE, Kind.TAKE, Kind.LOAD):
        raise stop("On a board", f"{code} is placed on a board.", next_step_text(state, work.tz))
    in_bag = phase in (Phase.BAGGED, Phase.TIRED_BAG)
    if kind == Kind.OPEN and not in_bag:
        if phase is Phase.BAKING:
            raise stop("In the oven", f"{code} is being baked: it is in no bag.", after("BAKEEND"))
        since = state.ledger.opened_at
        when = "" if since is None else f" since {work.local(since)}"
        raise stop("Open already", f"{code} is open{when}.", next_step_text(state, work.tz))
    if kind is not None and kind in _NEEDS_OPEN and in_bag:
        raise stop("Bag is closed", f"{code}: {_NEEDS_OPEN[Kind(kind)]}", after("OPEN"))
    if kind == Kind.CLOSE and phase is Phase.BAKING:
        raise stop("In the oven", f"{code} is being baked: it is in no bag.", after("BAKEEND"))
    if kind in (Kind.LOAD, Kind.TAKE, Kind.BAKE_START) and state.ledger.held:
        reasons = "; ".join(state.ledger.held)
        raise stop("On hold", f"{code} is held for quality: {reasons}.", after("RELEASE"))
    if kind in (Kind.LOAD, Kind.TAKE) and phase is Phase.BAKING:
        raise stop("In the oven", f"{code} is being baked.", after("BAKEEND"))
    if kind == Kind.LOAD and state.verdict == "do_not_use":
        raise stop("Do not use", f"{code} was not loaded.", next_step_text(state, work.tz))
    if kind == Kind.TAKE and quantity is not None and quantity > state.ledger.quantity:
        left = state.ledger.quantity
        raise stop("Too many", f"{code} holds {left}, so {quantity} can't have been taken.")
    if kind == Kind.BAKE_START and state.ledger.board is not None:
        why = "The limits of all that is on the boards count, not those of one carrier."
        raise stop("On a board", why, "Open the page of the boards and scan the oven there.")
    if kind == Kind.BAKE_START:
        if phase is Phase.BAKING:
            raise stop("Baking already", f"{code} is being baked.", after("BAKEEND"))
        _check_bake(action, work.hand.account(code), state, place)
    if kind == Kind.BAKE_END and phase is not Phase.BAKING:
        raise stop("No bake", f"{code} is not being baked.", next_step_text(state, work.tz))
    if kind == Kind.HOLD and state.ledger.held:
        raise stop("On hold already", f"{code} is held: {'; '.join(state.ledger.held)}.")
    if kind == Kind.RELEASE and not state.ledger.held and not state.ledger.hic_missing:
        raise stop("Not on hold", f"{code} is not held.", next_step_text(state, work.tz))


_NEEDS_OPEN: Mapping[Kind, str] = {
    Kind.CLOSE: "there is nothing to close.",
    Kind.TAKE: "nothing can be taken out.",
    Kind.LOAD: "it can't feed the line.",
    Kind.BAKE_START: "take it out first, a bag never goes into the oven.",
    Kind.BAKE_END: "it is not being baked.",
}


_BAKES = tuple(action for action in ACTIONS.values() if action.event == Kind.BAKE_START)
"""The bakes of the action card, the hottest first."""


def check_oven(action: Action, place: PlaceRecord) -> None:
    """Raise a `Stop` if an action needs an oven and the place is none."""
    if action.event == Kind.BAKE_START and place.kind != "oven":
        raise Stop("No oven", f"{place.name} is a {place.kind}.", "Scan the code of the oven.")


def _check_bake(action: Action, held: Account, state: CarrierState, place: str | None) -> None:
    code = state.facts.code
    limits = None
    if place is not None:
        check_oven(action, places.place(place))
        limits = oven_limits(place)
    advice = held.state(state.at, limits).bake
    if any(option.temp_c == action.temp_c for option in advice.options):
        return
    why = [one.why for one in advice.refused if one.temp_c in (None, action.temp_c)]
    reason = why[0] if why else f"{action.temp_c} °C is none of its bakes."
    where = "here"
    if limits is not None and not advice.options:
        advice, where = held.state(state.at).bake, "in another oven"
    raise Stop(f"Not at {action.temp_c} °C", f"{code}: {reason}", _other_bakes(advice, where), code)


def _other_bakes(advice: BakeAdvice, where: str) -> str:
    if not advice.options:
        return "Ask the component's maker how to bake it."
    listed = " or ".join(f"{float(o.hours):g} h at {o.temp_c:g} °C" for o in advice.options)
    on_card = any(one.temp_c == option.temp_c for one in _BAKES for option in advice.options)
    return f"Possible {where}: {listed}." + ("" if on_card else " Start it on the oven's page.")
