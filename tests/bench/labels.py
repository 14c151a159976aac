"""Target 6: labels as PNG and as PDF, beside the bar code library's own writer and raster pages.

What is compared is painting: the library starts from a string, ours from the facts of a label. What
the whole call of a print takes besides, the carrier's state and the durable log, stands below.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from itertools import count
from random import Random

import barcode
import pypdfium2
import zxingcpp
from barcode.writer import ImageWriter
from fpdf import FPDF
from PIL import Image

from msdtrack.printing.codes import make_code
from msdtrack.printing.faces import face_file
from msdtrack.printing.label import LabelFacts, label_pdf, label_png
from msdtrack.printing.layouts import load_layout
from msdtrack.services import labelling
from msdtrack.services.carrier_states import state, states
from msdtrack.store import prints
from msdtrack.store.connection import write
from msdtrack.store.statements import rows
from tests.bench.measuring import absolute, heading, in_turn, ratio
from tests.bench.reference_load import NOW

LAYOUT = "62x29"
DPI = 300
LABELS = 200
AT_ONCE = 20
"""Labels painted between two readings of the clock."""

# Bars and words that fill the small label; without them the library's picture is half as wide.
_AS_LARGE_AS_THE_LABEL = {"module_width": 0.4, "module_height": 20.0, "quiet_zone": 6.5}


def label_target() -> None:
    """Print target 6."""
    first = [code for (code,) in rows("SELECT code FROM carrier ORDER BY code LIMIT 10000")]
    codes = Random(6).sample(first, min(LABELS, len(first)))
    found = states(codes, NOW)
    facts = [labelling.label_facts(found[code]) for code in codes]
    heading(f"6. Labels {LAYOUT} at {DPI} dpi: facts to file")
    _pngs(facts)
    _pdfs(facts)
    _whole_calls(codes)


def _pngs(facts: Sequence[LabelFacts]) -> None:
    serial = count(100_000)

    def new_facts() -> list[LabelFacts]:
        numbers = [next(serial) for _ in range(AT_ONCE)]
        return [
            replace(facts[n % len(facts)], code=make_code("C", n), lot=f"L-{n}") for n in numbers
        ]

    def library(options: dict[str, float]) -> Callable[[], None]:
        def paint() -> None:
            for one in new_facts():
                _by_library(one.code, options)

        return paint

    def ours() -> None:
        for one in new_facts():
            label_png(one, LAYOUT, DPI)

    def again() -> None:
        for _ in range(AT_ONCE):
            label_png(replace(facts[0]), LAYOUT, DPI)

    ready = Image.open(io.BytesIO(label_png(facts[0], LAYOUT, DPI))).tobytes()

    def limit() -> None:
        for _ in range(AT_ONCE):
            zlib.compress(ready, 1)

    pngs = [label_png(one, LAYOUT, DPI) for one in facts]
    assert [_codes_in(Image.open(io.BytesIO(png))) for png in pngs] == [[f.code] for f in facts]
    assert [label_png(replace(one), LAYOUT, DPI) for one in facts] == pngs
    taken = in_turn(
        {
            "library": library({}),
            "large": library(_AS_LARGE_AS_THE_LABEL),
            "ours": ours,
            "again": again,
            "limit": limit,
        }
    )
    one = {name: seconds / AT_ONCE for name, seconds in taken.items()}
    small = Image.open(io.BytesIO(_by_library(facts[0].code, {})))
    large = Image.open(io.BytesIO(_by_library(facts[0].code, _AS_LARGE_AS_THE_LABEL)))
    absolute(f"library, bars and code, {_size(small)} dots, {small.mode}", one["library"])
    absolute(f"library, as large as the label, {_size(large)} dots", one["large"])
    absolute("ours, the whole label, never painted before", one["ours"])
    absolute("ours, a reprint", one["again"])
    absolute("limit: zlib alone, of the label's dots", one["limit"])
    made = {"naive": one["library"], "limit": one["limit"]}
    speed = one["library"] / one["ours"]
    ratio("library PNG / ours", speed, ">= 3", speed >= 3, ours=one["ours"], **made)
    speed = one["library"] / one["again"]
    ratio("library PNG / reprint", speed, ">= 15", speed >= 15, ours=one["again"], **made)


def _pdfs(facts: Sequence[LabelFacts]) -> None:
    design = load_layout(LAYOUT)
    codes = [one.code for one in facts]

    def library(options: dict[str, float]) -> Callable[[], bytes]:
        return lambda: _raster_pages(_by_library(code, options) for code in codes)

    def whole(mode: str) -> Callable[[], bytes]:
        # A layout that was read already is painted anew every time.
        return lambda: _raster_pages((label_png(one, design, DPI) for one in facts), mode)

    ways: dict[str, Callable[[], bytes]] = {
        "library": library({}),
        "large": library(_AS_LARGE_AS_THE_LABEL),
        "one bit": whole("1"),
        "RGB": whole("RGB"),
        "ours": lambda: label_pdf(facts, LAYOUT, DPI),
        "limit": lambda: _empty_pages(len(facts)),
    }
    sizes = {name: len(make()) for name, make in ways.items()}
    ours = ways["ours"]()
    for dpi in (203, 300):
        assert _codes_on_pages(ours, dpi) == [[code] for code in codes], dpi
    taken = in_turn(ways)
    print(f"    {len(facts)} labels as PDF, each decoded at 203 and 300 dpi:")
    for name, what in (
        ("library", "raster pages, the library's bars and code only"),
        ("large", "raster pages, the same as large as the label"),
        ("one bit", "raster pages of the whole label, 1 bit"),
        ("RGB", "raster pages of the whole label, RGB as the library paints"),
        ("ours", "ours"),
        ("limit", "limit: fpdf2, two fonts and empty pages"),
    ):
        absolute(f"{what}, {sizes[name] / 1000:,.1f} kB", taken[name])
    for name, what in (
        ("library", "bars only"),
        ("large", "bars only, large"),
        ("one bit", "1 bit"),
    ):
        print(
            f"      {what}: {taken[name] / taken['ours']:.1f} times as long, "
            f"{sizes[name] / sizes['ours']:.1f} times as large"
        )
    speed = taken["RGB"] / taken["ours"]
    ratio(
        "raster label pages / PDF, time",
        speed,
        ">= 5",
        speed >= 5,
        ours=taken["ours"],
        naive=taken["RGB"],
        limit=taken["limit"],
    )
    shrunk = sizes["RGB"] / sizes["ours"]
    ratio(
        "raster label pages / PDF, size",
        shrunk,
        ">= 40",
        shrunk >= 40,
        ours=f"{sizes['ours'] / 1000:.1f} kB",
        naive=f"{sizes['RGB'] / 1000:,.0f} kB",
    )


def _whole_calls(codes: Sequence[str]) -> None:
    turn = count()

    def next_code() -> str:
        return codes[next(turn) % len(codes)]

    def times(work: Callable[[], object]) -> Callable[[], None]:
        def run() -> None:
            for _ in range(AT_ONCE):
                work()

        return run

    def log() -> None:
        with write():
            prints.log_print(next_code(), LAYOUT, "carrier", NOW)

    taken = in_turn(
        {
            "print": times(lambda: labelling.label_png(next_code(), LAYOUT, DPI, NOW)),
            "state": times(lambda: state(next_code(), NOW)),
            "log": times(log),
        }
    )
    stack = in_turn(
        {
            "print": lambda: labelling.labels_pdf(codes, LAYOUT, NOW),
            "states": lambda: states(codes, NOW),
        }
    )
    print("    The whole call of a print:")
    absolute("one PNG: state, painting, durable log", taken["print"] / AT_ONCE)
    absolute("  its state alone", taken["state"] / AT_ONCE)
    absolute("  its log alone", taken["log"] / AT_ONCE)
    absolute(f"{len(codes)} labels as PDF: states, drawing, durable log", stack["print"])
    absolute("  their states alone", stack["states"])


def _by_library(code: str, options: dict[str, float]) -> bytes:
    out = io.BytesIO()
    barcode.Code128(code, writer=ImageWriter()).write(out, {"dpi": DPI, **options})
    return out.getvalue()


def _raster_pages(pictures: Iterable[bytes], mode: str = "RGB") -> bytes:
    design = load_layout(LAYOUT)
    pdf = FPDF(unit="mm", format=(design.width_mm, design.height_mm))
    for picture in pictures:
        pdf.add_page()
        pdf.image(Image.open(io.BytesIO(picture)).convert(mode), 0, 0, design.width_mm)
    return bytes(pdf.output())


def _empty_pages(pages: int) -> bytes:
    design = load_layout(LAYOUT)
    pdf = FPDF(unit="mm", format=(design.width_mm, design.height_mm))
    for style, bold in (("", False), ("B", True)):
        pdf.add_font("label", style, str(face_file(bold)))
    for _ in range(pages):
        pdf.add_page()
    return bytes(pdf.output())


def _codes_in(image: Image.Image) -> list[str]:
    found = zxingcpp.read_barcodes(image.convert("L"), formats=zxingcpp.BarcodeFormat.Code128)
    return [code.text for code in found]


def _codes_on_pages(pdf: bytes, dpi: int) -> list[list[str]]:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [_codes_in(page.render(scale=dpi / 72).to_pil()) for page in document]
    finally:
        document.close()


def _size(image: Image.Image) -> str:
    return f"{image.width} x {image.height}"
