"""One forced-choice test: right answers against the sealed marks, and who truly notices."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from studyapp.findings import percent
from studyapp.kinds.aroma.findings import verdicts
from studyapp.kinds.aroma.findings.verdicts import Zone, zones
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import ChoiceResult

RULER, NOTICING = 170, 130
# A word left of the tick of guessing needs this share of the ruler; without it the word stands above everything.
_ROOM = 0.3


# ---- right answers against the marks -----------------------------------------------------------------------------
def ruler(result: ChoiceResult, guessed: float, theme: Theme) -> Picture:
    """Right answers from 0 to n with the sealed zones, what guessing alone gives, and the count that came."""
    above = guessed < _ROOM * result.trials
    ends = -0.5, result.trials + 0.5
    frame = Frame(theme, ends, (-1.55, 3.1 if above else 2.35))
    layers = [layer for zone in zones(result) for layer in _zone(zone, theme)]
    layers += [marks.ground(ends[0], 0.0, ends[1], 1.0, None, theme.ink)]
    return frame.picture([*layers, *_guessing(guessed, result, above, theme), *_came(result, theme)], RULER)


def _zone(zone: Zone, theme: Theme) -> Iterator[Layer]:
    """One stretch of counts: its ground, its name below, and the counts it holds inside."""
    left, right = zone.low - 0.5, zone.high + 0.5
    fill = {"detectable": theme.band, "open": theme.field, "fewer": theme.field}.get(zone.kind, theme.card)
    yield marks.ground(left, 0.0, right, 1.0, fill, theme.ink)
    if zone.kind == "open":
        middle = (left + right) / 2
        yield marks.words(zone.name, middle, -1.2, theme.ink, "center", weight=600)
        yield marks.upright(middle, -0.8, 0.0, theme.edge)
        return
    if zone.kind == "fewer":
        yield marks.words(zone.name, left, -1.2, theme.ink, "left", weight=600)
        yield marks.upright(left, -0.8, 0.0, theme.edge)
        return
    at, align, inwards = (left, "left", 8) if zone.kind == "close" else (right, "right", -8)
    yield marks.words(zone.name, at, -0.45, theme.ink, align, weight=600)
    yield marks.words(zone.counts, at, 0.5, theme.ink, align, dx=inwards)


def _guessing(guessed: float, result: ChoiceResult, above: bool, theme: Theme) -> Iterator[Layer]:
    """What guessing alone gives; its word keeps away from the triangle."""
    at_right, top = above or result.correct < guessed, 2.75 if above else 1.3
    yield marks.upright(guessed, 0.0, top, theme.ink, 2.0, marks.GUESS_DASH)
    said, align = _("guessing {count}").format(count=round(guessed)), "left" if at_right else "right"
    yield marks.words(said, guessed, top, theme.quiet, align, dx=5 if at_right else -5)


def _came(result: ChoiceResult, theme: Theme) -> Iterator[Layer]:
    """The triangle points at the count that came; its word keeps inside the picture."""
    at, trials = result.correct, result.trials
    align = "left" if at < 0.15 * trials else "right" if at > 0.85 * trials else "center"
    say = verdicts.right_says(result)
    yield from marks.signs("pointer", [{"x": at, "y": 1.25, "say": say}], theme.ink, theme)
    yield marks.words(_("{count} right").format(count=at), at, 1.95, theme.ink, align, weight=700)


# ---- who truly notices -------------------------------------------------------------------------------------------
def noticing(result: ChoiceResult, theme: Theme) -> Picture:
    """The share of answers that came from truly noticing, with its interval and the limit that was set."""
    share = result.proportion_discriminators
    low, at = 100 * (share.low or 0.0), 100 * (share.estimate or 0.0)
    high = 100 * result.most_noticing
    frame = Frame(theme, (-2, 102), (-1.1, 1.35), (0, 25, 50, 75, 100), x_title=_("truly noticing, %"))
    say = verdicts.share_says(result)
    align = "left" if at < 8 else "right" if at > 92 else "center"
    layers = [
        *_allowed(100 * result.pd_limit, frame),
        *marks.lying([{"low": low, "high": high, "y": 0.0}], theme.patina_text, ("low", "high")),
        *marks.signs("disc", [{"x": at, "y": 0.0, "say": say}], theme.patina_text, theme),
        marks.words(percent(share.estimate or 0.0), at, 0.75, theme.ink, align, weight=700),
        _end(low, "right" if low > 8 else "center", theme),
        _end(high, "left" if high < 92 else "center", theme),
    ]
    return frame.picture(layers, NOTICING)


def _end(at: float, align: str, theme: Theme) -> Layer:
    dx = {"right": 3, "left": -3}.get(align, 0)
    return marks.words(f"{round(at)}", at, -0.75, theme.quiet, align, dx=dx)


def _allowed(limit: float, frame: Frame) -> Iterator[Layer]:
    """The share that may notice, as a shaded band from nobody on."""
    low, high = frame.up
    yield marks.ground(0, low, limit, high, frame.theme.band)
    yield marks.upright(limit, low, high, frame.theme.patina_text, 1.5, marks.MARGIN_DASH)
