"""The proof of a batch of boards: what each component had used at each reflow."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from msdtrack.services.board_proof import AtReflow, ComponentProof, Finding, proof_of
from msdtrack.times import utc_text
from msdtrack.web.api.calls import Calls
from msdtrack.web.api.fields import Moment, Query
from msdtrack.web.api.shapes import Shape, Share, Time

calls = Calls()


class ProofQuery(Query):
    """A proof as of a moment."""

    at: Annotated[Moment | None, Field(description="the moment asked about, else now")] = None


class SolderedAt(Shape):
    """A component at a reflow; `reasons`: why it should not have been soldered then."""

    event: str
    at: Time
    used_share: Share
    assumed_share: Share
    within: bool
    reasons: list[str]


class ProvedComponent(Shape):
    """One component of a batch at every reflow that it went through."""

    code: str
    carrier: str
    part: str
    lot: str
    msl: str
    quantity: int
    placed_at: Time
    within: bool
    reflows: list[SolderedAt]


class ProvedReflow(Shape):
    """One reflow of a batch; `last`: no other follows."""

    event: str
    at: Time
    peak_c: float | None
    last: bool


class Proof(Shape):
    """What can be proved of a batch from what is known now."""

    code: str
    finding: Finding
    reflows: list[ProvedReflow]
    components: list[ProvedComponent]
    corrections: int
    at: Time


@calls.add("GET", "/boards/<code>/proof", Proof)
def show_proof(code: str, query: ProofQuery, now: int) -> dict[str, Any]:
    """Return what of its floor life each component had used when it was soldered."""
    proof = proof_of(code, now if query.at is None else query.at)
    return {
        "code": proof.batch.code,
        "finding": proof.finding,
        "reflows": [
            {"event": one.id, "at": utc_text(one.at), "peak_c": one.peak_c, "last": one.last}
            for one in proof.reflows
        ],
        "components": [_component(one) for one in proof.components],
        "corrections": proof.corrected,
        "at": utc_text(proof.at),
    }


def _component(one: ComponentProof) -> dict[str, Any]:
    return {
        "code": one.placed.code,
        "carrier": one.placed.giver,
        "part": one.facts.part.number,
        "lot": one.facts.lot,
        "msl": one.facts.part.msl,
        "quantity": one.placed.event.quantity,
        "placed_at": utc_text(one.placed.event.at),
        "within": one.is_within,
        "reflows": [_at_reflow(met) for met in one.reflows],
    }


def _at_reflow(met: AtReflow) -> dict[str, Any]:
    return {
        "event": met.reflow.id,
        "at": utc_text(met.reflow.at),
        "used_share": float(met.state.used_share),
        "assumed_share": float(met.state.ledger.assumed),
        "within": not met.reasons,
        "reasons": list(met.reasons),
    }
