"""What the pages of the sample checks show: the list, a plan, a check at work, its proof."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from flask import Response, url_for

from msdtrack.errors import FieldError
from msdtrack.services import carrier_states, catalog, measurements, sample_checks
from msdtrack.services.labelling import LabelLayout
from msdtrack.services.lot_holds import lot_now
from msdtrack.services.lot_holds import mark as hold_mark
from msdtrack.services.measurements import PieceVerdict
from msdtrack.services.people import Person, PersonNames
from msdtrack.services.placements import BOARD
from msdtrack.services.sample_checks import BAGS_SOURCE, Lot, Progress, SampleCheck, Stage
from msdtrack.services.sample_questions import Asked, asked
from msdtrack.services.sample_scans import WORDS
from msdtrack.standard import sampling
from msdtrack.standard.drypack import DESICCANT_REUSE_MIN, RESEAL_WITHIN_MIN
from msdtrack.standard.sampling import SamplingPlan
from msdtrack.store.sample_checks import Channel, DecisionRecord, LimitsRecord
from msdtrack.web import who
from msdtrack.web.check_charts import ValuesChart, values_chart
from msdtrack.web.desk import Said, said
from msdtrack.web.label_choice import carrier_layouts
from msdtrack.web.marks import Mark
from msdtrack.web.names import all_people, person_names, place_names
from msdtrack.web.rendering import render_page
from msdtrack.web.rows import Row, row_of
from msdtrack.web.site import site

MOST_ROWS = 200
"""A page with thousands of carriers of a lot would be of no use to a person."""

STAGES: Mapping[Stage, Mark] = {
    "planned": Mark("do", "Planned"),
    "open": Mark("soon", "Open"),
    "measured": Mark("do", "Partly measured"),
    "accepted": Mark("ok", "Accepted"),
    "rejected": Mark("stop", "Rejected"),
    "released": Mark("soon", "Released after rejection"),
}


@dataclass(frozen=True, slots=True)
class ChecksPage:
    """The checks, and the beginning of a new one.

    Args:
        checks: newest first, each with its mark.
        names: person names by code.
        search: what was searched for, "" for nothing.
        lots: the lots that fit.
        older: number to go on from, None on the last page.
        parts: parts to enter limits of.
    """

    checks: tuple[tuple[Progress, Mark], ...]
    names: PersonNames
    search: str
    lots: tuple[Lot, ...]
    older: int | None
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlanPage:
    """The plan of a check before it is put on file.

    Args:
        lot: the lot as it is now.
        variants: limits on file, by variant.
        plan: what the table says, None where it can't say anything yet.
        bags: suggested number of bags.
        levels, aqls: to choose from.
        source, bags_source: where plan and bags come from.
        people: who can plan it.
        values, errors: what stands in the form, and what is wrong with it.
    """

    lot: Lot
    variants: tuple[LimitsRecord, ...]
    plan: SamplingPlan | None
    bags: int
    people: tuple[Person, ...]
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    levels: tuple[str, ...] = sampling.LEVELS
    aqls: tuple[str, ...] = sampling.AQLS_PCT
    source: str = sampling.SOURCE
    bags_source: str = BAGS_SOURCE


@dataclass(frozen=True, slots=True)
class BagRow:
    """A carrier that pieces are taken from. `clocks` are those of its open bag."""

    row: Row
    taken: int
    wanted: int
    is_open: bool
    in_hand: bool


@dataclass(frozen=True, slots=True)
class LiveCheck:
    """What of a check changes while it is at work.

    Args:
        check: all about it.
        bags: carriers in work.
        pieces: what was taken, as rows, each with the carrier it came from.
        layouts: label layouts for carriers.
        desiccant_min, reseal_min: limits of the open bag, minutes.
    """

    check: SampleCheck
    bags: tuple[BagRow, ...]
    pieces: tuple[tuple[Row, str], ...]
    layouts: tuple[LabelLayout, ...]
    desiccant_min: int = DESICCANT_REUSE_MIN
    reseal_min: int = RESEAL_WITHIN_MIN


@dataclass(frozen=True, slots=True)
class CheckPage:
    """A check at work.

    Args:
        data_url: where its script asks for what changes.
        check: all about it.
        mark: its mark.
        bags, pieces, layouts, desiccant_min, reseal_min: as of `LiveCheck`.
        said: the answer to the last scan, None for none.
        asked: what it waits for.
        print_child: code of pieces just taken, whose label is to be printed; "" for none.
        lot: the carriers of the lot that are not gone.
        held: those of them that this check holds, with the place of each, as many as a page can
            hold; `held_count` is how many there are.
        soldered: placements of the lot whose boards are finished.
        people: who can release.
        request_id: id of what is done next.
        values, errors: what stands in the form of a release, and what is wrong with it.
    """

    data_url: str
    check: SampleCheck
    mark: Mark
    bags: tuple[BagRow, ...]
    pieces: tuple[tuple[Row, str], ...]
    layouts: tuple[LabelLayout, ...]
    said: Said | None
    asked: Asked
    print_child: str
    lot: int
    held: tuple[Row, ...]
    held_count: int
    soldered: tuple[str, ...]
    people: tuple[Person, ...]
    request_id: str
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    desiccant_min: int = DESICCANT_REUSE_MIN
    reseal_min: int = RESEAL_WITHIN_MIN


@dataclass(frozen=True, slots=True)
class MeasurePage:
    """Where values are pasted or typed.

    Args:
        progress: the check.
        mark: its mark.
        next_piece: number of the piece that is typed next.
        left: pieces still to be measured.
        people: who can have measured.
        findings: what is wrong with the cells of a pasted table.
        values, errors: what stands in the forms, and what is wrong with it.
        typed: whether the last thing sent was a typed piece.
    """

    progress: Progress
    mark: Mark
    next_piece: str
    left: int
    people: tuple[Person, ...]
    values: Mapping[str, str]
    errors: Mapping[str, str]
    findings: tuple[FieldError, ...] = ()
    typed: bool = False


@dataclass(frozen=True, slots=True)
class Done:
    """One line of what was done."""

    at: int
    what: str
    carrier: str
    child: str
    quantity: int | None
    who: str
    undone: bool


@dataclass(frozen=True, slots=True)
class ProofPage:
    """What was found, to look at and to print.

    Args:
        check: all about it.
        mark: its mark.
        charts: for each channel that has values.
        failing: pieces out of limits.
        decisions: what was decided.
        done: what was done with bags and pieces, in order.
        lot: the carriers of the lot that are not gone, as many as a page can hold; `lot_count` is
            how many there are.
        held_count: how many of them this check holds.
        names: person names by code.
        source: where the plan comes from.
        hold_reason: how the reason of its holds begins.
        would: what the values say now, where the decision was another: "" where it is the same.
        codes_shown: as many carriers of a decision as a page can hold.
    """

    check: SampleCheck
    mark: Mark
    charts: tuple[ValuesChart, ...]
    failing: tuple[PieceVerdict, ...]
    decisions: tuple[DecisionRecord, ...]
    done: tuple[Done, ...]
    lot: tuple[Row, ...]
    lot_count: int
    held_count: int
    names: PersonNames
    hold_reason: str
    would: str
    source: str = sampling.SOURCE
    codes_shown: int = MOST_ROWS


def live_check(number: int) -> LiveCheck:
    """Return what of a check changes while it is at work."""
    return _live(sample_checks.check(number, site().now()))


def check_page(
    number: int,
    values: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    print_child: str = "",
) -> Response:
    """Answer a check at work; with errors the status is 422."""
    now = site().now()
    check = sample_checks.check(number, now)
    live, names = _live(check), place_names()
    lot = lot_now(check.record.part, check.record.lot, now)
    held = lot.held_by(number)
    page = CheckPage(
        data_url=url_for("checks.data", number=number),
        check=check,
        mark=STAGES[check.progress.stage],
        bags=live.bags,
        pieces=live.pieces,
        layouts=live.layouts,
        said=said(f"check {number}"),
        asked=asked(check),
        print_child=print_child if any(one.code == print_child for one in check.pieces) else "",
        lot=len(lot.here),
        held=tuple(row_of(lot.states[code], names) for code in held[:MOST_ROWS]),
        held_count=len(held),
        soldered=tuple(
            code
            for code, one in sorted(lot.states.items())
            if one.facts.kind == BOARD and one.ledger.gone == "soldered"
        ),
        people=tuple(all_people()),
        request_id=str(uuid.uuid4()),
        values=values or {"person": who.present_code() or ""},
        errors=errors or {},
    )
    response = render_page("check.html", page)
    response.status_code = 422 if errors else 200
    return response


def proof_page(number: int) -> ProofPage:
    """Return what was found in a check."""
    now = site().now()
    check = sample_checks.check(number, now)
    progress, record = check.progress, check.record
    lot = lot_now(record.part, record.lot, now)
    shown = carrier_states.states(lot.here[:MOST_ROWS], now).values()
    verdict, earlier = progress.verdict, measurements.earlier_lots(record)
    charts = [
        values_chart(channel, record.lot, verdict, n, earlier)
        for n, channel in enumerate(record.channels)
    ]
    names, would = place_names(), ""
    if progress.stage == "rejected" and verdict.decision != "reject":
        would = "By the values as corrected the lot need not be rejected: release it with a reason."
    return ProofPage(
        check=check,
        mark=STAGES[progress.stage],
        charts=tuple(chart for chart in charts if chart is not None),
        failing=tuple(piece for piece in verdict.pieces if piece.fails),
        decisions=progress.decisions,
        done=tuple(_done(check)),
        lot=tuple(row_of(one, names) for one in shown),
        lot_count=len(lot.here),
        held_count=len(lot.held_by(number)),
        names=person_names(),
        hold_reason=hold_mark(number),
        would=would,
    )


def channel_words(channel: Channel) -> str:
    """Return a channel's limits in words: "19.8 to 20.2 mV"."""
    unit = f" {channel.unit}" if channel.unit else ""
    if channel.low is None:
        return f"at most {channel.high}{unit}"
    if channel.high is None:
        return f"at least {channel.low}{unit}"
    return f"{channel.low} to {channel.high}{unit}"


def part_numbers() -> tuple[str, ...]:
    """Return the numbers of all parts."""
    return tuple(part.number for part in catalog.parts(limit=10_000))


def _live(check: SampleCheck) -> LiveCheck:
    names = place_names()
    in_hand = None if check.in_hand is None else check.in_hand.facts.code
    bags = tuple(
        BagRow(row_of(bag.state, names), bag.taken, bag.wanted, bag.is_open, bag.code == in_hand)
        for bag in check.bags
    )
    pieces = tuple((row_of(one.state, names), one.parent) for one in check.pieces)
    return LiveCheck(check, bags, pieces, carrier_layouts())


def _done(check: SampleCheck) -> Iterable[Done]:
    names = person_names()
    undone = {one.undoes for one in check.progress.steps if one.kind == "undo"}
    for one in check.progress.steps:
        if one.kind in WORDS:
            by = names.signed(one.person, one.at)
            yield Done(
                one.at, WORDS[one.kind], one.carrier, one.child or "", one.quantity, by,
                one.id in undone,
            )  # fmt: skip
