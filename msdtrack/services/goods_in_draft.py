"""What goods-in knows of one carrier so far, and the table it is worked out on."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from msdtrack.errors import Refused
from msdtrack.exposure.facts import PartFacts
from msdtrack.services.goods_in_label import SupplierLabel
from msdtrack.services.goods_in_questions import STOP, Answers, Question
from msdtrack.store.goods_in import MakerPartRecord


@dataclass(frozen=True, slots=True)
class Told:
    """One line of what is read back.

    Attributes:
        name: the question that changes it; "" if it can't be changed.
        words: what it is.
        value: what was found.
        source: where it comes from: label, file, said or tables.
    """

    name: str
    words: str
    value: str
    source: str


@dataclass(slots=True)
class Draft:
    """What is known of the carrier so far.

    Attributes:
        part: the part as on file or as it is to be put there.
        new_part: it is to be put there.
        maker: the maker's part; its id is 0 if it is to be put on file.
        part_changes, maker_changes: corrections that were decided.
        facts: what the carrier has otherwise than the part.
        sealed_on: the seal date that counts; None makes the history unknown.
        label_sealed_on: the seal date that the bag states.
        is_open: the bag does not keep moisture out.
    """

    label: SupplierLabel
    part: PartFacts | None = None
    new_part: bool = False
    maker: MakerPartRecord | None = None
    part_changes: dict[str, Any] = field(default_factory=dict)
    maker_changes: dict[str, Any] = field(default_factory=dict)
    facts: dict[str, Any] = field(default_factory=dict)
    lot: str | None = None
    quantity: int | None = None
    kind: str | None = None
    bag_condition: str | None = None
    is_open: bool = False
    sealed_on: date | None = None
    label_sealed_on: date | None = None
    shelf_life_ends: date | None = None
    place: str | None = None
    person: str | None = None
    told: list[Told] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)

    @property
    def as_it_is(self) -> PartFacts:
        """The part's facts with what this carrier has otherwise."""
        assert self.part is not None
        return replace(self.part, **self.facts)

    def tell(self, name: str, words: str, value: str, source: str) -> None:
        """Add a line to what is read back."""
        self.told.append(Told(name, words, value, source))


@dataclass(frozen=True, slots=True)
class Desk:
    """One label on the table: the draft, the answers given, and what time it is.

    Attributes:
        now: the present moment.
        today: the latest day that can be today anywhere on earth.
    """

    draft: Draft
    answers: Answers
    now: int
    today: date

    def ask_or_stop(self, question: Question, message: str) -> str:
        """Return the answer to a question, unless it is to stop.

        Args:
            question: one that offers to stop.
            message: what is told then.

        Raises:
            Asked: it was not answered yet.
            Refused: the answer was to stop.
        """
        answer = self.answers.to(question)
        if answer == STOP:
            raise Refused(message)
        return answer
