"""Packing loses nothing of a document."""

from __future__ import annotations

import re
import zlib

import pypdfium2
from fpdf import FPDF, ViewerPreferences
from PIL import Image

from msdtrack.printing.faces import face_file
from msdtrack.printing.packed import packed


def document() -> bytes:
    """Return a document with several of everything: pages, fonts, a picture, links, an outline."""
    pdf = FPDF(unit="mm", format=(80, 50))
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    pdf.set_title("Of (many) things \\ <and> more")
    pdf.add_font("own", "", str(face_file(False)))
    for number in range(1, 8):
        pdf.add_page()
        pdf.start_section(f"Section {number}")
        pdf.set_font("own" if number % 2 else "helvetica", size=14)
        pdf.cell(text=f"Page {number}, 40 °C")
        pdf.image(Image.new("RGB", (9, 9), (10 * number, 0, 90)), 10, 25, 10)
    pdf.link(10, 25, 10, 10, "https://example.invalid/(a)")
    return bytes(pdf.output())


def contents(pdf: bytes) -> list[object]:
    opened = pypdfium2.PdfDocument(pdf)
    found: list[object] = [opened.get_metadata_dict(), [b.get_title() for b in opened.get_toc()]]
    for page in opened:
        text = page.get_textpage()
        found += [page.get_size(), text.get_text_range(), page.render(scale=2).to_pil().tobytes()]
    opened.close()
    return found


def test_a_packed_document_shows_and_says_the_same() -> None:
    """Pictures, text, outline and properties are those of before."""
    plain = document()
    short = packed(plain)
    assert contents(short) == contents(plain)
    assert len(short) < len(plain) - 1000


def test_the_cross_references_lead_to_every_object() -> None:
    """Read by hand: an entry for each number, each stream where its entry says."""
    short = packed(document())
    start = int(short[short.rindex(b"startxref") + 9 : short.rindex(b"%%EOF")])
    table = re.match(rb"(\d+) 0 obj\n<<(.*?)>>\nstream\n(.*?)\nendstream", short[start:], re.S)
    assert table is not None
    rows = zlib.decompress(table[3])
    assert b"/W[1 4 2]" in table[2]
    assert f"/Size {int(table[1]) + 1}".encode() in table[2]
    entries = [rows[at : at + 7] for at in range(0, len(rows), 7)]
    assert len(entries) == int(table[1]) + 1
    held: dict[int, list[int]] = {}
    for number, entry in enumerate(entries):
        kind, place, index = entry[0], int.from_bytes(entry[1:5], "big"), entry[5:]
        if kind == 1:
            assert short[place:].startswith(b"%d 0 obj\n" % number)
        elif kind == 2:
            held.setdefault(place, []).append(number)
            assert int.from_bytes(index, "big") == len(held[place]) - 1
        else:
            assert number == 0
    ((holder, numbers),) = held.items()
    place = int.from_bytes(entries[holder][1:5], "big")
    stream = re.match(rb".*?/N (\d+)/First (\d+).*?stream\n(.*?)\nendstream", short[place:], re.S)
    assert stream is not None
    assert int(stream[1]) == len(numbers)
    body = zlib.decompress(stream[3])
    heads = [int(each) for each in body[: int(stream[2])].split()]
    assert heads[::2] == numbers
    for offset in heads[1::2]:
        assert body[int(stream[2]) + offset :].startswith((b"<<", b"["))
