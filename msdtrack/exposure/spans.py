"""Spans of air: what of a stretch of time decides its rate."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal, NamedTuple

from msdtrack.standard import derating, levels

HOLDS_S = 30 * 60
"""A reading speaks for the air for this long."""

MAX_TEMP_C100, MAX_RH_C100 = (100 * most for most in levels.condition("3"))
"""The air that the floor life of levels 2 and up holds at: 30 °C / 60 % RH."""

Missing = Literal["no_reading_yet", "gap", "no_reading_since", "place_unknown"]
Air = tuple[int, int]


class AirKey(NamedTuple):
    """What of a span decides its rate.

    Attributes:
        cell: cell of Table 7-1 of the guarded air, or `derating.BEYOND`.
        within_30_60: the raw air is within 30 °C / 60 % RH.
        missing: why the air is assumed; None is measured.
    """

    cell: int
    within_30_60: bool
    missing: Missing | None


class Stretches(NamedTuple):
    """Neighbouring stretches of time, each in one key.

    Attributes:
        starts: the moments at which they begin.
        plain: all their air is measured, and none is beyond Table 7-1.
        within_30_60: all their raw air is.
    """

    starts: Sequence[int]
    keys: Sequence[AirKey]
    plain: bool
    within_30_60: bool

    @classmethod
    def of(cls, starts: Sequence[int], keys: Sequence[AirKey]) -> Stretches:
        """Return the stretches that begin at these moments."""
        plain = all(key.missing is None and key.cell != derating.BEYOND for key in keys)
        return cls(array("q", starts), keys, plain, all(key.within_30_60 for key in keys))


class Span(NamedTuple):
    """A stretch of time in one key. `raw` and `guarded` are the worst in it, in hundredths."""

    start: int
    end: int
    key: AirKey
    raw: Air
    guarded: Air


def merged(spans: list[Span]) -> list[Span]:
    """Return spans with neighbours of one key made one; the worst of their air counts."""
    found: list[Span] = []
    for span in spans:
        if found and found[-1].key == span.key and found[-1].end == span.start:
            before = found[-1]
            found[-1] = Span(
                before.start,
                span.end,
                span.key,
                worst_of([before.raw, span.raw]),
                worst_of([before.guarded, span.guarded]),
            )
        else:
            found.append(span)
    return found


def key_of(raw: Air, guarded: Air, missing: Missing | None) -> AirKey:
    """Return the key of raw and guarded air, in hundredths of °C and % RH."""
    within = raw[0] <= MAX_TEMP_C100 and raw[1] <= MAX_RH_C100
    return _one_key(derating.cell_for(*guarded), within, missing)


@lru_cache(maxsize=1024)
def _one_key(cell: int, within: bool, missing: Missing | None) -> AirKey:
    """Return the one key of these values, so that equal keys are the same object."""
    return AirKey(cell, within, missing)


def worst_of(airs: Sequence[Air]) -> Air:
    """Return the highest temperature and the highest humidity."""
    return max(air[0] for air in airs), max(air[1] for air in airs)
