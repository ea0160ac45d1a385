"""Files that travel with the app: the typeface and the icon.

The typeface is Hanken Grotesk (SIL Open Font License 1.1, no reserved font name; licence beside the files). Screens
use the variable WOFF2, cut into two subsets by its makers. Paper needs static TrueType: each subset was instanced at
weight 400 and 700 with fontTools (`fontTools.varLib.instancer`) and renamed "Workshop Text" and "Workshop Text Ext",
because a typesetter takes two files of one name for one and the same face.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from studyapp.errors import NotFound
from studyapp.words import _

# One family name for screens, pictures and paper.
FAMILY = "Workshop Text"
_FONTS = files("studyapp").joinpath("assets", "fonts")


def font_names() -> tuple[str, ...]:
    """The font files, by name."""
    return tuple(sorted(entry.name for entry in _FONTS.iterdir() if entry.name.endswith((".ttf", ".woff2"))))


@cache
def font(name: str) -> bytes:
    """The bytes of one font file, for example "hanken-latin.woff2".

    Raises:
        NotFound: no font of that name travels with the app.
    """
    if name not in font_names():
        raise NotFound(_("Not done: there is no font named {name} here.").format(name=name))
    return _FONTS.joinpath(name).read_bytes()


def icon() -> bytes:
    """The icon of the browser tab, PNG, 64 x 64."""
    return files("studyapp").joinpath("assets", "icon.png").read_bytes()


def font_folder() -> Path:
    """The folder of the fonts on disk, for the typesetter. The package is always installed as plain files."""
    folder: Traversable = _FONTS
    return Path(str(folder))
