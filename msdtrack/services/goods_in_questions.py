"""What goods-in asks: one question at a time, and the words of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from msdtrack.digits import whole_number
from msdtrack.errors import BadInput, FieldError
from msdtrack.services.goods_in_label import NOT_NEEDED, PLAIN_MEANINGS
from msdtrack.services.receiving import KINDS
from msdtrack.standard.data_identifiers import IDENTIFIERS, LabelDate
from msdtrack.standard.supplier_label import LabelField
from msdtrack.times import day_text

Kind = Literal["choice", "text", "day", "number", "whole", "part"]

STOP = "stop"
"""The answer that ends it: nothing is received."""
NONE = "none"
"""The answer that the label does not say it."""
YES, NO = "yes", "no"

BAG_CONDITIONS: Mapping[str, str] = {
    "sealed": "Heat-sealed and whole",
    "damaged": "Damaged: torn, holed, seal open",
    "clip_sealed": "Closed with a clip or tape, not heat-sealed",
    "rebagged": "Bagged again by a distributor",
}
"""What a bag can be like when it comes."""

FACT_WORDS: Mapping[str, str] = {
    "msl": "level",
    "label_floor_life_hours": "floor life",
    "body_mm": "body thickness",
}


@dataclass(frozen=True, slots=True)
class Option:
    """One answer that is offered: what is sent, and its words."""

    value: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked now.

    Attributes:
        name: what the answer is called; it names the values that are asked about, so that an
            answer never counts for other ones.
        kind: how it is answered; "part" is the short form of an unknown part.
        options: answers to choose from, the only ones for a choice.
        default: the answer of a bare Enter; None if there is none.
        given: what stands in the fields of the short form.
    """

    name: str
    text: str
    kind: Kind
    hint: str = ""
    options: tuple[Option, ...] = ()
    default: str | None = None
    given: Mapping[str, str] | None = None


class Asked(Exception):
    """Something must be asked before the reading can go on."""

    def __init__(self, question: Question) -> None:
        super().__init__(question.text)
        self.question = question


class Answers:
    """The answers given so far.

    Args:
        given: answers by the name of the question.
        again: name of a question to ask once more, whatever was answered.
    """

    def __init__(self, given: Mapping[str, str], again: str | None = None) -> None:
        self.given = dict(given)
        self._again = again

    def asked_again(self, name: str) -> bool:
        """Return whether the question is to be asked once more."""
        return self._again == name

    def to(self, question: Question) -> str:
        """Return the answer to a question.

        Raises:
            Asked: it was not answered yet, or is to be answered anew.
            BadInput: the answer is none of those offered.
        """
        answer = self.given.get(question.name)
        if answer is None or self.asked_again(question.name):
            raise Asked(question)
        if question.kind == "choice" and answer not in [one.value for one in question.options]:
            raise wrong_answer(question.name, "choose one of the answers offered")
        return answer


def wrong_answer(name: str, message: str) -> BadInput:
    """Return the error about one answer."""
    return BadInput(f"{message[:1].upper()}{message[1:]}.", [FieldError(name, message)])


def unclear(text: str, can_be: tuple[LabelField, ...]) -> Question:
    """Ask what a code is that has no identifier, or that can be two things."""
    options = []
    for one in can_be:
        known = IDENTIFIERS.get(one.identifier)
        words = PLAIN_MEANINGS.get(one.identifier) or (known.meaning if known else one.identifier)
        options.append(Option(one.identifier + one.value, f"It is {words}: {one.value}"))
    options.append(Option(NOT_NEEDED, "It is not needed here"))
    return Question(
        name=f"what:{text}",
        text=f"What is {text}?",
        hint="This code does not say what it is.",
        kind="choice",
        options=tuple(options),
    )


def outer_box(identifier: str) -> Question:
    """Ask whether the label is that of one bag or of the box around several."""
    return Question(
        name=f"outer:{identifier}",
        text="Is this the label of a box with several bags?",
        hint="It carries the number of an outer package. Each bag is received by its own label.",
        kind="choice",
        options=(
            Option(STOP, "Yes: drop it, and scan the label on each bag"),
            Option("bag", "No: it is on the one bag and tells that bag's quantity"),
        ),
    )


def twice(number: str, carriers: str) -> Question:
    """Ask about a bag whose own number was received before."""
    return Question(
        name=f"twice:{number}",
        text=f"{number} was received already, as {carriers}",
        hint="The number of a package or a serial number belongs to one bag.",
        kind="choice",
        options=(
            Option(STOP, "It is the same bag: stop, nothing is received"),
            Option("another", "It is another bag that carries the same number"),
        ),
    )


def conflict(
    fact: str,
    stated: str,
    on_file: str,
    *,
    part: str,
    maker: str | None,
    maker_has_own: bool,
    file_is_stricter: bool,
) -> Question:
    """Ask which is right where the label and the file differ.

    Args:
        fact: name of the fact, a key of `FACT_WORDS`.
        stated, on_file: both values in words.
        part: internal number.
        maker: the maker's number, if the label gives one.
        maker_has_own: the value on file is that of the maker's part.
        file_is_stricter: what is on file can be kept without harm to the parts.
    """
    fact_words = FACT_WORDS[fact].capitalize()
    options = [Option("label", f"The label: {stated}, for this carrier only")]
    if maker is not None:
        options.append(Option("maker", f"The label: {stated}, for all of {maker}"))
    if not maker_has_own:
        options.append(Option("part", f"Correct part {part} to {stated}, for all its carriers"))
    if file_is_stricter:
        options.append(Option("file", f"The file: {on_file}, which is the stricter"))
    options.append(Option(STOP, "Neither: stop and put the bag aside"))
    return Question(
        name=f"{fact}:{stated}:{on_file}",
        text=f"{fact_words}: the label says {stated}, the file {on_file}. Which?",
        hint="Ask the maker's data sheet if in doubt.",
        kind="choice",
        options=tuple(options),
    )


