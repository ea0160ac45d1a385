"""A ladder of butter and the conched mass beside it: what was read over butter added, and down to what it is worth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from studyapp.batches import Ladder, Rung
from studyapp.findings import butter as findings
from studyapp.findings import hours as as_hours
from studyapp.findings.numbers import trimmed
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture, Row
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.instruments import ButterWorth

HEIGHT = 330
_FOOT, _ROOM = 0.26, 0.06  # of the span on logs: for the bar below, and above
_SIDE, _APART = 0.07, 0.016  # of the span of additions, free at either side, and between portions


def worth(name: str, ladder: Ladder, one: ButterWorth, theme: Theme) -> Picture:
    """One quantity: discs for the ladder with its curve, diamonds for the conched mass, a pole down to the butter."""
    steps, conched = _parted(name, ladder)
    frame = _frame([*steps, *conched], ladder, theme)
    own = _mean(conched)
    ground = [*_curve(steps, conched, theme), *_worth(own, one, frame)]
    return frame.picture(
        [*ground, *_portions(steps, conched, name, ladder, frame), _named(conched, ladder, frame)], HEIGHT
    )


def _parted(name: str, ladder: Ladder) -> tuple[list[Rung], list[Rung]]:
    own = [one for one in ladder.rungs if one.quantity == name]
    return [one for one in own if one.added is not None], [one for one in own if one.added is None]


def _mean(conched: Sequence[Rung]) -> float:
    """As the fit takes it: of logs."""
    product = 1.0
    for one in conched:
        product *= one.value ** (1 / len(conched))
    return product


def _frame(rungs: Sequence[Rung], ladder: Ladder, theme: Theme) -> Frame:
    added = sorted({one.added for one in rungs if one.added is not None})
    low, high = min(one.value for one in rungs), max(one.value for one in rungs)
    ratio = high / low if high > low else 1.2
    side = _SIDE * ((added[-1] - added[0]) or 1.0)
    across = (added[0] - side, added[-1] + side)
    ticks = [value for value in marks.round_ticks(low, high, about=7) if value > 0]
    names = {value: trimmed(value, 2) for value in ticks}
    up = (low / ratio**_FOOT, high * ratio**_ROOM)
    return Frame(theme, across, up, added, ticks, findings.axis(ladder), None, names, up_by_ratio=True)


def _curve(steps: Sequence[Rung], conched: Sequence[Rung], theme: Theme) -> Iterator[Layer]:
    from analysis.instruments import ladder_curve

    added = [one.added or 0.0 for one in steps]
    found = ladder_curve(added, [one.value for one in steps], [one.value for one in conched])
    rows: list[Row] = [{"x": x, "y": y, "low": low, "high": high} for x, y, low, high in found.tolist()]
    if rows:
        band = {"type": "area", "color": theme.band, "opacity": 1, "line": False}
        yield marks.layer(band, rows, x="x", y="low", y2="high")
        yield marks.stroke(rows, theme.patina_text, 1.75)


def _worth(own: float, one: ButterWorth, frame: Frame) -> Iterator[Layer]:
    """Across from the conched mass to the curve and down; the bar ends where it decides, at the least."""
    theme, (left, right), foot = frame.theme, frame.across, _foot(frame)
    end = right if one.estimate is None else one.estimate
    yield marks.stroke([{"x": left, "y": own}, {"x": end, "y": own}], theme.ink, 1.5)
    said = findings.at_least(one)
    if one.estimate is None:
        if said:
            yield marks.words(said, right, foot, theme.patina_text, "right", weight=600)
        return
    yield marks.upright(one.estimate, foot, own, theme.ink, 1.5)
    if not said or one.low is None:
        return
    row: Row = {"x": one.estimate, "y": foot, "low": one.low, "high": one.estimate, "say": said}
    yield from marks.lying([row], theme.patina_text, ("low",))
    yield from marks.signs("disc", [row], theme.patina_text, theme)
    early = one.low < left + 0.4 * (right - left)
    place, align, dx = (one.estimate, "left", 12) if early else (one.low, "right", -8)
    yield marks.words(said, place, foot, theme.patina_text, "right" if align == "right" else "left", dx=dx, weight=600)


def _foot(frame: Frame) -> float:
    low, high = frame.up
    return float(low * (high / low) ** (0.35 * _FOOT / (1 + _FOOT + _ROOM)))


def _portions(
    steps: Sequence[Rung], conched: Sequence[Rung], name: str, ladder: Ladder, frame: Frame
) -> Iterator[Layer]:
    theme, span = frame.theme, frame.across[1] - frame.across[0]
    unit, told = findings.unit_of(name), _("{what}: {value} {unit}")
    rows: list[Row] = []
    for added in dict.fromkeys(one.added or 0.0 for one in steps):
        own = [one for one in steps if one.added == added]
        what = _("{x} % butter").format(x=as_hours(added))
        rows += [
            {
                "x": added + _aside(n, len(own), span),
                "y": one.value,
                "say": told.format(what=what, value=one.value, unit=unit),
            }
            for n, one in enumerate(own)
        ]
    yield from marks.signs("disc", rows, theme.ink, theme)
    what = _("{h} h, no butter added").format(h=as_hours(ladder.conched_h))
    first = frame.across[0] + 0.06 * span
    there: list[Row] = [
        {
            "x": first + 1.6 * n * _APART * span,
            "y": one.value,
            "say": told.format(what=what, value=one.value, unit=unit),
        }
        for n, one in enumerate(conched)
    ]
    yield from marks.signs("diamond", there, theme.ink, theme)


def _aside(number: int, many: int, span: float) -> float:
    return (number - (many - 1) / 2) * _APART * span


def _named(conched: Sequence[Rung], ladder: Ladder, frame: Frame) -> Layer:
    """Below the lowest diamond, where nothing else lies."""
    said = _("{h} h mass").format(h=as_hours(ladder.conched_h))
    lowest = min(one.value for one in conched)
    return marks.words(said, frame.across[0], lowest, frame.theme.ink, dx=10, dy=20, weight=600)
