"""Events as they are sent, and what can be wrong with them by themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from msdtrack.errors import BadInput, FieldError, NotFound
from msdtrack.exposure.events import CORRECTABLE, Kind
from msdtrack.standard import indicator
from msdtrack.store import places
from msdtrack.store.canonical import content_hash

AHEAD_S = 120
"""A client's clock may be ahead by this much."""

RECORDED = frozenset(Kind)


@dataclass(frozen=True, slots=True)
class NewEvent:
    """An event as sent. None is not sent, and the server fills in what it can.

    Args:
        id: UUID made by the client.
        at: when it happened; None is now.
        new_hic: of a closing, whether the indicator card is fresh or was kept.
        into: of a join, the carrier that its pieces go to.
        board: of a placing, the batch of boards.
        peak_c, last: of a reflow of boards, the highest body temperature, °C, and whether no other
            reflow follows.
        event: of a correction, the id of the event it corrects.
        fields: of a correction, what it changes, by the names of `exposure.events.Event`.
    """

    id: str
    carrier: str
    kind: str
    at: int | None = None
    person: str | None = None
    station: str | None = None
    place: str | None = None
    hic: Mapping[str, str] | None = None
    only_this: bool = False
    desiccant: str | None = None
    new_hic: str | None = None
    seal: str | None = None
    temp_c: float | None = None
    quantity: int | None = None
    reason: str | None = None
    into: str | None = None
    board: str | None = None
    peak_c: float | None = None
    last: bool = False
    event: str | None = None
    void: bool = False
    fields: Mapping[str, Any] = field(default_factory=dict)

    def content(self) -> str:
        """Return the hash of what was sent."""
        sent = {name: getattr(self, name) for name in self.__dataclass_fields__}
        kept = {k: v for k, v in sent.items() if v is not None and v is not False and v != {}}
        return content_hash({k: dict(v) if isinstance(v, Mapping) else v for k, v in kept.items()})


def check(new: NewEvent, now: int, where: str) -> None:
    """Make sure that an event can be as it was sent.

    Args:
        now: the present moment.
        where: put before the name of each field.

    Raises:
        BadInput: fields are wrong; each is named.
    """
    errors: list[FieldError] = []

    def wrong(name: str, message: str) -> None:
        errors.append(FieldError(f"{where}{name}", message))

    if new.kind not in set(RECORDED):
        wrong("kind", f"one of {', '.join(sorted(RECORDED))}")
    moments = [("at", new.at), ("fields.at", new.fields.get("at"))]
    for name, at in moments:
        if at is not None and at > now + AHEAD_S:
            wrong(name, "more than 2 minutes ahead of the server's clock: check the sender's clock")
    for name, code in (("place", new.place), ("fields.place", new.fields.get("place"))):
        kind = _place_kind(code)
        if code is not None and kind is None:
            wrong(name, f"no place {code}")
        elif new.kind == Kind.BAKE_START and kind is not None and kind != "oven":
            wrong(name, f"{code} is no oven")
    for name, hic in (("hic", new.hic), ("fields.hic", new.fields.get("hic"))):
        if hic is not None and not _is_hic(hic):
            wrong(name, 'spots "5", "10" and "60", each dry, humid or missing')
    for name in REQUIRED.get(new.kind, ()):
        if getattr(new, name) is None:
            wrong(name, f"a {new.kind.replace('_', ' ')} needs it")
    if new.quantity is not None and new.quantity < 1:
        wrong("quantity", "at least 1")
    if new.kind == Kind.CORRECT:
        if new.person is None and new.station is None:
            wrong("person", "say who corrects")
        for name in sorted(set(new.fields) - set(CORRECTABLE)):
            wrong(f"fields.{name}", f"can't be corrected; what can: {', '.join(CORRECTABLE)}")
        if new.void == bool(new.fields):
            wrong("fields", "either the fields to change, or void")
    if errors:
        first = errors[0]
        raise BadInput(f"{first.field}: {first.message}.", errors)


REQUIRED: Mapping[str, tuple[str, ...]] = {
    Kind.CLOSE: ("desiccant", "new_hic", "seal"),
    Kind.MOVE: ("place",),
    Kind.BAKE_START: ("place", "temp_c"),
    Kind.SPLIT: ("quantity",),
    Kind.TAKE: ("quantity",),
    Kind.JOIN: ("into",),
    Kind.PLACE_ON_BOARD: ("quantity", "board"),
    Kind.HOLD: ("reason",),
    Kind.RELEASE: ("reason",),
    Kind.CORRECT: ("event", "reason"),
}


def wrong_changes(kind: Kind, fields: Mapping[str, Any]) -> list[FieldError]:
    """Return what of a correction an event of the corrected kind can't say.

    Args:
        kind: of the event that is corrected.
        fields: what is changed, by the names of `exposure.events.Event`.
    """
    found = [
        FieldError(name, "it needs one")
        for name in (*REQUIRED.get(kind, ()), "at")
        if name in fields and fields[name] is None
    ]
    place = fields.get("place")
    if kind is Kind.BAKE_START and place is not None and _place_kind(place) != "oven":
        found.append(FieldError("place", f"{place} is no oven"))
    return found


def _place_kind(code: str | None) -> str | None:
    try:
        return None if code is None else places.place(code).kind
    except NotFound:
        return None


def _is_hic(hic: Mapping[str, str]) -> bool:
    return all(
        spot in indicator.SPOTS and shown in indicator.SPOT_STATES for spot, shown in hic.items()
    )
