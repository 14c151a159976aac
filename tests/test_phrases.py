"""Numbers with their nouns, and long lists cut short."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from msdtrack.phrases import counted, listed

ROOT = Path(__file__).resolve().parent.parent

_NOUNS = "pieces|carriers|boards|bags|batches|lots|days"
# A constant in capitals is no number that may be one.
_UNCOUNTED = re.compile(
    rf"\{{(?! ?[A-Z_]{{4}})[^{{}}]*\}}+(</\w+>)? ({_NOUNS})\b|~ \" ({_NOUNS})\b"
)
_ALWAYS_MANY = {
    # "1.0 days" and "0.5 days": a decimal is never one.
    'line.cell.days|number(1) ~ " days"',
    # Only where there are several.
    "all its {count} carriers are",
    "{sums[part]} pieces in all",
}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((1, "carrier"), "1 carrier"),
        ((0, "carrier"), "0 carriers"),
        ((2, "batch", "batches"), "2 batches"),
        ((1, "batch", "batches"), "1 batch"),
        ((1.0, "day"), "1 day"),
        ((0.5, "day"), "0.5 days"),
        ((1_234_567, "reading"), "1234567 readings"),
    ],
)
def test_one_is_one(given: tuple[float, str], said: str) -> None:
    """The noun follows the number."""
    assert counted(*given) == said


def test_long_lists_are_cut_short() -> None:
    """All are named up to the limit; beyond it the first, and how many more."""
    assert listed(["A", "B"], 2) == "A, B"
    assert listed(["A", "B", "C"], 2) == "A, B and 1 more"
    assert listed(["A, late", "B", "C", "D"], 1, "; ") == "A, late; and 3 more"
    assert listed([], 2) == ""


@pytest.mark.parametrize("folder", ["msdtrack", "templates"])
def test_every_number_of_things_is_counted_in_words(folder: str) -> None:
    """No message, page or script puts a plural straight after a number that may be one."""
    found = []
    for path in sorted((ROOT / folder).rglob("*")):
        if path.suffix not in (".py", ".html", ".js"):
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
            if _UNCOUNTED.search(line) and not any(known in line for known in _ALWAYS_MANY):
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()}")
    assert found == []
