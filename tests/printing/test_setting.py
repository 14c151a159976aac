"""Words in a given room: whole if they can be, in the room always."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from msdtrack.printing.faces import text_width_em
from msdtrack.printing.setting import Room, set_text, shorten, wrap

words = st.text(st.sampled_from("abcWiI -/0123456789äЖ"), min_size=1, max_size=60).map(
    lambda text: " ".join(text.split()) or "x"
)
rooms = st.builds(
    lambda width, min_mm, over, high: Room(
        width_mm=width,
        height_mm=min_mm * over * 1.2 * high,
        size_mm=min_mm * over,
        min_mm=min_mm,
    ),
    st.floats(3, 80),
    st.floats(1, 4),
    st.floats(1, 4),
    st.floats(1, 2),
)


@given(words, rooms, st.booleans())
def test_set_lines_stay_inside_the_room(text: str, room: Room, may_shorten: bool) -> None:
    lines = set_text(text, room, may_shorten)
    if lines is None:
        assert not may_shorten
        return
    for line in lines:
        assert room.min_mm * 0.999 <= line.size_mm <= room.size_mm * 1.001
        if line.text != "…":
            assert text_width_em(line.text, room.bold) * line.size_mm <= room.width_mm * 1.001
        assert 0 <= line.baseline_mm <= room.height_mm
    if not may_shorten:
        joined = "".join(line.text for line in lines)
        assert joined.replace(" ", "") == text.replace(" ", "")


@given(words, st.floats(2, 40))
def test_shortening_keeps_the_beginning(text: str, width_em: float) -> None:
    short = shorten(text, width_em, bold=False)
    assert short == text or (short.endswith("…") and text.startswith(short[:-1]))


@given(words, st.floats(5, 40))
def test_wrapping_loses_no_word(text: str, width_em: float) -> None:
    lines = wrap(text, width_em)
    assert " ".join(lines).split() == text.split()
    assert all(text_width_em(line, False) <= width_em or " " not in line for line in lines)
