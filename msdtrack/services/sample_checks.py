"""Sample checks of lots: planned by ISO 2859-1, and how far each one is."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Literal

from msdtrack.errors import BadInput, Conflict, FieldError, NotFound
from msdtrack.exposure.events import effective
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.phrases import counted
from msdtrack.services import measurements, people
from msdtrack.services.carrier_states import states
from msdtrack.services.lot_holds import lot_now
from msdtrack.services.measurements import Verdict
from msdtrack.services.placements import BOARD
from msdtrack.services.policies import policies
from msdtrack.standard import sampling
from msdtrack.standard.sampling import SamplingPlan
from msdtrack.store import carriers, event_log, request_log, sample_checks
from msdtrack.store.canonical import content_hash
from msdtrack.store.connection import read, write
from msdtrack.store.sample_checks import CheckRecord, DecisionRecord, StepRecord, ValueRecord

Stage = Literal["planned", "open", "measured", "accepted", "rejected", "released"]

BAGS_SOURCE = "the square root of the number of bags, common practice, no source"

QUIET_STEPS = ("undo", "pick", "more", "with")
"""Kinds of step that put nothing on the log of a carrier."""


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot of a part as it is now.

    Args:
        bags: carriers that pieces can be taken from.
        pieces: in all that is there, boards left out.
    """

    part: str
    lot: str
    bags: int
    pieces: int


@dataclass(frozen=True, slots=True)
class NewCheck:
    """A check as planned.

    Args:
        sample_size, accept, bags: what was chosen.
        deviation: why the first two are not the table's; "" where they are.
        person: badge code or name of who plans it.
    """

    part: str
    lot: str
    variant: str
    lot_size: int
    level: str
    aql_pct: str
    sample_size: int
    accept: int
    bags: int
    person: str
    deviation: str = ""


@dataclass(frozen=True, slots=True)
class Pieces:
    """Pieces that were taken, a carrier of its own. `printed`: its label was printed."""

    code: str
    parent: str
    taken: int
    state: CarrierState


@dataclass(frozen=True, slots=True)
class SampledBag:
    """A carrier that pieces are taken from.

    Args:
        taken: pieces taken so far.
        wanted: how many more should come from it.
    """

    code: str
    state: CarrierState
    taken: int
    wanted: int

    @property
    def is_open(self) -> bool:
        """Return whether its bag is open."""
        return self.state.ledger.phase is Phase.OPEN and self.state.status != "gone"


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a check is, as far as its own records say."""

    record: CheckRecord
    steps: tuple[StepRecord, ...]
    values: tuple[ValueRecord, ...]
    decisions: tuple[DecisionRecord, ...]
    verdict: Verdict
    taken: int
    stage: Stage


@dataclass(frozen=True, slots=True)
class SampleCheck:
    """All about one check.

    Args:
        bags: carriers in work, in the order they came to hand.
        pieces: what was taken, in that order.
        in_hand: the carrier scanned last.
    """

    progress: Progress
    bags: tuple[SampledBag, ...]
    pieces: tuple[Pieces, ...]
    in_hand: CarrierState | None

    @property
    def record(self) -> CheckRecord:
        """Return the check as planned."""
        return self.progress.record

    @property
    def decided(self) -> bool:
        """Return whether its lot was accepted or rejected."""
        return bool(self.progress.decisions)


def find_lots(text: str, now: int, most: int = 20) -> list[Lot]:
    """Return lots with this text in a carrier's code, part or lot, or with just this carrier."""
    with read():
        found = carriers.carriers(limit=500, text=text.strip()) if text.strip() else []
        facts = carriers.carrier_facts(one.code for one in found)
        keys = dict.fromkeys((one.part.number, one.lot) for one in facts.values())
        return [lot(part, name, now) for part, name in list(keys)[:most]]


