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
        self._oven_floor: dict[str, PlaceAir] = {}

    def is_cabinet(self, code: str | None) -> bool:
        """Return whether the place is a dry cabinet."""
        return code is not None and self._kinds.get(code) == "cabinet"

    def is_oven(self, code: str | None) -> bool:
        """Return whether the place is an oven."""
        return code is not None and self._kinds.get(code) == "oven"

    def air(self, code: str | None) -> PlaceAir:
        """Return the air a carrier is exposed to there: never an oven's own readings."""
        if code is None or code not in self._airs:
            return NO_PLACE
        if self._kinds.get(code) == "oven":
            if code not in self._oven_floor:
                self._oven_floor[code] = replace(self._airs[code], readings=())
            return self._oven_floor[code]
        return self._airs[code]

    def oven(self, code: str | None) -> PlaceAir:
        """Return an oven's own readings."""
        return NO_PLACE if code is None else self._airs.get(code, NO_PLACE)
