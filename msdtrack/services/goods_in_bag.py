"""Finds out what the label and the bag say of level, floor life, seal date and place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

from msdtrack.errors import BadInput
from msdtrack.exposure.clock import day
from msdtrack.exposure.facts import PartFacts
from msdtrack.services import goods_in_questions as questions
from msdtrack.services.fact_checks import SHORTEST_LIFE_H
from msdtrack.services.goods_in_draft import Desk
from msdtrack.services.goods_in_questions import NONE, YES, Asked
from msdtrack.standard import drypack, levels
from msdtrack.store import places
from msdtrack.times import day_text

STOPPED = "Stopped: nothing was received. Put the bag aside and tell quality."
HISTORY_UNKNOWN = "History unknown: it must be baked before use."


def examine(desk: Desk) -> None:
    """Go through level, carrier, bag, seal date, floor life, thickness and place.

    Raises:
        Asked: something must be asked.
        BadInput: an answer can't be.
        Refused: it was decided to stop.
    """
    draft, label = desk.draft, desk.draft.label
    _level(desk)
    draft.kind = desk.answers.to(questions.carrier_kind())
    _bag(desk)
    if label.date_code is not None:
        words = f"{label.date.words}, " if label.date else ""
        draft.tell("", "Date code", f"{words}{label.date_code}", "label")
    _floor_life(desk)
    _thickness(desk)
    draft.tell("kind", "Parts in", draft.kind, "said")
    draft.place = _place(desk)
    if draft.part_changes or draft.maker_changes:
        who = desk.answers.to(questions.person("what is on file")).strip()
        if not who:
            raise questions.wrong_answer("person", "scan a badge or type a name")
    draft.person = desk.answers.given.get("person", "").strip() or None
    for meaning, value in label.more:
        draft.tell("", meaning[:1].upper() + meaning[1:], value, "label")


def _level(desk: Desk) -> None:
    _decide(desk, "msl", _stated_level(desk), lambda level: level, levels.LEVELS.index)
    draft = desk.draft
    level = draft.as_it_is.msl
    read = "msl" in draft.label.values or "msl" in desk.answers.given
    draft.tell("msl", "Level", f"MSL {level}", "label" if read else "file")
    if levels.is_label_timed(level):
        draft.cautions.append("Level 6: always baked before use.")


def _stated_level(desk: Desk) -> str | None:
    """Return the level that the label says, as read or as typed from it."""
    if desk.answers.asked_again("msl"):
        raise Asked(questions.level(""))
    printed, said = desk.draft.label.values.get("msl"), desk.answers.given.get("msl")
    if said is not None:
        try:
            return levels.parse_level(said)
        except BadInput as error:
            raise questions.wrong_answer("msl", error.message.rstrip(".")) from error
    if printed is None:
        return None
    try:
        return levels.parse_level(printed)
    except BadInput:
        raise Asked(questions.level(printed)) from None


def _decide(
    desk: Desk,
    fact: str,
    stated: Any,
    words: Callable[[Any], str],
    strictness: Callable[[Any], Any] | None,
) -> None:
    """Take a fact from the label, the maker's part or the part; ask where they differ.

    Args:
        fact: name of the fact, one of `MAKER_FACTS`.
        stated: what the label says; None if it says nothing.
        words: puts a value into words.
        strictness: greater for the value that is safer to use; None if none is.
    """
    draft = desk.draft
    assert draft.part is not None
    own = None if draft.maker is None else getattr(draft.maker, fact)
    on_file = getattr(draft.part, fact) if own is None else own
    if own is not None:
        draft.facts[fact] = own
    if stated is None or stated == on_file:
        return
    stricter = (
        strictness is not None and on_file is not None and strictness(on_file) > strictness(stated)
    )
    asked = questions.conflict(
        fact,
        words(stated),
        "nothing" if on_file is None else words(on_file),
        part=draft.part.number,
        maker=None if draft.maker is None else draft.maker.maker_number,
        maker_has_own=own is not None,
        file_is_stricter=stricter,
    )
    answer = desk.ask_or_stop(asked, STOPPED)
    if answer == "part":
        draft.part_changes[fact] = stated
        draft.part = replace(draft.part, **{fact: stated})
    elif answer != "file":
        draft.facts[fact] = stated
        if answer == "maker":
            draft.maker_changes[fact] = stated


def _bag(desk: Desk) -> None:
    draft = desk.draft
    condition = desk.answers.to(questions.bag_condition())
    draft.bag_condition = condition
    draft.is_open = condition == "damaged"
    words = questions.BAG_CONDITIONS[condition]
    draft.tell("bag_condition", "Dry bag", words, "said")
    known = condition == "sealed"
    if condition == "rebagged":
        known = desk.answers.to(questions.rebagged_dry()) == YES
    if condition in ("sealed", "rebagged"):
        answer = desk.answers.to(questions.seal_date(draft.label.date, desk.today))
        if answer != NONE:
            draft.label_sealed_on = questions.read_day("sealed_on", answer, desk.today)
        stated = draft.label_sealed_on
        told = "no date can be read" if stated is None else day_text(stated)
        draft.tell("sealed_on", "Sealed on", told, "said")
    draft.sealed_on = draft.label_sealed_on if known else None
    if draft.sealed_on is None:
        draft.cautions.append(HISTORY_UNKNOWN)
    else:
        _shelf_life(desk, draft.sealed_on)


def _shelf_life(desk: Desk, sealed_on: date) -> None:
    draft, coded = desk.draft, desk.draft.label.expiry
    ends, source = drypack.shelf_life_end(sealed_on), "tables"
    if coded is not None:
        printed = coded.earliest_day(date.max)
        asked = questions.expiry(printed, drypack.SHELF_LIFE_MONTHS)
        if desk.answers.to(asked) == YES:
            if printed < sealed_on:
                raise questions.wrong_answer(asked.name, "it lies before the seal date")
            draft.shelf_life_ends = ends = printed
            source = "label"
    draft.tell("", "Shelf life ends", day_text(ends), source)
    if ends < day(desk.now):
        draft.cautions.append("The shelf life is over: the indicator card decides at opening.")


def _floor_life(desk: Desk) -> None:
    draft = desk.draft
    as_it_is = draft.as_it_is
    level_h = levels.floor_life_h(as_it_is.msl)
    source = "tables"
    if not levels.is_unlimited(as_it_is.msl):
        words = "only the label tells it" if level_h is None else f"{level_h} h"
        typed = desk.answers.to(questions.floor_life(as_it_is.msl, words))
        stated = questions.read_number("life_h", typed, "h", 87_600, SHORTEST_LIFE_H)
        if stated is not None and level_h is not None and stated > level_h:
            draft.cautions.append(
                f"The label's floor life is longer than level {as_it_is.msl} allows: "
                f"{level_h} h count."
            )
        # What the label says is no news where it comes to the hours that count anyway.
        if stated is not None and _hours(as_it_is, stated) == as_it_is.label_hours:
            stated = None
        own = "label_floor_life_hours"
        _decide(desk, own, stated, lambda hours: f"{hours:g} h", lambda hours: -hours)
        if draft.as_it_is.label_floor_life_hours is not None:
            source = "file" if stated is None else "label"
    draft.tell("life_h", "Floor life", _life_words(draft.as_it_is), source)


def _thickness(desk: Desk) -> None:
    source = "file"
    if "body_mm" in desk.answers.given or desk.answers.asked_again("body_mm"):
        typed = desk.answers.to(questions.body_thickness())
        stated = questions.read_number("body_mm", typed, "mm", 100)
        source = "file" if stated is None else "label"
        _decide(desk, "body_mm", stated, lambda mm: f"{mm:g} mm", None)
    elif desk.draft.maker is not None:
        _decide(desk, "body_mm", None, str, None)
    body_mm = desk.draft.as_it_is.body_mm
    words = "not known" if body_mm is None else f"{body_mm:g} mm"
    desk.draft.tell("body_mm", "Body thickness", words, source)


def _place(desk: Desk) -> str | None:
    listed = [one for one in places.places() if one.kind != "oven"]
    if not listed:
        return None
    names = {one.code: one.name for one in sorted(listed, key=lambda one: one.name.casefold())}
    answer = desk.answers.to(questions.place(names))
    name = names.get(answer, "not known: the assumed air counts")
    desk.draft.tell("place", "Place", name, "said")
    return None if answer == NONE else answer


def _hours(part: PartFacts, label_h: float) -> Fraction | None:
    return replace(part, label_floor_life_hours=label_h).label_hours


def _life_words(part: PartFacts) -> str:
    if levels.is_unlimited(part.msl):
        return "no limit"
    hours = part.label_hours
    return "only the label tells it" if hours is None else f"{float(hours):g} h"
