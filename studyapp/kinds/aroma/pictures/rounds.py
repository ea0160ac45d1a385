"""A plan that may end early: right answers beyond guessing after each complete round, and what each round could say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from studyapp.methods import METHODS
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture, Row
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import SequentialResult

HEIGHT = 320
_HALF = 0.12  # half the width of a column, in rounds
_BEYOND = 3.0  # right answers that a column reaches beyond its outer mark
_NAMED = 0.2  # of the width is left before the first column for what the line is called, on a phone too
_CLEAR = 9  # px from the middle of a word to a line beside it
_MOST_NAMED = 6  # with more rounds the words beside the columns would meet; the last one keeps its own


@dataclass(frozen=True, slots=True)
class _Column:
    """What one round could say, in right answers; `served` where it was tasted and judged."""

    number: int
    trials: int
    same: int | None
    different: int | None
    served: bool


def by_round(judged: SequentialResult, theme: Theme) -> Picture:
    """A column a round up to the cap, the way of the count through them, and where it ended."""
    guess = METHODS[judged.plan.method].chance
    columns = list(_columns(judged))
    frame = _frame(judged, columns, guess, theme)
    named = {columns[-1].number} if len(columns) > _MOST_NAMED else {*range(len(columns) + 1)}
    layers = [marks.level(frame, 0.0, theme.ink, 1.5, marks.GUESS_DASH)]
    for column in columns:
        layers += _column(column, guess, frame, column.number in named)
    below = not judged.rounds or judged.rounds[0].correct >= guess * judged.rounds[0].trials
    layers.append(marks.words(_("guessing"), frame.across[0], 0.0, theme.quiet, "left", dx=2, dy=10 if below else -10))
    return frame.picture([*layers, *_way(judged, guess, theme)], HEIGHT)


def _columns(judged: SequentialResult) -> Iterator[_Column]:
    """The judged rounds as they were served, then those still to come as they were sealed."""
    from analysis.choice import line_marks

    sealed, trials = judged.plan, 0
    for number, one in enumerate(judged.rounds, start=1):
        trials = one.trials
        yield _Column(number, trials, one.same_at_most, one.different_at_least, True)
    for number in range(len(judged.rounds) + 1, sealed.rounds + 1):
        trials += sealed.people
        same, different = line_marks(sealed.lines, trials)
        if number == sealed.rounds:
            same, different = sealed.cap_same_at_most, sealed.cap_different_at_least
        yield _Column(number, trials, same, different, False)


def _frame(judged: SequentialResult, columns: list[_Column], guess: float, theme: Theme) -> Frame:
    reached = [one.correct - guess * one.trials for one in judged.rounds]
    outer = [mark - guess * c.trials for c in columns for mark in (c.same, c.different) if mark is not None]
    low, high = min([*reached, *outer, 0.0]) - _BEYOND, max([*reached, *outer, 0.0]) + _BEYOND
    step = max(1, round((high - low) / 5))
    ticks = [at for at in range(-50 * step, 51 * step, step) if low <= at <= high]
    rounds = len(columns)
    every = max(1, -(-rounds // 12))
    return Frame(
        theme,
        (min(0.0, (1 - _HALF - _NAMED * (rounds + 0.9)) / (1 - _NAMED)), rounds + 0.9),
        (low, high),
        [*range(1, rounds + 1, every)],
        ticks,
        _("complete rounds"),
        y_names={float(at): f"{at:+d}" if at else "0" for at in ticks},
    )


def _column(column: _Column, guess: float, frame: Frame, named: bool) -> Iterator[Layer]:
    """Detectable above, close enough below, cannot tell between; words where there is room for them."""
    theme, at, (low, high) = frame.theme, guess * column.trials, frame.up
    left, right = column.number - _HALF, column.number + _HALF
    top, bottom = min(column.trials + 0.5 - at, high), max(-0.5 - at, low)
    upper = top if column.different is None else min(column.different - 0.5 - at, top)
    lower = bottom if column.same is None else max(column.same + 0.5 - at, bottom)
    edge = theme.ink if column.served else theme.edge
    for start, end, fill in ((lower, upper, theme.field), (upper, top, theme.band), (bottom, lower, theme.card)):
        if end > start:
            yield marks.ground(left, start, right, end, fill, edge)
    colour = theme.ink if column.served else theme.quiet
    if named and column.different is not None:
        said = _("{n} or more").format(n=column.different)
        yield marks.words(said, right, upper, colour, "left", dx=4, dy=-8, weight=600)
    if named and column.same is not None:
        rise = lower * HEIGHT / (high - low)  # px above the line of guessing, which would run through them
        dy = 8 if abs(rise - 8) >= _CLEAR else round(rise) + _CLEAR + 1
        yield marks.words(
            _("up to {high}").format(high=column.same), right, lower, colour, "left", dx=4, dy=dy, weight=600
        )


def _way(judged: SequentialResult, guess: float, theme: Theme) -> Iterator[Layer]:
    """The count from round to round; a diamond where it ended, a disc elsewhere."""
    rows: list[Row] = [
        {
            "x": number,
            "y": one.correct - guess * one.trials,
            "say": _("after round {n}: {k} of {all} right").format(n=number, k=one.correct, all=one.trials),
        }
        for number, one in enumerate(judged.rounds, start=1)
    ]
    if not rows:
        return
    yield marks.stroke([{"x": 0, "y": 0}, *rows], theme.ink, 2.5)
    ended = judged.standing in ("same", "different")
    yield from marks.signs("disc", rows[:-1] if ended else rows, theme.ink, theme)
    yield from marks.signs("diamond", rows[-1:] if ended else [], theme.patina_text, theme)
