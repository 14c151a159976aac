"""Bakes as rows, and what can be chosen at an oven now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from msdtrack.exposure.load_plan import LoadBake
from msdtrack.phrases import counted, listed
from msdtrack.services.oven_loads import Draft, InOven, OvenNow
from msdtrack.times import duration_text
from msdtrack.web.marks import Mark
from msdtrack.web.rendering import near

_MARKS = {
    "running": Mark("do", "Baking"),
    "not_counting": Mark("soon", "Not counting"),
    "done": Mark("ok", "Done: take out"),
    "overdue": Mark("stop", "Overdue: take out"),
    "no_figure": Mark("stop", "No figure: ask the maker"),
}

Act = Literal["start", "keep", "end", "clear"]


@dataclass(frozen=True, slots=True)
class Choice:
    """What can be chosen by its number, by a tap or by an action code.

    Args:
        act: start a bake; keep only some carriers in the load; end bakes; clear what was scanned.
        codes: the carriers it is about.
        temp_c: of a start.
        early: of an ending, whether bakes that are not complete end with it.
    """

    text: str
    act: Act
    codes: tuple[str, ...] = ()
    temp_c: float | None = None
    early: bool = False


@dataclass(frozen=True, slots=True)
class BakeRow:
    """A carrier in a running bake.

    Args:
        counted: what has counted, of what is needed.
        share: the same for a bar, 0 to 1.
        ends: when it is complete, or since when.
        added: interruptions that were added, "" for none.
        hot: hours above 90 °C, of the site's limit.
        basis: how that is known.
    """

    code: str
    part: str
    msl: str
    mark: Mark
    counted: str
    share: float
    ends: str
    added: str
    hot: str
    basis: str


def bake_row(one: InOven) -> BakeRow:
    """Return a carrier in a running bake as a row."""
    state, done_s, needed_s = one.state, one.progress.done_s, one.needed_s
    if needed_s is None:
        so_far, share = duration_text(done_s), 0.0
    else:
        so_far = f"{duration_text(min(done_s, needed_s))} of {duration_text(needed_s)}"
        share = min(1.0, done_s / needed_s)
    breaks = counted(len(one.progress.interrupted), "interruption")
    measured = one.progress.basis == "measured"
    return BakeRow(
        code=state.facts.code,
        part=state.facts.part.number,
        msl=state.facts.part.msl,
        mark=_MARKS[one.standing],
        counted=so_far,
        share=share,
        ends=_ends(one),
        added=f"{duration_text(one.added_s)} added for {breaks}" if one.added_s else "",
        hot=f"{float(one.hot_h):.1f} of {one.limit_h} h",
        basis="by the oven's readings" if measured else "assumed: no oven reading",
    )


def _ends(one: InOven) -> str:
    now = one.state.at
    if one.standing == "no_figure":
        return "resets nothing"
    if one.standing == "not_counting":
        return "not known: the oven is not at its temperature"
    assert one.ends_at is not None
    if one.standing == "running":
        return f"complete {near(one.ends_at, now)}"
    return f"complete since {near(one.ends_at, now)}, {duration_text(now - one.ends_at)} ago"


def bake_words(bake: LoadBake) -> str:
    """Return a bake in a few words: "8 h at 125 °C"."""
    dry = "" if bake.max_rh_pct is None else f", air at {bake.max_rh_pct:g} % RH or less"
    return f"{float(bake.hours):g} h at {bake.temp_c:g} °C{dry}"


def choices(draft: Draft | None, oven: OvenNow, out: Sequence[str]) -> tuple[Choice, ...]:
    """Return what can be chosen now, the likeliest first.

    Args:
        draft: the load that is being put together, None for none.
        oven: the oven with what bakes in it.
        out: carriers that were scanned to be taken out.
    """
    if out:
        return _of_taking_out(oven, out)
    if draft is None:
        return ()
    found = [
        Choice(f"Start: {bake_words(bake)}", "start", bake.codes, bake.temp_c)
        for bake in draft.bakes
    ]
    stuck = {one.code for one in draft.blocked} | {code for code, _ in draft.plan.refused}
    everyone = tuple(state.facts.code for state in draft.states)
    able = tuple(code for code in everyone if code not in stuck)
    if stuck and able:
        found.append(Choice(f"Leave out what can't go in: {_few(sorted(stuck))}", "keep", able))
    for number, group in enumerate(draft.plan.groups, 1):
        text = f"Load {number}: {bake_words(group)}: only {_few(group.codes)}"
        found.append(Choice(text, "keep", group.codes))
    return (*found, Choice("Empty this load", "clear"))


def _of_taking_out(oven: OvenNow, out: Sequence[str]) -> tuple[Choice, ...]:
    standings = {one.state.facts.code: one.standing for one in oven.baking}
    done = tuple(code for code in out if standings[code] in ("done", "overdue"))
    early = tuple(code for code in out if code not in done)
    found = []
    if done:
        text = f"Take out, done: {_few(done)}"
        found.append(Choice(text, "end", done))
    if early:
        text = f"End early, resets nothing: {_few(early)}"
        if done:
            text = f"Take all out; ends early, resets nothing: {_few(early)}"
        found.append(Choice(text, "end", tuple(out), early=True))
    return (*found, Choice("Leave all in the oven", "clear"))


def _few(codes: Sequence[str]) -> str:
    return listed(codes, 3 if len(codes) == 3 else 2)
