"""The air of every place, and what kind of place each is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from msdtrack.exposure.air import PlaceAir

NO_PLACE = PlaceAir(None)


class Places:
    """The air of each place, and which places are dry cabinets or ovens."""

    def __init__(self, airs: Mapping[str, PlaceAir], kinds: Mapping[str, str]) -> None:
        self._airs = airs
        self._kinds = kinds
        self._floors: dict[str | None, PlaceAir] = {}

    def is_cabinet(self, code: str | None) -> bool:
        """Return whether the place is a dry cabinet."""
        return code is not None and self._kinds.get(code) == "cabinet"

    def is_oven(self, code: str | None) -> bool:
        """Return whether the place is an oven."""
        return code is not None and self._kinds.get(code) == "oven"

    def air(self, code: str | None) -> PlaceAir:
        """Return the air a carrier is exposed to there: never an oven's own readings."""
        found = self._floors.get(code)
        if found is None:
            own = self.oven(code)
            found = replace(own, readings=()) if self.is_oven(code) else own
            self._floors[code] = found
        return found

    def oven(self, code: str | None) -> PlaceAir:
        """Return an oven's own readings."""
        return NO_PLACE if code is None else self._airs.get(code, NO_PLACE)
