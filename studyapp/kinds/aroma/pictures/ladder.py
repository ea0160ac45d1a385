"""Who truly notices in each batch, or after each number of days, against the limit that was set."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from studyapp.findings import percent
from studyapp.kinds.aroma.findings.trials import rung_name
from studyapp.kinds.aroma.findings.verdicts import RungKind, rung_kind, rung_says
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture, Row, Sign
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice import Ladder

HEIGHT = 280
_LINE = 8.0  # %, the height of a line of words


def ladder(result: Ladder, aim: str, theme: Theme) -> Picture:
    """A bar and a sign a rung: close enough, still open, or still found."""
    frame = _frame([rung.batch for rung in result.rungs], aim, theme)
    rows: dict[RungKind, list[Row]] = {"gone": [], "open": [], "found": []}
    for rung in result.rungs:
        share = rung.result.proportion_discriminators
        row: Row = {"x": rung.batch, "y": 100 * (share.estimate or 0.0), "low": 100 * (share.low or 0.0)}
        row["high"] = 100 * rung.result.most_noticing
        row["say"] = rung_says(rung.batch, rung.result, result, aim)
        rows[rung_kind(rung.batch, result)].append(row)
    layers = [*_allowed(100 * result.pd_limit, frame)]
    for kind, listed in rows.items():
        layers += _rungs(kind, listed, theme)
    return frame.picture(layers, HEIGHT)


def _frame(levels: list[int], aim: str, theme: Theme) -> Frame:
    edge = 0.5 if len(levels) < 2 else 0.12 * (levels[-1] - levels[0]) + 0.15
    return Frame(
        theme,
        (levels[0] - edge, levels[-1] + 2 * edge),
        (-3, 103),
        levels,
        (0, 25, 50, 75, 100),
        x_names={level: rung_name(level, aim) for level in levels},
        y_names={share: percent(share / 100) for share in (0, 25, 50, 75, 100)},
    )


def _allowed(limit: float, frame: Frame) -> Iterator[Layer]:
    """The share that may notice, as a shaded band from nobody up, with its name."""
    (left, right), colour = frame.across, frame.theme.patina_text
    yield marks.ground(left, frame.up[0], right, limit, frame.theme.band)
    yield marks.level(frame, limit, colour, 1.5, marks.MARGIN_DASH)
    said = _("limit {share}").format(share=percent(limit / 100))
    under = any(0 < tick - limit < _LINE for tick in frame.y_ticks)  # a hairline would run through the words above
    yield marks.words(said, right, limit, colour, "right", dx=-4, dy=10 if under else -9, weight=600)


def _rungs(kind: RungKind, rows: list[Row], theme: Theme) -> Iterator[Layer]:
    """Bars with a cap at the end that decides: the upper one of a batch that is gone, the lower one of one found."""
    if not rows:
        return
    looks: dict[RungKind, tuple[Sign, str]] = {
        "gone": ("disc", theme.patina_text),
        "open": ("cross", theme.copper),
        "found": ("triangle", theme.ink),
    }
    sign, colour = looks[kind]
    yield from marks.bars(rows, colour, ("low",) if kind == "found" else ("high",))
    yield from marks.signs(sign, rows, colour, theme)
