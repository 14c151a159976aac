"""A photo of a label is read like a scan: turned, a little blurred, lying on a bench."""

from __future__ import annotations

import io

import pytest
import zxingcpp
from PIL import Image

from msdtrack.printing.codes import make_code
from msdtrack.services import photo
from msdtrack.services.photo import UnreadablePhoto, read_photo
from msdtrack.standard.supplier_label import read_label
from tests.pictures import bench, jpeg, symbol, taken

LABEL = "[)>\x1e06\x1dPBL-0101\x1d1PMK55-PRS\x1dQ500\x1d10D2636\x1d1TL-77\x1d13E3\x1e\x04"
CARRIER = make_code("C", 123)


@pytest.mark.parametrize("turn_deg", [0, 6, 90, 173, 275])
@pytest.mark.parametrize(("kind", "symbology"), [("DataMatrix", "d1"), ("QRCode", "Q1")])
def test_a_2d_label_keeps_its_separators(kind: str, symbology: str, turn_deg: float) -> None:
    """The symbology identifiers are those of ISO/IEC 15424, second-hand."""
    (found,) = read_photo(taken(bench(symbol(LABEL, kind)), turn_deg))
    assert (found.text, found.symbology) == (LABEL, symbology)
    assert len(read_label(found.text).fields) == 6


def test_the_square_data_matrix_is_square() -> None:
    drawn = symbol(LABEL, "DataMatrix")
    assert drawn.width == drawn.height


@pytest.mark.parametrize("turn_deg", [0, 5, 90, 184])
def test_our_own_label_is_read(turn_deg: float) -> None:
    (found,) = read_photo(taken(bench(symbol(CARRIER, "Code128", 4)), turn_deg))
    assert (found.text, found.symbology) == (CARRIER, "C0")


def test_bars_come_from_top_to_bottom_and_the_whole_label_first() -> None:
    bars = [symbol(text, "Code128", 3) for text in ("PBL-0101", "Q500", "1TL-77")]
    found = read_photo(taken(bench(*[bar.resize((bar.width, 110)) for bar in bars])))
    assert [one.text for one in found] == ["PBL-0101", "Q500", "1TL-77"]
    both = [bars[0].resize((bars[0].width, 110)), symbol(LABEL, "DataMatrix", 5)]
    assert [one.text for one in read_photo(taken(bench(*both)))] == [LABEL, "PBL-0101"]


@pytest.mark.parametrize("exif_turn", range(1, 9))
def test_a_picture_is_turned_as_the_camera_says(exif_turn: int) -> None:
    found = read_photo(jpeg(bench(symbol(LABEL, "DataMatrix")), exif_turn=exif_turn))
    # A mirrored Data Matrix is read as well.
    assert [one.text for one in found] == [LABEL]


def test_a_large_picture_is_made_smaller_first() -> None:
    large = bench(symbol(LABEL, "DataMatrix")).resize((6400, 4800))
    assert read_photo(jpeg(large))[0].text == LABEL


def test_a_transparent_png_is_on_paper() -> None:
    code = symbol(LABEL, "DataMatrix")
    black = Image.new("RGBA", code.size, (0, 0, 0, 0))
    black.putalpha(code.point(lambda grey: 255 - grey))
    out = io.BytesIO()
    black.save(out, "PNG")
    assert read_photo(out.getvalue())[0].text == LABEL


def test_bytes_that_are_no_text_are_kept_one_by_one() -> None:
    made = zxingcpp.create_barcode(bytes([0x41, 0xE9, 0x1D, 0xFF]), zxingcpp.BarcodeFormat.QRCode)
    drawn = memoryview(zxingcpp.write_barcode_to_image(made, scale=8))
    picture = Image.frombytes("L", (drawn.shape[1], drawn.shape[0]), drawn.tobytes())
    (found,) = read_photo(jpeg(picture.convert("RGB")))
    assert found.text.encode("latin-1") == bytes([0x41, 0xE9, 0x1D, 0xFF])


def test_what_is_no_picture_or_shows_no_code_is_refused_with_what_to_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with pytest.raises(UnreadablePhoto, match="without glare"):
        read_photo(jpeg(bench()))
    for data in (b"", b"no picture at all", b"GIF89a" + bytes(100)):
        with pytest.raises(UnreadablePhoto, match="JPEG"):
            read_photo(data)
    whole = jpeg(bench(symbol(LABEL, "DataMatrix")))
    with pytest.raises(UnreadablePhoto, match="damaged"):
        read_photo(whole[: len(whole) // 3])
    monkeypatch.setattr(photo, "MAX_BYTES", 1000)
    with pytest.raises(UnreadablePhoto, match="MB"):
        read_photo(whole)


def test_a_small_file_that_unfolds_into_a_huge_picture_is_refused() -> None:
    out = io.BytesIO()
    Image.new("1", (12_000, 12_000)).save(out, "PNG")
    assert len(out.getvalue()) < 100_000
    with pytest.raises(UnreadablePhoto, match="million pixels"):
        read_photo(out.getvalue())
