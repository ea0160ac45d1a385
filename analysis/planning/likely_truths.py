"""What may be true, given the scores of one attribute: draws for predictions, never for the guarantee.

Variances come first, then the pulls' means (`likely_courses`), then what each tray and each assessor added. Scores tell
little about some variances: of assessor:hours where nobody tasted a pull twice, of pull x sitting after one or two
sittings. So each has a prior for its size beside the error of one score, and the mean squares speak against it, with
those of the panel's earlier studies where it has any.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.model.cell_weights import sweep
from analysis.model.cells import Cells
from analysis.planning.likely_courses import draw_courses
from analysis.planning.pooled_spreads import ERROR, INTERACTION, Strata
from analysis.stopping.standard_errors import Fitted, sitting_squares

Array = NDArray[np.float64]
# The variance that recording in steps of 0.1 leaves even where everybody repeats themselves.
ROUNDING = 0.1**2 / 12
# The prior of the standard deviation of assessor:hours is flat in units of the error of one score (Gelman 2006,
# Bayesian Analysis 1: 515-534, from memory): one with its peak at 0 takes a panel that happened to agree for one that
# does, and the studies told most were then told too much. A tray's own shift mostly lies between .15 and .5, with a
# long tail (half-Cauchy), as one or two sittings hardly speak of it.
TRAY = 0.4
# A panel that repeats itself wonderfully in a few scores was lucky: the prior of the error of one score, worth four
# degrees of freedom, lies at one unit of a scale of ten.
USUAL_ERROR, ERROR_DF = 1.0, 4.0
RATIOS = np.linspace(0.0125, 3.9875, 160)
# A panel changes, so earlier studies count for no more than about two of eight people and six pulls.
MOST_EARLIER_DF = 70.0


@dataclass(frozen=True, slots=True)
class Truths:
    """Draws of what the scores leave open: cell means of each assessor (size, a, h), residual variance (size,),
    variance of a tray's shift (size,), means of the pulls (size, h) and variance of assessor:hours (size,)."""

    cells: Array
    residual: Array
    tray: Array
    means: Array
    interaction: Array

    def joined_by(self, more: int, rng: np.random.Generator) -> Truths:
        """With `more` people who have not tasted yet: each scores as high as somebody of the panel does, and finds of
        their own in the pulls what one of this panel may."""
        size, a, h = self.cells.shape
        levels = (self.cells - self.means[:, None, :]).mean(2)
        level = np.take_along_axis(levels, rng.integers(a, size=(size, more)), 1)
        own = np.sqrt(self.interaction)[:, None, None] * rng.standard_normal((size, more, h))
        return replace(self, cells=np.concatenate([self.cells, self.means[:, None] + level[..., None] + own], 1))

    def at(self, pulls: NDArray[np.intp]) -> Truths:
        """At some of the pulls (indices)."""
        return replace(self, cells=self.cells[..., pulls], means=self.means[:, pulls])


def draw_truths(
    fit: Fitted, hours: Array | None, trays: bool, size: int, rng: np.random.Generator, earlier: Strata | None = None
) -> Truths:
    """`size` truths for the same assessors.

    Args:
        fit: of the scores, one study.
        hours: of the pulls (h,); None: pieces that stand in no order, each mean by itself.
        trays: whether the rule reckons with trays that shift a sitting.
        size: how many.
        rng: source of chance.
        earlier: sums of squares of the panel's other studies; None: only this study tells how the panel differs.
    """
    residual, interaction = draw_variances(fit, earlier, size, rng)
    tray = _tray(fit.cells, residual, rng) if trays else np.zeros(size)
    counts = fit.cells.counts[0]
    sittings = 1 if fit.cells.sittings is None else fit.cells.sittings.sums.shape[3]
    error = (residual + _each(counts) * interaction)[:, None] * _unevenness(counts)
    shift = np.broadcast_to((tray / sittings)[:, None], error.shape)
    if hours is None:
        means = fit.fits.means[0] + np.sqrt(error + shift) * rng.standard_normal(error.shape)
    else:
        means = draw_courses(hours, fit.fits.means[0], error + shift, rng)
    off = (fit.fits.means[0] - means) * shift / (error + shift)
    off = off + np.sqrt(shift * error / (error + shift)) * rng.standard_normal(error.shape)
    own = _own_cells(fit.cells, means, off, residual, interaction, rng)
    return Truths(own, residual, tray, means, interaction)


