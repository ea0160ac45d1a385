"""The errors that a difference of two pulls must face, for a batch of panels at once.

Panel error: the mixed model's contrast. Own error: the assessor as the unit, paired when complete, else the same
contrast with the bias-reduced cluster-robust error CR2 and Satterthwaite df (Bell & McCaffrey 2002; Pustejovsky &
Tipton 2018; both from memory). Sitting error: what a tray prepared differently moves for everybody.
Shapes: B batch, a assessors, h pulls, S sittings.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from analysis import cluster_robust as cr2
from analysis import mixed
from analysis.contrasts import differences
from analysis.quantiles import upper_t

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Cells:
    """Scores of one attribute as counts (1 or B, a, h), sums (B, a, h) and sums of squares within cells (B,).

    `sittings` (B, a, h, S) holds the mean of each cell in each sitting, NaN where nothing was served; only the sitting
    error needs it.
    """

    counts: Array
    sums: Array
    within: Array
    sittings: Array | None = None

    def rows(self, rows: slice | NDArray[np.intp]) -> Cells:
        """Some of the batch."""
        counts = self.counts if len(self.counts) == 1 else self.counts[rows]
        table = None if self.sittings is None else self.sittings[rows]
        return Cells(counts, self.sums[rows], self.within[rows], table)


@dataclass(frozen=True, slots=True)
class Error:
    """A standard error and its degrees of freedom, for k contrasts: (B, k) each."""

    se: Array
    df: Array

    def reach(self, level: float) -> Array:
        """How far a one-sided limit at `level` lies from the estimate."""
        return upper_t(level, self.df) * self.se

    def of(self, columns: list[int]) -> Error:
        """The error of some of the contrasts."""
        return Error(self.se[:, columns], self.df[:, columns])

    def rows(self, rows: slice | NDArray[np.intp]) -> Error:
        """The error of some of the batch."""
        return Error(self.se[rows], self.df[rows])


@dataclass(frozen=True, slots=True)
class Estimates:
    """k contrasts of pull means: estimate (B, k), plain Satterthwaite df (B, k), and the errors in force."""

    estimate: Array
    df: Array
    panel: Error
    own: Error
    sitting: Error | None = None

    @property
    def errors(self) -> tuple[Error, ...]:
        """Every error in force."""
        return tuple(error for error in (self.panel, self.own, self.sitting) if error is not None)

    def reach(self, level: float) -> Array:
        """How far the decisive limits, the widest of all errors in force, lie from the estimate (B, k)."""
        first, *others = (error.reach(level) for error in self.errors)
        for other in others:
            first = np.maximum(first, other)
        return first

    def upper(self, level: float) -> Array:
        """The largest upper limit (B, k)."""
        return self.estimate + self.reach(level)

    def lower(self, level: float) -> Array:
        """The smallest lower limit (B, k)."""
        return self.estimate - self.reach(level)

    def times(self, sign: Array) -> Estimates:
        """The same contrasts with the sign turned where more is wanted; `sign` (B, 1)."""
        return Estimates(self.estimate * sign, self.df, self.panel, self.own, self.sitting)

    def of(self, columns: list[int]) -> Estimates:
        """Some of the contrasts."""
        sitting = None if self.sitting is None else self.sitting.of(columns)
        return Estimates(
            self.estimate[:, columns], self.df[:, columns], self.panel.of(columns), self.own.of(columns), sitting
        )

    def rows(self, rows: slice | NDArray[np.intp]) -> Estimates:
        """Some of the batch."""
        sitting = None if self.sitting is None else self.sitting.rows(rows)
        return Estimates(self.estimate[rows], self.df[rows], self.panel.rows(rows), self.own.rows(rows), sitting)


class Contrasts(Protocol):
    """Whatever contrasts of pulls can be asked of, for a batch of panels."""

    @property
    def cells(self) -> Cells: ...

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """k contrasts `weights` (k, h): differences use the capped df, means the plain one."""


def means(panels: Contrasts) -> Estimates:
    """The mean of every pull."""
    return panels.contrast(np.eye(panels.cells.sums.shape[2]), capped=False)


def is_balanced(counts: Array) -> bool:
    """Every cell of every panel scored equally often."""
    return bool((counts == counts[:, :1, :1]).all())


@dataclass(frozen=True, slots=True)
class Fitted:
    """A batch of panels, fitted once; contrasts are asked of it."""

    cells: Cells
    fits: mixed.CellFits

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """See Contrasts."""
        estimate, df, panel = self.by_panel(weights, capped)
        return Estimates(
            estimate, df, panel, own_error(self.cells, self.fits, weights), self.by_sitting(weights, capped)
        )

    def by_panel(self, weights: Array, capped: bool) -> tuple[Array, Array, Error]:
        """Estimate, plain Satterthwaite df and the panel's own error."""
        estimate, se, df = self.fits.contrast(weights)
        return estimate, df, Error(se, np.minimum(df, self.fits.containment[:, None]) if capped else df)

    def by_sitting(self, weights: Array, capped: bool) -> Error | None:
        """The sitting error of differences, where there are several sittings to tell it from."""
        return _sitting_error(self.cells.sittings, weights) if capped and self.cells.sittings is not None else None

    def rows(self, rows: NDArray[np.intp]) -> Fitted:
        """Some of the batch."""
        return Fitted(self.cells.rows(rows), self.fits.take(rows))


