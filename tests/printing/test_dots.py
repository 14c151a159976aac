"""Dots are put on paper as the image library would put them, and stay on the paper."""

from __future__ import annotations

from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from msdtrack.printing import dots
from msdtrack.printing.dots import Paper, set_line
from msdtrack.printing.faces import face

words = st.text(st.sampled_from("AVTWjgpQfi1056-_/.,() °≤äÖçßµЖ⚠"), min_size=1, max_size=12)


def as_image(paper: Paper) -> Image.Image:
    """Return what is on the paper, ink as 255, and check that every row begins with a zero byte."""
    rows, pitch = paper.rows(), paper.pitch // 8
    assert set(rows[::pitch]) == {0}
    bits = b"".join(rows[at + 1 : at + pitch] for at in range(0, len(rows), pitch))
    white = Image.frombytes("1", (paper.width, paper.height), bits)
    return white.convert("L").point(lambda level: 255 - level)


@settings(deadline=None)
@given(words, st.booleans(), st.integers(4, 90))
def test_a_line_has_the_letters_of_the_font_library(text: str, bold: bool, size_px: int) -> None:
    """Beside an H: without one the library lays the same word on another row now and then."""
    paper = Paper(14 * size_px, 4 * size_px)
    line = set_line(text, bold, size_px, 10**6, paper.pitch)
    paper.ink(line.strip, size_px, 2 * size_px - line.above, line.rows)

    lead = round(face(bold, size_px).getlength("H    ", mode="1"))
    whole = Image.new("1", (lead + paper.width, 4 * size_px), 0)
    ImageDraw.Draw(whole).text(
        (0, 2 * size_px), "H    " + text, fill=1, font=face(bold, size_px), anchor="ls"
    )
    foot = whole.crop((0, 0, lead // 2, whole.height)).getbbox()
    assert foot is not None
    left, top = lead - size_px, foot[3] - 2 * size_px
    # The H ends well before: what is left of the line's origin are letters that reach back.
    ImageDraw.Draw(whole).rectangle((0, 0, lead - size_px // 2 - 1, whole.height), fill=0)
    expected = whole.crop((left, top, left + paper.width, top + paper.height))
    assert as_image(paper).tobytes() == expected.convert("L").tobytes()


@given(st.text("Wi1 ", min_size=1, max_size=30), st.integers(4, 60), st.integers(1, 900))
def test_a_line_is_set_as_large_as_its_room_allows(text: str, size_px: int, room_px: int) -> None:
    """Never larger than wanted; at four dots to the em it is left to overflow."""
    line = set_line(text, True, size_px, room_px, 4096)
    free = [set_line(text, True, size, 10**6, 4096) for size in range(4, size_px + 1)]
    fitting = [each for each in free if each.width <= room_px]
    assert line == (fitting[-1] if fitting else free[0])


@example(x=40, y=1, width=9, height=1, line=None, white=False)
@given(
    st.integers(-8, 40),
    st.integers(-30, 40),
    st.integers(1, 9),
    st.integers(1, 30),
    st.none() | st.integers(1, 4),
    st.booleans(),
)
def test_a_box_is_drawn_as_by_the_image_library(
    x: int, y: int, width: int, height: int, line: int | None, white: bool
) -> None:
    """Wherever it lies; what is off the paper changes nothing on it."""
    # The library lets a line thicker than half the box stand out of it.
    assume(line is None or 2 * line <= min(width, height))
    paper, image = Paper(37, 31), Image.new("L", (37, 31), 0)
    painter = ImageDraw.Draw(image)
    paper.ink(dots.box(20, 9, None, paper.pitch), 10, 10, 9)
    painter.rectangle((10, 10, 29, 18), fill=255)
    paper.ink(dots.box(width, height, line, paper.pitch), x, y, height, white)
    around = (x, y, x + width - 1, y + height - 1)
    ink = 0 if white else 255
    if line is None:
        painter.rectangle(around, fill=ink)
    else:
        painter.rectangle(around, outline=ink, width=line)
    assert as_image(paper).tobytes() == image.tobytes()
