"""The proof of a batch of boards, to print: every component at every reflow."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response

from msdtrack.exposure.facts import HOUR_S
from msdtrack.exposure.state import CarrierState
from msdtrack.phrases import counted
from msdtrack.services.board_proof import AtReflow, BatchProof, Finding, proof_of
from msdtrack.services.people import PersonNames
from msdtrack.standard.tables import fingerprint
from msdtrack.times import utc_text
from msdtrack.web.marks import Mark
from msdtrack.web.names import person_names
from msdtrack.web.rendering import percent, render_page
from msdtrack.web.site import site
from msdtrack.web.wording import UNKNOWNS, reason_text

pages = Blueprint("board_proof", __name__)

_MARKS: dict[Finding, Mark] = {
    "nothing_placed": Mark("bag", "Nothing placed"),
    "not_soldered": Mark("bag", "Not soldered yet"),
    "within_so_far": Mark("bag", "Within floor life so far"),
    "within": Mark("ok", "Soldered within floor life"),
    "outside": Mark("stop", "Soldered outside the rules"),
}


@dataclass(frozen=True, slots=True)
class Cell:
    """A component at a reflow.

    Args:
        used: the share it had used, in words; `assumed` what of it stands on assumed air, or "".
        as_of: the moment, as its own page takes it in an address.
        why: what was wrong, in sentences.
    """

    mark: Mark
    used: str
    assumed: str
    as_of: str
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ProofRow:
    """A component.

    Args:
        cells: one for each reflow of the batch; None where it was not placed yet.
        notes: its bakes, and what was not known of it, by its last reflow, in sentences.
    """

    code: str
    giver: str
    part: str
    msl: str
    lot: str
    quantity: int
    placed_at: int
    placed_by: str
    cells: tuple[Cell | None, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BoardProofPage:
    """The proof.

    Args:
        said: what it comes to, in a sentence.
        names: of the people who decided something.
        fingerprint: of the tables it was computed with.
    """

    proof: BatchProof
    mark: Mark
    said: str
    rows: tuple[ProofRow, ...]
    names: PersonNames
    fingerprint: str


@pages.get("/boards/<code>/proof")
def show(code: str) -> Response:
    """Answer the proof of a batch."""
    proof, names = proof_of(code.upper(), site().now()), person_names()
    return render_page(
        "board_proof.html",
        BoardProofPage(
            proof=proof,
            mark=_MARKS[proof.finding],
            said=_said(proof),
            rows=_rows(proof, names),
            names=names,
            fingerprint=fingerprint(),
        ),
    )


def _said(proof: BatchProof) -> str:
    if proof.finding == "nothing_placed":
        return "No carrier is on the log of these boards."
    components = counted(len(proof.components), "component")
    if proof.finding == "not_soldered":
        return f"{components} placed, no reflow of them on the log."
    reflows = counted(len(proof.reflows), "reflow")
    if proof.finding == "outside":
        return f"{proof.outside} of {components} did not meet the rules in {reflows}."
    worst = percent(max(one.worst_share for one in proof.components))
    soldered = counted(len(proof.components) - proof.unsoldered, "component")
    more = "" if proof.reflows[-1].last else " Another reflow follows."
    if proof.unsoldered:
        more = f" {counted(proof.unsoldered, 'component')} placed after that, in no reflow.{more}"
    return f"{soldered} in {reflows}; at most {worst} of a floor life was used.{more}"


def _rows(proof: BatchProof, names: PersonNames) -> tuple[ProofRow, ...]:
    rows = []
    for one in proof.components:
        met = {each.reflow.id: _cell(each) for each in one.reflows}
        event = one.placed.event
        rows.append(
            ProofRow(
                code=one.placed.code,
                giver=one.placed.giver,
                part=one.facts.part.number,
                msl=one.facts.part.msl,
                lot=one.facts.lot,
                quantity=event.quantity or 0,
                placed_at=event.at,
                placed_by=names.signed(event.person, event.recorded_at),
                cells=tuple(met.get(reflow.id) for reflow in proof.reflows),
                notes=_notes(one.reflows[-1].state) if one.reflows else (),
            )
        )
    return tuple(rows)


def _notes(state: CarrierState) -> tuple[str, ...]:
    ledger = state.ledger
    unknown = tuple(UNKNOWNS.get(each, each) for each in state.unknowns)
    if not ledger.bakes:
        return unknown
    baked = counted(ledger.bakes, "bake")
    return (f"{baked}, {ledger.hot_s / HOUR_S:g} h above 90 °C in all.", *unknown)


def _cell(met: AtReflow) -> Cell:
    assumed = met.state.ledger.assumed
    return Cell(
        mark=Mark("stop", "outside") if met.reasons else Mark("ok", "within"),
        used=percent(met.state.used_share),
        assumed=percent(assumed) if assumed else "",
        as_of=utc_text(met.reflow.at),
        why=tuple(reason_text(reason) for reason in met.reasons),
    )
