"""Reads the codes on a photo, for phones that stand in for a scanner."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import zxingcpp
from PIL import Image, ImageFile, ImageOps, UnidentifiedImageError

from msdtrack.errors import BadInput
from msdtrack.standard.supplier_label import HEADER

MAX_BYTES = 20 * 1024 * 1024
"""Largest picture file that is looked at."""
MAX_PIXELS = 120_000_000
"""Most pixels of a picture; a small file can unfold into far more."""
_TOO_MANY_PIXELS = (
    f"The picture has more than {MAX_PIXELS // 1_000_000} million pixels: take a smaller one."
)
_LONGEST_SIDE = 3200
_SHORT_SIDE = 1000

# The hints know only one format here; an array of them is what the library asks for.
_FORMATS: Any = (
    zxingcpp.BarcodeFormat.Code128,
    zxingcpp.BarcodeFormat.Code39,
    zxingcpp.BarcodeFormat.Code93,
    zxingcpp.BarcodeFormat.DataMatrix,
    zxingcpp.BarcodeFormat.QRCode,
    zxingcpp.BarcodeFormat.MicroQRCode,
    zxingcpp.BarcodeFormat.PDF417,
    zxingcpp.BarcodeFormat.Aztec,
)


class UnreadablePhoto(BadInput):
    """A picture that can't be opened, or no code can be read on it."""

    code = "unreadable_photo"


@dataclass(frozen=True, slots=True)
class PhotoCode:
    """One code on a photo.

    Attributes:
        text: what a scanner would type, control characters included.
        symbology: its symbology identifier (ISO/IEC 15424) without the "]", for example "d1".
    """

    text: str
    symbology: str


def read_photo(picture: bytes) -> tuple[PhotoCode, ...]:
    """Return the codes on a photo: whole 2D labels first, then from top to bottom, none twice.

    Args:
        picture: a JPEG or PNG file; it may lie on its side or be a little out of focus.

    Raises:
        UnreadablePhoto: it is no such file, is too large, or holds no code that can be read.
    """
    image = _opened(picture)
    found = _codes(image)
    if not found:
        found = _codes(ImageOps.autocontrast(image, cutoff=2))
    if not found and min(image.size) < _SHORT_SIDE:
        found = _codes(image.resize((2 * image.width, 2 * image.height)))
    if not found and max(image.size) > _SHORT_SIDE:
        found = _codes(image.reduce(2))
    if not found:
        raise UnreadablePhoto(
            "No code can be read on this picture. Hold the phone 10 to 20 cm away, flat above the "
            "label and without glare, wait until the picture is sharp, and take it again."
        )
    codes = (PhotoCode(_text(one.bytes), _symbology(one)) for one in found)
    return tuple(sorted(dict.fromkeys(codes), key=lambda code: not code.text.startswith(HEADER)))


def _opened(picture: bytes) -> Image.Image:
    """Return a picture upright, grey, and no larger than it helps."""
    if len(picture) > MAX_BYTES:
        raise UnreadablePhoto(
            f"The picture has more than {MAX_BYTES // 1024**2} MB: take a smaller one."
        )
    try:
        with Image.open(io.BytesIO(picture), formats=("JPEG", "PNG")) as image:
            if image.width * image.height > MAX_PIXELS:
                raise UnreadablePhoto(_TOO_MANY_PIXELS)
            if isinstance(image, ImageFile.ImageFile):
                image.draft("L", (_LONGEST_SIDE, _LONGEST_SIDE))
            upright = ImageOps.exif_transpose(image)
            if upright.mode in ("LA", "PA", "P", "RGBA"):
                # What is see-through is paper, not black.
                paper = Image.new("RGBA", upright.size, "white")
                upright = Image.alpha_composite(paper, upright.convert("RGBA"))
            grey = upright.convert("L")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise UnreadablePhoto(_TOO_MANY_PIXELS) from error
    except UnidentifiedImageError as error:
        raise UnreadablePhoto(
            "This is no JPEG or PNG picture. Set the camera to JPEG and take it again."
        ) from error
    except (OSError, SyntaxError, ValueError) as error:
        raise UnreadablePhoto("The picture is damaged: take it again.") from error
    grey.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
    return grey


def _codes(image: Image.Image) -> list[Any]:
    """Return what is read on a grey picture, from top to bottom and left to right."""
    grey = memoryview(image.tobytes()).cast("B", (image.height, image.width))
    found = [one for one in zxingcpp.read_barcodes(grey, formats=_FORMATS) if one.bytes]
    return sorted(found, key=lambda one: (one.position.top_left.y, one.position.top_left.x))


def _text(content: bytes) -> str:
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _symbology(code: Any) -> str:
    return str(code.symbology_identifier).removeprefix("]")
