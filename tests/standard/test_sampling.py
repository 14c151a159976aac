"""How many pieces of a lot are checked, and with how many failing it is accepted."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from msdtrack.errors import BadInput
from msdtrack.standard import sampling
from msdtrack.standard.tables import published_tables

ORACLES: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "oracles" / "sampling.toml").read_text(encoding="utf-8")
)
LOTS = st.integers(1, 2_000_000)
AQLS = st.sampled_from(sampling.AQLS_PCT)


@pytest.mark.oracle
@pytest.mark.parametrize("case", ORACLES["plan"])
def test_plans_as_quoted(case: dict[str, Any]) -> None:
    """Letter, sample size and acceptance numbers of lots of everyday sizes."""
    assert sampling.code_letter(case["lot_size"], case["level"]) == case["letter"]
    for aql_pct, accept in case["accept"].items():
        plan = sampling.sampling_plan(case["lot_size"], aql_pct, case["level"])
        assert (plan.letter, plan.sample_size) == (case["letter"], case["sample_size"])
        assert (plan.accept, plan.reject, plan.inspect_all) == (accept, accept + 1, False)


@pytest.mark.oracle
@pytest.mark.parametrize("case", ORACLES["arrow"])
def test_an_arrow_leads_to_another_plan_with_its_sample(case: dict[str, Any]) -> None:
    """Both change: the acceptance number and how many pieces are checked."""
    plan = sampling.sampling_plan(case["lot_size"], case["aql_pct"])
    found = (plan.lot_letter, plan.letter, plan.sample_size, plan.accept)
    assert found == (case["lot_letter"], case["letter"], case["sample_size"], case["accept"])


@pytest.mark.oracle
@pytest.mark.parametrize("aql_pct", sampling.AQLS_PCT)
def test_acceptance_numbers_are_the_series_of_the_standard(aql_pct: str) -> None:
    """Along the letters each number of the series comes once, in order; none is left out."""
    column = sampling._ACCEPT[aql_pct]
    numbers = [entry for entry in column.values() if isinstance(entry, int)]
    assert numbers == ORACLES["series"]["numbers"]


@pytest.mark.oracle
@pytest.mark.parametrize("aql_pct", sampling.AQLS_PCT)
def test_a_lot_of_the_limiting_quality_is_mostly_accepted(aql_pct: str) -> None:
    """Reckoned from the binomial distribution: a number typed wrong falls out of the range."""
    share = float(aql_pct) / 100
    for letter, accept in sampling._ACCEPT[aql_pct].items():
        if isinstance(accept, int):
            n = sampling.SAMPLE_SIZES[letter]
            chance = sum(
                math.comb(n, k) * share**k * (1 - share) ** (n - k) for k in range(accept + 1)
            )
            assert ORACLES["at_the_aql"]["least"] < chance < ORACLES["at_the_aql"]["most"], letter


@given(LOTS, LOTS, AQLS, st.sampled_from(sampling.LEVELS))
def test_a_larger_lot_never_needs_a_lower_letter(
    one: int, other: int, aql_pct: str, level: str
) -> None:
    letters = list(sampling.SAMPLE_SIZES)
    small, large = sorted((one, other))
    first, second = (letters.index(sampling.code_letter(size, level)) for size in (small, large))
    assert first <= second
    plan = sampling.sampling_plan(large, aql_pct, level)
    assert 1 <= plan.sample_size <= large
    assert plan.inspect_all is (sampling.SAMPLE_SIZES[plan.letter] >= large)


@pytest.mark.parametrize("lot_size", [1, 2, 8, 20])
def test_a_sample_as_large_as_the_lot_is_the_whole_lot(lot_size: int) -> None:
    """At 0.65 % small lots are sent to the plan of 20 pieces."""
    plan = sampling.sampling_plan(lot_size, "0.65")
    assert (plan.letter, plan.sample_size, plan.accept) == ("F", lot_size, 0)
    assert plan.inspect_all


@pytest.mark.parametrize(
    ("lot_size", "aql_pct", "level", "said"),
    [(0, "1.0", "II", "at least one piece"), (100, "0.7", "II", "0.65, 1.0, 2.5"),
     (100, "1.0", "IV", "S-1, S-2")],
)  # fmt: skip
def test_what_no_table_covers_is_refused(
    lot_size: int, aql_pct: str, level: str, said: str
) -> None:
    with pytest.raises(BadInput, match=said):
        sampling.sampling_plan(lot_size, aql_pct, level)


def test_the_plans_shown_are_the_plans_used() -> None:
    """The page of tables has an arrow exactly where another plan is used."""
    tables = {table.key: table for table in published_tables()}
    assert len(tables["sampling_letters"].rows) == 15
    for row in tables["sampling_plans"].rows:
        letter, size, *cells = row[:-1]
        assert int(size) == sampling.SAMPLE_SIZES[letter]
        for aql_pct, cell in zip(sampling.AQLS_PCT, cells, strict=True):
            used = sampling._followed(sampling._ACCEPT[aql_pct], letter)
            assert (cell in "↓↑") is (used[0] != letter)
            assert cell in ("↓", "↑", str(used[1]))
