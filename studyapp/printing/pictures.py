"""Worsening against hours as an SVG in black, for paper: the same signs as on the screen.

A disc is within the margin, a cross is not shown, an open square is the reference, a diamond on a pole stands at the
first hour that is enough. Grey only fills; shape and word carry the meaning.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from studyapp.findings import enough, hours, shown, units
from studyapp.findings.scale import Scale, limit_at
from studyapp.printing.strokes import cross, diamond, disc, svg
from studyapp.printing.strokes import line as _line
from studyapp.printing.strokes import text as _text
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, PullResult

WIDTH, HEIGHT = 164.0, 150.0  # pt
_LEFT, _RIGHT, _TOP, _BOTTOM = 17.0, 160.0, 5.0, 116.0
_LETTER = 4.0  # rough width of a bold letter of 8 pt, to keep words from running into each other


@dataclass(frozen=True, slots=True)
class _Plot:
    """Where hours and worsening lie on the picture, pt."""

    scale: Scale
    first: float
    last: float

    def x(self, hour: float) -> float:
        edge = 0.06 * ((self.last - self.first) or 1.0)
        return _LEFT + (hour - self.first + edge) / (self.last - self.first + 2 * edge) * (_RIGHT - _LEFT)

    def y(self, worse: float) -> float:
        return _BOTTOM - (worse - self.scale.low) / (self.scale.high - self.scale.low) * (_BOTTOM - _TOP)


def worsening_svg(result: AttributeResult, scale: Scale) -> str:
    """The picture of one attribute; text in it is drawn in the typeface of the sheet."""
    pulls = [pull.hours for pull in result.pulls]
    plot = _Plot(scale, min(pulls), max(pulls))
    parts = [
        *_grid(plot, sorted(set(pulls))),
        *_margin(result, plot),
        *_limit(result, plot),
        *_pole(result, plot),
        *_marks(result, plot),
    ]
    return svg(WIDTH, HEIGHT, parts)


# ---- layers, from the back to the front --------------------------------------------------------------------------
def _grid(plot: _Plot, pulls: list[float]) -> Iterator[str]:
    for worse in plot.scale.ticks:
        yield _line(_LEFT, plot.y(worse), _RIGHT, plot.y(worse), 0.5, "#cccccc")
        yield _text(_LEFT - 5, plot.y(worse) + 2.8, str(worse).replace("-", "−"), "end")
    taken = -1.0
    for hour in pulls:
        yield _line(plot.x(hour), _BOTTOM + 2, plot.x(hour), _BOTTOM + 6, 0.7, "#555555")
        if plot.x(hour) - taken > 9:  # a number too close to the one before it would run into it
            yield _text(plot.x(hour), _BOTTOM + 15, hours(hour), "middle")
            taken = plot.x(hour)
    yield _text((_LEFT + _RIGHT) / 2, _BOTTOM + 28, _("conching, hours"), "middle", grey=True)


def _margin(result: AttributeResult, plot: _Plot) -> Iterator[str]:
    margin = result.rule.margin
    both = result.rule.wanted == "same"
    bottom = -margin if both else plot.scale.low
    top, height = plot.y(margin), plot.y(bottom) - plot.y(margin)
    yield f'<rect x="{_LEFT:g}" y="{top:.2f}" width="{_RIGHT - _LEFT:g}" height="{height:.2f}" fill="#e4e4e4"/>'
    yield _line(_LEFT, plot.y(0), _RIGHT, plot.y(0), 0.6, "#777777")
    for edge in (margin, -margin) if both else (margin,):
        yield _line(_LEFT, plot.y(edge), _RIGHT, plot.y(edge), 1.0, dash="4 2.5")
    at = limit_at(result)
    below = at is not None and -2 < plot.y(margin) - plot.y(at) < 11
    level = plot.y(margin) + (9 if below else -3)
    yield _text(_RIGHT, level, _("margin {margin}").format(margin=units(margin)), "end", bold=True)


def _limit(result: AttributeResult, plot: _Plot) -> Iterator[str]:
    """The limit on the mean, moved on to the axis of worsening; left out where it lies off the picture."""
    at = limit_at(result)
    if at is None or not plot.scale.shows_limit(result):
        return
    yield _line(_LEFT, plot.y(at), _RIGHT, plot.y(at), 1.4)
    below = 0 < plot.y(at) - plot.y(result.rule.margin) < 11
    level = plot.y(at) + (9 if below else -3)
    yield _text(_RIGHT, level, _("limit {limit}").format(limit=units(result.rule.limit or 0.0)), "end", bold=True)


def _pole(result: AttributeResult, plot: _Plot) -> Iterator[str]:
    """The first hour that is enough; it stands on the margin, so it never crosses a passing bar."""
    hour, top = enough(result), _TOP + 6
    if hour is None:
        yield _text(_RIGHT, top + 3, _("none of these yet"), "end", bold=True)
        return
    at = plot.x(hour)
    words = _("{hours} h is enough").format(hours=hours(hour))
    yield _line(at, top, at, plot.y(result.rule.margin), 1.2)
    yield diamond(at, top)
    late = at + 8 + _LETTER * len(words) > _RIGHT
    yield _text(at - 8 if late else at + 8, top + 3, words, "end" if late else "start", bold=True)


def _marks(result: AttributeResult, plot: _Plot) -> Iterator[str]:
    for pull in result.pulls:
        x, y = plot.x(pull.hours), plot.y(pull.difference)
        if pull.hours == result.reference_hours:
            yield _text(_RIGHT, plot.y(0) + 13, _("reference"), "end", grey=True)
            yield f'<rect x="{x - 3.6:.2f}" y="{y - 3.6:.2f}" width="7.2" height="7.2" fill="white" {_STROKE}/>'
            continue
        yield from _bar(pull, result.rule.wanted == "same", plot)
        yield disc(x, y) if shown(result, pull) else cross(x, y)


def _bar(pull: PullResult, both: bool, plot: _Plot) -> Iterator[str]:
    """The interval, with a cap only at the end that decides."""
    if pull.decisive_lower is None or pull.decisive_upper is None:
        return
    x, low, high = plot.x(pull.hours), plot.y(pull.decisive_lower), plot.y(pull.decisive_upper)
    yield _line(x, low, x, high, 1.4)
    for end in (low, high) if both else (high,):
        yield _line(x - 3.6, end, x + 3.6, end, 1.4)


_STROKE = 'stroke="black" stroke-width="1.5"'
