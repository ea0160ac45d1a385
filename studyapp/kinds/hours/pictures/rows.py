"""Flavour and instruments over one axis of hours: rows under each other, each with its own limit and guard.

Every row is a picture of one width with the same room left of its scale, so hours lie under hours; the numbers of the
hours stand below the last row, which decides. The chosen hour is a column behind the marks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from studyapp.batches import shown_unit
from studyapp.kinds.hours.findings.instruments import in_line, limit_of, reading_says
from studyapp.kinds.hours.findings.pulls import enough_says
from studyapp.kinds.hours.findings.scale import Scale
from studyapp.kinds.hours.pictures import levels, pull_signs
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture, Row
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.instruments import GatePull, GateResult
    from analysis.stopping import AttributeResult, BatchNumbers

HEIGHT, AXIS = 170, 46  # px: a row, and the numbers of hours below the last
TOP = 0.2  # of the height of the first row, for the words above it
SIDE, COLUMN = 0.06, 0.035  # of the span of hours: free at either side, half of the column of the chosen hour
Y_ROOM = 44  # px left of every row for the numbers of its scale
ROOM = 0.55  # of the span: from there on words stand left of the chosen hour
_APART = 0.02  # of the span of hours, between batches at one pull


@dataclass(frozen=True, slots=True)
class Axis:
    """What all rows share: the pulls, the chosen hour, if any, and the colours; whether this row is first or last."""

    pulls: Sequence[float]
    chosen: float | None
    theme: Theme
    first: bool = True
    last: bool = True

    @property
    def across(self) -> tuple[float, float]:
        """The ends of the axis."""
        return self.pulls[0] - SIDE * self.span, self.pulls[-1] + SIDE * self.span

    @property
    def span(self) -> float:
        """From the shortest to the longest pull, hours."""
        return (self.pulls[-1] - self.pulls[0]) or 1.0

    @property
    def headed(self) -> bool:
        """Whether the chosen hour is named above this row."""
        return self.first and self.chosen is not None

    def frame(self, up: tuple[float, float], ticks: Sequence[float], by_ratio: bool = False) -> Frame:
        """The scales of one row."""
        x_ticks = self.pulls if self.last else ()
        title = _("conching, hours") if self.last else ""
        if self.headed:
            low, high = up
            up = (low, high * (high / low) ** TOP if by_ratio else high + TOP * (high - low))
        return Frame(self.theme, self.across, up, x_ticks, ticks, title, up_by_ratio=by_ratio, y_room=Y_ROOM)

    def picture(self, frame: Frame, ground: Iterable[Layer], signs: Iterable[Layer]) -> Picture:
        """One row; the chosen hour lies on the shaded ground, which comes first, and under every line and mark."""
        shaded, *lines = ground
        height = HEIGHT + (AXIS if self.last else 0) + (round(TOP * HEIGHT) if self.headed else 0)
        return frame.picture([shaded, *self._column(frame), *lines, *signs, *self._head(frame)], height)

    def _column(self, frame: Frame) -> Iterator[Layer]:
        if self.chosen is not None:
            half = COLUMN * self.span
            yield marks.ground(self.chosen - half, frame.up[0], self.chosen + half, frame.up[1], self.theme.field)

    def _head(self, frame: Frame) -> Iterator[Layer]:
        """Above the first row: which hour is enough."""
        if self.headed and self.chosen is not None:
            late = self.chosen > self.pulls[0] + ROOM * self.span
            low, high = frame.up
            at = high / (high / low) ** (TOP / 3) if frame.up_by_ratio else high - TOP / 3 * (high - low)
            yield marks.diamond(self.chosen, at, self.theme.ink)
            align: Literal["left", "right"] = "right" if late else "left"
            yield marks.words(
                enough_says(self.chosen), self.chosen, at, self.theme.ink, align, dx=-14 if late else 14, weight=600
            )


def flavour_row(result: AttributeResult, scale: Scale, axis: Axis, batches: BatchNumbers | None = None) -> Picture:
    """Worsening of one attribute against the reference, as in a picture of its own but for the pole."""
    frame = axis.frame((scale.low, scale.high), scale.ticks)
    return axis.picture(frame, levels(result, scale, frame), pull_signs(result, frame, batches=batches))


# ---- a limit ---------------------------------------------------------------------------------------------------------
def limit_row(results: Sequence[GateResult], axis: Axis) -> Picture:
    """Means of one quantity with their guards, a mark a batch, against its limit; the shaded side is the good one."""
    ends, by_ratio = _ends(results), results[0].gate.log
    frame = axis.frame(ends, marks.round_ticks(*ends, by_ratio), by_ratio)
    return axis.picture(frame, _ground(results[0], frame), _readings(results, axis, frame))


def _ends(results: Sequence[GateResult]) -> tuple[float, float]:
    """Wide enough for every guard and the limit, with some room."""
    gate = results[0].gate
    values = [gate.limit, *(value for one in results for pull in one.pulls for value in (pull.mean, pull.end) if value)]
    low, high = min(values), max(values)
    if gate.log:
        room = (high / low) ** 0.15 if high > low else 1.2
        return low / room, high * room
    room = 0.15 * (high - low) or 0.1 * abs(high) or 1.0
    return low - room, high + room


def _ground(result: GateResult, frame: Frame) -> Iterator[Layer]:
    limit, (left, right), theme = result.gate.limit, frame.across, frame.theme
    bottom, top = (frame.up[0], limit) if result.gate.at_least is None else (limit, frame.up[1])
    yield marks.ground(left, bottom, right, top, theme.band)
    yield marks.level(frame, limit, theme.patina_text, 2.0)
    said = _("limit {limit}").format(limit=limit_of(result))
    yield marks.patch(said, right, limit, theme.card, -9)
    yield marks.words(said, right, limit, theme.patina_text, "right", dy=-9, weight=600)


def _readings(results: Sequence[GateResult], axis: Axis, frame: Frame) -> Iterator[Layer]:
    theme = frame.theme
    placed = [
        (one, pull, _row(one, pull, (number - (len(results) - 1) / 2) * _APART * axis.span))
        for number, one in enumerate(results)
        for pull in one.pulls
        if pull.mean is not None
    ]
    kept = [row for one, pull, row in placed if in_line(one, pull)]
    others = [row for one, pull, row in placed if not in_line(one, pull)]
    for rows, colour in ((others, theme.copper), (kept, theme.patina_text)):
        yield from marks.bars([row for row in rows if "high" in row], colour, ("high",))
    yield from marks.signs("cross", others, theme.copper, theme)
    yield from marks.signs("disc", kept, theme.patina_text, theme)
    unread = {pull.hours for one in results for pull in one.pulls if pull.repeats == 0}
    for hour in sorted(unread):
        yield marks.words(_("not read"), hour, frame.up[0], theme.quiet, "center", dy=-8)


def _row(result: GateResult, pull: GatePull, aside: float) -> Row:
    row: Row = {"x": pull.hours + aside, "y": pull.mean, "say": reading_says(result, pull)}
    if pull.end is not None and pull.answer != "fails":
        row |= {"low": pull.mean, "high": pull.end}
    return row


def y_words(result: GateResult) -> str:
    """What the axis of a limit counts."""
    named = _("{unit}; mean of the portions and its guard") if result.gate.unit else _("mean of the portions, guard")
    return named.format(unit=shown_unit(result.gate.unit))
