"""Pictures of forced-choice results: right answers against the sealed marks, who truly notices, and the way there.

The same grammar as the charts of hours: a disc says shown, a cross not shown, a diamond stands at the answer; shape and
word carry the meaning. Every value sits on a scale, because pixel offsets drift when a chart is fitted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import altair as alt

from studyapp.components.look import TOKENS, Theme
from studyapp.findings import percent
from studyapp.findings.aroma import Zone, dose_axis, dose_says, rung_kind, rung_name, rung_says, unit_word, zones
from studyapp.findings.doses import dose
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import ChoiceResult, Ladder, SequentialPlan
    from analysis.choice.threshold import ThresholdFit

FONT = "workshop-text, system-ui, sans-serif"
RULER, NOTICING, CURVE, LADDER, LINES = 170, 130, 340, 280, 280
_CROSS = "M-0.7,-0.7L0.7,0.7M-0.7,0.7L0.7,-0.7"
_STEPS = 80
# Doses that span more than this are drawn by their ratio, or the small ones stand on one another.
_WIDE = 8.0
# A word left of the tick of guessing needs this share of the ruler; without it the word stands above everything.
_ROOM = 0.3
Row = dict[str, Any]
Ink = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class _Frame:
    """The two scales of one chart, and its colours; an axis without ticks is not drawn."""

    ink: Ink
    across: tuple[float, float]
    up: tuple[float, float]
    x_ticks: Sequence[float] = ()
    y_ticks: Sequence[float] = ()
    x_title: str = ""
    x_label: str = ""
    y_label: str = ""
    by_ratio: bool = False

    def x(self, name: str = "x") -> alt.X:
        scale = alt.Scale(domain=list(self.across), nice=False, zero=False, type="log" if self.by_ratio else "linear")
        axis = _axis(self.ink, self.x_title or None, self.x_ticks, self.x_label, grid=False) if self.x_ticks else None
        return alt.X(f"{name}:Q", scale=scale, axis=axis)

    def y(self, name: str = "y") -> alt.Y:
        scale = alt.Scale(domain=list(self.up), nice=False, zero=False)
        axis = _axis(self.ink, None, self.y_ticks, self.y_label, grid=True) if self.y_ticks else None
        return alt.Y(f"{name}:Q", scale=scale, axis=axis)


# ---- right answers against the marks -----------------------------------------------------------------------------
def ruler(result: ChoiceResult, guessed: float, theme: Theme = "light") -> alt.LayerChart:
    """Right answers from 0 to n with the sealed zones, what guessing alone gives, and the count that came."""
    crowded = guessed < _ROOM * result.trials
    frame = _Frame(TOKENS[theme], (-0.5, result.trials + 0.5), (-1.55, 3.1 if crowded else 2.35))
    layers = [layer for zone in zones(result) for layer in _zone(zone, frame)]
    ends = [{"x": -0.5, "end": result.trials + 0.5, "y": 0.0, "top": 1.0}]
    frame_of = _on(ends).mark_rect(fill=None, stroke=frame.ink["ink"], strokeWidth=1.5, aria=False)
    layers.append(frame_of.encode(x=frame.x(), x2="end:Q", y=frame.y(), y2="top:Q"))
    return _dressed(alt.layer(*layers, *_guessing(guessed, result, frame), *_came(result, frame)), frame, RULER)


def _zone(zone: Zone, frame: _Frame) -> list[alt.Chart]:
    """One stretch of counts: its ground, its name below, and the counts it holds inside."""
    fill = {"detectable": "band", "open": "field"}.get(zone.kind, "card")
    ground = _on([{"x": zone.low - 0.5, "end": zone.high + 0.5, "y": 0.0, "top": 1.0}]).mark_rect(
        color=frame.ink[fill], opacity=1, stroke=frame.ink["ink"], strokeWidth=1, aria=False
    )
    side = {"close": "left", "detectable": "right"}.get(zone.kind, "center")
    at = {"left": zone.low - 0.5, "right": zone.high + 0.5}.get(side, (zone.low + zone.high) / 2)
    named = -0.45 if side != "center" else -1.2
    words = _words(zone.name, at, named, frame)
    layers = [
        ground.encode(x=frame.x(), x2="end:Q", y=frame.y(), y2="top:Q"),
        words.mark_text(align=side, baseline="middle", fontSize=13, fontWeight=600, color=frame.ink["ink"], aria=False),
    ]
    if side == "center":
        leader = _on([{"x": at, "y": -0.8, "top": 0.0}]).mark_rule(color=frame.ink["edge"], aria=False)
        return [*layers, leader.encode(x=frame.x(), y=frame.y(), y2="top:Q")]
    inside = _words(zone.counts, at, 0.5, frame)
    dx = 8 if side == "left" else -8
    return [
        *layers,
        inside.mark_text(align=side, dx=dx, baseline="middle", fontSize=13, color=frame.ink["ink"], aria=False),
    ]


def _guessing(guessed: float, result: ChoiceResult, frame: _Frame) -> list[alt.Chart]:
    """What guessing alone gives; its word keeps away from the triangle."""
    above = guessed < _ROOM * result.trials
    right = above or result.correct < guessed
    top = 2.75 if above else 1.3
    tick = _on([{"x": guessed, "y": 0.0, "top": top}]).mark_rule(
        color=frame.ink["ink"], strokeDash=[2, 3], strokeWidth=2, aria=False
    )
    words = _words(_("guessing {count}").format(count=round(guessed)), guessed, top, frame)
    letters = {"align": "left" if right else "right", "dx": 5 if right else -5, "baseline": "middle", "aria": False}
    return [
        tick.encode(x=frame.x(), y=frame.y(), y2="top:Q"),
        words.mark_text(**letters, fontSize=13, color=frame.ink["quiet"]),
    ]


def _came(result: ChoiceResult, frame: _Frame) -> list[alt.Chart]:
    """The triangle points at the count that came; its word keeps inside the picture."""
    at, trials = result.correct, result.trials
    align = "left" if at < 0.15 * trials else "right" if at > 0.85 * trials else "center"
    say = _("{count} of {n} answers are right").format(count=at, n=trials)
    point = _on([{"x": at, "y": 1.25, "say": say}]).mark_point(
        shape="triangle-down", size=130, filled=True, opacity=1, color=frame.ink["ink"]
    )
    words = _words(_("{count} right").format(count=at), at, 1.95, frame)
    return [
        point.encode(x=frame.x(), y=frame.y(), description="say:N"),
        words.mark_text(
            align=align, baseline="middle", fontSize=14, fontWeight=700, color=frame.ink["ink"], aria=False
        ),
    ]


# ---- who truly notices -------------------------------------------------------------------------------------------
def noticing(result: ChoiceResult, theme: Theme = "light") -> alt.LayerChart:
    """The share of answers that came from truly noticing, with its interval and the limit that was set."""
    share = result.proportion_discriminators
    low, high = 100 * (share.low or 0.0), 100 * (1.0 if share.high is None else share.high)
    ticks = (0, 25, 50, 75, 100)
    frame = _Frame(TOKENS[theme], (-2, 102), (-1.1, 1.35), ticks, x_title=_("truly noticing, %"))
    ink, at = frame.ink, 100 * (share.estimate or 0.0)
    middle = _words(percent(share.estimate or 0.0), at, 0.75, frame)
    side = "left" if at < 8 else "right" if at > 92 else "center"
    sides = [(low, "right" if low > 8 else "center", 3), (high, "left" if high < 92 else "center", -3)]
    notes = [
        _words(f"{round(end)}", end, -0.75, frame).mark_text(
            align=align,
            dx=dx if align != "center" else 0,
            baseline="middle",
            fontSize=13,
            color=ink["quiet"],
            aria=False,
        )
        for end, align, dx in sides
    ]
    say = _("{share} truly notice, between {low} and {high}").format(
        share=percent(share.estimate or 0.0), low=round(low), high=percent(high / 100)
    )
    layers = [
        *_allowed(100 * result.pd_limit, frame),
        *_span([{"low": low, "high": high, "y": 0.0}], "patina_text", frame),
    ]
    layers += _discs([{"x": at, "y": 0.0, "say": say}], frame)
    layers += [
        middle.mark_text(align=side, baseline="middle", fontSize=14, fontWeight=700, color=ink["ink"], aria=False),
        *notes,
    ]
    return _dressed(alt.layer(*layers), frame, NOTICING)


def _allowed(limit: float, frame: _Frame) -> list[alt.Chart]:
    """The share that may notice, as a shaded band from nobody on."""
    low, high = frame.up
    band = _on([{"x": 0, "end": limit, "y": low, "top": high}]).mark_rect(
        color=frame.ink["band"], opacity=1, aria=False
    )
    edge = _on([{"x": limit}]).mark_rule(color=frame.ink["patina_text"], strokeDash=[5, 3], strokeWidth=1.5, aria=False)
    return [band.encode(x=frame.x(), x2="end:Q", y=frame.y(), y2="top:Q"), edge.encode(x=frame.x())]


def _span(rows: list[Row], colour: str, frame: _Frame) -> list[alt.Chart]:
    """Horizontal intervals with a cap at both ends."""
    ink = frame.ink[colour]
    bar = _on(rows).mark_rule(color=ink, strokeWidth=2.5, aria=False).encode(x=frame.x("low"), x2="high:Q", y=frame.y())
    caps = [
        _on(rows)
        .mark_tick(orient="vertical", size=13, thickness=2.5, color=ink, opacity=1, aria=False)
        .encode(x=frame.x(end), y=frame.y())
        for end in ("low", "high")
    ]
    return [bar, *caps]


# ---- detection against dose --------------------------------------------------------------------------------------
def detection(fitted: ThresholdFit, unit: str, guess: float, theme: Theme = "light") -> alt.LayerChart:
    """Right answers at each dose with the fitted curve; its band has the half-way point at either limit."""
    half, tasted = (1 + guess) / 2, _tasted(fitted, unit)
    frame = _dose_frame(fitted, unit, guess, min(row["low"] for row in tasted), TOKENS[theme])
    chance = _on([{"y": guess}]).mark_rule(color=frame.ink["ink"], strokeDash=[2, 3], strokeWidth=2, aria=False)
    words = _words(_("guessing alone"), frame.across[1], guess, frame)
    letters = {"align": "right", "dy": 11, "baseline": "middle", "fontSize": 13, "aria": False}
    layers = [
        *_curve(fitted, guess, frame),
        chance.encode(y=frame.y()),
        words.mark_text(**letters, color=frame.ink["quiet"]),
        *_tasted_marks(tasted, frame),
        *_halfway(fitted, half, unit, frame),
    ]
    return _dressed(alt.layer(*layers), frame, CURVE)


def _dose_frame(fitted: ThresholdFit, unit: str, guess: float, lowest: float, ink: Ink) -> _Frame:
    doses = [float(level) for level in fitted.answers.doses]
    wide, half = doses[-1] / doses[0] > _WIDE, (1 + guess) / 2
    names = [(1.0, percent(1)), (half, percent(half)), (guess, percent(guess))]
    label = " : ".join(f"datum.value > {value - 0.01:.3f} ? '{name}'" for value, name in names) + " : ''"
    return _Frame(
        ink,
        (doses[0] / 1.25, doses[-1] * 1.25) if wide else (0.0, doses[-1] * 1.08),
        (max(0.0, min(guess - 0.2, lowest - 0.02)), 1.03),
        doses,
        [guess, half, 1.0],
        dose_axis(unit),
        y_label=label,
        by_ratio=wide,
    )


def _curve(fitted: ThresholdFit, guess: float, frame: _Frame) -> list[alt.Chart]:
    rows = _curve_rows(fitted, guess, frame)
    band = _on(rows).mark_area(color=frame.ink["band"], opacity=1, line=False, aria=False)
    line = _on(rows).mark_line(color=frame.ink["patina_text"], strokeWidth=2.5, aria=False)
    return [band.encode(x=frame.x(), y=frame.y("low"), y2="high:Q"), line.encode(x=frame.x(), y=frame.y())]


def _curve_rows(fitted: ThresholdFit, guess: float, frame: _Frame) -> list[Row]:
    """The curve, and the curves whose half-way point lies at the lower and upper limit; flat where there is none."""
    import numpy as np

    from analysis.choice.threshold import LAPSE, expected_right

    left, right = frame.across
    spread = np.geomspace if frame.by_ratio else np.linspace
    steps = spread(max(left, right / 200), right, _STEPS)
    low, high = fitted.low.value, fitted.high.value
    first = expected_right(replace(fitted, mu=float(np.log(low))), steps) if low else np.full(_STEPS, 1 - LAPSE)
    last = expected_right(replace(fitted, mu=float(np.log(high))), steps) if high else np.full(_STEPS, guess)
    middle = expected_right(fitted, steps)
    return [
        {"x": float(x), "y": float(y), "high": float(up), "low": float(down)}
        for x, y, up, down in zip(steps, middle, first, last, strict=True)
    ]


def _tasted(fitted: ThresholdFit, unit: str) -> list[Row]:
    """What the panel answered at each dose; limits as if the answers were of different people."""
    from analysis.choice import exact_limits

    answers = fitted.answers
    rows = []
    for level, right, asked in zip(answers.doses, answers.correct.sum(axis=0), answers.trials.sum(axis=0), strict=True):
        low, high = exact_limits(int(asked), int(right), fitted.alpha)
        said = dose_says(float(level), int(right), int(asked), unit)
        rows.append({"x": float(level), "y": float(right / asked), "low": low, "high": high, "say": said})
    return rows


def _tasted_marks(rows: list[Row], frame: _Frame) -> list[alt.Chart]:
    ink = frame.ink["ink"]
    bar = _on(rows).mark_rule(color=ink, strokeWidth=2, aria=False).encode(x=frame.x(), y=frame.y("low"), y2="high:Q")
    disc = {"shape": "circle", "filled": True, "opacity": 1}
    return [
        bar,
        _on(rows).mark_point(**disc, size=140, color=frame.ink["card"], aria=False).encode(x=frame.x(), y=frame.y()),
        _on(rows).mark_point(**disc, size=75, color=ink).encode(x=frame.x(), y=frame.y(), description="say:N"),
    ]


def _halfway(fitted: ThresholdFit, half: float, unit: str, frame: _Frame) -> list[alt.Chart]:
    """The half-way dose with its interval; an end that no dose tasted carries reaches the edge and has no cap."""
    point, ink = fitted.estimate.value, frame.ink
    low, high = fitted.low.value, fitted.high.value
    if point is None and low is None and high is None:
        return []
    ends = [{"low": frame.across[0] if low is None else low, "high": high or frame.across[1], "y": half}]
    layers = [
        _on(ends)
        .mark_rule(color=ink["ink"], strokeWidth=3, aria=False)
        .encode(x=frame.x("low"), x2="high:Q", y=frame.y())
    ]
    caps = [{"x": end, "y": half} for end in (low, high) if end is not None]
    if caps:
        tick = {"orient": "vertical", "size": 14, "thickness": 2.5, "color": ink["ink"], "opacity": 1, "aria": False}
        layers.append(_on(caps).mark_tick(**tick).encode(x=frame.x(), y=frame.y()))
    if point is None:
        return layers
    say = _("half-way from {dose} on").format(dose=dose(point, unit_word(unit)))
    rows, mark = [{"x": point, "y": half, "say": say}], {"shape": "diamond", "filled": True, "opacity": 1}
    return [
        *layers,
        _on(rows).mark_point(**mark, size=330, color=ink["card"], aria=False).encode(x=frame.x(), y=frame.y()),
        _on(rows).mark_point(**mark, size=150, color=ink["ink"]).encode(x=frame.x(), y=frame.y(), description="say:N"),
    ]


# ---- batch after batch -------------------------------------------------------------------------------------------
def ladder(result: Ladder, aim: str, theme: Theme = "light") -> alt.LayerChart:
    """Who truly notices in each batch, or after each number of days, against the limit that was set."""
    levels = [rung.batch for rung in result.rungs]
    edge = 0.5 if len(levels) < 2 else 0.12 * (levels[-1] - levels[0]) + 0.15
    names = {level: rung_name(level, aim) for level in levels}
    label = " : ".join(f"datum.value == {level} ? '{name}'" for level, name in names.items()) + " : ''"
    frame = _Frame(
        TOKENS[theme], (levels[0] - edge, levels[-1] + 2 * edge), (-3, 103), levels, (0, 25, 50, 75, 100),
        x_label=label,
        y_label="datum.value + ' %'",
    )  # fmt: skip
    rows: dict[str, list[Row]] = {"gone": [], "open": [], "found": []}
    for rung in result.rungs:
        share = rung.result.proportion_discriminators
        row = {"x": rung.batch, "y": 100 * (share.estimate or 0.0), "low": 100 * (share.low or 0.0)}
        row |= {
            "high": 100 * (1.0 if share.high is None else share.high),
            "say": rung_says(rung.batch, rung.result, result, aim),
        }
        rows[rung_kind(rung.batch, result)].append(row)
    layers = _limit_band(result.pd_limit, frame)
    for kind, listed in rows.items():
        layers += _rungs(kind, listed, frame) if listed else []
    return _dressed(alt.layer(*layers), frame, LADDER)


def _limit_band(limit: float, frame: _Frame) -> list[alt.Chart]:
    left, right = frame.across
    band = _on([{"x": left, "end": right, "y": frame.up[0], "top": 100 * limit}]).mark_rect(
        color=frame.ink["band"], opacity=1, aria=False
    )
    edge = _on([{"y": 100 * limit}]).mark_rule(
        color=frame.ink["patina_text"], strokeDash=[5, 3], strokeWidth=1.5, aria=False
    )
    words = _words(_("limit {share}").format(share=percent(limit)), right, 100 * limit, frame)
    letters = {"align": "right", "dx": -4, "dy": -9, "baseline": "middle", "fontSize": 13, "aria": False}
    return [
        band.encode(x=frame.x(), x2="end:Q", y=frame.y(), y2="top:Q"),
        edge.encode(y=frame.y()),
        words.mark_text(**letters, fontWeight=600, color=frame.ink["patina_text"]),
    ]


def _rungs(kind: str, rows: list[Row], frame: _Frame) -> list[alt.Chart]:
    """Bars with a cap at the end that decides: the upper one of a batch that is gone, the lower one of one found."""
    colour = {"gone": "patina_text", "open": "copper", "found": "ink"}[kind]
    end = "low" if kind == "found" else "high"
    bar = _on(rows).mark_rule(color=frame.ink[colour], strokeWidth=2.5, aria=False)
    cap = _on(rows).mark_tick(
        orient="horizontal", size=13, thickness=2.5, color=frame.ink[colour], opacity=1, aria=False
    )
    layers = [
        bar.encode(x=frame.x(), y=frame.y("low"), y2="high:Q"),
        cap.encode(x=frame.x(), y=frame.y(end)),
    ]
    if kind == "gone":
        return [*layers, *_discs(rows, frame)]
    if kind == "open":
        cross = {"shape": _CROSS, "filled": False, "opacity": 1, "size": 130}
        back = cross | {"strokeWidth": 7, "stroke": frame.ink["card"], "aria": False}
        front = cross | {"strokeWidth": 3, "stroke": frame.ink[colour]}
    else:
        back = {
            "shape": "triangle-up",
            "filled": True,
            "opacity": 1,
            "size": 260,
            "color": frame.ink["card"],
            "aria": False,
        }
        front = {"shape": "triangle-up", "filled": True, "opacity": 1, "size": 130, "color": frame.ink[colour]}
    return [
        *layers,
        _on(rows).mark_point(**back).encode(x=frame.x(), y=frame.y()),
        _on(rows).mark_point(**front).encode(x=frame.x(), y=frame.y(), description="say:N"),
    ]


# ---- a plan that stops early -------------------------------------------------------------------------------------
def lines(plan: SequentialPlan, path: Sequence[tuple[int, int]], theme: Theme = "light") -> alt.LayerChart:
    """The two sealed lines, the cap, and where the panel stood after each complete round (answers, right)."""
    top = max([right for _n, right in path] + [plan.different_intercept + plan.slope * plan.cap])
    ticks = [*range(0, plan.cap, max(1, round(plan.cap / 6))), plan.cap]
    frame = _Frame(
        TOKENS[theme], (0, plan.cap), (0, top * 1.08), ticks, [round(top / 4 * step) for step in range(5)], _("answers")
    )
    layers = [
        *_line(plan, plan.different_intercept, frame),
        *_line(plan, plan.same_intercept, frame),
        _region(_("detectable"), plan.cap * 0.02, top, "left", frame),
        _region(_("close enough"), plan.cap * 0.98, top * 0.08, "right", frame),
    ]
    rows = [
        {"x": n, "y": right, "say": _("after {n} answers {right} right").format(n=n, right=right)} for n, right in path
    ]
    if rows:
        way = _on([{"x": 0, "y": 0}, *rows]).mark_line(color=frame.ink["ink"], strokeWidth=2.5, aria=False)
        layers += [way.encode(x=frame.x(), y=frame.y()), *_discs(rows, frame)]
    return _dressed(alt.layer(*layers), frame, LINES)


def _line(plan: SequentialPlan, intercept: float, frame: _Frame) -> list[alt.Chart]:
    start = max(0.0, -intercept / plan.slope)
    rows = [{"x": at, "y": intercept + plan.slope * at} for at in (start, plan.cap)]
    line = _on(rows).mark_line(color=frame.ink["patina_text"], strokeDash=[5, 3], strokeWidth=1.5, aria=False)
    return [line.encode(x=frame.x(), y=frame.y())]


def _region(words: str, x: float, y: float, align: str, frame: _Frame) -> alt.Chart:
    letters = {"align": align, "baseline": "middle", "fontSize": 13, "fontWeight": 600, "aria": False}
    return _words(words, x, y, frame).mark_text(**letters, color=frame.ink["ink"])


# ---- parts -------------------------------------------------------------------------------------------------------
def _discs(rows: list[Row], frame: _Frame) -> list[alt.Chart]:
    disc = {"shape": "circle", "filled": True, "opacity": 1}
    ink = frame.ink
    return [
        _on(rows).mark_point(**disc, size=180, color=ink["card"], aria=False).encode(x=frame.x(), y=frame.y()),
        _on(rows)
        .mark_point(**disc, size=100, color=ink["patina_text"])
        .encode(x=frame.x(), y=frame.y(), description="say:N"),
    ]


def _on(values: list[Row]) -> alt.Chart:
    return alt.Chart(alt.Data(values=values))


def _words(words: str, x: float, y: float, frame: _Frame) -> alt.Chart:
    return _on([{"x": x, "y": y, "words": words}]).encode(x=frame.x(), y=frame.y(), text="words:N")


def _axis(ink: Ink, heading: str | None, ticks: Sequence[float], label: str, *, grid: bool) -> alt.Axis:
    look: dict[str, Any] = {"labelExpr": label or "'' + datum.value"}
    return alt.Axis(
        title=heading, values=list(ticks), grid=grid, domain=False, ticks=not grid, tickColor=ink["edge"],
        gridColor=ink["rule"], labelColor=ink["quiet"], titleColor=ink["quiet"], labelFontSize=14, titleFontSize=13,
        titleFontWeight=400, titlePadding=8, labelPadding=6, labelFlush=False, labelOverlap=True, aria=False, **look,
    )  # fmt: skip


def _dressed(chart: alt.LayerChart, frame: _Frame, height: int) -> alt.LayerChart:
    return (
        chart.properties(width="container", height=height, autosize=alt.AutoSizeParams(type="fit", contains="padding"))
        .configure(font=FONT, background="transparent", padding={"left": 2, "right": 2, "top": 4, "bottom": 0})
        .configure_view(stroke=None)
        .configure_axis(labelColor=frame.ink["quiet"])
    )
