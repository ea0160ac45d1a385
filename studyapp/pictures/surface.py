"""Surface against particle size, both by ratio: a line that every mass of one density lies on."""

from __future__ import annotations

from collections.abc import Sequence

from studyapp.findings.numbers import decimal
from studyapp.findings.surface import Mass
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture
from studyapp.pictures.theme import Theme
from studyapp.words import _

HEIGHT, _MIDDLE = 260, 20.0
SIZES = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)  # µm, from the finest mass to one before its mill


def surface_by_size(found: Sequence[Mass], density: float, theme: Theme) -> Picture:
    """A disc a mass, with its name and its surface in m²/kg."""
    first, last = min(SIZES[0], *(one[1] for one in found)), max(SIZES[-1], *(one[1] for one in found))
    low, high = (6e6 / (density * size) for size in (last, first))
    ticks = marks.round_ticks(low, high, by_ratio=True)
    frame = Frame(
        theme,
        (first * 0.9, last * 1.1),
        (low * 0.8, high * 1.25),
        SIZES,
        ticks,
        _("mean size, µm"),
        None,
        None,
        True,
        True,
    )
    line = marks.stroke([{"x": size, "y": 6e6 / (density * size)} for size in (first, last)], theme.patina_text, 1.75)
    rows = [{"x": mean, "y": area, "say": _said(name, area)} for name, mean, area in found]
    words = [_named(name, mean, area, theme) for name, mean, area in found]
    return frame.picture([line, *marks.signs("disc", rows, theme.ink, theme), *words], HEIGHT)


def _said(name: str, area: float) -> str:
    return _("{name}, {surface} m²/kg").format(name=name, surface=decimal(area, 0))


def _named(name: str, mean: float, area: float, theme: Theme) -> Layer:
    """Above the line on its left half, below it on its right, so that words end within the picture."""
    if mean > _MIDDLE:
        return marks.words(_said(name, area), mean, area, theme.ink, "right", dx=-4, dy=16, weight=600)
    return marks.words(_said(name, area), mean, area, theme.ink, dx=8, dy=-12, weight=600)
