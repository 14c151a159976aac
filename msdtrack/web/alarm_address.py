"""What of the alarms somebody looks at: it stands in the address of the page, and stays in it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

from flask import request, url_for

from msdtrack.services import alarm_lists
from msdtrack.services.alarm_lists import ListName, Narrowed, Position

NO_PLACE = "none"
"""Stands in the address for alarms of no place; no code of a place is like it."""

MOST_LETTERS = 200
"""Nobody types or scans more."""


@dataclass(frozen=True, slots=True)
class AlarmAddress:
    """What is in the address of the alarms; "" is what is not.

    Args:
        kind: only alarms of this kind.
        place: only alarms of the place with this code, or of none for `NO_PLACE`.
        find: only alarms that have all these words.
        active, shelved, ended: behind which position each list goes on.
    """

    kind: str = ""
    place: str = ""
    find: str = ""
    active: str = ""
    shelved: str = ""
    ended: str = ""

    @property
    def narrowed(self) -> Narrowed:
        """Return what is looked for."""
        place = "" if self.place == NO_PLACE else self.place or None
        return Narrowed(self.kind or None, place, tuple(self.find.split()))

    @property
    def is_narrowed(self) -> bool:
        """Return whether only some alarms are looked for."""
        return bool(self.kind or self.place or self.find)

    def after(self, name: ListName) -> Position | None:
        """Return what a list goes on behind, None if it begins."""
        return alarm_lists.position(name, getattr(self, name))

    def looking_for(self, **changes: str) -> AlarmAddress:
        """Return the address of what else is looked for; its lists begin anew."""
        return replace(AlarmAddress(self.kind, self.place, self.find), **changes)

    def going_on(self, name: ListName, after: Position | None) -> AlarmAddress:
        """Return the address of another page of a list, the first one for None."""
        text = "" if after is None else alarm_lists.position_text(after)
        return replace(self, **{name: text})

    def url(self, endpoint: str = "alarms.show", **values: object) -> str:
        """Return the URL of the page, or of what is done on it and comes back to it."""
        return url_for(endpoint, **{**values, **self._given()})  # type: ignore[arg-type]

    def _given(self) -> dict[str, str]:
        return {name: value for name, value in asdict(self).items() if value}


def asked_for() -> AlarmAddress:
    """Return what the address of the request asks for."""
    return AlarmAddress(
        **{
            name: request.args.get(name, "").replace("\0", "").strip()[:MOST_LETTERS]
            for name in AlarmAddress.__dataclass_fields__
        }
    )
