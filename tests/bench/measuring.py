"""Times ways of doing the same work in turn, and prints them side by side."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable, Mapping
from statistics import median

REPEATS = 5


def timed(work: Callable[[], object]) -> float:
    """Return the seconds a call takes."""
    gc.collect()
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def in_turn(ways: Mapping[str, Callable[[], object]], repeats: int = REPEATS) -> dict[str, float]:
    """Return the median seconds of each way, measured one after the other, over and over."""
    taken: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(repeats):
        for name, work in ways.items():
            taken[name].append(timed(work))
    return {name: median(times) for name, times in taken.items()}


def percentile(times: list[float], share: float) -> float:
    """Return the time that so large a share of the times does not exceed."""
    return sorted(times)[min(len(times) - 1, int(share * len(times)))]


def heading(text: str) -> None:
    """Print what is measured next."""
    print(f"\n{text}")


def absolute(name: str, seconds: float) -> None:
    """Print a time."""
    print(f"    {name:<58}{seconds * 1000:>12,.3f} ms")


def ratio(what: str, value: float, target: str, reached: bool) -> None:
    """Print a ratio beside its target."""
    print(f"  {what:<60}{value:>12,.2f}   {target:<12}{'reached' if reached else 'NOT REACHED'}")
