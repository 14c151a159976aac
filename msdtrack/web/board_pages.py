"""What the pages of the boards show: the batches, and one of them."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Response, request

from msdtrack.exposure.state import MAX_PASSES, CarrierState
from msdtrack.printing.codes import ACTIONS
from msdtrack.services import boards, carrier_states
from msdtrack.services.board_conflicts import BoardConflict, conflicts_of
from msdtrack.services.board_states import BatchState, BoardBake
from msdtrack.services.catalog import Place
from msdtrack.services.countdowns import next_step_text
from msdtrack.services.people import Person
from msdtrack.services.rework import HEAT_C
from msdtrack.web import who
from msdtrack.web.board_rows import (
    BatchLogEntry,
    BatchRow,
    ComponentRow,
    batch_row,
    component_rows,
    log_entries,
)
from msdtrack.web.names import all_people, all_places, person_names, place_names
from msdtrack.web.rendering import render_page
from msdtrack.web.site import site
from msdtrack.web.wording import reason_text

CARDS = ("HICDRY", "HIC5", "HIC10", "HIC60", "HICMISSING")
SEALS = ("CLOSEFRESH", "CLOSEHEAT", "CLOSEQUICK")


@dataclass(frozen=True, slots=True)
class BoardsPage:
    """The batches.

    Args:
        working: batches that face another reflow, the most urgent first, as many as a page can
            hold; `beyond` is how many more there are.
        rework: finished batches that need a bake before rework heat.
        finished: the other finished ones, newest first.
        places: places a batch can begin at.
        carrier: code of the carrier that was scanned and waits for its batch, "" for none.
        heat_c, max_passes: the limits the page names.
        values, errors: what stands in the form of a new batch, and what is wrong with it.
    """

    working: tuple[BatchRow, ...]
    beyond: int
    rework: tuple[BatchRow, ...]
    finished: tuple[BatchRow, ...]
    places: tuple[Place, ...]
    carrier: str
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    heat_c: int = HEAT_C
    max_passes: int = MAX_PASSES


@dataclass(frozen=True, slots=True)
class BatchPage:
    """One batch.

    Args:
        state: as of now.
        row: the same as on the list.
        reasons: why it must not go through a reflow, in sentences.
        conflicts: what contradicts its log.
        own: ids of the events on its log, which can be corrected there.
        components: what is placed on it, the worst first.
        log: what happened to it, newest first.
        carrier: the carrier that was scanned and waits for its number of pieces, None for none.
        carrier_step: what else is to be done with that carrier, in words.
        oven: the oven that was scanned and waits for its temperature, None for none.
        bake: the bakes that all components allow, in that oven if one was scanned.
        ovens, places, people: to choose from.
        person: who is at the browser.
        cards, seals: action names with what the card can show, and how a bag can be closed.
        request_id: id of what is done next.
        values, errors: what stands in the forms, and what is wrong with it.
    """

    state: BatchState
    row: BatchRow
    reasons: tuple[str, ...]
    conflicts: tuple[BoardConflict, ...]
    own: frozenset[str]
    components: tuple[ComponentRow, ...]
    log: tuple[BatchLogEntry, ...]
    carrier: CarrierState | None
    carrier_step: str
    oven: Place | None
    bake: BoardBake
    ovens: tuple[Place, ...]
    places: tuple[Place, ...]
    people: tuple[Person, ...]
    person: Person | None
    cards: tuple[tuple[str, str], ...]
    seals: tuple[tuple[str, str], ...]
    request_id: str
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    heat_c: int = HEAT_C
    max_passes: int = MAX_PASSES


def list_page(values: Mapping[str, str], errors: Mapping[str, str]) -> Response:
    """Answer the page of the batches."""
    names, carrier = place_names(), request.values.get("carrier", "")
    found = boards.listed(site().now())
    rows = [batch_row(state, names) for state in found.states]
    working = [row for row in rows if not row.finished]
    response = render_page(
        "boards.html",
        BoardsPage(
            working=tuple(sorted(working, key=lambda row: row.urgency)),
            beyond=found.beyond,
            rework=tuple(row for row in rows if row.finished and row.needs_rework_bake),
            finished=tuple(row for row in rows if row.finished and not row.needs_rework_bake),
            places=tuple(place for place in all_places() if place.kind != "oven"),
            carrier=carrier,
            values=values,
            errors=errors,
        ),
    )
    response.status_code = 422 if errors else 200
    return response


def batch_page(
    code: str,
    values: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> BatchPage:
    """Return the page of one batch.

    Raises:
        NotFound: no such batch, or no such carrier waits.
    """
    now, names = site().now(), place_names()
    asked = values or {}
    oven_code = request.values.get("oven") or asked.get("oven")
    carrier_code = request.values.get("carrier") or asked.get("carrier")
    places = all_places()
    oven = next((one for one in places if one.code == oven_code and one.kind == "oven"), None)
    state = boards.batch_state(code.upper(), now)
    bake = state.bake
    if oven is not None:
        bake = boards.batch_state(code.upper(), now, oven=oven.code).bake
    carrier = carrier_states.state(carrier_code, now) if carrier_code else None
    if values is None:
        values = {"last": "more", "hic": CARDS[0], "seal": SEALS[0]}
        if carrier is not None:
            values["quantity"] = str(min(state.batch.boards, carrier.ledger.quantity) or "")
    log = log_entries(boards.log_of(state.batch.code), names, person_names())
    return BatchPage(
        state=state,
        row=batch_row(state, names),
        reasons=tuple(reason_text(reason) for reason in state.reasons),
        conflicts=conflicts_of(state),
        own=frozenset(entry.line.event.id for entry in log),
        components=component_rows(state),
        log=log,
        carrier=carrier,
        carrier_step="" if carrier is None else next_step_text(carrier, site().tz),
        oven=oven,
        bake=bake,
        ovens=tuple(place for place in places if place.kind == "oven"),
        places=tuple(place for place in places if place.kind != "oven"),
        people=tuple(all_people()),
        person=who.present(),
        cards=_titled(CARDS),
        seals=_titled(SEALS),
        request_id=str(uuid.uuid4()),
        values=values,
        errors=errors or {},
    )


def _titled(names: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    return tuple((name, ACTIONS[name].title) for name in names)
