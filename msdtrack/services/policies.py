"""The site's choices: what each is for, what it may be, what holds now, who changed it and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from msdtrack.errors import BadInput, FieldError
from msdtrack.exposure.facts import Policies
from msdtrack.services.people import person_code
from msdtrack.standard import drypack, sampling
from msdtrack.store import catalog, traces
from msdtrack.store import policies as policy_table
from msdtrack.store.connection import write
from msdtrack.store.records import FactChange

Value = bool | int | float

PART_LEAD = "lead_h:part:"
"""Followed by a part's number: its own lead time, hours."""

_PRACTICE = "site practice, no source"


@dataclass(frozen=True, slots=True)
class Policy:
    """One choice.

    Attributes:
        name: its name in the log and in the API.
        meaning: what it does, for a person.
        default: its value where the site has chosen nothing; its type is the policy's.
        unit: of a number.
        least, most: range of a number.
        among: the only numbers it may be; empty where any in the range will do.
        source: where the default comes from.
    """

    name: str
    meaning: str
    default: Value
    unit: str = ""
    least: float = 0
    most: float = 0
    source: str = _PRACTICE
    among: tuple[float, ...] = ()


_OFF = Policies()
_LEAD_H = {"2": 24, "2a": 24, "3": 12, "4": 8, "5": 6, "5a": 4, "6": 2}

_AQLS_PCT = tuple(float(aql) for aql in sampling.AQLS_PCT)

POLICIES: Final[tuple[Policy, ...]] = (
    Policy(
        "credit",
        "Drier or cooler air lengthens the floor life of parts whose mold compound is confirmed "
        "to be one the derating table covers.",
        _OFF.credit.first,
        source="J-STD-033, Table 7-1; off unless the site decides otherwise",
    ),
    Policy(
        "pause_levels_4_to_5a",
        "Dry storage at 5 % RH or less stops the floor life clock of levels 4, 5 and 5a too.",
        _OFF.pause_levels_4_to_5a.first,
        source="off: moisture already inside goes on moving inward",
    ),
    Policy(
        "cumulative_bake_h",
        "Most hours above 90 °C that a carrier may be baked in all, for the sake of solderability.",
        drypack.CUMULATIVE_BAKE_H,
        "h",
        1,
        drypack.CUMULATIVE_BAKE_H,
        "J-STD-033 (B.1); older editions 48 h",
    ),
    *(
        Policy(
            f"lead_h:msl:{level}",
            f"How long before the floor life of a level {level} carrier runs out the alarm comes; "
            "at most half of the floor life on its label.",
            hours,
            "h",
            0.25,
            720,
        )
        for level, hours in _LEAD_H.items()
    ),
    Policy(
        "bake_overdue_min",
        "How long a carrier may stay in the oven after its bake is complete before it is overdue: "
        "every hour more above 90 °C costs solderability.",
        60,
        "min",
        0,
        1440,
    ),
    Policy(
        "shelf_life_lead_d",
        "How long before the shelf life of a closed bag ends the alarm comes.",
        30,
        "d",
        0,
        180,
    ),
    Policy(
        "shelve_most_h",
        "Longest time for which an alarm may be shelved; then it comes back by itself.",
        8,
        "h",
        1,
        24,
    ),
    Policy(
        "notice_priorities",
        "Which alarms are sent out as notices: 1 those of high priority, 2 of medium too, 3 all, "
        "0 none.",
        2,
        "of 3",
        0,
        3,
        among=(0, 1, 2, 3),
    ),
    Policy(
        "open_bag_limit_min",
        "How long after its opening a bag should be closed again at the latest.",
        drypack.RESEAL_WITHIN_MIN,
        "min",
        5,
        drypack.RESEAL_WITHIN_MIN,
        "J-STD-033, from memory; a site may be stricter",
    ),
    Policy(
        "open_bag_lead_min",
        "How long before that the alarm comes.",
        10,
        "min",
        0,
        30,
    ),
    Policy(
        "readings_missing_min",
        "How old the newest reading of a place may get before the alarm comes. The calculation "
        "takes the assumed air after 30 min in any case.",
        60,
        "min",
        5,
        1440,
    ),
    Policy(
        "air_on_delay_min",
        "How long the air of a room must be beyond 30 °C or 60 % RH before the alarm comes.",
        5,
        "min",
        0,
        30,
    ),
    Policy(
        "cabinet_on_delay_min",
        "How long a dry cabinet must be above its limit before the alarm comes; longer than it "
        "takes to put something in.",
        15,
        "min",
        0,
        drypack.CABINET_RECOVERS_WITHIN_MIN - 15,
    ),
    Policy(
        "air_off_delay_min",
        "How long the air must be well within its limits before the alarm returns to normal.",
        10,
        "min",
        0,
        60,
    ),
    Policy(
        "air_deadband_temp_c",
        "How far below its limit the temperature of a room must be to count as well within.",
        0.5,
        "°C",
        0,
        5,
    ),
    Policy(
        "air_deadband_rh_pct",
        "How far below its limit the humidity of a room must be to count as well within.",
        1.0,
        "% RH",
        0,
        10,
    ),
    Policy(
        "sample_aql_pct",
        "Acceptance quality limit that sample checks are planned with where none is chosen.",
        _AQLS_PCT[0],
        "%",
        _AQLS_PCT[0],
        _AQLS_PCT[-1],
        f"{sampling.SOURCE}; which limit is agreed with the supplier",
        _AQLS_PCT,
    ),
)
"""Every policy but the lead times of single parts."""