def _own_cells(
    cells: Cells, means: Array, off: Array, residual: Array, interaction: Array, rng: np.random.Generator
) -> Array:
    """Cell means of the same people: the pulls' means, how high each person scores, and what each finds of their own.

    `off` is what trays so far added to the pulls; it does not come again.
    """
    counts = cells.counts[0]
    seen = counts > 0
    v_c, v_e = interaction[:, None, None], residual[:, None, None]
    apart = np.where(seen, cells.sums[0] / np.maximum(counts, 1) - (means + off)[:, None, :], 0.0)
    spread = np.where(seen, v_c + v_e / np.maximum(counts, 1), 0.0).sum(2)
    person = (apart.sum(2) + np.sqrt(spread) * rng.standard_normal(spread.shape)) / seen.sum(1)
    kept = counts * v_c / (counts * v_c + v_e)
    own = kept * (apart - person[..., None]) + np.sqrt(v_c * (1 - kept)) * rng.standard_normal(apart.shape)
    return np.asarray(means[:, None, :] + person[..., None] + own)


# ---- variances -------------------------------------------------------------------------------------------------------
def draw_variances(fit: Fitted, earlier: Strata | None, size: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """Draws of residual and interaction variance (size,): their ratio by all mean squares, then the residual from a
    scaled inverse chi-square on them."""
    parts = [_usual(), _own(fit), *([_earlier(earlier)] if earlier is not None else [])]
    free = sum(part.error_df + part.df for part in parts)
    squares = np.sum([part.error + part.interaction / part.factor for part in parts], 0)
    log = -np.sum([part.df / 2 * np.log(part.factor) for part in parts], 0) - free / 2 * np.log(squares)
    ratio = _drawn(log, size, rng)
    residual = squares[ratio] / rng.chisquare(free, size)
    return residual, RATIOS[ratio] ** 2 * residual


@dataclass(frozen=True, slots=True)
class _Told:
    """Sums of squares of error and of assessor:hours, with their degrees of freedom; a cell holds `each` scores."""

    error: float
    error_df: float
    interaction: float = 0.0
    df: float = 0.0
    each: float = 1.0

    @property
    def factor(self) -> Array:
        """What the mean square of assessor:hours is expected to be, in units of the error, for each of RATIOS."""
        return np.asarray(1 + self.each * RATIOS**2)


def _usual() -> _Told:
    return _Told(ERROR_DF * USUAL_ERROR**2, ERROR_DF)


def _own(fit: Fitted) -> _Told:
    """What the study itself tells."""
    counts = fit.cells.counts[0]
    error_df, df = float(counts.sum() - (counts > 0).sum()), max(float(fit.fits.containment[0]), 1.0)
    within = max(float(fit.cells.within[0]), error_df * ROUNDING)
    return _Told(within, error_df, max(_interaction_squares(fit.cells), df * ROUNDING), df, _each(counts))


def _earlier(strata: Strata) -> _Told:
    """What earlier studies tell, each of their degrees of freedom counting for less where there are many."""
    df = strata.df[INTERACTION]
    weight = min(1.0, MOST_EARLIER_DF / max(df, 1.0))
    squares, freedom = weight * strata.squares, weight * strata.df
    each = strata.shares[INTERACTION, INTERACTION] / max(df, 1.0)
    return _Told(squares[ERROR], freedom[ERROR], squares[INTERACTION], freedom[INTERACTION], each)


def _tray(cells: Cells, residual: Array, rng: np.random.Generator) -> Array:
    """Draws of the variance of a tray's shift (size,), by its prior where one sitting cannot tell."""
    unit = float(residual.mean())
    likely = np.zeros(len(RATIOS))
    squares = sitting_squares(cells)
    if squares is not None:
        expected = max(float(squares.rest[0]), ROUNDING) + cells.sums.shape[1] * RATIOS**2 * unit
        likely = -squares.daily_df / 2 * (np.log(expected) + float(squares.daily[0]) / expected)
    return np.asarray(RATIOS[_drawn(likely - np.log1p((RATIOS / TRAY) ** 2), len(residual), rng)] ** 2 * unit)


def _drawn(log: Array, size: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Places in RATIOS, by the logarithm of how likely each is."""
    likely = np.exp(log - log.max())
    return np.asarray(rng.choice(len(RATIOS), size, p=likely / likely.sum()))


def _interaction_squares(cells: Cells) -> float:
    """Sum of squares of the cell means about assessors and pulls, as if every cell held the usual number of scores."""
    counts = cells.counts[0]
    seen = counts > 0
    rest = np.where(seen, cells.sums[0] / np.maximum(counts, 1), 0.0)[None]
    for _ in range(4):
        rest, _person = sweep(rest, seen[None].astype(float))
    return _each(counts) * float((rest**2).sum())


def _each(counts: Array) -> float:
    """Harmonic mean of the scores in a cell."""
    seen = counts[counts > 0]
    return float(len(seen) / (1 / seen).sum())


def _unevenness(counts: Array) -> Array:
    """Variance of each pull's mean in units of the mean square between cells (h,), assessors being set aside.

    1 / scores of the pull where everything was tasted alike; more where a pull is compared within few ballots.
    """
    h = counts.shape[1]
    information = np.diag(counts.sum(0)) - (counts / counts.sum(1, keepdims=True)).T @ counts
    return np.asarray(np.diag(np.linalg.pinv(information, hermitian=True)) * h / (h - 1))
