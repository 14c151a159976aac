"""Counting a place: what the log says is there against what is scanned there, and what mends it.

A count is a draft that every screen shares and a restart does not lose. Nothing of it is on the
log until it is recorded, all in one transaction and in one name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal
from uuid import uuid4

from msdtrack.errors import NotFound, Refused
from msdtrack.exposure.events import Kind
from msdtrack.exposure.ledger import Phase
from msdtrack.exposure.state import CarrierState
from msdtrack.services import catalog, standings
from msdtrack.services.accounts import Account, accounts
from msdtrack.services.catalog import Place
from msdtrack.services.placements import BOARD
from msdtrack.services.whereabouts import at_place
from msdtrack.store import boards, carriers, counts, whereabouts
from msdtrack.store.connection import read, write
from msdtrack.store.counts import CountLine, CountRecord

Where = Literal["here", "elsewhere", "gone", "unknown", "missing", "came"]
Act = Literal["move", "open", "gone", "hold"]

_NO_HAND = frozenset({Kind.HOLD, Kind.RELEASE, Kind.SCRAP, Kind.CORRECT})
"""Kinds that can be recorded without the carrier in one's hand: they do not say where it was."""


@dataclass(frozen=True, slots=True)
class Decision:
    """What is to be recorded of a carrier.

    Args:
        act: move it; open: it was found open; gone: used up or scrapped; hold for quality.
        place: where it is, of a move.
        since: since when it is there, or open; None: nobody knows, so since it was last known
            to be dry.
        reason: why it is gone.
        at: when that was said.
    """

    act: Act
    at: int
    place: str | None = None
    since: int | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Counted:
    """One carrier of a count.

    Args:
        where: here: found, and on record here; elsewhere: found, on record in another place; gone:
            found, gone on record; unknown: found, not on file; missing: on record here, not found;
            came: on record here since the count began.
        state: as it is on record now; None for what is not on file.
        found_at: when it was scanned.
        last_known_at: when it was last known to be where the record has it.
        asks: what has to be decided before the count can be recorded: where it is, or since when
            it is here; None: nothing.
        decision: what was decided; what was found elsewhere and asks nothing is moved here.
        gone_by: id of the entry that made it gone, to be corrected.
    """

    code: str
    where: Where
    state: CarrierState | None
    found_at: int | None
    last_known_at: int
    asks: Literal["where", "since"] | None = None
    decision: Decision | None = None
    gone_by: str | None = None

    @property
    def on_record_closed(self) -> bool:
        """Return whether the log has it in a closed bag."""
        return self.state is not None and self.state.ledger.phase in (
            Phase.BAGGED,
            Phase.TIRED_BAG,
        )

    @property
    def decision_is_not_open(self) -> bool:
        """Return whether it was not said to be open."""
        return self.decision is None or self.decision.act != "open"


@dataclass(frozen=True, slots=True)
class CountNow:
    """A place as it is counted.

    Args:
        count: the count that runs there; None before its first scan.
        carriers: found and expected ones, by code.
        more_found, more_missing: codes of plain ones that were not asked for: found where the log
            has them; not found, and nothing decided about them.
    """

    place: Place
    count: CountRecord | None
    carriers: tuple[Counted, ...]
    more_found: tuple[str, ...] = ()
    more_missing: tuple[str, ...] = ()

    def of(self, *where: Where) -> tuple[Counted, ...]:
        """Return the carriers that stand like this, but for those that were not asked for."""
        return tuple(one for one in self.carriers if one.where in where)

    @property
    def found(self) -> int:
        """Return how many were found where the log has them, or came there since."""
        return len(self.of("here", "came")) + len(self.more_found)

    @property
    def missing(self) -> int:
        """Return how many were not found."""
        return len(self.of("missing")) + len(self.more_missing)

    @property
    def undecided(self) -> tuple[str, ...]:
        """Return the codes that must be decided about before the count can be recorded."""
        asked = (one.code for one in self.carriers if one.asks and one.decision is None)
        return tuple(sorted((*asked, *self.more_missing)))

    @property
    def planned(self) -> tuple[Counted, ...]:
        """Return the carriers that something will be recorded of."""
        return tuple(one for one in self.carriers if one.decision is not None)


def overview(limit: int = 20) -> tuple[list[CountRecord], list[CountRecord]]:
    """Return the counts that run, and those recorded last."""
    with read():
        return counts.running(), counts.recorded(limit)


