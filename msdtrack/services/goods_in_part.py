"""Finds out which part, lot and quantity a supplier's label names, and whether the bag is new."""

from __future__ import annotations

from collections.abc import Sequence

from msdtrack.errors import BadInput
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import goods_in_questions as questions
from msdtrack.services.fact_checks import checked_part
from msdtrack.services.goods_in_draft import Desk
from msdtrack.services.goods_in_questions import Asked, Option, Question
from msdtrack.standard import levels
from msdtrack.store import catalog, goods_in
from msdtrack.store.goods_in import MakerPartRecord

DROP_BOX = "Dropped: nothing was received. Scan the label on each bag."
STOPPED_TWICE = "Stopped: nothing was received. The bag is on file already."


def identify(desk: Desk) -> None:
    """Find part, lot and quantity, and whether it is one bag that did not come before.

    Raises:
        Asked: something must be asked.
        BadInput: an answer can't be.
        Refused: it was decided to stop.
    """
    draft = desk.draft
    for text, can_be in draft.label.unclear.items():
        desk.answers.to(questions.unclear(text, can_be))
    for fact, identifier in (("outer_package", "4S"), ("mixed_package", "5S")):
        if fact in draft.label.values:
            desk.ask_or_stop(questions.outer_box(identifier), DROP_BOX)
    unknown = _find_part(desk)
    draft.lot = _lot(desk)
    draft.quantity = _quantity(desk)
    # Its bars are scanned first: they would end in the form that this opens.
    if unknown is not None and not draft.missing:
        raise unknown
    _refuse_twice(desk)


def _find_part(desk: Desk) -> Asked | None:
    """Find the part; return the question for it where the label names none of ours."""
    label, draft, answers = desk.draft.label, desk.draft, desk.answers
    number, maker = label.values.get("customer_part"), label.values.get("maker_part")
    again = answers.asked_again("part")
    said = "" if again else answers.given.get("part", "").strip()
    if number is None and maker is None and not said and not again:
        draft.missing.append("part")
        return None
    # A customer's number that is none of ours leads to our part like a maker's.
    foreign = maker or (number if number and not catalog.parts_by_number([number]) else None)
    known = _makers(foreign, label.values.get("supplier", ""))
    if said:
        candidates = [said]
    else:
        printed = [each for each in (number, maker) if each]
        on_file = [each for each in printed if catalog.parts_by_number([each])]
        candidates = list(dict.fromkeys([*on_file, *(one.part for one in known)]))
    if again or not candidates:
        printed = [each for each in (number, maker) if each]
        asked = Asked(_part_form(desk, printed))
        if again:
            raise asked
        draft.tell("", "Part", " / ".join(printed), "label")
        return asked
    if len(candidates) > 1:
        answers.to(_which_part(candidates))
    _take_part(desk, candidates[0], foreign, known)
    part = draft.part
    assert part is not None
    draft.tell(
        "part", "Part", f"{part.number} {part.description}".strip(), "said" if said else "label"
    )
    if draft.maker is not None:
        linked = "file" if draft.maker.id else "label"
        draft.tell("", "Maker's part", draft.maker.maker_number, linked)
    return None


def _take_part(
    desk: Desk, number: str, foreign: str | None, known: Sequence[MakerPartRecord]
) -> None:
    draft = desk.draft
    draft.part = catalog.parts_by_number([number]).get(number)
    if draft.part is None:
        draft.part = _new_part(desk, number)
        draft.new_part = True
    if foreign is not None and foreign != number:
        same = [one for one in known if one.part == number]
        supplier = draft.label.values.get("supplier", "")
        draft.maker = same[0] if same else MakerPartRecord(0, number, foreign, supplier)


def _new_part(desk: Desk, number: str) -> PartFacts:
    given = desk.answers.given
    if "new_msl" not in given:
        note = f"{number} is not on file: give its level to put it there, or another number."
        raise Asked(_part_form(desk, [], note))
    facts = PartFacts(
        number=number,
        msl=given["new_msl"],
        description=given.get("new_description", "").strip(),
        body_mm=questions.read_number("new_body_mm", given.get("new_body_mm", ""), "mm", 100),
    )
    try:
        return checked_part(facts)
    except BadInput as error:
        found = error.errors[0]
        name = "part" if found.field == "number" else f"new_{found.field}"
        raise questions.wrong_answer(name, found.message) from error


def _part_form(desk: Desk, printed: Sequence[str], note: str = "") -> Question:
    given, values = desk.answers.given, desk.draft.label.values
    named = " / ".join(printed)
    return Question(
        name="part",
        text=f"Which of our parts is {named}?" if named else "Which of our parts is it?",
        hint=note or "Give our number. Only if it is new, give the level and thickness too.",
        kind="part",
        given={
            "part": given.get("part") or values.get("customer_part", ""),
            "new_description": given.get("new_description", ""),
            "new_msl": given.get("new_msl") or _level(values.get("msl", "")),
            "new_body_mm": given.get("new_body_mm", ""),
        },
    )


def _level(printed: str) -> str:
    try:
        return levels.parse_level(printed)
    except BadInput:
        return ""


def _which_part(candidates: Sequence[str]) -> Question:
    found = catalog.parts_by_number(candidates)
    options = (
        Option(number, f"{number} {found[number].description}".strip()) for number in candidates
    )
    return Question(
        name="part",
        text="The label's numbers lead to different parts. Which is it?",
        hint="Compare with the order.",
        kind="choice",
        options=tuple(options),
    )


def _lot(desk: Desk) -> str | None:
    draft = desk.draft
    if desk.answers.asked_again("lot"):
        raise Asked(Question(name="lot", text="Lot on the label?", kind="text"))
    said = desk.answers.given.get("lot", "").strip()
    lot = said or draft.label.lot
    if lot is None:
        draft.missing.append("lot")
    else:
        draft.tell("lot", "Lot", lot, "said" if said else "label")
    return lot


def _quantity(desk: Desk) -> int | None:
    draft = desk.draft
    if desk.answers.asked_again("quantity"):
        raise Asked(Question(name="quantity", text="How many pieces are in it?", kind="whole"))
    said, printed = desk.answers.given.get("quantity", ""), draft.label.quantity
    pieces = questions.read_pieces(said) if said else printed
    if pieces is None:
        draft.missing.append("quantity")
        return None
    words = f"{pieces}" if printed in (None, pieces) else f"{pieces} (label: {printed})"
    draft.tell("quantity", "Quantity", words, "said" if said else "label")
    return pieces


def _refuse_twice(desk: Desk) -> None:
    """Ask about a bag whose own number came before."""
    for name, words in (("package", "Package"), ("serial", "Serial number")):
        number = desk.draft.label.values.get(name)
        if number is None:
            continue
        desk.draft.tell("", words, number, "label")
        before = goods_in.goods_in_with(**{name: number})
        if before:
            carriers = ", ".join(one.carrier for one in before)
            desk.ask_or_stop(questions.twice(number, carriers), STOPPED_TWICE)


def _makers(foreign: str | None, supplier: str) -> list[MakerPartRecord]:
    """Return the makers' parts of a number; another supplier's of the same number are none."""
    if foreign is None:
        return []
    found = goods_in.maker_parts(maker_number=foreign)
    return [one for one in found if one.supplier in ("", supplier) or not supplier]
