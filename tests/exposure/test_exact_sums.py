"""What is added up in whole numbers equals what fractions say."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from msdtrack.exposure.facts import FOREVER
from msdtrack.exposure.ledger import Ledger, Phase
from msdtrack.exposure.lines import Line, up, up_before

PARTS = st.sampled_from([1, 96, 604_800, 604_800 * 7, 1_209_600, 10**18 + 9])
SHARES = st.fractions(0, 3, max_denominator=10**12)


def empty() -> Ledger:
    return Ledger(0, Phase.OPEN, None, None, 1, 0, None)


@given(st.lists(st.tuples(st.integers(0, 10**13), PARTS, st.booleans())), SHARES)
def test_used_parts_sum_up_to_the_used_share(
    uses: list[tuple[int, int, bool]], begun: Fraction
) -> None:
    """Also where it is looked at in between, and after it was set."""
    ledger = empty()
    assert ledger.used == 0
    ledger.used = total = begun
    for whole, parts, looks in uses:
        ledger.use(whole, parts)
        total += Fraction(whole, parts)
        if looks:
            assert ledger.used == total
        assert ledger.is_full == (total >= 1)
    assert ledger.used == ledger.share == total


@given(SHARES, st.fractions(0, 1, max_denominator=10**9), st.integers(0, FOREVER))
def test_a_line_goes_back_as_it_came(share: Fraction, rate: Fraction, ago_s: int) -> None:
    line = Line(0, share, rate, 0, None, False, None, False, False, False, False)
    assert up_before(line, ago_s) == up(share - rate * ago_s)
