"""What facts of parts, places and people must be like: every finding, each with its field."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from msdtrack.errors import BadInput, FieldError
from msdtrack.exposure.facts import MakerBake, PartFacts
from msdtrack.standard import levels

KINDS = ("store", "floor", "line", "cabinet", "oven")
"""The kinds of place."""

SHORTEST_LIFE_H = 0.01
"""A floor life of no more than this, 36 seconds, is a slip of the pen."""

_PART_NUMBERS = {
    "body_mm": (0, 100, "mm"),
    "label_floor_life_hours": (SHORTEST_LIFE_H, 87_600, "h"),
    "carrier_max_c": (0, 400, "°C"),
    "max_bake_c": (0, 400, "°C"),
    "peak_body_c": (0, 400, "°C"),
}
"""Numbers of a part: what they are above, the most that is no slip of the pen, and the unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPlace:
    """A place as sent.

    Attributes:
        kind: one of `KINDS`.
        assumed_temp_c: air where nothing was measured, °C, -20 to 60; None: 30.
        assumed_rh_pct: the same, % RH, 0 to 100; None: 60.
        tolerance_c: what the sensor may be off, °C, 0 or more; None: 0.5.
        tolerance_rh_pct: the same, % RH; None: 3.
        max_temp_c: of an oven, the highest temperature it can hold, °C; None: not stated.
        max_rh_pct: of an oven, the humidity it stays below while it bakes, % RH; None: not stated.
    """

    name: str
    kind: str
    assumed_temp_c: float | None = None
    assumed_rh_pct: float | None = None
    tolerance_c: float | None = None
    tolerance_rh_pct: float | None = None
    max_temp_c: float | None = None
    max_rh_pct: float | None = None


def checked_part(facts: PartFacts) -> PartFacts:
    """Return a part's facts, the level as in `levels.LEVELS` and numbers as floats.

    Raises:
        BadInput: facts are wrong; each is named.
    """
    errors: list[FieldError] = []
    check_text(errors, "number", facts.number, 60)
    if not isinstance(facts.description, str) or len(facts.description) > 200:
        errors.append(FieldError("description", "give a text of at most 200 characters"))
    changes: dict[str, Any] = {}
    try:
        changes["msl"] = levels.parse_level(str(facts.msl))
    except BadInput as error:
        errors.append(FieldError("msl", error.message.removesuffix(".")))
    for name, (above, most, unit) in _PART_NUMBERS.items():
        if check_number(errors, name, getattr(facts, name), unit, above=above, most=most):
            changes[name] = float(getattr(facts, name))
    if facts.family is not None:
        check_text(errors, "family", facts.family, 40)
    if facts.pins is not None and (type(facts.pins) is not int or not 1 <= facts.pins <= 20_000):
        errors.append(FieldError("pins", "give a whole number, 1 or more"))
    for name in ("square", "large_bga", "stacked_die", "compound_confirmed"):
        value = getattr(facts, name)
        if not isinstance(value, bool) and not (name == "square" and value is None):
            errors.append(FieldError(name, "give true or false"))
    if facts.maker_bake is not None:
        changes["maker_bake"] = _checked_bake(errors, facts.maker_bake)
    refuse(errors)
    return replace(facts, **changes)


def check_place(new: NewPlace) -> None:
    """Make sure that a place can be as it was sent.

    Raises:
        BadInput: values are wrong; each is named.
    """
    errors: list[FieldError] = []
    check_text(errors, "name", new.name, 60)
    if new.kind not in KINDS:
        errors.append(FieldError("kind", f"give one of {', '.join(KINDS)}"))
    check_number(errors, "assumed_temp_c", new.assumed_temp_c, "°C", least=-20, most=60)
    check_number(errors, "assumed_rh_pct", new.assumed_rh_pct, "% RH", least=0, most=100)
    check_number(errors, "tolerance_c", new.tolerance_c, "°C", least=0, most=20)
    check_number(errors, "tolerance_rh_pct", new.tolerance_rh_pct, "% RH", least=0, most=100)
    check_number(errors, "max_temp_c", new.max_temp_c, "°C", above=0, most=400)
    check_number(errors, "max_rh_pct", new.max_rh_pct, "% RH", least=0, most=100)
    if new.kind != "oven":
        errors += [
            FieldError(name, "only an oven has it")
            for name in ("max_temp_c", "max_rh_pct")
            if getattr(new, name) is not None
        ]
    refuse(errors)


def check_text(errors: list[FieldError], name: str, text: Any, longest: int) -> None:
    """Add to `errors` what is wrong with a text of one line that must be there."""
    if not isinstance(text, str) or not text.strip():
        errors.append(FieldError(name, "it is missing: give a text"))
    elif text != text.strip() or not text.isprintable():
        errors.append(
            FieldError(name, "leave out blanks at the ends, line ends and control characters")
        )
    elif len(text) > longest:
        errors.append(FieldError(name, f"at most {longest} characters, not {len(text)}"))


def check_number(
    errors: list[FieldError],
    name: str,
    value: Any,
    unit: str,
    *,
    above: float | None = None,
    least: float = -math.inf,
    most: float = math.inf,
) -> bool:
    """Return whether there is a number that is right; what is wrong is added to `errors`.

    None is no number and nothing wrong.
    """
    if value is None:
        return False
    low = f"more than {above:g}" if above is not None else f"{least:g} or more"
    if type(value) not in (int, float):
        errors.append(FieldError(name, f"{value!r} is no number"))
    elif not (value > above if above is not None else value >= least):
        errors.append(FieldError(name, f"give {low} {unit}, not {value:g}"))
    elif not value <= most:
        errors.append(FieldError(name, f"give {most:g} {unit} or less, not {value:g}"))
    else:
        return True
    return False


def check_names(changes: Mapping[str, Any], allowed: set[str]) -> None:
    """Make sure that only what can be changed is to be changed.

    Raises:
        BadInput: other names are there; each is named.
    """
    refuse(
        [
            FieldError(name, f"can't be changed; what can: {', '.join(sorted(allowed))}")
            for name in changes
            if name not in allowed
        ]
    )


def refuse(errors: list[FieldError]) -> None:
    """Raise what was found, if anything was.

    Raises:
        BadInput: something was; each finding is named.
    """
    if errors:
        listed = "; ".join(f"{error.field}: {error.message}" for error in errors)
        raise BadInput(f"{listed}.", errors)


def _checked_bake(errors: list[FieldError], bake: MakerBake) -> MakerBake:
    sound = [
        check_number(errors, "maker_bake.temp_c", bake.temp_c, "°C", above=0, most=400),
        check_number(errors, "maker_bake.hours", bake.hours, "h", above=0, most=8760),
    ]
    rh: Any = bake.max_rh_pct
    once: Any = bake.once
    check_number(errors, "maker_bake.max_rh_pct", rh, "% RH", least=0, most=100)
    if not isinstance(once, bool):
        errors.append(FieldError("maker_bake.once", "give true or false"))
    for name in ("temp_c", "hours"):
        if getattr(bake, name) is None:
            errors.append(FieldError(f"maker_bake.{name}", "a bake needs it"))
    if not all(sound):
        return bake
    return replace(
        bake,
        temp_c=float(bake.temp_c),
        hours=float(bake.hours),
        max_rh_pct=float(rh) if type(rh) is int else rh,
    )
