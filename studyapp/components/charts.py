"""Pictures of results: worsening against hours for one attribute, as an Altair chart.

The whole bar of a pull must lie in the shaded margin; a disc says that this was shown, a cross that it was not, a
square is the reference, and a diamond on a pole stands at the first hour that is enough. Shape and word carry the
meaning, colour only helps. Every value sits on a scale, because pixel offsets drift when a chart is fitted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import altair as alt

from analysis.stopping import AttributeResult, PullResult
from studyapp.components.look import TOKENS, Theme
from studyapp.findings import enough, hours, pull_says, shown, units
from studyapp.findings.scale import Scale, limit_at
from studyapp.words import _

HEIGHT = 250
FONT = "workshop-text, system-ui, sans-serif"
_CROSS = "M-0.7,-0.7L0.7,0.7M-0.7,0.7L0.7,-0.7"


@dataclass(frozen=True, slots=True)
class _Frame:
    """The axes of one chart: colours, hours from `left` to `right`, and the shared scale of worsening."""

    ink: Mapping[str, str]
    scale: Scale
    left: float
    right: float
    pulls: tuple[float, ...]

    def x(self) -> alt.X:
        domain = alt.Scale(domain=[self.left, self.right], nice=False, zero=False)
        return alt.X("hours:Q", scale=domain, axis=_axis(self.ink, _("conching, hours"), list(self.pulls), grid=False))

    def y(self, name: str = "worse") -> alt.Y:
        domain = alt.Scale(domain=[self.scale.low, self.scale.high], nice=False, zero=False)
        return alt.Y(f"{name}:Q", scale=domain, axis=_axis(self.ink, None, self.scale.ticks, grid=True))


# ---- what is drawn -----------------------------------------------------------------------------------------------
def worsening(result: AttributeResult, scale: Scale, theme: Theme = "light") -> alt.LayerChart:
    """Worsening of each pull against the reference, with its interval, margin, limit and chosen hour."""
    frame = _frame(result, scale, theme)
    layers = [*_ground(result, frame), *_pole(result, frame), *_marks(result, frame)]
    return _dressed(alt.layer(*layers), frame.ink)


# ---- layers, from the back to the front --------------------------------------------------------------------------
def _ground(result: AttributeResult, frame: _Frame) -> list[alt.Chart]:
    margin = result.rule.margin
    bottom = -margin if result.rule.wanted == "same" else frame.scale.low
    band = _on([{"hours": frame.left, "end": frame.right, "worse": bottom, "top": margin}]).mark_rect(
        color=frame.ink["band"], opacity=1, aria=False
    )
    edges = [margin, *([-margin] if result.rule.wanted == "same" else [])]
    dashed = _on([{"worse": edge} for edge in edges]).mark_rule(
        color=frame.ink["patina_text"], strokeDash=[5, 3], strokeWidth=1.5, aria=False
    )
    zero = _on([{"worse": 0}]).mark_rule(color=frame.ink["edge"], strokeWidth=1, aria=False)
    below = 9 if _crowded(limit_at(result), margin, frame) else -8
    words = _words(_("margin {margin}").format(margin=units(margin)), frame.right, margin, frame)
    return [
        band.encode(x=frame.x(), x2="end:Q", y=frame.y(), y2="top:Q"),
        dashed.encode(y=frame.y()),
        zero.encode(y=frame.y()),
        words.mark_text(**_letters("right", below), fontWeight=600, color=frame.ink["patina_text"]),
        *_limit(result, frame),
    ]


def _limit(result: AttributeResult, frame: _Frame) -> list[alt.Chart]:
    """The limit on the mean, moved on to the axis of worsening; left out where it lies off the picture."""
    at = limit_at(result)
    if result.rule.limit is None or at is None or not frame.scale.shows_limit(result):
        return []
    ink = frame.ink["ink"]
    edge = _on([{"worse": at}]).mark_rule(color=ink, strokeWidth=2, aria=False).encode(y=frame.y())
    words = _words(_("limit {limit}").format(limit=units(result.rule.limit)), frame.right, at, frame)
    below = 9 if _crowded(result.rule.margin, at, frame) else -8
    return [edge, words.mark_text(**_letters("right", below), fontWeight=600, color=ink)]


def _pole(result: AttributeResult, frame: _Frame) -> list[alt.Chart]:
    """The first hour that is enough; it stands on the margin, so it never crosses a passing bar."""
    top = frame.scale.high - 0.06 * (frame.scale.high - frame.scale.low)
    hour = enough(result)
    if hour is None:
        words = _words(_("none of these yet"), frame.right, top, frame)
        return [words.mark_text(**_letters("right", 0), fontWeight=600, color=frame.ink["ink"])]
    late = (hour - frame.left) / (frame.right - frame.left) > 0.55
    letters = _letters("right" if late else "left", 0) | {"dx": -11 if late else 11}
    words = _words(_("{hours} h is enough").format(hours=hours(hour)), hour, top, frame)
    pole = _on([{"hours": hour, "worse": result.rule.margin, "top": top}])
    return [
        pole.mark_rule(color=frame.ink["ink"], strokeWidth=1.5, aria=False).encode(
            x=frame.x(), y=frame.y(), y2="top:Q"
        ),
        _on([{"hours": hour, "worse": top}])
        .mark_point(shape="diamond", size=110, filled=True, opacity=1, color=frame.ink["ink"], aria=False)
        .encode(x=frame.x(), y=frame.y()),
        words.mark_text(**letters, fontWeight=600, color=frame.ink["ink"]),
    ]


def _marks(result: AttributeResult, frame: _Frame) -> list[alt.Chart]:
    judged = [pull for pull in result.pulls if pull.hours != result.reference_hours]
    within = [_datum(result, pull) for pull in judged if shown(result, pull)]
    open_ = [_datum(result, pull) for pull in judged if not shown(result, pull)]
    ends = ["high", "low"] if result.rule.wanted == "same" else ["high"]
    layers: list[alt.Chart] = []
    for data, colour in ((open_, frame.ink["copper"]), (within, frame.ink["patina_text"])):
        layers += _bars([datum for datum in data if "high" in datum], ends, colour, frame)
    # A layer without points would still be announced as an empty group.
    layers += _crosses(open_, frame) if open_ else []
    layers += _discs(within, frame) if within else []
    return [*layers, *_reference_mark(result, frame)]


def _crosses(data: list[dict[str, Any]], frame: _Frame) -> list[alt.Chart]:
    cross = {"shape": _CROSS, "filled": False, "opacity": 1, "size": 130}
    return [
        _points(data, cross | {"strokeWidth": 7, "stroke": frame.ink["card"], "aria": False}, frame),
        _points(data, cross | {"strokeWidth": 3, "stroke": frame.ink["copper"]}, frame, spoken=True),
    ]


def _discs(data: list[dict[str, Any]], frame: _Frame) -> list[alt.Chart]:
    disc = {"shape": "circle", "filled": True, "opacity": 1}
    return [
        _points(data, disc | {"size": 150, "color": frame.ink["card"], "aria": False}, frame),
        _points(data, disc | {"size": 85, "color": frame.ink["patina_text"]}, frame, spoken=True),
    ]


def _bars(data: list[dict[str, Any]], ends: list[str], colour: str, frame: _Frame) -> list[alt.Chart]:
    """The interval, with a cap only at the end that decides."""
    bar = (
        _on(data)
        .mark_rule(color=colour, strokeWidth=2.5, aria=False)
        .encode(x=frame.x(), y=frame.y("low"), y2="high:Q")
    )
    caps = [
        _on(data)
        .mark_tick(orient="horizontal", size=13, thickness=2.5, color=colour, opacity=1, aria=False)
        .encode(x=frame.x(), y=frame.y(end))
        for end in ends
    ]
    return [bar, *caps]


def _reference_mark(result: AttributeResult, frame: _Frame) -> list[alt.Chart]:
    reference = _datum(result, _reference(result))
    square = {"shape": "square", "size": 95, "filled": True, "opacity": 1, "fill": frame.ink["card"]}
    words = _words(_("reference"), frame.right, 0.0, frame)
    return [
        words.mark_text(**_letters("right", 15), color=frame.ink["quiet"]),
        _points([reference], square | {"stroke": frame.ink["ink"], "strokeWidth": 2.5}, frame, spoken=True),
    ]


# ---- parts -------------------------------------------------------------------------------------------------------
def _frame(result: AttributeResult, scale: Scale, theme: Theme) -> _Frame:
    pulls = tuple(sorted({pull.hours for pull in result.pulls}))
    edge = 0.06 * ((pulls[-1] - pulls[0]) or 1.0)
    return _Frame(TOKENS[theme], scale, pulls[0] - edge, pulls[-1] + edge, pulls)


def _crowded(other: float | None, line: float, frame: _Frame) -> bool:
    """Whether another line lies so close above this one that this one's word must go below it."""
    return other is not None and line <= other < line + 0.11 * (frame.scale.high - frame.scale.low)