def count_of(count_id: str) -> CountRecord:
    """Return a count.

    Raises:
        NotFound: there is none.
    """
    return counts.count(count_id)


def count_now(place: str, now: int, shown: int | None = None) -> CountNow:
    """Return a place with what is expected and what was found there.

    Boards are not counted: a batch is no carrier with a label of its own on each placement.

    Args:
        place: its code.
        now: the present moment.
        shown: so many that are plainly missing and so many found last, of those that are plainly
            there; None is all.

    Raises:
        NotFound: there is no such place.
    """
    standings.answering(now, place)
    with read():
        here = catalog.place(place)
        count, lines = _notes(place)
        surely, perhaps = at_place(place, now)
        surely -= boards.batches_of(surely).keys()
        found, missing = _plain(surely, lines, now if count is None else count.begun_at)
        more_found, more_missing = ([], []) if shown is None else (found[shown:], missing[shown:])
        on_file = carriers.carriers_by_code(lines.keys() - surely).keys()
        codes = (surely | perhaps | on_file) - {*more_found, *more_missing}
        counted = _counted_of(sorted(codes), here, count, lines, now)
        for code in lines.keys() - surely - on_file:
            counted.append(Counted(code, "unknown", None, lines[code].found_at, now))
    counted.sort(key=lambda one: one.code)
    return CountNow(here, count, tuple(counted), tuple(more_found), tuple(more_missing))


def one_of(place: str, code: str, now: int) -> Counted:
    """Return one carrier of a count.

    Raises:
        NotFound: there is no such place, or it is not in the count.
    """
    with read():
        here = catalog.place(place)
        count, line = _note(place, code)
        lines = {} if line is None else {code: line}
        if code in carriers.carriers_by_code([code]):
            counted = _counted_of([code], here, count, lines, now)
        elif line is not None:
            counted = [Counted(code, "unknown", None, line.found_at, now)]
        else:
            counted = []
    if not counted:
        raise NotFound(f"{code} is not in this count.")
    return counted[0]


def is_found(place: str, code: str) -> bool:
    """Return whether a code was scanned in the count that runs at a place."""
    with read():
        _, line = _note(place, code)
        return line is not None and line.found_at is not None


def begin(place: str, now: int) -> CountRecord:
    """Return the count that runs at a place; if none does it begins now.

    Raises:
        NotFound: there is no such place.
    """
    with write():
        catalog.place(place)
        running = counts.running(place)
        return running[0] if running else counts.begin(str(uuid4()), place, now)


def found(place: str, code: str, now: int) -> Counted:
    """Take note that a carrier was found at a place; return what that means.

    Scanned twice it counts once, at the first time; what was decided about it stands no longer if
    it was missing until now.

    Raises:
        NotFound: there is no such place.
        Refused: the code belongs to pieces on a board.
    """
    with write():
        record = carriers.carriers_by_code([code]).get(code)
        if record is not None and record.kind == BOARD:
            raise Refused(f"{code} is on boards: they are not counted here, but on their own page.")
        count = begin(place, now)
        if (before := counts.line(count.id, code)) is None or before.found_at is None:
            counts.put_line(count.id, CountLine(code, now))
        return one_of(place, code, now)


def found_bag(place: str, bag: str, now: int) -> list[Counted]:
    """Take note that a closed bag was found, with all that is in it on record.

    Raises:
        NotFound: there is no such bag, or nothing is in it.
    """
    with write():
        had = carriers.codes_that_had_bag(bag)
        inside = [
            account.facts.code
            for account in accounts(had)
            if (state := account.state(now)).ledger.bag == bag
            and state.ledger.phase in (Phase.BAGGED, Phase.TIRED_BAG)
            and state.status != "gone"
        ]
        if not inside:
            raise NotFound(f"Nothing is in a bag {bag} on record: scan the carriers themselves.")
        return [found(place, code, now) for code in inside]


def take_back(place: str, code: str, now: int) -> None:
    """Forget that a code was scanned, and what was decided about it."""
    with write():
        counts.drop_line(begin(place, now).id, code)


# -- what is on record, what was found ---------------------------------------------------------


def _notes(place: str) -> tuple[CountRecord | None, dict[str, CountLine]]:
    count = next(iter(counts.running(place)), None)
    return count, counts.lines(count.id) if count is not None else {}


def _note(place: str, code: str) -> tuple[CountRecord | None, CountLine | None]:
    count = next(iter(counts.running(place)), None)
    return count, counts.line(count.id, code) if count is not None else None


