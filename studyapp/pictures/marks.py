"""The signs, bars and axes that all pictures share, as layers of a Vega-Lite specification.

A row holds what one mark needs: its place on the two scales, the ends of its bar, and the sentence that is read aloud.
Every place lies on a scale, because an offset in pixels drifts when a picture is fitted to what holds it. Only a mark
with a sentence speaks; the rest is silent, or a reader aloud would hear every rule and number by its raw name.

Specifications are written out here, not put together with Altair's classes: those check and copy every layer and cost
more than the verdict itself. Tests hold every picture against the schema that Altair ships.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Any, Literal

from studyapp.pictures.theme import Theme

Row = dict[str, Any]
Layer = dict[str, Any]
Picture = dict[str, Any]
Sign = Literal["disc", "cross", "triangle", "pointer", "diamond", "reference", "ring"]

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
# A ring on a short bar: an open square would look like a box to tick.
REFERENCE = "M-1.1,0L1.1,0M0.5,0A0.5,0.5,0,1,1,-0.5,0A0.5,0.5,0,1,1,0.5,0"
CROSS = "M-0.7,-0.7L0.7,0.7M-0.7,0.7L0.7,-0.7"
LETTERS, NUMBERS = 13, 14  # px
MARGIN_DASH, GUESS_DASH = (5, 3), (2, 3)
_BAR = 2.5
_LETTER = 7.0  # px, rough width of a bold letter
# Shape and size (square px) of a sign; the size of the halo that keeps it apart from a bar, 0 for none.
_SHAPES: Mapping[Sign, tuple[str, int, int]] = {
    "disc": ("circle", 90, 160),
    "triangle": ("triangle-up", 130, 260),
    "pointer": ("triangle-down", 130, 0),
    "diamond": ("diamond", 120, 280),
}


@dataclass(frozen=True, slots=True)
class Frame:
    """The two scales of a picture: their ends, what stands at their ticks, and the theme.

    An axis without ticks is not drawn. `x_names` and `y_names` give ticks words of their own; `by_ratio` draws equal
    ratios at equal distance across, `up_by_ratio` upwards. `y_room` px are kept left of the scale, so that pictures
    under each other lie hour under hour; None: what its numbers take.
    """

    theme: Theme
    across: tuple[float, float]
    up: tuple[float, float]
    x_ticks: Sequence[float] = ()
    y_ticks: Sequence[float] = ()
    x_title: str = ""
    x_names: Mapping[float, str] | None = None
    y_names: Mapping[float, str] | None = None
    by_ratio: bool = False
    up_by_ratio: bool = False
    y_room: int | None = None
    y_title: str = ""

    def picture(self, layers: Iterable[Layer], height: int) -> Picture:
        """The layers on these scales, from the back to the front; `height` in px with the axes."""
        x_axis = _axis(self.theme, self.x_ticks, self.x_names, self.x_title, grid=False)
        y_axis = _axis(self.theme, self.y_ticks, self.y_names, self.y_title, grid=True)
        if y_axis is not None and self.y_room is not None:
            y_axis |= {"minExtent": self.y_room, "maxExtent": self.y_room}
        return {
            "$schema": SCHEMA,
            "width": "container",
            "height": height,
            "autosize": {"type": "fit", "contains": "padding"},
            "background": "transparent",
            # As a configuration, which the screen may widen: Streamlit keeps room below, paper needs none.
            "config": {
                "font": self.theme.font,
                "view": {"stroke": None},
                "padding": {"left": 2, "right": 2, "top": 4, "bottom": 0},
            },
            "encoding": {
                "x": _scaled(self.across, x_axis, self.by_ratio),
                "y": _scaled(self.up, y_axis, self.up_by_ratio),
            },
            "layer": list(layers),
        }


def _scaled(ends: tuple[float, float], axis: dict[str, Any] | None, by_ratio: bool = False) -> dict[str, Any]:
    scale = {"domain": list(ends), "nice": False, "zero": False, "type": "log" if by_ratio else "linear"}
    return {"type": "quantitative", "scale": scale, "axis": axis}


def _axis(
    theme: Theme, ticks: Sequence[float], names: Mapping[float, str] | None, heading: str = "", *, grid: bool
) -> dict[str, Any] | None:
    if not ticks:
        return None
    # A format with a precision of its own: a bare "g" takes it from the step and writes 24 as 2e+1.
    words = {"labelExpr": _named(names)} if names else {"format": ".6~g"}
    return words | {
        "title": heading or None,
        "values": list(ticks),
        "grid": grid,
        "domain": False,
        "ticks": not grid,
        "tickColor": theme.edge,
        "gridColor": theme.rule,
        "labelColor": theme.quiet,
        "titleColor": theme.quiet,
        "labelFontSize": NUMBERS,
        "titleFontSize": LETTERS,
        "titleFontWeight": 400,
        "titlePadding": 8,
        "labelPadding": 6,
        "labelFlush": False,
        "labelOverlap": True,
        "aria": False,
    }


def _named(names: Mapping[float, str]) -> str:
    """A Vega expression that gives each tick its words; they are data and are quoted as such."""
    quoted = ((at, name.replace("\\", "\\\\").replace("'", "\\'")) for at, name in names.items())
    return " : ".join(f"abs(datum.value - {at!r}) < 1e-6 ? '{name}'" for at, name in quoted) + " : ''"


def round_ticks(low: float, high: float, by_ratio: bool = False, about: int = 4) -> list[float]:
    """About so many round numbers."""
    if by_ratio:
        powers = range(floor(log10(low)), ceil(log10(high)) + 1)
        every = [lead * 10.0**power for power in powers for lead in (1, 1.5, 2, 3, 4, 5, 6, 8)]
        within = [value for value in every if low <= value <= high]
        return within[:: max(1, ceil(len(within) / 5))]
    raw = (high - low) / about
    step = next(lead * 10.0 ** floor(log10(raw)) for lead in (1, 2, 5, 10) if lead * 10.0 ** floor(log10(raw)) >= raw)
    return [round(step * number, 10) for number in range(ceil(low / step), floor(high / step) + 1)]


# ---- grounds and lines -------------------------------------------------------------------------------------------
def ground(left: float, bottom: float, right: float, top: float, colour: str | None, edge: str = "") -> Layer:
    """A filled stretch, with an outline where `edge` names a colour."""
    rows = [{"x": left, "x2": right, "y": bottom, "y2": top}]
    outline = {"stroke": edge, "strokeWidth": 1.25} if edge else {}
    return layer({"type": "rect", "fill": colour, "opacity": 1, **outline}, rows, x="x", x2="x2", y="y", y2="y2")


def level(frame: Frame, at: float, colour: str, width: float = 1.0, dash: Sequence[float] = ()) -> Layer:
    """A horizontal line across the whole picture."""
    left, right = frame.across
    return stroke([{"x": left, "y": at}, {"x": right, "y": at}], colour, width, dash)


def stroke(rows: Sequence[Row], colour: str, width: float = 1.0, dash: Sequence[float] = ()) -> Layer:
    """A line through the places of the rows, from left to right."""
    dashes = {"strokeDash": list(dash)} if dash else {}
    return layer({"type": "line", "color": colour, "strokeWidth": width, **dashes}, rows, x="x", y="y")


def upright(at: float, low: float, high: float, colour: str, width: float = 1.0, dash: Sequence[float] = ()) -> Layer:
    """A vertical line."""
    dashes = {"strokeDash": list(dash)} if dash else {}
    rows = [{"x": at, "low": low, "high": high}]
    return layer({"type": "rule", "color": colour, "strokeWidth": width, **dashes}, rows, x="x", y="low", y2="high")


# ---- bars and signs ----------------------------------------------------------------------------------------------
def bars(rows: Sequence[Row], colour: str, ends: Sequence[str] = (), width: float = _BAR) -> list[Layer]:
    """A vertical bar a row, from `low` to `high`, with a cap at the ends named; no rows, no layer."""
    if not rows:
        return []
    rule = layer({"type": "rule", "color": colour, "strokeWidth": width}, rows, x="x", y="low", y2="high")
    return [rule, *(cap("horizontal", rows, colour, x="x", y=end) for end in ends)]


def lying(rows: Sequence[Row], colour: str, ends: Sequence[str], width: float = _BAR) -> list[Layer]:
    """The same, lying: a horizontal bar a row."""
    rule = layer({"type": "rule", "color": colour, "strokeWidth": width}, rows, x="low", x2="high", y="y")
    return [rule, *(cap("vertical", rows, colour, x=end, y="y") for end in ends)]


def cap(orient: str, rows: Sequence[Row], colour: str, **fields: str) -> Layer:
    """A short stroke across the end of a bar."""
    mark = {"type": "tick", "orient": orient, "size": 13, "thickness": _BAR, "color": colour, "opacity": 1}
    return layer(mark, rows, **fields)


def diamond(x: float, y: float, colour: str) -> Layer:
    """A silent diamond, the head of a pole."""
    shape, size, _around = _SHAPES["diamond"]
    return layer(
        {"type": "point", "shape": shape, "size": size, "filled": True, "opacity": 1, "color": colour},
        [{"x": x, "y": y}],
        x="x",
        y="y",
    )


def signs(
    sign: Sign, rows: Sequence[Row], colour: str, theme: Theme, tips: Mapping[str, str] | None = None
) -> list[Layer]:
    """A sign a row, with the colour of the card around it; a row says its sentence `say`.

    `tips` names the numbers of a row that a pointer shows, one decimal each. No rows give no layer, since an empty one
    would still be announced as a group.
    """
    if not rows:
        return []
    halo, drawn = _faces(sign, colour, theme)
    behind = [layer({"type": "point", "opacity": 1, **halo}, rows, x="x", y="y")] if halo else []
    return [*behind, _speaking({"type": "point", "opacity": 1, **drawn}, rows, tips or {})]


def rings(rows: Sequence[Row], theme: Theme) -> list[Layer]:
    """A small ring a row, for what is described beside a sign; a row says its sentence `say`."""
    drawn = {"type": "point", "shape": "circle", "size": 34, "fill": theme.card, "stroke": theme.edge, "opacity": 1}
    return [_speaking(drawn | {"strokeWidth": 1.5}, rows, {})]


def _faces(sign: Sign, colour: str, theme: Theme) -> tuple[dict[str, Any], dict[str, Any]]:
    """How the halo of a sign and the sign itself are drawn."""
    if sign == "cross":
        cross = {"shape": CROSS, "filled": False, "size": 130}
        return cross | {"strokeWidth": 7, "stroke": theme.card}, cross | {"strokeWidth": 3, "stroke": colour}
    if sign == "ring":
        return {}, {"shape": "circle", "filled": False, "size": 28, "stroke": colour, "strokeWidth": 1.5}
    if sign == "reference":
        return {}, {"shape": REFERENCE, "size": 320, "fill": theme.card, "stroke": colour, "strokeWidth": _BAR}
    shape, size, around = _SHAPES[sign]
    filled = {"shape": shape, "filled": True}
    return filled | {"size": around, "color": theme.card} if around else {}, filled | {"size": size, "color": colour}


# ---- words -------------------------------------------------------------------------------------------------------
def words(
    said: str, x: float, y: float, colour: str, align: str = "left", *, dx: int = 0, dy: int = 0, weight: int = 400
) -> Layer:
    """Words at a place, moved by so many px."""
    letters = {"align": align, "baseline": "middle", "dx": dx, "dy": dy, "fontSize": LETTERS, "fontWeight": weight}
    return layer(
        {"type": "text", "color": colour, **letters}, [{"x": x, "y": y, "words": said}], x="x", y="y", text="words"
    )


def patch(said: str, x: float, y: float, ground: str, dy: int) -> Layer:
    """The ground behind words that end at a place, so that no hairline of the grid runs through them."""
    width = round(_LETTER * len(said))
    mark = {"type": "rect", "width": width, "height": LETTERS - 1, "xOffset": -width / 2, "yOffset": dy}
    return layer(mark | {"fill": ground, "opacity": 1}, [{"x": x, "y": y}], x="x", y="y")


# ---- layers ------------------------------------------------------------------------------------------------------
def layer(mark: dict[str, Any], rows: Sequence[Row], **fields: str) -> Layer:
    """A silent layer: a mark for the rows, and the field of a row behind each channel."""
    encoding = {channel: {"field": field} for channel, field in fields.items()}
    return {"data": {"values": list(rows)}, "mark": {**mark, "aria": False}, "encoding": encoding}


def _speaking(mark: dict[str, Any], rows: Sequence[Row], tips: Mapping[str, str]) -> Layer:
    spoken = layer(mark, rows, x="x", y="y")
    spoken["mark"].pop("aria")
    spoken["encoding"]["description"] = {"field": "say", "type": "nominal"}
    if tips:
        spoken["encoding"]["tooltip"] = [
            {"field": field, "type": "quantitative", "title": title, "format": ".1f"} for field, title in tips.items()
        ]
    return spoken
