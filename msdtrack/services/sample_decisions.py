"""Values go into a check, and what follows at once: a lot accepted, or all of it put on hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from msdtrack.errors import BadInput, Conflict, FieldError, Refused
from msdtrack.phrases import counted
from msdtrack.services import lot_holds, measurements, people, sample_checks
from msdtrack.services.measurements import Verdict
from msdtrack.services.sample_checks import Progress
from msdtrack.services.value_tables import PieceValues
from msdtrack.store import request_log
from msdtrack.store import sample_checks as table
from msdtrack.store.canonical import content_hash
from msdtrack.store.connection import write
from msdtrack.store.sample_checks import CheckRecord, DecisionRecord, ValueRecord


@dataclass(frozen=True, slots=True)
class Saved:
    """What became of values.

    Args:
        decision: what they decided just now; "" if nothing new.
        carriers: those put on hold by it.
    """

    verdict: Verdict
    decision: str
    carriers: tuple[str, ...]


def save_values(
    number: int,
    pieces: Sequence[PieceValues],
    person: str,
    now: int,
    reason: str = "",
    request_id: str | None = None,
) -> Saved:
    """Put values of pieces on a check, all or none, and decide what they decide.

    As soon as too many pieces fail, every carrier of the lot is put on hold in the same
    transaction. Once every piece is measured and few enough fail, the lot is accepted.

    Args:
        pieces: as read by `value_tables.read_values` with the channels of the check.
        person: badge code or name of who measured.
        reason: why values of pieces that have some are replaced; both stay on record.
        request_id: UUID made by the client; sent again, nothing is done twice.

    Raises:
        NotFound: no such check.
        BadInput: more pieces than were taken or planned, or values would be replaced without a
            reason.
        Conflict: the request id was used for something else.
    """
    sent = [[one.piece, [str(value) for value in one.values]] for one in pieces]
    content = content_hash({"check": number, "pieces": sent, "reason": reason, "person": person})
    with write():
        check = sample_checks.progress(number)
        if _done_before(request_id, "sample values", content):
            return Saved(check.verdict, "", ())
        if not person.strip():
            raise _bad("person", "say who measured: scan a badge or choose a name")
        record = check.record
        _check_pieces(check, pieces, reason)
        who = people.person_code(person, now)
        had = {one.piece for one in check.values}
        rows = []
        for one in pieces:
            if len(one.values) != len(record.channels):
                raise _bad(
                    "values", f"piece {one.piece} needs {counted(len(record.channels), 'value')}"
                )
            why = reason.strip() if one.piece in had else ""
            rows += [
                ValueRecord(number, one.piece, channel.name, value, why, who, now)
                for channel, value in zip(record.channels, one.values, strict=True)
            ]
        table.insert_values(rows)
        verdict = measurements.judge(record, [*check.values, *rows])
        decision, codes = _decide(check, verdict, who, now)
        _remember(request_id, "sample values", content, now)
    return Saved(verdict, decision, tuple(codes))


def release(
    number: int,
    codes: Sequence[str] | None,
    person: str,
    reason: str,
    now: int,
    request_id: str | None = None,
) -> tuple[list[str], dict[str, str]]:
    """Release what a check holds: the whole lot, or single carriers.

    Args:
        codes: the carriers; None is every one.
        person: badge code or name of who answers for it.
        reason: why it may be used.

    Returns:
        The codes that were released, and those that were left with why.

    Raises:
        BadInput: no name or no reason, or a code that the check does not hold.
        Refused: the lot was not rejected.
    """
    given = None if codes is None else list(codes)
    content = content_hash({"check": number, "codes": given, "reason": reason, "person": person})
    errors = []
    if not person.strip():
        errors.append(FieldError("person", "say who releases it"))
    if not reason.strip():
        errors.append(FieldError("reason", "say why it may be used"))
    if errors:
        raise BadInput("Nothing was released: a release needs a name and a reason.", errors)
    record = sample_checks.progress(number).record
    # Thousands are folded before the transaction, so that scans need not wait for that.
    before = lot_holds.lot_now(record.part, record.lot, now)
    with write():
        check = sample_checks.progress(number)
        if _done_before(request_id, "sample release", content):
            return [], {}
        if check.stage != "rejected":
            raise Refused(f"Check {number} holds nothing: its lot is not rejected.")
        lot = lot_holds.lot_now(record.part, record.lot, now, before)
        held = lot.held_by(number)
        wanted = held if codes is None else list(dict.fromkeys(codes))
        strange = sorted(set(wanted) - set(held))
        if strange:
            raise _bad("carrier", f"{strange[0]} is not held by check {number}")
        who = people.person_code(person, now)
        states = {code: lot.states[code] for code in wanted}
        released, left = lot_holds.release(check.record, states, reason.strip(), who, now)
        if released or codes is None:
            whole = codes is None or set(released) >= set(held)
            decision = "released" if whole and not left else "released_part"
            table.insert_decision(
                DecisionRecord(number, decision, reason.strip(), tuple(released), who, now)
            )
        _remember(request_id, "sample release", content, now)
    return released, left


def _decide(check: Progress, verdict: Verdict, who: str, now: int) -> tuple[str, list[str]]:
    """Write down what values decide, unless it is decided already; an accepted lot can still be
    rejected by a corrected value, a rejected one only be released."""
    record, stage = check.record, check.stage
    if verdict.decision == "reject" and stage not in ("rejected", "released"):
        reason = rejection_text(record, verdict)
        codes = lot_holds.hold_lot(record, reason, who, now)
        decision = DecisionRecord(record.number, "rejected", reason, tuple(codes), who, now)
        table.insert_decision(decision)
        return "rejected", codes
    if verdict.decision == "accept" and stage in ("planned", "open", "measured"):
        measured = counted(verdict.measured, "piece")
        reason = f"{verdict.failing} of {measured} out of limits, {record.accept} may be"
        table.insert_decision(DecisionRecord(record.number, "accepted", reason, (), who, now))
        return "accepted", []
    return "", []


def rejection_text(record: CheckRecord, verdict: Verdict) -> str:
    """Return why a lot is rejected, in one line."""
    count = f"{verdict.failing} of {counted(record.sample_size, 'piece')} out of limits"
    return f"{count}, {record.accept} may be; lot {record.lot} rejected"


def _check_pieces(check: Progress, pieces: Sequence[PieceValues], reason: str) -> None:
    had = {one.piece for one in check.values}
    again = [one.piece for one in pieces if one.piece in had]
    if not pieces:
        raise _bad("values", "there is no piece")
    if again and not reason.strip():
        message = (
            f"{_listed(again)} measured already: say why these values are the right ones, or "
            "leave them out"
        )
        raise _bad("reason", message)
    count = len(had | {one.piece for one in pieces})
    if count > check.record.sample_size:
        message = f"{counted(count, 'piece')}, but the sample is {check.record.sample_size}"
        raise _bad("values", f"{message}: measuring on until it fits is no check")
    if count > check.taken:
        message = f"{counted(count, 'piece')} measured, but only {check.taken} taken on record"
        raise _bad("values", f"{message}: scan the bag and say how many were taken")


def _listed(pieces: Sequence[str]) -> str:
    shown = ", ".join(pieces[:5]) + (" ..." if len(pieces) > 5 else "")
    return f"piece {shown} is" if len(pieces) == 1 else f"pieces {shown} are"


def _bad(field: str, message: str) -> BadInput:
    return BadInput(f"{message[0].upper()}{message[1:]}.", [FieldError(field, message)])


def _done_before(request_id: str | None, scope: str, content: str) -> bool:
    before = None if request_id is None else request_log.remembered(request_id)
    if before is not None and (before.scope, before.content_hash) != (scope, content):
        raise Conflict("This page was used already: load it again.")
    return before is not None


def _remember(request_id: str | None, scope: str, content: str, now: int) -> None:
    answer: dict[str, Any] = {}
    if request_id is not None:
        request_log.remember(request_id, scope, content, 200, answer, now)
