"""What a count says of each carrier, in words and rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from msdtrack.services.count_recording import moved_at
from msdtrack.services.counting import Counted
from msdtrack.store.counts import CountRecord
from msdtrack.web.marks import Mark
from msdtrack.web.rendering import local, near
from msdtrack.web.wording import STATUSES


@dataclass(frozen=True, slots=True)
class CountRow:
    """A carrier of a count.

    Args:
        part: number, level and lot; "" for what is not on file.
        told: what is on record and what is decided.
        decide: what there is to do about it: decide, change what was decided, or nothing.
        leave: whether it was scanned and can be left out again.
        open: whether the log has its bag closed, so that it can be said to be open.
        gone_by: the entry to correct, "" for none.
    """

    code: str
    part: str
    lot: str
    mark: Mark
    told: str
    decide: str
    leave: bool
    open: bool
    gone_by: str


@dataclass(frozen=True, slots=True)
class DidRow:
    """What a recorded count did with a carrier."""

    code: str
    part: str
    mark: Mark
    words: str


def rows(found: Iterable[Counted], names: Mapping[str, str], now: int) -> tuple[CountRow, ...]:
    """Return carriers as rows, in their order, but first what must still be decided."""
    listed = sorted(found, key=lambda one: not one.asks or one.decision is not None)
    return tuple(_row(one, names, now) for one in listed)


def _row(one: Counted, names: Mapping[str, str], now: int) -> CountRow:
    part = None if one.state is None else one.state.facts.part
    told = found_words(one, names, now)
    if one.decision is not None and one.asks is not None:
        told = decision_words(one, names, now)
    return CountRow(
        one.code,
        "" if part is None else f"{part.number}, level {part.msl}",
        "" if one.state is None else one.state.facts.lot,
        _mark(one),
        told,
        decide="" if one.asks is None else ("Decide" if one.decision is None else "Change"),
        leave=one.found_at is not None,
        open=one.on_record_closed and one.found_at is not None and one.decision_is_not_open,
        gone_by=one.gone_by or "",
    )


def _mark(one: Counted) -> Mark:
    if one.where == "here":
        return Mark("do", "found open") if one.decision else Mark("ok", "found")
    if one.where == "came":
        return Mark("ok", "came since")
    if one.where in ("gone", "unknown"):
        return Mark("stop", "gone on record" if one.where == "gone" else "not on file")
    if one.decision is not None:
        return Mark("do", "decided" if one.asks else "moves here")
    return Mark("soon", "missing") if one.where == "missing" else Mark("soon", "since when?")


def place_word(code: str | None, names: Mapping[str, str]) -> str:
    """Return the name of a place."""
    return "a place not known" if code is None else names.get(code, code)


def found_words(one: Counted, names: Mapping[str, str], now: int) -> str:
    """Return what the log has of a carrier, and what was found."""
    state = one.state
    if state is None:
        return "no carrier on file has this code."
    place = place_word(state.ledger.place, names)
    status = STATUSES[state.status]
    if one.where == "gone":
        return f"on record it is {state.ledger.gone or 'used up'}."
    if one.where == "came":
        return "came since the count began."
    if one.where == "here":
        held = " Held for quality: release it if that is settled." if state.ledger.held else ""
        if one.decision is not None:
            return decision_words(one, names, now)
        return f"{status}.{held}"
    if one.where == "missing":
        return f"on record here, {status}, last known {near(one.last_known_at, now)}."
    words = f"on record at {place}, {status}."
    if one.on_record_closed:
        words += " See that its bag is closed."
    if one.decision is not None:
        words += " " + decision_words(one, names, now)
    return words


def since_words(one: Counted, stage: str, now: int) -> str:
    """Return what counts if nobody knows since when."""
    if stage == "open" and one.state is not None:
        since = near(one.state.ledger.known_closed_at, now)
        return f"exposed since it was last known closed, {since}"
    state = one.state
    where = "in the oven" if state is not None and state.status == "baking" else "dry"
    return f"exposed since it was last known {where}, {near(one.last_known_at, now)}"


def decision_words(one: Counted, names: Mapping[str, str], now: int) -> str:
    """Return what will be recorded of a carrier."""
    decision = one.decision
    if decision is None:
        return "nothing is recorded."
    if decision.act == "hold":
        return "held for quality: not found when counted. Its place stays as it is."
    if decision.act == "gone":
        return f"gone: {decision.reason}."
    dated = near(moved_at(one, decision), now)
    unknown = (
        "" if decision.since is not None else "; nobody knows since when, so as early as it can be"
    )
    if decision.act == "open":
        return f"was opened, dated {dated}{unknown}."
    return f"moves to {place_word(decision.place, names)}, dated {dated}{unknown}."


_DID = {
    "move": Mark("do", "moved"),
    "open": Mark("do", "opened"),
    "gone": Mark("bag", "gone"),
    "hold": Mark("stop", "held"),
}


def did_rows(count: CountRecord, names: Mapping[str, str]) -> tuple[DidRow, ...]:
    """Return what a recorded count did, in rows."""
    return tuple(
        DidRow(one["code"], one["part"], _DID[one["act"]], _did(one, names))
        for one in count.summary["did"]
    )


def _did(one: Mapping[str, str | int | None], names: Mapping[str, str]) -> str:
    dated, since = one["dated"], one["since"]
    when = local(dated) if isinstance(dated, int) else ""
    unknown = "" if since is not None else "; nobody knows since when, so as early as it can be"
    came = place_word(str(one["from"]) if one["from"] else None, names)
    if one["act"] == "hold":
        return f"Held for quality; on record it stays at {came}."
    if one["act"] == "gone":
        return f"Gone: {one['reason']}."
    if one["act"] == "open":
        return f"Opened, dated {when}{unknown}."
    return f"From {came} to {place_word(str(one['place']), names)}, dated {when}{unknown}."