@dataclass(frozen=True, slots=True)
class PanelAlone:
    """The same panels with no error but the panel's: limits no wider than the decisive ones, for a first look."""

    whole: Fitted

    @property
    def cells(self) -> Cells:
        """See Contrasts."""
        return self.whole.cells

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """See Contrasts; in the place of the own error stands one that never decides."""
        estimate, df, panel = self.whole.by_panel(weights, capped)
        return Estimates(estimate, df, panel, Error(np.zeros_like(panel.se), np.full_like(panel.df, cr2.MOST_DF)))


def fitted(cells: Cells) -> Fitted:
    """Fit a batch of panels."""
    return Fitted(cells, mixed.fit_cells(cells.counts, cells.sums, cells.within))


# ---- own error -----------------------------------------------------------------------------------------------------
def own_error(cells: Cells, fits: mixed.CellFits, weights: Array) -> Error:
    """The assessor as the unit: paired when every cell holds as many scores, else cluster-robust."""
    return paired(cells, fits.means, weights) if is_balanced(cells.counts) else cluster_robust(cells, fits, weights)


def paired(cells: Cells, means: Array, weights: Array) -> Error:
    """Complete and balanced, with the `means` (B, h) of the pulls: one value of each contrast an assessor, standard
    error sd / sqrt(a), df a - 1."""
    a, r = cells.sums.shape[1], cells.counts[:, :1, 0]
    se = np.sqrt(_squares_about_mean(cells.sums, r * (means @ weights.T), weights) / (a * (a - 1))) / r
    return Error(se, np.broadcast_to(float(a - 1), se.shape))


def _squares_about_mean(sums: Array, mean: Array, weights: Array) -> Array:
    """Sums of squares (n, k) of each assessor's contrasts of cell sums about their mean (n, k).

    Differences to one pull ask no more than products with it. By subtraction, but anew where that would lose digits.
    """
    everyone = np.ones(sums.shape[1])
    lift = len(everyone) * mean**2
    reference = _reference(weights)
    if reference is None:
        raw = scale = everyone @ (sums @ weights.T) ** 2
    else:
        own = everyone @ (sums * sums)
        scale = own + own[:, reference, None]
        raw = scale - 2 * np.vecmat(sums[:, :, reference], sums)
        raw[:, reference] = scale[:, reference] = 0
    found = raw - lift
    lost = found < 1e-4 * scale
    if lost.any():
        rows = np.flatnonzero(lost.any(1))
        values = sums[rows] @ weights.T
        found[rows] = ((values - values.mean(1, keepdims=True)) ** 2).sum(1)
    return np.asarray(found)


def _reference(weights: Array) -> int | None:
    """The pull that every pull is set against by `weights`; None where they ask anything else."""
    reference = int(np.abs(weights).sum(1).argmin())
    return reference if np.array_equal(weights, differences(weights.shape[1], reference)) else None


def cluster_robust(cells: Cells, fits: mixed.CellFits, weights: Array) -> Error:
    """CR2 with the fitted model as working covariance, on cell means."""
    means = cells.sums / np.maximum(cells.counts, 1)
    return Error(*cr2.cluster_robust(cells.counts, means, fits, weights))


def own_bounds(cells: Cells, fits: mixed.CellFits, weights: Array) -> tuple[Error, Error]:
    """The least and the most that the cluster-robust error can be."""
    means = cells.sums / np.maximum(cells.counts, 1)
    least, most = cr2.bounds(cells.counts, means, fits, weights)
    return Error(*least), Error(*most)


# ---- sitting error -------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class SittingSquares:
    """Mean squares (B,) of sittings x pulls x assessors: pull x sitting, assessor x pull, rest, with their df."""

    daily: Array
    personal: Array
    rest: Array
    daily_df: int
    personal_df: int
    rest_df: Array
    full_df: int


def sitting_squares(y: Array) -> SittingSquares | None:
    """Mean squares of cell means `y` (B, a, h, S) over the pulls that were served in every sitting.

    Single missing cells are filled in by additive expectation and cost a degree of freedom of the rest. None when fewer
    than two sittings, pulls or assessors are left.
    """
    table = y[:, :, _served(y).all(1), :]
    _, a, h, S = table.shape
    if min(a, h, S) < 2:
        return None
    filled, gaps = _filled(table)
    grand = filled.mean((1, 2, 3), keepdims=True)
    pull, person, day = (filled.mean(axes, keepdims=True) for axes in ((1, 3), (2, 3), (1, 2)))
    daily = filled.mean(1, keepdims=True) - pull - day + grand
    personal = filled.mean(3, keepdims=True) - pull - person + grand
    f_sh, f_ah, f_e = (S - 1) * (h - 1), (a - 1) * (h - 1), (a - 1) * (h - 1) * (S - 1)
    rest_df = np.maximum(f_e - gaps, 1.0)
    rest = (_three_way(filled) ** 2).sum((1, 2, 3)) / rest_df
    ms_sh, ms_ah = a * (daily**2).sum((1, 2, 3)) / f_sh, S * (personal**2).sum((1, 2, 3)) / f_ah
    return SittingSquares(ms_sh, ms_ah, rest, f_sh, f_ah, rest_df, f_e)


