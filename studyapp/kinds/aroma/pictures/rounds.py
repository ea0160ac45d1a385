"""A plan that stops early: the count of right answers on its way between the two sealed lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import SequentialPlan

HEIGHT = 280


def lines(plan: SequentialPlan, path: Sequence[tuple[int, int]], theme: Theme) -> Picture:
    """The two lines up to the cap, and where the panel stood after each complete round (answers, right)."""
    top = max([right for _n, right in path] + [plan.different_intercept + plan.slope * plan.cap])
    heights = _heights(top)
    frame = Frame(theme, (0, plan.cap), (0, 1.08 * top), _counts(plan.cap), heights, _("answers"))
    between = heights[1] / 2  # words keep to the middle between two hairlines
    rows = [
        {"x": n, "y": right, "say": _("after {n} answers {right} right").format(n=n, right=right)} for n, right in path
    ]
    layers = [
        _line(plan, plan.different_intercept, theme),
        _line(plan, plan.same_intercept, theme),
        marks.words(_("detectable"), 0.02 * plan.cap, heights[-1] - between, theme.ink, "left", weight=600),
        marks.words(_("close enough"), 0.98 * plan.cap, between, theme.ink, "right", weight=600),
        *([marks.stroke([{"x": 0, "y": 0}, *rows], theme.ink, 2.5)] if rows else []),
        *marks.signs("disc", rows, theme.patina_text, theme),
    ]
    return frame.picture(layers, HEIGHT)


def _counts(cap: int) -> list[int]:
    """About six counts of answers, the cap the last; none so close before it that their words would meet."""
    step = max(1, round(cap / 6))
    return [*range(0, cap - step // 2, step), cap]


def _heights(top: float) -> list[int]:
    return list(range(0, int(top) + 1, max(1, round(top / 4))))


def _line(plan: SequentialPlan, intercept: float, theme: Theme) -> Layer:
    start = max(0.0, -intercept / plan.slope)
    rows = [{"x": at, "y": intercept + plan.slope * at} for at in (start, plan.cap)]
    return marks.stroke(rows, theme.patina_text, 1.5, marks.MARGIN_DASH)
