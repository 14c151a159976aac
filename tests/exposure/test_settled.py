"""Logs in which nothing contradicts take a short way; it answers as the whole walk does."""

from __future__ import annotations

from unittest.mock import patch

from hypothesis import given
from hypothesis import strategies as st

from msdtrack.exposure import contradictions
from msdtrack.exposure.contradictions import settle
from msdtrack.exposure.events import Event, Kind

KINDS = st.lists(
    st.one_of(
        st.sampled_from([Kind.OPEN, Kind.CLOSE]),
        st.sampled_from([kind for kind in Kind if kind is not Kind.CORRECT]),
    ),
    max_size=12,
)


@given(KINDS, st.booleans())
def test_the_short_way_settles_as_the_walk(kinds: list[Kind], last: bool) -> None:
    log = [
        Event(f"e{n}", "C1", kind, 100 * n, n, 100 * n, place="floor", last=last)
        for n, kind in enumerate(kinds, 1)
    ]
    with patch.object(contradictions, "_is_plain", return_value=False):
        walked = settle(log, 0)
    assert settle(log, 0) == walked


def test_a_bag_opened_and_closed_takes_the_short_way() -> None:
    kinds = [Kind.MOVE, Kind.OPEN, Kind.TAKE, Kind.MOVE, Kind.CLOSE, Kind.OPEN, Kind.SPLIT]
    log = [Event(f"e{n}", "C1", kind, n, n, n) for n, kind in enumerate(kinds, 1)]
    assert contradictions._is_plain(log)
    assert not contradictions._is_plain([*log, log[1]])
