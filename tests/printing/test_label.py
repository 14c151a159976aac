"""Labels: every code decodes, bars are whole dots, nothing covers them, nothing needed is cut."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from io import BytesIO
from itertools import groupby

import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from pypdfium2.raw import FPDF_PAGEOBJ_PATH, FPDF_PAGEOBJ_TEXT

from msdtrack.errors import BadInput
from msdtrack.printing.code128 import (
    DPIS,
    DoesNotFit,
    module_dots,
    symbol_modules,
)
from msdtrack.printing.codes import CodeKind, make_code
from msdtrack.printing.label import (
    LabelFacts,
    SignFacts,
    floor_life_words,
    label_page,
    label_pdf,
    label_png,
)
from msdtrack.printing.layouts import BarsField, LayoutError, bars_start_mm, load_layout
from msdtrack.printing.marks import Bars, Text
from msdtrack.printing.raster import page_png

CARRIER_LAYOUTS = ["62x29", "100x50"]
SIGN_LAYOUTS = ["place", "badge"]
LAYOUTS = CARRIER_LAYOUTS + SIGN_LAYOUTS
Decode = Callable[..., list[str]]


def facts_for(layout: str, code: str) -> LabelFacts | SignFacts:
    if layout in SIGN_LAYOUTS:
        return SignFacts(code=code, title="Line 1, feeder bank", detail="Line")
    return LabelFacts(
        code=code,
        msl="5a",
        part="CND-0820-QFN32",
        lot="L7731",
        quantity=490,
        kind="tray",
        description="Conductivity bridge",
        floor_life_h=24,
        seal_date=date(2026, 2, 3),
        shelf_life_ends=date(2027, 2, 3),
        bake_line="125 °C: 10 h",
        stuck_on="bag",
    )


def sample_codes(layout: str) -> list[str]:
    """Return codes with every check character, and serials of six and seven digits."""
    kinds = {"place": [CodeKind.PLACE], "badge": [CodeKind.PERSON]}.get(
        layout, [CodeKind.CARRIER, CodeKind.BAG, CodeKind.JOB]
    )
    by_check = {(code := make_code(kinds[0], n))[-1]: code for n in range(1, 400)}
    assert len(by_check) == 36
    return [*by_check.values(), *(make_code(kind, 1_234_567) for kind in kinds)]


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_code_decodes_from_png(layout: str, dpi: int, decode_png: Decode) -> None:
    for code in sample_codes(layout):
        assert decode_png(label_png(facts_for(layout, code), layout, dpi)) == [code]


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("laid_out_for", DPIS)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_code_decodes_from_pdf(
    layout: str, laid_out_for: int, dpi: int, decode_pdf: Decode
) -> None:
    codes = sample_codes(layout)[::4]
    pdf = label_pdf([facts_for(layout, code) for code in codes], layout, laid_out_for)
    assert decode_pdf(pdf, dpi) == codes


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_bars_are_whole_dots_and_exactly_the_symbol(layout: str, dpi: int) -> None:
    code = sample_codes(layout)[0]
    image = Image.open(BytesIO(label_png(facts_for(layout, code), layout, dpi)))
    bars = next(f for f in load_layout(layout).fields if isinstance(f, BarsField))
    left = round(bars_start_mm(bars) * dpi / 25.4)
    middle = round((bars.y_mm + bars.height_mm / 2) * dpi / 25.4)
    dots = module_dots(dpi, bars.module_mm)
    end = round((bars.x_mm + bars.width_mm) * dpi / 25.4)
    row = [int(image.getpixel((x, middle)) == 0) for x in range(end)]
    quiet = round(10 * dots)
    expected = [int(module) for module in symbol_modules(code) for _ in range(dots)]
    assert row[left : left + len(expected)] == expected
    assert not any(row[left - quiet : left])
    assert not any(row[left + len(expected) : left + len(expected) + quiet])
    runs = [len(list(run)) for _, run in groupby(row[left : left + len(expected)])]
    assert all(run % dots == 0 for run in runs)


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_png_is_one_bit_of_the_right_size_and_knows_its_dpi(layout: str, dpi: int) -> None:
    image = Image.open(BytesIO(label_png(facts_for(layout, make_code("C", 5)), layout, dpi)))
    design = load_layout(layout)
    assert image.mode == "1"
    assert image.info["dpi"] == pytest.approx((dpi, dpi), abs=0.01)
    assert image.size == (
        round(design.width_mm * dpi / 25.4),
        round(design.height_mm * dpi / 25.4),
    )


@pytest.mark.parametrize("layout", LAYOUTS)
def test_pdf_pages_have_the_size_of_the_label(layout: str) -> None:
    codes = [make_code("C", n) for n in (1, 2, 3)]
    document = pypdfium2.PdfDocument(label_pdf([facts_for(layout, c) for c in codes], layout))
    design = load_layout(layout)
    assert len(document) == 3
    for page in document:
        size_mm = [points / 72 * 25.4 for points in page.get_size()]
        assert size_mm == pytest.approx([design.width_mm, design.height_mm], abs=0.01)
    document.close()


def text_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    text = "\n".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return text


def test_pdf_holds_vectors_and_real_text_and_no_picture(carrier_facts: LabelFacts) -> None:
    pdf = label_pdf([carrier_facts], "100x50")
    document = pypdfium2.PdfDocument(pdf)
    kinds = {drawn.type for drawn in document[0].get_objects()}
    document.close()
    assert kinds == {FPDF_PAGEOBJ_PATH, FPDF_PAGEOBJ_TEXT}
    text = text_of(pdf)
    for words in (
        carrier_facts.code,
        "MSL",
        "168 h",
        "≤ 30 °C / 60 % RH",
        "PRS-4471",
        "Pressure front end, 24 bit",
        "WB24-0917",
        "2500 (reel)",
        "2026-01-12",
        "2027-01-12",
        "40 °C, ≤ 5 % RH: 9 days",
        "CARRIER",
        "Opened: date, time, name",
    ):
        assert words in text


def test_the_floor_life_is_in_the_air_that_it_holds_at(carrier_facts: LabelFacts) -> None:
    """Level 1 has no limit up to 85 % RH: J-STD-033 Table 5-1."""
    unlimited = replace(carrier_facts, msl="1", floor_life_h=math.inf)
    text = text_of(label_pdf([unlimited], "100x50"))
    assert "no limit" in text
    assert "≤ 30 °C / 85 % RH" in text
    assert "60 % RH" not in text


def test_the_same_facts_give_the_same_pdf(carrier_facts: LabelFacts) -> None:
    pdf = label_pdf([carrier_facts], "62x29")
    document = pypdfium2.PdfDocument(pdf)
    facts = document.get_metadata_dict()
    document.close()
    # No moment of printing anywhere in it: the log knows that.
    assert facts["CreationDate"].startswith("D:20000101")
    assert facts["ModDate"] == ""
    assert label_pdf([carrier_facts], "62x29") == pdf


@pytest.mark.parametrize("layout", CARRIER_LAYOUTS)
def test_bag_and_carrier_get_a_label_each(layout: str, carrier_facts: LabelFacts) -> None:
    pair = [replace(carrier_facts, stuck_on="bag"), replace(carrier_facts, stuck_on="carrier")]
    document = pypdfium2.PdfDocument(label_pdf(pair, layout))
    texts = [page.get_textpage().get_text_range() for page in document]
    document.close()
    assert "BAG" in texts[0]
    assert "CARRIER" not in texts[0]
    assert "CARRIER" in texts[1]


def test_what_is_not_known_says_so(carrier_facts: LabelFacts) -> None:
    unknown = replace(
        carrier_facts, seal_date=None, shelf_life_ends=None, floor_life_h=None, bag=None
    )
    text = text_of(label_pdf([unknown], "100x50"))
    assert text.count("not known") == 2
    assert "see maker's label" in text
    assert "60 % RH" not in text
    assert "Bag" not in text


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("floor_life_h", "words"),
    [
        # Source: IPC/JEDEC J-STD-020 and J-STD-033D, floor life by level.
        (float("inf"), "no limit"),
        (8760, "1 year"),
        (672, "4 weeks"),
        (168, "168 h"),
        (72, "72 h"),
        (48, "48 h"),
        (24, "24 h"),
        (None, "see maker's label"),
        (36.5, "36.5 h"),
    ],
)
def test_floor_life_in_the_words_of_the_standard(floor_life_h: float | None, words: str) -> None:
    assert floor_life_words(floor_life_h) == words


@pytest.mark.parametrize(
    ("floor_life_h", "left_h", "runs", "words"),
    [
        (168, 143, False, "143 h left"),
        (168, 143, True, "143 h left, runs"),
        (168, 0, True, "none left"),
        (168, -5, False, "none left"),
        (8760, 8759, False, "364 d left"),
        (8760, 20, True, "20 h left, runs"),
        (float("inf"), None, False, "no limit"),
    ],
)
def test_what_is_left_of_a_floor_life_is_never_rounded_up(
    floor_life_h: float, left_h: int | None, runs: bool, words: str
) -> None:
    """A year is told in days; what runs on says so."""
    assert floor_life_words(floor_life_h, left_h, runs) == words


@pytest.mark.parametrize("layout", ["62x29", "100x50", "closing"])
@pytest.mark.parametrize("left_h", [9999, 671])
def test_what_is_left_fits_every_label(
    carrier_facts: LabelFacts, layout: str, left_h: int, decode_png: Decode
) -> None:
    """The longest words there are fit, and the code is still read."""
    facts = replace(carrier_facts, floor_life_h=672, left_h=left_h, runs=True)
    assert decode_png(label_png(facts, layout, 203)) == [facts.code]


words_of_people = st.text(
    alphabet=st.sampled_from("ABCWMQg jp-_/.,()0123456789äöüñçß°µΩЖ"), min_size=1, max_size=90
).filter(lambda text: bool(text.strip()))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    part=words_of_people,
    lot=words_of_people,
    description=words_of_people,
    bake_line=words_of_people,
    quantity=st.integers(1, 10**9),
    layout=st.sampled_from(CARRIER_LAYOUTS),
    dpi=st.sampled_from(DPIS),
)
def test_no_text_leaves_its_field_or_touches_the_bars(
    part: str, lot: str, description: str, bake_line: str, quantity: int, layout: str, dpi: int
) -> None:
    facts = LabelFacts(
        code=make_code("C", 123),
        msl="2a",
        part=part,
        lot=lot,
        description=description,
        quantity=quantity,
        kind="strip",
        floor_life_h=672,
        bake_line=bake_line,
        bag=make_code("B", 9_999_999),
        stuck_on="carrier",
    )
    try:
        image = Image.open(BytesIO(label_png(facts, layout, dpi))).convert("L")
    except DoesNotFit:
        return
    scale = dpi / 25.4
    page = label_page(facts, layout)
    bars_only = replace(page, marks=tuple(m for m in page.marks if isinstance(m, Bars)))
    alone = Image.open(BytesIO(page_png(bars_only, dpi))).convert("L")
    painter = ImageDraw.Draw(image)
    # A "j" reaches back a little, and letters and frames are rounded to whole dots.
    beside, above = 0.25 * scale, 1
    for field in load_layout(layout).fields:
        left, top = field.x_mm * scale, field.y_mm * scale
        right = (field.x_mm + field.width_mm) * scale
        bottom = (field.y_mm + field.height_mm) * scale
        if isinstance(field, BarsField):
            around = (round(left), round(top), round(right), round(bottom))
            assert image.crop(around).tobytes() == alone.crop(around).tobytes()
        painter.rectangle((left - beside, top - above, right + beside, bottom + above), fill=255)
    assert image.getextrema() == (255, 255)


LONG = "PRESSURE-CONDUCTIVITY-FRONT-END-24BIT-QFN48-REV-C"


@pytest.mark.parametrize("layout", CARRIER_LAYOUTS)
def test_long_part_and_lot_shrink_and_stay_whole(layout: str, carrier_facts: LabelFacts) -> None:
    facts = replace(carrier_facts, part=LONG, lot=LONG)
    texts = [mark for mark in label_page(facts, layout).marks if isinstance(mark, Text)]
    whole = "".join(mark.text for mark in texts)
    assert whole.count(LONG) == 2
    assert "…" not in whole
    normal = [m for m in label_page(carrier_facts, layout).marks if isinstance(m, Text)]
    size_of = {mark.text: mark.size_mm for mark in normal}
    assert all(m.size_mm < size_of["PRS-4471"] for m in texts if m.text.startswith("PRESSURE"))


def test_only_a_description_is_shortened(carrier_facts: LabelFacts) -> None:
    long = "Pressure front end with temperature compensation, " * 6
    texts = [
        mark.text
        for mark in label_page(replace(carrier_facts, description=long), "100x50").marks
        if isinstance(mark, Text)
    ]
    shortened = [text for text in texts if "…" in text]
    assert len(shortened) == 1
    assert long.startswith(shortened[0].rstrip("…"))


@pytest.mark.parametrize("fact", ["part", "lot", "bake_line"])
def test_what_must_not_be_cut_is_refused_when_hopelessly_long(
    fact: str, carrier_facts: LabelFacts
) -> None:
    with pytest.raises(DoesNotFit, match="must not be cut: choose a larger layout"):
        label_pdf([replace(carrier_facts, **{fact: "W" * 300})], "62x29")


def test_a_code_too_long_for_the_bars_is_refused(carrier_facts: LabelFacts) -> None:
    with pytest.raises(DoesNotFit, match=r"need .* mm"):
        label_png(replace(carrier_facts, code="C" + "1A" * 20), "62x29", 300)


def test_a_layout_for_another_sort_is_refused(
    carrier_facts: LabelFacts, sign_facts: SignFacts
) -> None:
    with pytest.raises(LayoutError, match='"place" draws a sign label, not a carrier label'):
        label_png(carrier_facts, "place", 300)
    with pytest.raises(LayoutError, match='"62x29" draws a carrier label'):
        label_pdf([sign_facts], "62x29")


def test_nothing_to_print_is_refused() -> None:
    with pytest.raises(BadInput, match="nothing to print"):
        label_pdf([], "62x29")


@pytest.mark.parametrize("dpi", [0, 72, 299, 1200])
def test_other_resolutions_are_refused(dpi: int, carrier_facts: LabelFacts) -> None:
    with pytest.raises(BadInput, match="203, 300, 600"):
        label_png(carrier_facts, "62x29", dpi)
    with pytest.raises(BadInput, match="203, 300, 600"):
        label_pdf([carrier_facts], "62x29", dpi)


def test_a_reprint_of_the_same_facts_is_the_same_file(carrier_facts: LabelFacts) -> None:
    """And a change of any fact, of the layout or of the printer is another."""
    first = label_png(carrier_facts, "62x29", 300)
    assert label_png(replace(carrier_facts), "62x29", 300) == first
    assert label_png(carrier_facts, load_layout("62x29"), 300) == first
    others = {
        label_png(replace(carrier_facts, quantity=2499), "62x29", 300),
        label_png(carrier_facts, "100x50", 300),
        label_png(carrier_facts, "62x29", 203),
    }
    assert len(others | {first}) == 4
