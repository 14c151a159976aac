"""Layouts: the shipped ones are sound, a wrong file says what is wrong with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from msdtrack.printing.layouts import (
    FACTS,
    BarsField,
    LayoutError,
    TextField,
    WriteField,
    layout_names,
    load_layout,
    read_layout,
)

SOUND = """
name = "small"
title = "Small"
draws = "carrier"
width_mm = 62
height_mm = 29
[[field]]
kind = "bars"
x_mm = 0
y_mm = 1
width_mm = 40
height_mm = 9
[[field]]
kind = "text"
fact = "code"
x_mm = 2.5
y_mm = 11
width_mm = 30
height_mm = 5
size_pt = 10
min_pt = 6
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "small.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_sound_file_is_read(tmp_path: Path) -> None:
    layout = read_layout(write(tmp_path, SOUND))
    assert (layout.width_mm, layout.height_mm, len(layout.fields)) == (62, 29, 2)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('draws = "carrier"', 'draws = "mug"', "draws: Input should be 'carrier' or 'sign'"),
        ("width_mm = 62", 'width_mm = "62"', "width_mm: Input should be a valid number"),
        ("width_mm = 62", "width_mm = true", "width_mm: Input should be a valid number"),
        ("width_mm = 62", "colour = 1\nwidth_mm = 62", "colour: Extra inputs are not permitted"),
        ("size_pt = 10", "size_pt = 30", "height_mm 5 is too low for its type"),
        ("min_pt = 6", "min_pt = 11", "min_pt 11 is larger than size_pt 10"),
        ("y_mm = 11", "y_mm = 6", "bars and text 'code' overlap"),
        ("y_mm = 11", "y_mm = 26", "text 'code' reaches beyond the label's 62 x 29 mm"),
        ('fact = "code"', 'fact = "taste"', "a carrier label knows no 'taste'"),
        ('kind = "bars"', 'kind = "rule"', "no field is of kind bars"),
        ('kind = "bars"', 'kind = "spots"', "field 1: Input tag 'spots'"),
        ('name = "small"', 'name = "large"', 'its name is "large", not that of the file'),
        ('name = "small"', "name = ", "small.toml: Invalid value"),
    ],
)
def test_a_wrong_file_says_what_is_wrong(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = write(tmp_path, SOUND.replace(old, new, 1))
    with pytest.raises(LayoutError) as caught:
        read_layout(path)
    assert words in caught.value.message
    assert caught.value.message.startswith("small.toml: ")
    assert caught.value.code == "bad_layout"


def test_a_missing_file_says_which_layouts_there_are() -> None:
    with pytest.raises(LayoutError, match='no label layout "postcard": 100x50, 62x29'):
        load_layout("postcard")


@pytest.mark.parametrize("name", ["../secret", "fonts/x", "cards/actions"])
def test_a_name_never_leaves_the_folder(name: str) -> None:
    with pytest.raises(LayoutError, match="no label layout"):
        load_layout(name)


def test_shipped_layouts_are_sound_and_as_large_as_their_names() -> None:
    assert layout_names() == ["100x50", "62x29", "badge", "closing", "place"]
    sizes = {name: load_layout(name) for name in layout_names()}
    assert (sizes["62x29"].width_mm, sizes["62x29"].height_mm) == (62, 29)
    assert (sizes["100x50"].width_mm, sizes["100x50"].height_mm) == (100, 50)


NEEDED = [
    "code",
    "msl",
    "floor_life",
    "part",
    "lot",
    "quantity",
    "seal_date",
    "shelf_life_ends",
    "bake_line",
]


@pytest.mark.parametrize("name", ["62x29", "100x50"])
def test_carrier_layouts_carry_what_is_needed_in_its_order(name: str) -> None:
    fields = load_layout(name).fields
    printed = [field.fact for field in fields if isinstance(field, TextField)]
    assert isinstance(fields[0], BarsField)
    assert [fact for fact in printed if fact in NEEDED] == NEEDED
    assert list(FACTS["carrier"][: len(NEEDED)]) == NEEDED


def test_the_full_label_has_room_to_write_openings_and_closings() -> None:
    captions = [f.caption for f in load_layout("100x50").fields if isinstance(f, WriteField)]
    assert [caption.split(":")[0] for caption in captions] == ["Opened", "Closed"] * 2
