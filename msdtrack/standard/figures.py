"""The data files that hold every published figure: loaded once, with one fingerprint for all."""

from __future__ import annotations

import hashlib
import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

NAMES: Final = (
    "floor_life",
    "derating",
    "user_bake",
    "supplier_bake",
    "dry_storage",
    "indicator",
    "drypack",
    "data_identifiers",
    "sampling",
)
"""The data files, without their ending."""

PUBLISHED_WORDS: Final = "found in a public source"
MEMORY_WORDS: Final = "from memory; check your own licensed copy"


def _text(name: str) -> str:
    return (files(__package__) / "data" / f"{name}.toml").read_text(encoding="utf-8")


@lru_cache
def load(name: str) -> dict[str, Any]:
    """Returns one data file as parsed; it is shared, so readers never change it.

    Args:
        name: One of `NAMES`.

    Raises:
        FileNotFoundError: No such data file.
    """
    return tomllib.loads(_text(name))


@lru_cache
def fingerprint() -> str:
    """Returns a SHA-256 over all data files, 64 hexadecimal digits.

    Whatever is computed from the tables and stored carries it: another fingerprint means other
    tables. Line endings do not enter, so every checkout has the same one.
    """
    digest = hashlib.sha256()
    for name in NAMES:
        digest.update(f"{name}\n{_text(name)}\0".encode())
    return digest.hexdigest()
