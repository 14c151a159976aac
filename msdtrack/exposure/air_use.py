"""What the air of a place uses of the floor life of a class, summed up by day beforehand: an
exposure takes two look-ups in each day that it touches, however many spans there are."""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from itertools import accumulate
from operator import mul, sub

from msdtrack.exposure.air import PlaceAir
from msdtrack.exposure.rates import RateClass
from msdtrack.exposure.readings import DAY_S, Day
from msdtrack.exposure.spans import AirKey
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
        day = air.days.numbered(start // DAY_S)
        in_day = day is not None and day.first <= start < day.last
        if day is not None and in_day and day.last <= at:
            starts, keys, plain, within_30_60 = day.stretches or air.stretches(day)
            if not plain:
                return None
            until = end if end < day.last else day.last
            before = day.uses.get(of) or _uses_before(day, starts, keys, of)
            i = bisect_right(starts, start) - 1
            j = bisect_left(starts, until, i + 1) - 1
            whole += before[j] - before[i]
            whole += of.whole(keys[j]) * (until - starts[j])
            whole -= of.whole(keys[i]) * (start - starts[i])
            if not within_30_60:
                outside |= not all(key.within_30_60 for key in keys[i : j + 1])
        else:
            # Between two days, or after the newest reading.
            following = None if in_day else air.days.following(start)
            until = end
            if following is not None and following[0] <= at:
                until = min(end, following[0])
            for span in air.kept_spans(start, until, at):
                key = span.key
                if key.missing is not None or key.cell == derating.BEYOND:
                    return None
                whole += of.whole(key) * (span.end - span.start)
                outside |= not key.within_30_60
        start = until
    return whole, outside


def _uses_before(
    day: Day, starts: Sequence[int], keys: Sequence[AirKey], of: RateClass
) -> Sequence[int]:
    """Return how many parts each stretch of a day finds used by those before it, and keep it."""
    lengths = map(sub, (*starts[1:], day.last), starts)
    used = map(mul, map(of.whole, keys), lengths)
    found: Sequence[int] = list(accumulate(used, initial=0))
    # Some class may need a whole of more parts than fit in.
    day.uses[of] = found = array("q", found) if found[-1] < 1 << 63 else found
    return found
