"""Each make against the reference: a row an attribute, better to the left, worse to the right, the claim as a band."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil
from typing import TYPE_CHECKING

from studyapp.findings.numbers import beside, opening, units
from studyapp.kinds.comparison.findings import claim_line, difference_told, hours
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture, Row, Sign
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.comparing import Bracket, ClaimResult, Compared, MakeClaim, MakeResult, PullAnswer

ROW, TOP = 62, 76  # px of a row, and of all that is no row
_HALF, _NAME = 0.26, 0.42  # of a row: the height of its band on either side, where its name stands
_LEAST = 2.0  # units on either side that are always drawn


def against(found: Compared, name: str, theme: Theme) -> Picture:
    """One make against the reference; all makes of a comparison share one scale."""
    make, reach = found.makes[name], _reach(found)
    names = list(make.attributes)
    at = {what: float(len(names) - 1 - row) for row, what in enumerate(names)}
    frame = Frame(
        theme,
        (-reach, reach),
        (-0.5, len(names) + 0.05),
        list(range(-int(reach), int(reach) + 1, 1 if reach <= 4 else 2)),
        x_title=_("units, against {ref}").format(ref=found.reference),
    )
    layers = [*_ground(found, frame, at), *_named(found, frame, at), *_bars(make, found, frame, at)]
    return frame.picture(layers, TOP + ROW * len(names))


def _reach(found: Compared) -> float:
    """The end of the scale on either side, whole units."""
    ends = [_LEAST, *(one.margin for one in found.claims.values())]
    for make in found.makes.values():
        for one in make.attributes.values():
            ends += [abs(end) for end in (one.lower, one.upper, one.difference) if end is not None]
    return float(ceil(max(ends) + 0.4))


def _ground(found: Compared, frame: Frame, at: dict[str, float]) -> Iterator[Layer]:
    """Where the whole bar of each attribute must end, and the line of no difference."""
    low, high = frame.across
    for what, place in at.items():
        claim = found.claims[what]
        left, right = _band(claim, low)
        bottom, top = place - _HALF, place + _HALF
        yield marks.ground(left, bottom, right, top, frame.theme.band)
        for edge in (left, right):
            if low < edge < high:
                yield marks.upright(edge, bottom, top, frame.theme.patina_text, 1.5, marks.MARGIN_DASH)
    yield marks.upright(0.0, -0.5, frame.up[1], frame.theme.edge)


def _band(claim: MakeClaim, low: float) -> tuple[float, float]:
    if claim.claim == "better":
        return low, 0.0
    return (-claim.margin if claim.claim == "same" else low), claim.margin


def _named(found: Compared, frame: Frame, at: dict[str, float]) -> Iterator[Layer]:
    """The name of each row with its claim, above its band, so that a phone's width is left to the bars."""
    low, high = frame.across
    top = frame.up[1] - 0.14
    yield marks.words(_("better"), low, top, frame.theme.quiet)
    yield marks.words(_("worse"), high, top, frame.theme.quiet, "right")
    for what, place in at.items():
        said = f"{opening(what)}: {claim_line(found.claims[what])}"
        yield marks.words(said, low, place + _NAME, frame.theme.ink, weight=600)


def _bars(make: MakeResult, found: Compared, frame: Frame, at: dict[str, float]) -> Iterator[Layer]:
    theme = frame.theme
    tips = {"x": _("worse by"), "high": _("at most")}
    for shown, sign, colour in ((False, "cross", theme.copper), (True, "disc", theme.patina_text)):
        for what, one in make.attributes.items():
            if one.shown != shown:
                continue
            row = _row(what, one, found.claims[what], at[what])
            if "high" in row:
                yield from marks.lying([row], colour, _ends(found.claims[what]))
            yield from marks.signs("cross" if sign == "cross" else "disc", [row], colour, theme, tips)
            if not shown and one.upper is not None:
                yield marks.words(_reaching(one, found.claims[what]), one.upper, at[what], colour, dx=8, weight=600)


def _ends(claim: MakeClaim) -> Sequence[str]:
    return ("low", "high") if claim.claim == "same" else ("high",)


def _reaching(one: ClaimResult, claim: MakeClaim) -> str:
    assert one.upper is not None
    return units(one.upper) if claim.claim == "better" else beside(one.upper, claim.margin)


def _row(what: str, one: ClaimResult, claim: MakeClaim, place: float) -> Row:
    row: Row = {"x": one.difference, "y": place, "say": difference_told(opening(what), one, claim)}
    if one.lower is not None and one.upper is not None:
        row |= {"low": one.lower, "high": one.upper}
    return row


# ---- hours -----------------------------------------------------------------------------------------------------------
LANE = 66  # px of a make
_SIGNS: tuple[tuple[str, Sign], ...] = (
    ("good enough", "disc"),
    ("not good enough", "cross"),
    ("reference", "reference"),
)


def needed(found: Bracket, theme: Theme) -> Picture:
    """Both makes over the hours after which they were tasted; shaded is what the one is shown to need longer."""
    longest = max(one.hours for one in found.pulls)
    lanes = {found.slow: 1.0, found.fast: 0.0}
    frame = Frame(
        theme,
        (-0.04 * longest, 1.06 * longest),
        (-0.45, 1.7),
        sorted({one.hours for one in found.pulls}),
        x_title=_("hours"),
    )
    low, high = frame.across
    layers = []
    if found.over is not None and found.at_most is not None and found.more_than is not None:
        layers.append(marks.ground(found.at_most, -0.45, found.more_than, 1.3, theme.band))
    for make, place in lanes.items():
        layers.append(marks.stroke([{"x": low, "y": place}, {"x": high, "y": place}], theme.edge))
        layers.append(marks.words(make, low, place + 0.36, theme.ink, weight=600))
    layers += [one for answer, sign in _SIGNS for one in _pulls(found, lanes, answer, sign, theme)]
    layers += [
        marks.words("?", one.hours, lanes[one.make], theme.quiet, "center", weight=600)
        for one in found.pulls
        if one.answer in ("open", "no answer")
    ]
    return frame.picture(layers, 2 * LANE + 60)


def _pulls(found: Bracket, lanes: dict[str, float], answer: str, sign: Sign, theme: Theme) -> list[Layer]:
    rows: list[Row] = [
        {"x": one.hours, "y": lanes[one.make], "say": _say(one)} for one in found.pulls if one.answer == answer
    ]
    colour = {"disc": theme.patina_text, "cross": theme.copper}.get(sign, theme.ink)
    return marks.signs(sign, rows, colour, theme)


def _say(one: PullAnswer) -> str:
    return _("{pull}: {answer}").format(pull=hours.pull_told(one), answer=hours.answer_told(one))
