"""What a write transaction has touched that carriers' standings are computed from.

Every function of this package that writes such a thing notes it here, so that no service can
forget to bring the standings up to date.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class TouchedReadings:
    """Readings of a place were added or replaced.

    Args:
        first, last: the earliest and the latest moment written.
        newest_before: the newest reading there was before, None if there was none.
    """

    place: str
    first: int
    last: int
    newest_before: int | None


@dataclass(slots=True)
class Touched:
    """What one transaction has touched so far.

    Args:
        at: the latest moment of recording.
        carriers: codes whose log or facts changed.
        parts: numbers whose facts changed.
        places: codes whose settings changed, each with the moment from which on.
        readings: in the order written.
        everything: something changed that any carrier may depend on.
    """

    at: int = 0
    carriers: set[str] = field(default_factory=set)
    parts: set[str] = field(default_factory=set)
    places: dict[str, int] = field(default_factory=dict)
    readings: list[TouchedReadings] = field(default_factory=list)
    everything: bool = False

    def __bool__(self) -> bool:
        return bool(self.carriers or self.parts or self.places or self.readings or self.everything)

    def clear(self) -> None:
        """Forget what was touched, once it has been dealt with."""
        self.carriers, self.parts, self.places = set(), set(), {}
        self.readings, self.everything = [], False