def _datum(result: AttributeResult, pull: PullResult) -> dict[str, Any]:
    """What the browser gets of a pull: hours, numbers and its sentence."""
    datum: dict[str, Any] = {"hours": pull.hours, "worse": pull.difference, "say": pull_says(result, pull)}
    if pull.decisive_lower is not None and pull.decisive_upper is not None:
        datum |= {"low": pull.decisive_lower, "high": pull.decisive_upper}
    return datum


def _points(data: list[dict[str, Any]], mark: dict[str, Any], frame: _Frame, spoken: bool = False) -> alt.Chart:
    chart = _on(data).mark_point(**mark).encode(x=frame.x(), y=frame.y())
    if not spoken:
        return chart
    tips = [
        alt.Tooltip("hours:Q", title=_("hours")),
        alt.Tooltip("worse:Q", title=_("worse by"), format=".1f"),
        alt.Tooltip("high:Q", title=_("at most"), format=".1f"),
    ]
    return chart.encode(description="say:N", tooltip=tips)


def _reference(result: AttributeResult) -> PullResult:
    return next(pull for pull in result.pulls if pull.hours == result.reference_hours)


def _on(values: list[dict[str, Any]]) -> alt.Chart:
    return alt.Chart(alt.Data(values=values))


def _words(words: str, hours: float, worse: float, frame: _Frame) -> alt.Chart:
    return _on([{"hours": hours, "worse": worse, "words": words}]).encode(x=frame.x(), y=frame.y(), text="words:N")


