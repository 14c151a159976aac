"""Pictures of labels as a phone takes them: turned, a little blurred, lying on a bench."""

from __future__ import annotations

import io

import zxingcpp
from PIL import Image, ImageDraw, ImageFilter

ORIENTATION = 0x0112
"""The EXIF tag that says how the camera was held. Source: EXIF 2.32, from memory."""


def symbol(text: str, kind: str, scale: int = 6) -> Image.Image:
    """Return a code with its quiet zone; Data Matrix as the square that the trade prints."""
    options = {"force_square": True} if kind == "DataMatrix" else {}
    made = zxingcpp.create_barcode(text, getattr(zxingcpp.BarcodeFormat, kind), **options)
    drawn = memoryview(zxingcpp.write_barcode_to_image(made, scale=scale))
    return Image.frombytes("L", (drawn.shape[1], drawn.shape[0]), drawn.tobytes())


def bench(*codes: Image.Image) -> Image.Image:
    """Return a label with codes below each other, on a grey bench."""
    picture = Image.new("RGB", (1600, 1200), (150, 145, 140))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((250, 150, 1400, 1050), fill=(240, 238, 230))
    top = 200
    for code in codes:
        picture.paste(code, (320, top))
        top += code.height + 60
    return picture


def jpeg(picture: Image.Image, quality: int = 75, exif_turn: int | None = None) -> bytes:
    """Return a picture as the file of a camera."""
    out = io.BytesIO()
    exif = Image.Exif()
    if exif_turn is not None:
        exif[ORIENTATION] = exif_turn
    picture.save(out, "JPEG", quality=quality, exif=exif)
    return out.getvalue()


def taken(picture: Image.Image, turn_deg: float = 0, blur_px: float = 1.3) -> bytes:
    """Return a picture as taken by hand."""
    turned = picture.rotate(turn_deg, expand=True, fillcolor=(150, 145, 140))
    return jpeg(turned.filter(ImageFilter.GaussianBlur(blur_px)))