def _served(y: Array) -> NDArray[np.bool_]:
    """Whether a pull was served in a sitting (h, S)."""
    return np.asarray(np.isfinite(y[0]).any(axis=0))


def _sitting_error(y: Array, weights: Array) -> Error | None:
    """Sittings as a random draw of trays: SE^2 = (v_sh / S_k + v_ah / a + v_e / (a S_k)) x sum of squared weights.

    v_sh, v_ah, v_e are the variances of pull x sitting, assessor x pull and rest, none below zero; S_k counts the
    sittings that served every pull of contrast k. Satterthwaite df of the combination of mean squares, at least 1 and
    at most (a - 1)(h - 1). None with one sitting.
    """
    squares = sitting_squares(y)
    if squares is None:
        return None
    a, S = y.shape[1], y.shape[3]
    served = (S - ((weights != 0).astype(int) @ ~_served(y) > 0).sum(1)).astype(float)
    apart = served == 0  # pulls of a contrast that share no sitting: nothing tells trays from hours
    served[apart] = 1
    daily, personal = (squares.daily > squares.rest)[:, None], (squares.personal > squares.rest)[:, None]
    part_sh = np.where(daily, squares.daily[:, None], 0.0) / (a * served)
    part_ah = np.where(personal, squares.personal[:, None], 0.0) / (a * S)
    # Each variance above zero takes the rest out of its mean square once; v_e / (a S_k) gives it back once.
    part_e = squares.rest[:, None] * (np.where(daily, 0.0, 1 / (a * served)) - np.where(personal, 1 / (a * S), 0.0))
    total = part_sh + part_ah + part_e
    bottom = part_sh**2 / squares.daily_df + part_ah**2 / squares.personal_df + part_e**2 / squares.rest_df[:, None]
    cap = float(squares.personal_df)
    df = np.clip(np.divide(total**2, bottom, out=np.full(total.shape, cap), where=bottom > 0), 1, cap)
    return Error(np.where(apart, np.inf, np.sqrt(np.maximum(total, 0) * (weights**2).sum(1))), df)


def _filled(y: Array) -> tuple[Array, Array]:
    """Missing cells set where additive two-way margins expect them; (table, number filled (B,)).

    Solved in one step: it is where filling, fitting and filling again would end. What an assessor never tasted is
    begun, and where nothing tells more left, at the pull's mean and the assessor's lean. Studies that miss the same
    cells share one inverse.
    """
    absent = ~np.isfinite(y)
    gaps = absent.sum((1, 2, 3)).astype(float)
    if not gaps.any():
        return y, gaps
    filled = np.where(absent, _additive(y, ~absent), y)
    rows = slice(0, 1) if (absent == absent[:1]).all() else slice(None)
    cells, missing = _places(absent[rows].reshape(len(absent[rows]), -1))
    off = np.take_along_axis(
        _three_way(filled).reshape(len(y), -1), np.broadcast_to(cells, (len(y), cells.shape[1])), 1
    )
    inverse = np.linalg.pinv(
        _projection(y.shape[1:], cells) * missing[:, :, None] * missing[:, None, :], hermitian=True
    )
    step = (inverse @ (off * missing)[..., None])[..., 0]
    flat = filled.reshape(len(y), -1)
    study = np.arange(len(y))[:, None]
    flat[study, cells] -= step * missing
    return flat.reshape(y.shape), gaps


def _additive(y: Array, seen: NDArray[np.bool_]) -> Array:
    """Mean of each pull plus how far each assessor's scores lie from these on average (B, a, h, S)."""

    def mean(values: Array, axes: tuple[int, ...]) -> Array:
        total = np.where(seen, values, 0.0).sum(axes, keepdims=True)
        return np.asarray(total / np.maximum(seen.sum(axes, keepdims=True), 1))

    pull = mean(y, (1, 3))
    return np.broadcast_to(pull + mean(y - pull, (2, 3)), y.shape)


def _places(absent: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Which cells (B, m) each study misses, rows with fewer filled up with others; and which of them are missing."""
    cells = np.argsort(~absent, axis=1, kind="stable")[:, : absent.sum(1).max()]
    return cells, np.take_along_axis(absent, cells, 1)


def _projection(shape: tuple[int, ...], cells: NDArray[np.intp]) -> Array:
    """What `_three_way` makes of one cell in another (B, m, m): a product over the three factors."""
    found = np.ones((*cells.shape, cells.shape[1]))
    for size, level in zip(shape, np.unravel_index(cells, shape), strict=True):
        found *= (level[:, :, None] == level[:, None, :]) - 1 / size
    return found


def _three_way(y: Array) -> Array:
    """What is left of assessor x pull x sitting after every two-way margin: centred along each factor in turn."""
    for axis in (1, 2, 3):
        y = y - y.mean(axis, keepdims=True)
    return y
