"""A stack of pages shows what each page alone shows, and stays small."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pypdfium2
from hypothesis import given, settings
from hypothesis import strategies as st

from msdtrack.printing.card import card_pages
from msdtrack.printing.codes import make_code
from msdtrack.printing.label import LabelFacts, label_page
from msdtrack.printing.marks import Bars, Box, Disc, Mark, Page, Text
from msdtrack.printing.vector import pages_pdf, shared_commands

Decode = Callable[..., list[str]]

places = st.integers(0, 40).map(float)
sizes = st.integers(1, 12).map(float)
black: st.SearchStrategy[Mark] = st.one_of(
    st.builds(
        Bars, places, places, sizes, st.sampled_from(["C000123V", "C000124T"]), st.just(0.25)
    ),
    st.builds(Text, places, places, sizes, st.just(60.0), st.sampled_from(["Lot", "3", "≤ 5 %"])),
    st.builds(Box, places, places, sizes, sizes, st.none() | st.just(0.3)),
    st.builds(Disc, places, places, sizes, st.none() | st.just(0.3)),
)
white = st.builds(Text, places, places, sizes, st.just(60.0), st.just("5"), white=st.just(True))
stacks = st.lists(black | white, min_size=1, max_size=6).flatmap(
    lambda common: st.lists(
        st.lists(black, max_size=3).map(lambda own: Page(50, 40, (*common, *own))),
        min_size=1,
        max_size=8,
    )
)


def pictures(pdf: bytes, dpi: int) -> list[bytes]:
    document = pypdfium2.PdfDocument(pdf)
    found = [page.render(scale=dpi / 72, grayscale=True).to_pil().tobytes() for page in document]
    document.close()
    return found


@settings(max_examples=12, deadline=None)
@given(stacks)
def test_a_stack_shows_what_each_page_alone_shows(stack: list[Page]) -> None:
    """Whatever its pages have in common, white on black included."""
    alone = [pictures(pages_pdf([page], 203, "alone"), 203) for page in stack]
    assert pictures(pages_pdf(stack, 203, "stack"), 203) == [page for (page,) in alone]


def test_the_cards_pages_are_as_each_alone() -> None:
    """Black and white, lines, discs and much text."""
    pages = card_pages()
    alone = [pictures(pages_pdf([page], 600, "alone"), 150)[0] for page in pages]
    assert pictures(pages_pdf(pages, 600, "card"), 150) == alone


def test_pages_of_several_sizes_are_each_at_their_own() -> None:
    """The first one's size is no rule for the rest."""
    marks = (Box(1, 1, 5, 5),)
    pdf = pages_pdf([Page(30, 20, marks), Page(50, 25, marks), Page(30, 20, marks)], 300, "sizes")
    document = pypdfium2.PdfDocument(pdf)
    sizes_mm = [tuple(round(pt / 72 * 25.4, 1) for pt in page.get_size()) for page in document]
    document.close()
    assert sizes_mm == [(30, 20), (50, 25), (30, 20)]


def test_a_stack_of_labels_decodes_and_stays_small(
    carrier_facts: LabelFacts, decode_pdf: Decode
) -> None:
    """One label more takes little more than what is its own: bars, code and lot."""
    codes = [make_code("C", 900 + n) for n in range(120)]
    facts = [replace(carrier_facts, code=code, lot=f"WB24-{code}") for code in codes]
    for layout in ("62x29", "100x50"):
        pages = [label_page(each, layout) for each in facts]
        pdf = pages_pdf(pages, 300, "Labels")
        assert decode_pdf(pdf, 203) == codes
        assert decode_pdf(pdf, 300) == codes
        half = pages_pdf(pages[:60], 300, "Labels")
        assert len(pdf) - len(half) < 60 * 300


@given(st.lists(st.lists(st.text("abc", min_size=1, max_size=400), max_size=8), max_size=12))
def test_nothing_is_lost_by_sharing(drawn: list[list[str]]) -> None:
    """What a group draws on a page is drawn by that page, and by no other group."""
    taken: list[list[str]] = [[] for _ in drawn]
    for numbers, commands in shared_commands(drawn):
        assert len(numbers) > 1
        for number in numbers:
            taken[number] += commands
    for own, done in zip(drawn, taken, strict=True):
        assert len(done) == len(set(done))
        assert set(done) <= set(own)


def test_only_what_is_worth_a_stream_is_shared() -> None:
    """Long or frequent commands are; a short one on two pages is not."""
    long, short = "l" * 400, "s" * 20
    assert shared_commands([[long, short], [long, short]]) == [((0, 1), [long, short])]
    assert shared_commands([[short], [short]]) == []
    assert shared_commands([[short]] * 40 + [[]]) == []
    assert shared_commands([[short * 2]] * 40 + [[]]) == [(tuple(range(40)), [short * 2])]
    assert shared_commands([[long]]) == []