def lot(part: str, name: str, now: int) -> Lot:
    """Return a lot as it is now.

    Raises:
        NotFound: no carrier is of this lot.
    """
    found = lot_now(part, name, now)
    if not found.codes:
        raise NotFound(f"There is no carrier of part {part}, lot {name}.")
    pieces = [
        *found.untouched.values(),
        *(
            one.ledger.quantity
            for one in found.states.values()
            if one.status not in ("gone", "on_board") and one.facts.kind != BOARD
        ),
    ]
    return Lot(part, name, sum(one > 0 for one in pieces), sum(pieces))


def usual_aql_pct(now: int) -> str:
    """Return the site's AQL as the tables write it."""
    chosen = float(policies(now)["sample_aql_pct"])
    return next(aql for aql in sampling.AQLS_PCT if float(aql) == chosen)


def suggested_bags(plan: SamplingPlan, bags: int) -> int:
    """Return from how many bags the pieces should come: few are opened, more than one is seen.

    Source: the square root of the number of bags, common practice, no source.
    """
    return max(1, min(plan.sample_size, bags, math.ceil(math.sqrt(bags))))


def create(new: NewCheck, now: int, request_id: str | None = None) -> tuple[CheckRecord, bool]:
    """Put a planned check on file; return it, and whether this call did so.

    Args:
        new: the check.
        now: the present moment.
        request_id: UUID made by the client; the same one with the same content creates nothing.

    Raises:
        BadInput: a field is wrong; all are named.
        NotFound: no carrier is of this lot.
        Conflict: the request id was used for something else.
    """
    content = content_hash(asdict(new))
    with write():
        if request_id is not None:
            before = request_log.remembered(request_id)
            if before is not None:
                if (before.scope, before.content_hash) != ("sample check", content):
                    raise Conflict("This id was used for something else: make a new one.")
                return sample_checks.check(before.answer["number"]), False
        limits = measurements.variant(new.part, new.variant)
        plan = sampling.sampling_plan(max(1, new.lot_size), new.aql_pct, new.level)
        _check(new, plan, lot(new.part, new.lot, now))
        deviates = (new.sample_size, new.accept) != (plan.sample_size, plan.accept)
        record = CheckRecord(
            number=carriers.next_serial("sample check"),
            part=new.part,
            lot=new.lot,
            variant=limits.variant,
            channels=limits.channels,
            lot_size=new.lot_size,
            level=new.level,
            aql_pct=new.aql_pct,
            letter=plan.letter,
            sample_size=new.sample_size,
            accept=new.accept,
            bags=new.bags,
            deviation=new.deviation.strip() if deviates else "",
            person=people.person_code(new.person, now),
            recorded_at=now,
        )
        sample_checks.insert_check(record)
        if request_id is not None:
            answer = {"number": record.number}
            request_log.remember(request_id, "sample check", content, 201, dict(answer), now)
    return record, True


def newest(limit: int = 100, before: int | None = None) -> list[Progress]:
    """Return how far checks are, newest first."""
    with read():
        records = sample_checks.checks(before=before, limit=limit)
        return _progress(records)


def progress(number: int) -> Progress:
    """Return how far a check is.

    Raises:
        NotFound: there is no such check.
    """
    with read():
        return _progress([sample_checks.check(number)])[0]


def check_of_pieces(code: str) -> int | None:
    """Return the number of the check whose pieces a carrier holds; None for every other."""
    with read():
        return sample_checks.check_of_child(code)


def check(number: int, now: int) -> SampleCheck:
    """Return all about a check, as of now.

    Raises:
        NotFound: there is no such check.
    """
    with read():
        so_far = progress(number)
        steps = standing_steps(so_far.steps)
        quantities = _taken(steps)
        taken = [one for one in steps if one.kind == "take" and one.child in quantities]
        codes = {one.carrier for one in so_far.steps}
        codes |= {one.child for one in taken if one.child is not None}
        found = states(codes, now)
    children = {one.child for one in taken}
    pieces = tuple(
        Pieces(one.child, one.carrier, quantities[one.child], found[one.child])
        for one in taken
        if one.child is not None
    )
    in_hand = next((one.carrier for one in reversed(so_far.steps) if one.kind != "undo"), None)
    return SampleCheck(
        so_far,
        _bags(so_far, [one for one in steps if one.carrier not in children], pieces, found),
        pieces,
        None if in_hand is None else found[in_hand],
    )