def _letters(align: str, dy: int) -> dict[str, Any]:
    return {"align": align, "baseline": "middle", "dy": dy, "fontSize": 13, "aria": False}


def _axis(ink: Mapping[str, str], heading: str | None, ticks: list[Any], *, grid: bool) -> alt.Axis:
    return alt.Axis(
        title=heading,
        values=ticks,
        grid=grid,
        domain=False,
        ticks=not grid,
        tickColor=ink["edge"],
        gridColor=ink["rule"],
        labelColor=ink["quiet"],
        titleColor=ink["quiet"],
        labelFontSize=14,
        titleFontSize=13,
        titleFontWeight=400,
        titlePadding=8,
        labelPadding=6,
        labelFlush=False,
        labelOverlap=True,
        format=".6~g",  # with a precision of its own: a bare "g" takes it from the step and writes 24 as 2e+1
        aria=False,
    )


def _dressed(chart: alt.LayerChart, ink: Mapping[str, str]) -> alt.LayerChart:
    return (
        chart.properties(width="container", height=HEIGHT, autosize=alt.AutoSizeParams(type="fit", contains="padding"))
        .configure(font=FONT, background="transparent", padding={"left": 2, "right": 2, "top": 4, "bottom": 0})
        .configure_view(stroke=None)
        .configure_axis(labelColor=ink["quiet"])
    )
