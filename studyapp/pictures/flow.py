"""Flow curves of the portions of a pull: stress over shear rate, both on roots, where Casson's line is straight."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import sqrt

from studyapp.batches import Curve
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture, Row
from studyapp.pictures.theme import Theme
from studyapp.words import _

HEIGHT = 260
POLES = (5.0, 40.0)  # 1/s, where limits are read


def flow(curves: Sequence[Curve], theme: Theme) -> Picture:
    """Rings for the portions before, discs for the last one; a cross where its stress falls as the rate rises."""
    points = [point for one in curves for point in one.points]
    rates = sorted({rate for rate, _stress in points})
    high = sqrt(max(1.0, *(stress for _rate, stress in points))) * 1.08
    ticks = [value for value in (0, 4, 16, 36, 64, 100, 144, 196, 256, 400, 576, 900, 1600) if sqrt(value) <= high]
    ticks = ticks[:: 1 + len(ticks) // 7]
    frame = Frame(
        theme,
        (0.0, sqrt(rates[-1]) * 1.06),
        (0.0, high),
        [sqrt(rate) for rate in rates],
        [sqrt(value) for value in ticks],
        _("shear rate, 1/s"),
        {sqrt(rate): f"{rate:g}" for rate in rates},
        {sqrt(value): f"{value:g}" for value in ticks},
    )
    return frame.picture([*_poles(frame), *_portions(curves, frame)], HEIGHT)


def _poles(frame: Frame) -> Iterator[Layer]:
    for rate in POLES:
        if sqrt(rate) <= frame.across[1]:
            yield marks.upright(sqrt(rate), 0.0, frame.up[1], frame.theme.edge, 1.25, marks.GUESS_DASH)
    yield marks.words(_("stress, Pa"), 0.0, frame.up[1], frame.theme.quiet, dx=6, dy=6)


def _portions(curves: Sequence[Curve], frame: Frame) -> Iterator[Layer]:
    theme = frame.theme
    for one in curves[:-1]:
        ring = {"type": "point", "shape": "circle", "size": 80, "fill": theme.card, "stroke": theme.edge}
        rows = [{"x": sqrt(rate), "y": sqrt(max(stress, 0.0))} for rate, stress in one.points]
        yield marks.layer(ring | {"strokeWidth": 2, "opacity": 1}, rows, x="x", y="y")
    if not curves:
        return
    last = sorted(curves[-1].points)
    falls = {rate for (_slow, before), (rate, stress) in pairwise(last) if stress < before}
    said = _("{stress} Pa at {rate} 1/s")
    said_of: list[Row] = [
        {"x": sqrt(rate), "y": sqrt(max(stress, 0.0)), "say": said.format(stress=f"{stress:g}", rate=f"{rate:g}")}
        for rate, stress in last
    ]
    odd = [row for row, (rate, _stress) in zip(said_of, last, strict=True) if rate in falls]
    yield from marks.signs("disc", [row for row in said_of if row not in odd], theme.patina_text, theme)
    yield from marks.signs("cross", odd, theme.copper, theme)