def standing_steps(steps: Sequence[StepRecord]) -> list[StepRecord]:
    """Return the steps that were not taken back, the taking back itself left out."""
    undone = {one.undoes for one in steps if one.kind == "undo"}
    return [one for one in steps if one.kind != "undo" and one.id not in undone]


def _progress(records: Sequence[CheckRecord]) -> list[Progress]:
    numbers = [one.number for one in records]
    steps, values = sample_checks.steps(numbers), sample_checks.values(numbers)
    decisions = sample_checks.decisions(numbers)
    standing = {number: standing_steps(of) for number, of in steps.items()}
    taken = _taken([one for of in standing.values() for one in of])
    found = []
    for record in records:
        n = record.number
        so_far = Progress(
            record,
            tuple(steps[n]),
            tuple(values[n]),
            tuple(decisions[n]),
            measurements.judge(record, values[n]),
            sum(taken[one.child] for one in standing[n] if one.child in taken),
            "planned",
        )
        found.append(replace(so_far, stage=_stage(so_far, standing[n])))
    return found


def _stage(so_far: Progress, steps: Sequence[StepRecord]) -> Stage:
    if so_far.decisions:
        last = so_far.decisions[-1].decision
        return {"accepted": "accepted", "released": "released"}.get(last, "rejected")  # type: ignore[return-value]
    if so_far.values:
        return "measured"
    return "open" if any(one.kind not in QUIET_STEPS for one in steps) else "planned"


def _taken(steps: Sequence[StepRecord]) -> dict[str, int]:
    """Return the pieces of each taking that stands on the carriers' logs, by the new carrier."""
    takes = [one for one in steps if one.kind == "take" and one.child is not None]
    logs = event_log.logs({one.carrier for one in takes})
    standing = {event.id: event for log in logs.values() for event in effective(log)}
    return {
        one.child: standing[one.events[0]].quantity or 0
        for one in takes
        if one.child is not None and one.events[0] in standing
    }


def _bags(
    so_far: Progress,
    steps: Sequence[StepRecord],
    pieces: Sequence[Pieces],
    found: Mapping[str, CarrierState],
) -> tuple[SampledBag, ...]:
    by_bag: dict[str, int] = {one.carrier: 0 for one in steps}
    for one in pieces:
        by_bag[one.parent] = by_bag.get(one.parent, 0) + one.taken
    record = so_far.record
    missing = max(0, record.sample_size - sum(by_bag.values())) if not so_far.decisions else 0
    sampled = sum(taken > 0 for taken in by_bag.values())
    share = math.ceil(missing / max(1, record.bags - sampled))
    return tuple(
        SampledBag(
            code,
            found[code],
            taken,
            min(share, missing, found[code].ledger.quantity) if not taken else 0,
        )
        for code, taken in by_bag.items()
    )


def _check(new: NewCheck, plan: SamplingPlan, of: Lot) -> None:
    errors = []

    def wrong(field: str, message: str) -> None:
        errors.append(FieldError(field, message))

    if not new.person.strip():
        wrong("person", "say who plans it")
    if new.lot_size < 1:
        wrong("lot_size", "at least 1 piece")
    if not 1 <= new.sample_size <= max(1, new.lot_size):
        wrong("sample_size", f"1 to {counted(new.lot_size, 'piece')}, as many as the lot has")
    if not 0 <= new.accept < max(1, new.sample_size):
        wrong("accept", "fewer than the pieces that are checked")
    if not 1 <= new.bags <= max(1, new.sample_size):
        wrong("bags", "at least 1, and no more than pieces")
    elif new.bags > max(1, of.bags):
        wrong("bags", f"only {of.bags} hold pieces of this lot")
    deviates = (new.sample_size, new.accept) != (plan.sample_size, plan.accept)
    if deviates and not new.deviation.strip():
        wrong(
            "deviation",
            f"the table says {counted(plan.sample_size, 'piece')} and at most {plan.accept} "
            "failing: say why it is done otherwise",
        )
    if errors:
        raise BadInput("The check is not planned yet.", errors)