def _plain(
    there: Iterable[str], lines: Mapping[str, CountLine], begun_at: int
) -> tuple[list[str], list[str]]:
    """Return, of the carriers that are surely there, those that were found, newest first, and
    those that were not, with nothing decided about any: what `_counted` makes of them is plain."""
    found: list[tuple[int, str]] = []
    unseen = []
    for code in there:
        line = lines.get(code)
        if line is None:
            unseen.append(code)
        elif line.found_at is not None and line.decision is None:
            found.append((-line.found_at, code))
    missing = set(unseen) - whereabouts.touched_after(unseen, begun_at)
    return [code for _, code in sorted(found)], sorted(missing)


def _counted_of(
    codes: Sequence[str],
    place: Place,
    count: CountRecord | None,
    lines: Mapping[str, CountLine],
    now: int,
) -> list[Counted]:
    kinds = place_kinds()
    begun_at = now if count is None else count.begun_at
    found = [(one, one.state(now)) for one in accounts(codes)]
    by_place: dict[str, list[str]] = {}
    for account, state in found:
        if state.ledger.place is not None:
            by_place.setdefault(state.ledger.place, []).append(account.facts.code)
    seen: dict[str, int] = {}
    for at, there in by_place.items():
        seen |= counts.last_found(there, at)
    counted = []
    for account, state in found:
        code = account.facts.code
        line = lines.get(code)
        one = _counted(account, state, place, kinds, line, seen.get(code), begun_at, now)
        if one is not None:
            counted.append(one)
    return counted


def _counted(
    account: Account,
    state: CarrierState,
    place: Place,
    kinds: Mapping[str, str],
    line: CountLine | None,
    counted_at: int | None,
    begun_at: int,
    now: int,
) -> Counted | None:
    if state.facts.kind == BOARD:
        return None
    here = state.ledger.place == place.code
    found_at = None if line is None else line.found_at
    last_known_at = _last_known_at(account, counted_at, now if found_at is None else found_at)
    one = Counted(state.facts.code, "here", state, found_at, last_known_at)
    decision = _decision(line)
    if found_at is None:
        if not here or state.status == "gone":
            return None
        came = [e.at for e in account.events if e.place == place.code and e.at <= now]
        if came and max(came) > begun_at:
            return replace(one, where="came")
        return replace(one, where="missing", asks="where", decision=decision)
    opened = decision if decision is not None and decision.act == "open" else None
    if here or account.state(min(found_at, now)).ledger.place == place.code:
        if state.status == "gone" and account.state(min(found_at, now)).status == "gone":
            return replace(one, where="gone", gone_by=_gone_by(account))
        return replace(one, decision=opened if one.on_record_closed else None)
    if state.status == "gone":
        return replace(one, where="gone", gone_by=_gone_by(account))
    one = replace(one, where="elsewhere")
    if opened is not None and one.on_record_closed:
        return replace(one, decision=opened)
    if leaves_shelter(state, kinds, place.kind):
        return replace(one, asks="since", decision=decision)
    return replace(one, decision=Decision("move", found_at, place.code, found_at))


def _last_known_at(account: Account, counted_at: int | None, until: int) -> int:
    """Return when a carrier was last known to be where it is on record."""
    seen = [account.facts.received_at]
    seen += [e.at for e in account.events if e.at <= until and e.kind not in _NO_HAND]
    seen += [] if counted_at is None else [counted_at]
    return min(until, max(seen))


def place_kinds() -> dict[str, str]:
    """Return the kind of every place by its code."""
    return {each.code: each.kind for each in catalog.places(limit=10_000)}


def leaves_shelter(state: CarrierState, kinds: Mapping[str, str], to_kind: str) -> bool:
    """Return whether it is on record dry or baking, out of its bag, and would be in the air."""
    if to_kind == "cabinet" and state.ledger.phase is Phase.OPEN:
        return False
    in_cabinet = kinds.get(state.ledger.place or "") == "cabinet"
    return state.ledger.phase is Phase.BAKING or (state.ledger.phase is Phase.OPEN and in_cabinet)


def _gone_by(account: Account) -> str | None:
    ends = (Kind.SCRAP, Kind.JOIN, Kind.REFLOW, Kind.TAKE, Kind.SPLIT, Kind.PLACE_ON_BOARD)
    return next((e.id for e in reversed(account.events) if e.kind in ends), None)


def _decision(line: CountLine | None) -> Decision | None:
    kept: Any = None if line is None else line.decision
    return None if kept is None else Decision(**kept)
