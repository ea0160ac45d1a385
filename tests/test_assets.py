"""The typeface travels with the app, on screen and on paper, with its licence."""

from __future__ import annotations

from io import BytesIO

import pytest
from fontTools.ttLib import TTFont

from studyapp.assets import font, font_folder, font_names, icon
from studyapp.errors import NotFound

PAPER = [name for name in font_names() if name.endswith(".ttf")]


def test_screen_and_paper_have_the_same_family_in_two_subsets() -> None:
    """Two variable files for screens; for paper each subset in regular and bold."""
    assert font_names() == (
        "hanken-latin-400.ttf",
        "hanken-latin-700.ttf",
        "hanken-latin-ext-400.ttf",
        "hanken-latin-ext-700.ttf",
        "hanken-latin-ext.woff2",
        "hanken-latin.woff2",
    )
    assert all(font(name)[:4] == b"wOF2" for name in font_names() if name.endswith(".woff2"))


def test_the_licence_travels_with_the_fonts() -> None:
    """The Open Font License asks for its text beside the files."""
    text = (font_folder() / "OFL.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in text
    assert "Copyright 2021 The Hanken Grotesk Project Authors" in text


@pytest.mark.parametrize("name", PAPER)
def test_paper_fonts_are_static_and_named_apart(name: str) -> None:
    """A typesetter tells faces by family and weight, and knows no variable axis."""
    face = TTFont(BytesIO(font(name)))
    family = "Workshop Text Ext" if "ext" in name else "Workshop Text"
    assert "fvar" not in face
    assert face["name"].getDebugName(1) == family
    assert face["OS/2"].usWeightClass == (700 if "700" in name else 400)


@pytest.mark.parametrize("name", ["hanken-latin-400.ttf", "hanken-latin-700.ttf"])
def test_digits_of_a_code_have_one_width(name: str) -> None:
    """Codes stand under each other on a tray sheet, and 508 must not be shorter than 111."""
    face = TTFont(BytesIO(font(name)))
    letters = face.getBestCmap()
    assert len({face["hmtx"][letters[ord(digit)]][0] for digit in "0123456789"}) == 1
    assert all(ord(sign) in letters for sign in "°µ±×−–…“”é")


def test_an_unknown_font_is_not_found() -> None:
    """A name from outside never becomes a path."""
    for name in ("comic.ttf", "../errors.py", "OFL.txt"):
        with pytest.raises(NotFound):
            font(name)


def test_the_icon_is_a_small_square_picture() -> None:
    """Read from the PNG header (width and height follow the IHDR tag)."""
    head = icon()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    assert (int.from_bytes(head[16:20]), int.from_bytes(head[20:24])) == (64, 64)