_BY_NAME: Final = {policy.name: policy for policy in POLICIES}


def policy(name: str) -> Policy:
    """Return a policy by its name, a part's own lead time among them.

    Raises:
        BadInput: there is no such policy.
    """
    if name.startswith(PART_LEAD) and name != PART_LEAD:
        number = name.removeprefix(PART_LEAD)
        meaning = f"The same for part {number}, whatever its level."
        return Policy(name, meaning, _LEAD_H["3"], "h", 0.25, 720)
    if name not in _BY_NAME:
        message = f"there is no policy {name!r}; there are {', '.join(_BY_NAME)}"
        message += f" and {PART_LEAD}<number>"
        raise BadInput(f"{message[0].upper()}{message[1:]}.", [FieldError("name", message)])
    return _BY_NAME[name]


def policies(now: int) -> dict[str, Value]:
    """Return the value of every policy now; lead times of parts only where one is set."""
    return {one.name: one.default for one in POLICIES} | policy_table.policy_values("", now)


def set_policy(name: str, value: Value | None, now: int, person: str, reason: str) -> None:
    """Set a policy from `now` on.

    Args:
        name: of the policy.
        value: the choice; None goes back to the default.
        now: the present moment.
        person: badge code or name of who chooses.
        reason: why.

    Raises:
        BadInput: no such policy or part, a value of the wrong type or out of its range, or nobody
            or no reason named; each is named.
    """
    chosen = policy(name)
    errors = []
    wrong = None if value is None else _what_is_wrong(chosen, value)
    if wrong is not None:
        errors.append(FieldError("value", wrong))
    if not reason.strip():
        errors.append(FieldError("reason", "say why, for those who read the log later"))
    with write():
        if name.startswith(PART_LEAD):
            number = name.removeprefix(PART_LEAD)
            if not catalog.parts_by_number([number]):
                errors.append(FieldError("name", f"there is no part {number}"))
        if errors:
            listed = "; ".join(f"{error.field}: {error.message}" for error in errors)
            raise BadInput(f"{listed}.", errors)
        who = person_code(person, now)
        before = policies(now).get(name)
        if before == (chosen.default if value is None else value) and value is not None:
            return
        policy_table.set_policy(name, value, now, recorded_at=now, person=who)
        traces.trace(
            "policy",
            name,
            {"value": before},
            {"value": value},
            person=who,
            reason=reason.strip(),
            recorded_at=now,
        )


def changes(name: str) -> list[FactChange]:
    """Return the changes of a policy with who and why, oldest first; None is the default."""
    return traces.fact_changes("policy", name)


def _what_is_wrong(chosen: Policy, value: Value) -> str | None:
    if isinstance(chosen.default, bool):
        return None if isinstance(value, bool) else "give true or false"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return f"{value!r} is no number"
    if chosen.name == "cumulative_bake_h" and not isinstance(value, int):
        return "give whole hours"
    if not chosen.least <= value <= chosen.most:
        return f"give {chosen.least:g} to {chosen.most:g} {chosen.unit}, not {value:g}"
    if chosen.among and value not in chosen.among:
        listed = ", ".join(f"{one:g}" for one in chosen.among)
        return f"give one of {listed} {chosen.unit}, not {value:g}"
    return None
