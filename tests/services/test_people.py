"""People who marry, whose name was mistyped, and who leave."""

from __future__ import annotations

import pytest

from msdtrack.errors import BadInput, NotFound, Refused
from msdtrack.services import goods_in_label, labelling, people
from msdtrack.standard.supplier_label import BadLabel
from msdtrack.store.connection import write
from tests.services.conftest import NOW

pytestmark = pytest.mark.usefixtures("store")


@pytest.fixture
def ines(store: None) -> str:
    """Badge of one of two people."""
    people.add_person("Olu", NOW)
    return people.add_person("Ines Prado", NOW).code


def rename(code: str, name: str, now: int) -> None:
    people.amend_person(code, {"name": name}, now, "Olu", "a marriage")


def test_what_was_signed_keeps_its_name(ines: str) -> None:
    """Renamed twice: each moment has the name of its time, and the trace has who and why."""
    rename(ines, "Ines Lund", NOW + 100)
    rename(ines, "Ines  Lund-Prado ", NOW + 200)
    names = people.names()
    assert [names.signed(ines, NOW + at) for at in (0, 99, 100, 199, 200, 900)] == [
        "Ines Prado", "Ines Prado", "Ines Lund", "Ines Lund", "Ines Lund-Prado", "Ines Lund-Prado",
    ]  # fmt: skip
    assert names[ines] == names.signed(ines) == "Ines Lund-Prado"
    first, second = people.changes(ines)
    assert (first.before, first.after, first.reason) == ("Ines Prado", "Ines Lund", "a marriage")
    assert second.after == "Ines Lund-Prado"
    assert names[first.person or ""] == "Olu"


def test_who_has_no_badge_is_named_as_written(ines: str) -> None:
    """A program may give a name; nobody is nobody."""
    assert people.names().signed("Line controller", NOW) == "Line controller"
    assert people.names().signed(None, NOW) == ""


@pytest.mark.parametrize("name", ["", "  ", "olu", "x" * 61, "In\nes\x00"])
def test_a_wrong_name_is_refused(ines: str, name: str) -> None:
    """None, somebody else's, too long, not to be shown: nothing is changed."""
    with pytest.raises(BadInput) as error:
        rename(ines, name, NOW)
    assert [one.field for one in error.value.errors] == ["name"]
    assert people.person(ines).name == "Ines Prado"
    assert people.changes(ines) == []


def test_a_change_needs_who_and_why(ines: str) -> None:
    """And somebody to be changed."""
    for person, reason, field in (("", "left", "person"), ("Olu", " ", "reason")):
        with pytest.raises(BadInput) as error:
            people.amend_person(ines, {"in_use": False}, NOW, person, reason)
        assert [one.field for one in error.value.errors] == [field]
    with pytest.raises(NotFound):
        people.amend_person("W9999997", {"in_use": False}, NOW, "Olu", "left")
    with pytest.raises(BadInput, match="can't be changed"):
        people.amend_person(ines, {"code": "W1"}, NOW, "Olu", "left")
    assert people.person(ines).retired_at is None


def test_a_badge_out_of_use_signs_nothing(ines: str) -> None:
    """By code and by name, at goods-in and on paper; its name is not put on file anew."""
    people.amend_person(ines, {"in_use": False}, NOW, "Olu", "has left")
    words = "no longer in use; .* was Ines Prado's"
    with pytest.raises(Refused, match=words):
        people.badge(ines)
    for who in (ines, ines.lower(), "ines prado"):
        with write(), pytest.raises(BadInput, match=words):
            people.person_code(who, NOW)
    with pytest.raises(BadLabel, match=words):
        goods_in_label.gather([ines], {})
    with pytest.raises(Refused, match=words):
        labelling.badges_pdf([ines], NOW)
    assert len(people.people()) == 2
    assert people.names()[ines] == "Ines Prado"


def test_a_badge_comes_back_into_use(ines: str) -> None:
    """Out twice is out since the first time; back, it signs as before."""
    for at in (NOW + 5, NOW + 9):
        people.amend_person(ines, {"in_use": False}, at, "Olu", "has left")
    assert people.person(ines).retired_at == NOW + 5
    people.amend_person(ines, {"in_use": True}, NOW + 20, "Olu", "is back")
    assert people.badge(ines).name == "Ines Prado"
    assert [(one.before, one.after) for one in people.changes(ines)] == [
        (None, NOW + 5),
        (NOW + 5, None),
    ]


def test_of_two_with_a_name_the_one_at_work_is_meant(ines: str) -> None:
    """Programs put names on file twice; who has left does not stand in the way."""
    other = people.add_person("Ines Prado", NOW).code
    people.amend_person(ines, {"in_use": False}, NOW, "Olu", "has left")
    with write():
        assert people.person_code("Ines Prado", NOW) == other


def test_a_form_sent_twice_puts_one_person_on_file(ines: str) -> None:
    """It is looked up where it is written: two browsers at once can't both find nobody."""
    with pytest.raises(BadInput, match=f"{ines} is the badge of that name"):
        people.add_person("ines PRADO", NOW, only_one=True)
    assert [one.name for one in people.people()].count("Ines Prado") == 1
    assert people.add_person("Ana", NOW, only_one=True).name == "Ana"
