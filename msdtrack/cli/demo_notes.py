"""What the demo says when it starts: where it is and what to try first."""

from __future__ import annotations

from pathlib import Path

from msdtrack.printing.codes import make_action_code
from msdtrack.services import carrier_states, catalog, demo
from msdtrack.store import carriers
from msdtrack.times import duration_text

OLD_AFTER_S = 12 * 3_600
"""A shift later most of what was urgent at the loading is over."""


def first_steps(address: str, path: Path, now: int) -> str:
    """Return the demo's greeting.

    Args:
        address: where it is served, with a slash at the end.
        path: its database.
        now: the present moment.
    """
    lines = [
        "",
        f"  {address}",
        "",
        "An invented workshop that builds loggers for weather buoys; its air is simulated.",
        f"What you do is kept in {path}; --fresh starts over.",
    ]
    loaded_at = demo.loaded_at()
    if loaded_at is not None and now - loaded_at > OLD_AFTER_S:
        lines.append(
            f"It was loaded {duration_text(now - loaded_at)} ago, and its carriers have aged since."
        )
    lines += ["", "Try first:"]
    lines += [f"  {said:<46}{address}{page}" for said, page in _pages(now)]
    lines += ["", "Stop it with Ctrl-C."]
    return "\n".join(lines)


def _pages(now: int) -> list[tuple[str, str]]:
    pages = [("what is exposed, most urgent first", "watch")]
    line = next((place for place in catalog.places() if place.kind == "line"), None)
    if line is not None:
        pages.append((f"the screen beside {line.name}", f"line/{line.code}"))
    pages.append(("the scan station", "scan"))
    sealed = _sealed_carrier(now)
    if sealed is not None:
        open_code = make_action_code("OPEN")
        pages.append((f"there, type {sealed} Enter, {open_code} Enter", "scan"))
    return pages


def _sealed_carrier(now: int) -> str | None:
    """Return a carrier whose bag may be opened, None if there is none left."""
    states = carrier_states.states(carriers.carrier_codes(), now).values()
    return next(
        (
            state.facts.code
            for state in states
            if state.status == "in_dry_bag"
            and state.verdict == "use"
            and state.used_share == 0
            and state.facts.part.msl == "3"
        ),
        None,
    )