def carrier_kind() -> Question:
    """Ask what the parts are in."""
    return Question(
        name="kind",
        text="What are the parts in?",
        kind="choice",
        options=tuple(Option(one, one.capitalize()) for one in KINDS),
    )


def bag_condition() -> Question:
    """Ask what the bag is like."""
    return Question(
        name="bag_condition",
        text="Look at the dry bag: what is it like?",
        kind="choice",
        options=tuple(Option(value, words) for value, words in BAG_CONDITIONS.items()),
    )


def rebagged_dry() -> Question:
    """Ask whether the history before the bagging is known."""
    return Question(
        name="rebagged_dry",
        text="Do the papers say that the parts were dry when they were bagged again?",
        hint="Baked or kept dry before, and heat-sealed with fresh desiccant and indicator card.",
        kind="choice",
        options=(
            Option(YES, "Yes, the papers say so"),
            Option(NO, "No, or there are no papers: history unknown, bake before use"),
        ),
    )


def seal_date(coded: LabelDate | None, today: date) -> Question:
    """Ask for the seal date; the date code is offered only as what a person reads off the bag."""
    options = [Option(NONE, "None can be read: history unknown, bake before use")]
    if coded is not None:
        try:
            day = coded.earliest_day(today)
        except BadInput:
            pass
        else:
            words = coded.words if coded.week is None else f"{coded.words}, from {day_text(day)}"
            text = f"The bag says its seal date is the date code: {words}"
            options.append(Option(day.isoformat(), text))
    return Question(
        name="sealed_on",
        text="Seal date on the bag?",
        hint="Type it like 2026-05-04 or 20260504. A date code tells when the parts were made, "
        "not when the bag was sealed.",
        kind="day",
        options=tuple(options),
    )


def expiry(day: date, months: int) -> Question:
    """Ask whether an expiry date is the end of the bag's shelf life."""
    return Question(
        name=f"expiry:{day.isoformat()}",
        text=f"Is {day_text(day)} the end of the dry bag's shelf life?",
        hint="The label gives it as expiry or best before date.",
        kind="choice",
        options=(
            Option(YES, "Yes"),
            Option(NO, f"No: {months} months from the seal date count"),
        ),
    )


def floor_life(level: str, level_words: str) -> Question:
    """Ask for the floor life that the label prints."""
    return Question(
        name="life_h",
        text="Floor life printed on the label, in hours?",
        hint=f"Level {level}: {level_words}. Press Enter if the label prints none.",
        kind="number",
        default="",
    )


def body_thickness() -> Question:
    """Ask for the body thickness that the label prints."""
    return Question(
        name="body_mm",
        text="Body thickness printed on the label, in mm?",
        hint="Press Enter if it prints none.",
        kind="number",
        default="",
    )


def level(given: str) -> Question:
    """Ask for the level that the label prints."""
    return Question(
        name="msl",
        text="Moisture sensitivity level printed on the label?",
        hint="1, 2, 2a, 3, 4, 5, 5a or 6." + (f' "{given}" is none of them.' if given else ""),
        kind="text",
    )


def place(names: Mapping[str, str]) -> Question:
    """Ask where the goods are put."""
    listed = tuple(Option(code, name) for code, name in names.items())
    return Question(
        name="place",
        text="Where do the bags go?",
        hint="Scan the sign of the place, or choose. It is kept for the next bags.",
        kind="choice",
        options=(*listed, Option(NONE, "Not known yet: the assumed air counts")),
    )


def person(what: str) -> Question:
    """Ask who corrects facts on file."""
    return Question(
        name="person",
        text=f"Who corrects {what}?",
        hint="Scan your badge or type your name: it goes on the record with the correction.",
        kind="text",
    )


def read_day(name: str, text: str, today: date) -> date:
    """Return a day that was typed.

    Raises:
        BadInput: it is none, or lies ahead.
    """
    typed = text.strip().replace("/", "-").replace(".", "-")
    try:
        day = date.fromisoformat(typed)
    except ValueError:
        raise wrong_answer(name, f'"{text}" is no day like 2026-05-04') from None
    if day > today:
        raise wrong_answer(name, f"{day_text(day)} lies ahead: look at the bag again")
    if day.year < 1990:
        raise wrong_answer(name, f"{day_text(day)} is too long ago: look at the bag again")
    return day


def read_number(name: str, text: str, unit: str, most: float, above: float = 0) -> float | None:
    """Return a number that was typed, with decimal point or comma; None for nothing.

    Raises:
        BadInput: it is none, or out of its range.
    """
    if not text.strip():
        return None
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise wrong_answer(name, f'"{text}" is no number of {unit}') from None
    if not above < value <= most:
        raise wrong_answer(name, f"give more than {above:g} and at most {most:g} {unit}")
    return value


def read_pieces(text: str) -> int:
    """Return a number of pieces that was typed.

    Raises:
        BadInput: it is none.
    """
    pieces = whole_number(text.strip(), 15)
    if pieces is None or not 1 <= pieces <= 1_000_000_000:
        raise wrong_answer("quantity", f'"{text}" is no number of pieces')
    return pieces
