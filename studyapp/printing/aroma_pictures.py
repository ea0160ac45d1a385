"""Aroma results as pictures in black, for paper: right answers against the marks, dose, ladder, and two sealed lines.

The same signs as on the screen: a disc is shown to be small, a cross is not shown, a triangle is found, a diamond is
the half-way point. Grey only fills.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import log
from typing import TYPE_CHECKING

from studyapp.findings import percent
from studyapp.findings.aroma import Zone, dose_axis, rung_kind, rung_name, unit_word, zones
from studyapp.findings.doses import dose
from studyapp.findings.numbers import hours
from studyapp.printing.strokes import band, cross, diamond, disc, line, svg, text, triangle
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import ChoiceResult, Ladder, SequentialPlan
    from analysis.choice.threshold import ThresholdFit

WIDTH = 500.0  # pt
_LEFT, _RIGHT, _TOP = 44.0, 490.0, 8.0
_WIDE = 8.0  # doses that span more than this are drawn by their ratio
_STEPS = 60
_LETTER = 4.4  # rough width of a letter of 8 pt


@dataclass(frozen=True, slots=True)
class _Plot:
    """The ends of both scales, and where the picture ends below, pt."""

    across: tuple[float, float]
    up: tuple[float, float]
    bottom: float
    by_ratio: bool = False

    def x(self, value: float) -> float:
        low, high = self.across
        share = log(value / low) / log(high / low) if self.by_ratio else (value - low) / (high - low)
        return _LEFT + share * (_RIGHT - _LEFT)

    def y(self, value: float) -> float:
        low, high = self.up
        return self.bottom - (value - low) / (high - low) * (self.bottom - _TOP)


def _inside(x: float, words: str) -> tuple[float, str]:
    """Where words centred on x begin, moved so that they stay on the picture."""
    half = _LETTER * len(words) / 2
    if x - half < 2:
        return 2.0, "start"
    return (WIDTH - 2, "end") if x + half > WIDTH - 2 else (x, "middle")


# ---- right answers against the marks -----------------------------------------------------------------------------
def ruler_svg(result: ChoiceResult, guessed: float) -> str:
    """Right answers from 0 to n, the zones that were sealed, what guessing alone gives, and the count that came."""
    plot = _Plot((-0.5, result.trials + 0.5), (0.0, 1.0), 66.0)
    parts = [piece for zone in zones(result) for piece in _zone(zone, plot)]
    return svg(WIDTH, 104, [*parts, *_guessing(guessed, plot), *_came(result.correct, plot)])


_RULER_TOP, _RULER_BOTTOM = 42.0, 66.0


def _zone(zone: Zone, plot: _Plot) -> Iterator[str]:
    left, right = plot.x(zone.low - 0.5), plot.x(zone.high + 0.5)
    fill = {"detectable": "#dddddd", "open": "#f2f2f2"}.get(zone.kind, "#ffffff")
    yield band(left, _RULER_TOP, right, _RULER_BOTTOM, fill)
    for x1, y1, x2, y2 in (
        (left, _RULER_TOP, right, _RULER_TOP),
        (left, _RULER_BOTTOM, right, _RULER_BOTTOM),
        (left, _RULER_TOP, left, _RULER_BOTTOM),
        (right, _RULER_TOP, right, _RULER_BOTTOM),
    ):
        yield line(x1, y1, x2, y2, 1.0)
    if zone.kind == "close":
        yield text(left, 78, zone.name, "start", bold=True)
        yield text(left, 89, zone.counts, "start")
    elif zone.kind == "detectable":
        yield text(right, 78, zone.name, "end", bold=True)
        yield text(right, 89, zone.counts, "end")
    else:
        at, anchor = _inside((left + right) / 2, zone.name)
        yield line((left + right) / 2, _RULER_BOTTOM, (left + right) / 2, 92, 0.6, "#777777")
        yield text(at, 101, zone.name, anchor, bold=True)


def _guessing(guessed: float, plot: _Plot) -> Iterator[str]:
    words = _("guessing {count}").format(count=round(guessed))
    x, anchor = _inside(plot.x(guessed), words)
    yield line(plot.x(guessed), 14, plot.x(guessed), _RULER_BOTTOM, 1.2, dash="1.5 2.5")
    yield text(x, 10, words, anchor, grey=True)


def _came(correct: int, plot: _Plot) -> Iterator[str]:
    words = _("{count} right").format(count=correct)
    x, anchor = _inside(plot.x(correct), words)
    yield triangle(plot.x(correct), _RULER_TOP, down=True)
    yield text(x, 30, words, anchor, bold=True)


def noticing_svg(result: ChoiceResult) -> str:
    """Who truly notices, with the two one-sided limits and the share that may notice."""
    share = result.proportion_discriminators
    low, at, high = (
        100 * value for value in (share.low or 0.0, share.estimate or 0.0, 1.0 if share.high is None else share.high)
    )
    plot = _Plot((0.0, 100.0), (0.0, 1.0), 50.0)
    limit = plot.x(100 * result.pd_limit)
    parts = [band(plot.x(0), 16, limit, 46), line(limit, 16, limit, 46, 1.0, dash="4 2.5")]
    parts += [line(plot.x(0), 46, plot.x(100), 46, 0.7, "#777777")]
    for tick in (0, 25, 50, 75, 100):
        parts += [line(plot.x(tick), 46, plot.x(tick), 49, 0.7), text(plot.x(tick), 58, f"{tick}", "middle")]
    parts += [line(plot.x(low), 32, plot.x(high), 32, 1.6)]
    parts += [line(plot.x(end), 28, plot.x(end), 36, 1.6) for end in (low, high)]
    words = _("limit {share}").format(share=percent(result.pd_limit))
    parts += [disc(plot.x(at), 32), text(limit, 12, words, "middle", bold=True)]
    parts.append(text((_LEFT + _RIGHT) / 2, 70, _("truly noticing, %"), "middle", grey=True))
    return svg(WIDTH, 74, parts)


# ---- dose --------------------------------------------------------------------------------------------------------
def curve_svg(fitted: ThresholdFit, unit: str, guess: float) -> str:
    """Right answers at each dose, the fitted curve, and the half-way point with its limits."""
    tasted = _tasted(fitted)
    doses, half = [row[0] for row in tasted], (1 + guess) / 2
    wide = doses[-1] / doses[0] > _WIDE
    across = (doses[0] / 1.25, doses[-1] * 1.25) if wide else (0.0, doses[-1] * 1.08)
    floor = max(0.0, min(guess - 0.1, min(row[2] for row in tasted) - 0.02))
    plot = _Plot(across, (floor, 1.02), 158.0, wide)
    parts = [*_shares((guess, half, 1.0), plot), *_ticks([(level, hours(level)) for level in doses], plot)]
    parts.append(text((_LEFT + _RIGHT) / 2, 185, dose_axis(unit), "middle", grey=True))
    parts += [_curve(fitted, plot), line(_LEFT, plot.y(guess), _RIGHT, plot.y(guess), 1.0, dash="1.5 2.5")]
    parts.append(text(_RIGHT, plot.y(guess) + 10, _("guessing alone"), "end", grey=True))
    for level, right, low, high in tasted:
        parts += [line(plot.x(level), plot.y(low), plot.x(level), plot.y(high), 1.2)]
        parts += [disc(plot.x(level), plot.y(right))]
    return svg(WIDTH, 190, [*parts, *_halfway(fitted, half, unit, plot)])


def _tasted(fitted: ThresholdFit) -> list[tuple[float, float, float, float]]:
    """Dose, share right and its limits, as if the answers were of different people."""
    from analysis.choice import exact_limits

    answers = fitted.answers
    counts = zip(answers.doses, answers.correct.sum(axis=0), answers.trials.sum(axis=0), strict=True)
    return [
        (float(level), float(right / asked), *exact_limits(int(asked), int(right), fitted.alpha))
        for level, right, asked in counts
    ]


def _curve(fitted: ThresholdFit, plot: _Plot) -> str:
    import numpy as np

    from analysis.choice.threshold import expected_right

    left, right = plot.across
    steps = (np.geomspace if plot.by_ratio else np.linspace)(max(left, right / 200), right, _STEPS)
    points = [
        f"{plot.x(float(x)):.2f} {plot.y(float(y)):.2f}"
        for x, y in zip(steps, expected_right(fitted, steps), strict=True)
    ]
    return f'<path d="M{"L".join(points)}" stroke="#4d4d4d" stroke-width="1.4" fill="none"/>'


def _halfway(fitted: ThresholdFit, half: float, unit: str, plot: _Plot) -> Iterator[str]:
    """The interval of the half-way point; an end that no dose carries reaches the edge and has no cap."""
    left, right = _ends(fitted, plot)
    y, point = plot.y(half), fitted.estimate.value
    if left < right:
        yield line(plot.x(left), y, plot.x(right), y, 2.0)
    for end in (fitted.low.value, fitted.high.value):
        if end is not None:
            yield line(plot.x(end), y - 4, plot.x(end), y + 4, 2.0)
    if point is not None:
        words = _("half-way {dose}").format(dose=dose(point, unit_word(unit)))
        room = plot.x(right) + 8 + _LETTER * len(words) < _RIGHT
        yield diamond(plot.x(point), y)
        if room:  # the grid line must not run through the words
            yield band(plot.x(right) + 6, y - 4, plot.x(right) + 14 + _LETTER * len(words), y + 4, "#ffffff")
        yield text(plot.x(right) + 8 if room else _RIGHT, y + (2.8 if room else 13), words, _side(room), bold=True)


def _side(room: bool) -> str:
    return "start" if room else "end"


def _ends(fitted: ThresholdFit, plot: _Plot) -> tuple[float, float]:
    """Where the interval begins and ends; a limit shown to lie beyond the doses begins or ends at that edge."""
    first, last = plot.across
    low, high = fitted.low, fitted.high
    left = low.value if low.value is not None else last if low.where == "above" else first
    right = high.value if high.value is not None else first if high.where == "below" else last
    return left, right


# ---- batch after batch -------------------------------------------------------------------------------------------
def ladder_svg(ladder: Ladder, aim: str) -> str:
    """Who truly notices in each batch or after each number of days, against the share that may notice."""
    levels = [rung.batch for rung in ladder.rungs]
    edge = 0.5 if len(levels) < 2 else 0.12 * (levels[-1] - levels[0]) + 0.15
    plot = _Plot((levels[0] - edge, levels[-1] + edge), (-3.0, 103.0), 138.0)
    limit = 100 * ladder.pd_limit
    words = _("limit {share}").format(share=percent(ladder.pd_limit))
    parts = [band(_LEFT, plot.y(limit), _RIGHT, plot.bottom)]
    parts += [line(_LEFT, plot.y(limit), _RIGHT, plot.y(limit), 1.0, dash="4 2.5")]
    parts += [*_shares((0, 0.25, 0.5, 0.75, 1.0), plot, 100), text(_RIGHT, plot.y(limit) - 3, words, "end", bold=True)]
    parts += _ticks([(level, rung_name(level, aim)) for level in levels], plot)
    for rung in ladder.rungs:
        parts += _rung(rung.batch, rung.result, ladder, plot)
    return svg(WIDTH, 160, parts)


def _rung(level: int, result: ChoiceResult, ladder: Ladder, plot: _Plot) -> Iterator[str]:
    """A bar with a cap at the end that decides: the upper one of what is gone, the lower one of what is found."""
    share, kind, x = result.proportion_discriminators, rung_kind(level, ladder), plot.x(level)
    low, high = plot.y(100 * (share.low or 0.0)), plot.y(100 * (1.0 if share.high is None else share.high))
    cap, at = low if kind == "found" else high, plot.y(100 * (share.estimate or 0.0))
    yield line(x, low, x, high, 1.4)
    yield line(x - 4, cap, x + 4, cap, 1.4)
    yield {"gone": disc, "open": cross, "found": triangle}[kind](x, at)


# ---- a plan that stops early -------------------------------------------------------------------------------------
def lines_svg(plan: SequentialPlan, path: Sequence[tuple[int, int]]) -> str:
    """The two sealed lines, and where the panel stood after each complete round (answers, right)."""
    top = max([right for _n, right in path] + [plan.different_intercept + plan.slope * plan.cap]) * 1.08
    plot = _Plot((0.0, float(plan.cap)), (0.0, top), 150.0)
    step = max(1, round(plan.cap / 6))
    rises = range(0, int(top) + 1, max(1, round(top / 4)))
    parts = [line(_LEFT, plot.y(rise), _RIGHT, plot.y(rise), 0.5, "#cccccc") for rise in rises]
    parts += [text(_LEFT - 5, plot.y(rise) + 2.8, f"{rise}", "end") for rise in rises]
    parts += _ticks([(n, f"{n}") for n in (*range(0, plan.cap - step // 2, step), plan.cap)], plot)
    parts.append(text((_LEFT + _RIGHT) / 2, 177, _("answers"), "middle", grey=True))
    for intercept in (plan.different_intercept, plan.same_intercept):
        start = max(0.0, -intercept / plan.slope)
        ends = (start, intercept + plan.slope * start), (plan.cap, intercept + plan.slope * plan.cap)
        (x1, y1), (x2, y2) = ((plot.x(x), plot.y(y)) for x, y in ends)
        parts.append(line(x1, y1, x2, y2, 1.2, dash="4 2.5"))
    parts += [text(_LEFT + 6, _TOP + 9, _("detectable"), "start", bold=True)]
    parts += [text(_RIGHT - 4, 145, _("close enough"), "end", bold=True), *_way(path, plot)]
    return svg(WIDTH, 182, parts)


def _way(path: Sequence[tuple[int, int]], plot: _Plot) -> Iterator[str]:
    for (n1, right1), (n2, right2) in zip([(0, 0), *path], path, strict=False):
        yield line(plot.x(n1), plot.y(right1), plot.x(n2), plot.y(right2), 1.4)
    for n, right in path:
        yield disc(plot.x(n), plot.y(right))


# ---- axes --------------------------------------------------------------------------------------------------------
def _shares(shares: Sequence[float], plot: _Plot, of: int = 1) -> Iterator[str]:
    for share in shares:
        yield line(_LEFT, plot.y(of * share), _RIGHT, plot.y(of * share), 0.5, "#cccccc")
        yield text(_LEFT - 5, plot.y(of * share) + 2.8, percent(share), "end")


def _ticks(named: Sequence[tuple[float, str]], plot: _Plot) -> Iterator[str]:
    taken = -100.0
    for value, name in named:
        x = plot.x(value)
        yield line(x, plot.bottom + 2, x, plot.bottom + 6, 0.7, "#555555")
        if x - taken > _LETTER * len(name) + 4:  # a name too close to the one before it would run into it
            yield text(x, plot.bottom + 15, name, "middle")
            taken = x
