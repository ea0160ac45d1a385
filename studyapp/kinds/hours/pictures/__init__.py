"""Worsening against hours for one attribute.

The whole bar of a pull must lie in the shaded margin; a disc says that this was shown, a cross that it was not, a
square is the reference, and a diamond on a pole stands at the first hour that is enough.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import ceil, floor, inf
from typing import TYPE_CHECKING

from studyapp.findings import hours, units
from studyapp.kinds.hours.findings import enough, pull_says, shown
from studyapp.kinds.hours.findings.batches import batch_says
from studyapp.kinds.hours.findings.pulls import enough_says, limit_decides, mean_says, within_margins
from studyapp.kinds.hours.findings.scale import MOST_TICKS, Scale, limit_at
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture, Row
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, BatchNumbers, PullResult

HEIGHT = 250
_SIDE = 0.06  # of the span of hours, free at either side
_LINE = 0.11  # of the span of worsening, the height of a line of words
# The words of a pole need this share of the picture at its right; a later pole has them at its left.
_ROOM = 0.45
APART = 0.017  # of the width of the picture, between batches at one pull
Fits = Callable[["AttributeResult", "PullResult"], bool]


def worsening(
    result: AttributeResult,
    scale: Scale,
    theme: Theme,
    lost: Sequence[float] = (),
    batches: BatchNumbers | None = None,
) -> Picture:
    """Worsening of each pull against the reference, with its interval, margin, limit and chosen hour; of pulls that
    were `lost`, the word; of several batches as `pull_signs` has them."""
    frame = _frame(result, scale, theme, lost)
    own = limit_decides(result)  # the limit and the hour then stand in the picture of the means
    rest = [] if own else [*_limit(result, scale, frame), *_pole(result, frame)]
    fits = within_margins if own else shown
    layers = [*_ground(result, frame), *rest, *pull_signs(result, frame, fits, batches)]
    return frame.picture([*layers, *_lost(lost, frame)], HEIGHT)


def levels(result: AttributeResult, scale: Scale, frame: Frame) -> list[Layer]:
    """The ground of a picture: margin, limit, and where there is no difference."""
    return [*_ground(result, frame), *_limit(result, scale, frame)]


def _lost(lost: Sequence[float], frame: Frame) -> Iterator[Layer]:
    """A word at the foot of each pull of which nothing is said."""
    for hour in lost:
        said, middle = _("{h} h lost").format(h=hours(hour)), sum(frame.across) / 2
        align = "left" if hour < middle else "right"
        yield marks.words(said, hour, frame.up[0], frame.theme.brick, align, dy=-8, weight=600)


def _frame(result: AttributeResult, scale: Scale, theme: Theme, lost: Sequence[float]) -> Frame:
    pulls = sorted({*(pull.hours for pull in result.pulls), *lost})
    edge = _SIDE * ((pulls[-1] - pulls[0]) or 1.0)
    return Frame(
        theme, (pulls[0] - edge, pulls[-1] + edge), (scale.low, scale.high), pulls, scale.ticks, _("conching, hours")
    )


# ---- layers, from the back to the front --------------------------------------------------------------------------
def _ground(result: AttributeResult, frame: Frame) -> Iterator[Layer]:
    margin, theme, (left, right) = result.rule.margin, frame.theme, frame.across
    both = result.rule.both_ways
    yield marks.ground(left, -margin if both else frame.up[0], right, margin, theme.band)
    for edge in (margin, -margin) if both else (margin,):
        yield marks.level(frame, edge, theme.patina_text, 1.5, marks.MARGIN_DASH)
    yield marks.level(frame, 0.0, theme.edge)
    said, other = _("margin {margin}").format(margin=units(margin)), limit_at(result)
    below = other is not None and 0 <= other - margin < _line(frame)
    yield from _named(said, margin, below, theme.band if below else theme.card, theme.patina_text, frame)


def _limit(result: AttributeResult, scale: Scale, frame: Frame) -> Iterator[Layer]:
    """The limit on the mean, moved on to the axis of worsening; left out where it lies off the picture."""
    at, limit = limit_at(result), result.rule.limit
    if at is None or limit is None or not scale.shows_limit(result):
        return
    yield marks.level(frame, at, frame.theme.ink, 2.0)
    margin, theme = result.rule.margin, frame.theme
    below = 0 < margin - at < _line(frame)
    ground = theme.card if at >= margin else theme.band
    yield from _named(_("limit {limit}").format(limit=units(limit)), at, below, ground, theme.ink, frame)


def _named(said: str, at: float, below: bool, ground: str, colour: str, frame: Frame) -> Iterator[Layer]:
    """The name of a line, above it; below it where another line lies closely above."""
    right, dy = frame.across[1], 9 if below else -8
    yield marks.patch(said, right, at, ground, dy)
    yield marks.words(said, right, at, colour, "right", dy=dy, weight=600)


def _line(frame: Frame) -> float:
    """The height of a line of words, units of worsening."""
    return _LINE * (frame.up[1] - frame.up[0])


def _pole(result: AttributeResult, frame: Frame) -> Iterator[Layer]:
    """The first hour that is enough; it stands on the margin, so it never crosses a passing bar."""
    ink, (left, right), (low, high) = frame.theme.ink, frame.across, frame.up
    top, hour = high - 0.06 * (high - low), enough(result)
    if hour is None:
        yield marks.words(enough_says(hour), right, top, ink, "right", weight=600)
        return
    late = (right - hour) / (right - left) < _ROOM
    yield marks.upright(hour, result.rule.margin, top, ink, 1.5)
    yield marks.diamond(hour, top, ink)
    yield marks.words(
        enough_says(hour), hour, top, ink, "right" if late else "left", dx=-11 if late else 11, weight=600
    )


def pull_signs(
    result: AttributeResult, frame: Frame, fits: Fits = shown, batches: BatchNumbers | None = None
) -> Iterator[Layer]:
    """A bar and a sign for each pull, a disc for one that `fits`. Of several batches that are judged alone, a bar a
    batch; beside a bar over all of them, a small ring for each."""
    theme = frame.theme
    alone = batches is not None and result.name in batches.lower
    single = [] if batches is None else _of_batches(result, batches, frame)
    placed = single if alone else _of_pulls(result, fits)
    within, open_ = ([row for row, kept in placed if kept is fit] for fit in (True, False))
    ends = ("high", "low") if result.rule.both_ways else ("high",)
    for rows, colour in ((open_, theme.copper), (within, theme.patina_text)):
        yield from marks.bars([row for row in rows if "high" in row], colour, ends)
    tips = {"x": _("hours"), "y": _("worse by"), "high": _("at most")}
    yield from marks.signs("cross", open_, theme.copper, theme, tips)
    yield from marks.signs("disc", within, theme.patina_text, theme, tips)
    if single and not alone:
        yield from marks.signs("ring", [row for row, _kept in single], theme.edge, theme)
    yield marks.words(_("reference"), frame.across[1], 0.0, theme.quiet, "right", dy=15)
    reference = next(pull for pull in result.pulls if pull.hours == result.reference_hours)
    yield from marks.signs("reference", [_row(result, reference)], theme.ink, theme, tips)


def _of_pulls(result: AttributeResult, fits: Fits) -> list[tuple[Row, bool]]:
    """Each shorter pull, and whether it fits."""
    judged = [pull for pull in result.pulls if pull.hours != result.reference_hours]
    return [(_row(result, pull), bool(fits(result, pull))) for pull in judged]


def _of_batches(result: AttributeResult, batches: BatchNumbers, frame: Frame) -> list[tuple[Row, bool]]:
    """Each batch at each shorter pull, one place a batch, and whether its whole bar lies in the margin; to the right of
    the bar over all of them where there is one."""
    n, step = len(batches.names), APART * (frame.across[1] - frame.across[0])
    own = batches.differences.get(result.name, {})
    lows, highs = batches.lower.get(result.name, {}), batches.upper.get(result.name, {})
    found = []
    for number, name in enumerate(batches.names if own else ()):
        aside = (number - (n - 1) / 2 if lows else number + 1) * step
        for place, hour in enumerate(batches.hours):
            at = own[name][place]
            if at is None or hour == result.reference_hours:
                continue
            row: Row = {"x": hour + aside, "y": at, "say": batch_says(name, hour, at)}
            low, high = (ends[name][place] if ends else None for ends in (lows, highs))
            if low is not None and high is not None:
                row |= {"low": low, "high": high}
            least = -result.rule.margin if result.rule.both_ways else -inf
            found.append((row, low is not None and high is not None and least < low and high < result.rule.margin))
    return found


def _row(result: AttributeResult, pull: PullResult) -> Row:
    """What is drawn of a pull: hours, numbers and its sentence."""
    row: Row = {"x": pull.hours, "y": pull.difference, "say": pull_says(result, pull)}
    if pull.decisive_lower is not None and pull.decisive_upper is not None:
        row |= {"low": pull.decisive_lower, "high": pull.decisive_upper}
    return row


# ---- the mean against its limit ----------------------------------------------------------------------------------
def against_limit(result: AttributeResult, theme: Theme) -> Picture:
    """The mean of each pull with its interval against the limit on it, where that decides; the good side is shaded."""
    limit, sign = result.rule.limit or 0.0, result.rule.sign
    ends = [limit, *(end for pull in result.pulls for end in (pull.mean_low, pull.mean_high))]
    low, high = floor(min(ends) - 0.5), ceil(max(ends) + 0.5)
    pulls = [pull.hours for pull in result.pulls]
    edge = _SIDE * ((pulls[-1] - pulls[0]) or 1.0)
    ticks = list(range(low + 1, high, max(1, ceil((high - low) / MOST_TICKS))))
    across, said = (pulls[0] - edge, pulls[-1] + edge), _("mean, 0 to 10 scale")
    frame = Frame(theme, across, (low, high), pulls, ticks, _("conching, hours"), y_title=said)
    good = (low, limit) if sign > 0 else (limit, high)
    left, right = frame.across
    named = _named(_("limit {limit}").format(limit=units(limit)), limit, sign > 0, theme.band, theme.ink, frame)
    return frame.picture(
        [
            marks.ground(left, good[0], right, good[1], theme.band),
            marks.level(frame, limit, theme.ink, 2.0),
            *named,
            *_means(result, frame, "high" if sign > 0 else "low"),
        ],
        HEIGHT,
    )


def _means(result: AttributeResult, frame: Frame, end: str) -> Iterator[Layer]:
    theme, tips = frame.theme, {"x": _("hours"), "y": _("mean")}
    rows = {
        met: [
            {"x": p.hours, "y": p.mean, "low": p.mean_low, "high": p.mean_high, "say": mean_says(result, p)}
            for p in result.pulls
            if bool(p.within_limit) is met
        ]
        for met in (False, True)
    }
    for met, colour in ((False, theme.copper), (True, theme.patina_text)):
        yield from marks.bars(rows[met], colour, (end,))
    yield from marks.signs("cross", rows[False], theme.copper, theme, tips)
    yield from marks.signs("disc", rows[True], theme.patina_text, theme, tips)
