"""Numbers with their nouns, and long lists cut short, in words."""

from __future__ import annotations

from collections.abc import Sequence


def counted(count: float, one: str, many: str = "") -> str:
    """Return a number with its noun: "1 carrier", "2 carriers", "0 batches".

    Args:
        count: how many; a fraction is written with as many decimals as it needs.
        one: the noun for one.
        many: the noun for any other number, "" is `one` with an s.
    """
    number = str(count) if isinstance(count, int) else f"{count:g}"
    return f"{number} {one if count == 1 else many or f'{one}s'}"


def listed(items: Sequence[str], most: int, separator: str = ", ") -> str:
    """Return things one after the other; of many the first, and how many more there are.

    Args:
        items: the things.
        most: so many are named.
        separator: what stands between two of them.
    """
    named = separator.join(items[:most])
    beyond = len(items) - most
    if beyond <= 0:
        return named
    return f"{named}{separator if separator != ', ' else ' '}and {beyond} more"
