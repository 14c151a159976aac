"""Whole numbers as people type them and scanners send them."""

from __future__ import annotations


def only_digits(text: str) -> bool:
    """Return whether a text is plain digits 0 to 9 and nothing else."""
    return text.isascii() and text.isdecimal()


def whole_number(text: str, most_digits: int) -> int | None:
    """Return the number that plain digits write, None if the text is anything else or longer."""
    return int(text) if len(text) <= most_digits and only_digits(text) else None
