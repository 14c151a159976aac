"""What the air of a place uses of the floor life of a class, summed up by day beforehand: an
exposure takes two look-ups in each day that it touches, however many spans there are."""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from itertools import accumulate, pairwise

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.rates import RateClass
from msdtrack.exposure.readings import Day
from msdtrack.exposure.spans import Stretches
from msdtrack.standard import derating

Use = tuple[int, bool]
"""How many of a class's parts are used, and whether some of the air was outside 30/60."""


def plain_use(air: PlaceAir, of: RateClass, start: int, end: int, at: int) -> Use | None:
    """Return what [start, end) uses with what was measured up to `at`, as its spans say.

    Returns:
        None where some of the air is not plain: assumed, or beyond Table 7-1.
    """
    whole, outside = 0, False
    while start < end:
        day, until = air.days.around(start), end
        if day is not None and day.moments[-1] <= at:
            until = min(end, day.moments[-1])
            stretches = day.stretches or air.stretches(day)
            if not stretches.plain:
                return None
            before = day.uses.get(of) or _uses_before(day, stretches, of)
            starts, keys = stretches.starts, stretches.keys
            i, j = bisect_right(starts, start) - 1, bisect_left(starts, until) - 1
            whole += before[j] - before[i]
            whole += of.whole(keys[j]) * (until - starts[j])
            whole -= of.whole(keys[i]) * (start - starts[i])
            if not stretches.within_30_60:
                outside |= not all(key.within_30_60 for key in keys[i : j + 1])
        else:
            # Between two days, or after the newest reading.
            following = air.days.following(start) if day is None else None
            if following is not None and following[0] <= at:
                until = min(end, following[0])
            for span in air.spans(start, until, at):
                key = span.key
                if key.missing is not None or key.cell == derating.BEYOND:
                    return None
                whole += of.whole(key) * (span.end - span.start)
                outside |= not key.within_30_60
        start = until
    return whole, outside


def _uses_before(day: Day, stretches: Stretches, of: RateClass) -> Sequence[int]:
    """Return how many parts each stretch of a day finds used by those before it, and keep it."""
    edges = pairwise([*stretches.starts, day.moments[-1]])
    used = (of.whole(key) * (j - i) for (i, j), key in zip(edges, stretches.keys, strict=True))
    found: Sequence[int] = list(accumulate(used, initial=0))
    # Some class may need a whole of more parts than fit in.
    day.uses[of] = found = array("q", found) if found[-1] < 1 << 63 else found
    return found
