"""Makers' parts behind an internal number: each may have its own level, thickness, label life.

A carrier keeps what its maker's part has otherwise than the part. A correction of the maker's part
holds for all time, so it goes to the carriers that came as it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from msdtrack.errors import BadInput, FieldError
from msdtrack.services import people
from msdtrack.services.fact_checks import SHORTEST_LIFE_H, check_number, refuse
from msdtrack.standard import levels
from msdtrack.store import carriers, goods_in
from msdtrack.store.catalog import part
from msdtrack.store.connection import write
from msdtrack.store.goods_in import MAKER_FACTS, MakerPartRecord

__all__ = ["MakerPartRecord", "correct", "link", "of_part"]


def of_part(number: str) -> list[MakerPartRecord]:
    """Return the makers' parts that are bought under an internal number.

    Raises:
        NotFound: there is no such part.
    """
    part(number)
    return goods_in.maker_parts(part=number)


def link(new: MakerPartRecord, now: int) -> MakerPartRecord:
    """Put a maker's part on file for an internal number and return it with its id.

    Raises:
        NotFound: there is no such part.
        BadInput: a fact is wrong.
        Conflict: it is on file for that number already.
    """
    facts = _checked({name: getattr(new, name) for name in MAKER_FACTS})
    with write():
        part(new.part)
        record = MakerPartRecord(0, new.part, new.maker_number, new.supplier, **facts)
        return goods_in.insert_maker_part(record, now)


def correct(
    id_: int, changes: Mapping[str, Any], now: int, person: str | None, reason: str
) -> MakerPartRecord:
    """Correct facts of a maker's part and of the carriers that came as it; return it as it is now.

    A carrier whose own label was taken to say something else keeps that.

    Args:
        id_: number of the maker's part.
        changes: new values by name of `MAKER_FACTS`; None is as the part.
        now: the present moment.
        person: badge code or name of who corrects it.
        reason: why.

    Raises:
        NotFound: there is no such maker's part.
        BadInput: a fact can't be corrected or its value is wrong.
    """
    checked = _checked(changes)
    with write():
        who = None if person is None else people.person_code(person, now)
        before = goods_in.maker_part(id_)
        after = goods_in.update_maker_part(id_, checked, reason=reason, recorded_at=now, person=who)
        for code, record in carriers.carriers_by_code(goods_in.carriers_of_maker_part(id_)).items():
            follows = {
                name: value
                for name, value in checked.items()
                if getattr(record, name) == getattr(before, name)
            }
            carriers.update_carrier(code, follows, reason=reason, recorded_at=now, person=who)
        return after


def _checked(facts: Mapping[str, Any]) -> dict[str, Any]:
    errors: list[FieldError] = []
    checked = dict(facts)
    if checked.get("msl") is not None:
        try:
            checked["msl"] = levels.parse_level(str(checked["msl"]))
        except BadInput as error:
            errors.append(FieldError("msl", error.message))
    for name, unit, above, most in (
        ("body_mm", "mm", 0, 100),
        ("label_floor_life_hours", "h", SHORTEST_LIFE_H, 87_600),
    ):
        if check_number(errors, name, checked.get(name), unit, above=above, most=most):
            checked[name] = float(checked[name])
    refuse(errors)
    return checked
