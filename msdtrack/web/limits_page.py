"""What the page of a part's limits shows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from flask import Response

from msdtrack.errors import FieldError
from msdtrack.services import measurements
from msdtrack.services.catalog import Person
from msdtrack.store.sample_checks import Channel, LimitsRecord
from msdtrack.web.names import all_people, person_names
from msdtrack.web.rendering import render_page


@dataclass(frozen=True, slots=True)
class LimitsPage:
    """The limits of a part, by mounting variant.

    Args:
        part: its number.
        variants: limits in force.
        names: person names by code.
        people: who can enter them.
        values, errors: what stands in the form, and what is wrong with it.
        findings: what is wrong with the cells of the table.
    """

    part: str
    variants: tuple[LimitsRecord, ...]
    names: Mapping[str, str]
    people: tuple[Person, ...]
    values: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[FieldError, ...] = ()


def channels_table(channels: Iterable[Channel]) -> str:
    """Return channels as the table that enters them."""
    rows = ["channel;minimum;maximum;unit"]
    for one in channels:
        low, high = ("" if limit is None else str(limit) for limit in (one.low, one.high))
        rows.append(f"{one.name};{low};{high};{one.unit}")
    return "\n".join(rows)


def limits_page(
    part: str,
    values: Mapping[str, str],
    errors: Mapping[str, str],
    findings: tuple[FieldError, ...] = (),
) -> Response:
    """Answer the limits of a part; with errors the status is 422."""
    page = LimitsPage(
        part, tuple(measurements.variants(part)), person_names(), tuple(all_people()), values,
        errors, findings,
    )  # fmt: skip
    response = render_page("check_limits.html", page)
    response.status_code = 422 if errors else 200
    return response
