"""Detection against dose: what the panel answered, the fitted curve, and the half-way point with its limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from studyapp.findings import percent
from studyapp.kinds.aroma.findings.doses import dose
from studyapp.kinds.aroma.findings.verdicts import dose_axis, dose_says, unit_word
from studyapp.pictures import marks
from studyapp.pictures.marks import Frame, Layer, Picture, Row
from studyapp.pictures.theme import Theme
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.choice.threshold import DosePoint, ThresholdFit

HEIGHT = 340
_STEPS = 80
# Doses that span more than this are drawn by their ratio, or the small ones stand on one another.
_WIDE = 8.0


def detection(fitted: ThresholdFit, unit: str, guess: float, theme: Theme) -> Picture:
    """Right answers at each dose with the fitted curve; its band has the half-way point at either limit."""
    tasted = _tasted(fitted, unit)
    frame = _frame(fitted, unit, guess, min(row["low"] for row in tasted), theme)
    layers = [
        *_curve(fitted, guess, frame),
        marks.level(frame, guess, theme.ink, 2.0, marks.GUESS_DASH),
        marks.words(_("guessing alone"), frame.across[1], guess, theme.quiet, "right", dy=11),
        *marks.bars(tasted, theme.ink, width=2.0),
        *marks.signs("disc", tasted, theme.ink, theme),
        *_halfway(fitted, (1 + guess) / 2, unit, frame),
    ]
    return frame.picture(layers, HEIGHT)


def _frame(fitted: ThresholdFit, unit: str, guess: float, lowest: float, theme: Theme) -> Frame:
    doses = [float(level) for level in fitted.answers.doses]
    wide, half = doses[-1] / doses[0] > _WIDE, (1 + guess) / 2
    across = (doses[0] / 1.25, doses[-1] * 1.25) if wide else (0.0, doses[-1] * 1.08)
    up = max(0.0, min(guess - 0.2, lowest - 0.02)), 1.03
    shares = {share: percent(share) for share in (guess, half, 1.0)}
    return Frame(theme, across, up, doses, list(shares), dose_axis(unit), y_names=shares, by_ratio=wide)


# ---- the fitted curve --------------------------------------------------------------------------------------------
def _curve(fitted: ThresholdFit, guess: float, frame: Frame) -> Iterator[Layer]:
    rows = _curve_rows(fitted, guess, frame)
    yield marks.layer({"type": "area", "color": frame.theme.band, "opacity": 1}, rows, x="x", y="low", y2="high")
    yield marks.stroke(rows, frame.theme.patina_text, 2.5)


def _curve_rows(fitted: ThresholdFit, guess: float, frame: Frame) -> list[Row]:
    """The curve, and the curves whose half-way point lies at the lower and the upper limit."""
    import numpy as np

    from analysis.choice.threshold import expected_right

    left, right = frame.across
    steps = (np.geomspace if frame.by_ratio else np.linspace)(max(left, right / 200), right, _STEPS)
    columns = (
        steps,
        expected_right(fitted, steps),
        _at_limit(fitted, fitted.high, guess, steps),
        _at_limit(fitted, fitted.low, guess, steps),
    )
    return [
        {"x": float(x), "y": float(y), "low": float(low), "high": float(high)}
        for x, y, low, high in zip(*columns, strict=True)
    ]


def _at_limit(fitted: ThresholdFit, limit: DosePoint, guess: float, steps: Any) -> Any:
    """The curve with its half-way point at a limit; flat where the limit lies outside the doses."""
    import numpy as np

    from analysis.choice.threshold import LAPSE, expected_right

    if limit.value is not None:
        return expected_right(replace(fitted, mu=float(np.log(limit.value))), steps)
    return np.full(len(steps), 1 - LAPSE if limit.where == "below" else guess)


# ---- what was tasted ---------------------------------------------------------------------------------------------
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


# ---- the half-way point ------------------------------------------------------------------------------------------
def _halfway(fitted: ThresholdFit, half: float, unit: str, frame: Frame) -> Iterator[Layer]:
    """The half-way dose with its interval; an end that no dose tasted carries reaches the edge and has no cap."""
    point, ink = fitted.estimate.value, frame.theme.ink
    left, right = _ends(fitted, frame.across)
    if left < right:
        yield from marks.lying([{"low": left, "high": right, "y": half}], ink, (), width=3.0)
    caps = [{"x": limit.value, "y": half} for limit in (fitted.low, fitted.high) if limit.value is not None]
    if caps:
        yield marks.cap("vertical", caps, ink, x="x", y="y")
    if point is None:
        return
    told = dose(point, unit_word(unit))
    say = _("half-way from {dose} on").format(dose=told)
    yield from marks.signs("diamond", [{"x": point, "y": half, "say": say}], ink, frame.theme)
    yield marks.words(_("half-way {dose}").format(dose=told), frame.across[1], half, ink, "right", dy=11, weight=600)


def _ends(fitted: ThresholdFit, edges: Sequence[float]) -> tuple[float, float]:
    """Where the interval begins and ends; a limit shown to lie beyond the doses begins or ends at that edge."""
    (first, last), low, high = edges, fitted.low, fitted.high
    left = low.value if low.value is not None else last if low.where == "above" else first
    right = high.value if high.value is not None else first if high.where == "below" else last
    return left, right
