"""The errors that a difference of two pulls must face, for a batch of panels at once.

Panel error: the mixed model's contrast. Own error: the assessor as the unit, paired when complete, else the same
contrast with the bias-reduced cluster-robust error CR2 and Satterthwaite df (Bell & McCaffrey 2002; Pustejovsky &
Tipton 2018; both from memory). Sitting error: what a tray prepared differently moves for everybody.
Shapes: B batch, a assessors, h pulls, S sittings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis import mixed
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


@dataclass(frozen=True, slots=True)
class Error:
    """A standard error and its degrees of freedom, for k contrasts: (B, k) each."""

    se: Array
    df: Array

    def reach(self, level: float) -> Array:
        """How far a one-sided limit at `level` lies from the estimate."""
        with np.errstate(invalid="ignore"):
            return np.asarray(upper_t(level, np.maximum(self.df, 1e-3)) * self.se)


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

    def upper(self, level: float) -> Array:
        """The largest upper limit (B, k)."""
        return np.asarray(self.estimate + np.max([error.reach(level) for error in self.errors], axis=0))

    def lower(self, level: float) -> Array:
        """The smallest lower limit (B, k)."""
        return np.asarray(self.estimate - np.max([error.reach(level) for error in self.errors], axis=0))

    def times(self, sign: float) -> Estimates:
        """The same contrasts with the sign turned when more is wanted."""
        return self if sign > 0 else Estimates(-self.estimate, self.df, self.panel, self.own, self.sitting)


def is_balanced(counts: Array) -> bool:
    """Every cell of every panel scored equally often."""
    return bool((counts == counts[:, :1, :1]).all())


@dataclass(frozen=True, slots=True)
class Fitted:
    """A batch of panels, fitted once; contrasts are asked of it."""

    cells: Cells
    fits: mixed.CellFits

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """k contrasts `weights` (k, h): differences use the capped df, means the plain one."""
        estimate, se, df = self.fits.contrast(weights)
        capped_df = np.minimum(df, self.fits.containment[:, None]) if capped else df
        own = (
            _paired(self.cells, weights)
            if is_balanced(self.cells.counts)
            else _cluster_robust(self.cells, self.fits, weights)
        )
        sitting = _sitting_error(self.cells.sittings, weights) if capped and self.cells.sittings is not None else None
        return Estimates(estimate, df, Error(se, capped_df), own, sitting)

    def against(self, reference: int) -> Estimates:
        """Every pull minus the pull with index `reference`."""
        eye = np.eye(self.cells.sums.shape[2])
        return self.contrast(eye - eye[reference])

    def means(self) -> Estimates:
        """The mean of every pull."""
        return self.contrast(np.eye(self.cells.sums.shape[2]), capped=False)


def fitted(cells: Cells) -> Fitted:
    """Fit a batch of panels."""
    return Fitted(cells, mixed.fit_cells(cells.counts, cells.sums, cells.within))


# ---- own error -----------------------------------------------------------------------------------------------------
def _paired(cells: Cells, weights: Array) -> Error:
    """Complete and balanced: one value of each contrast an assessor."""
    values = (cells.sums / cells.counts) @ weights.T
    a = values.shape[1]
    sd = values.std(axis=1, ddof=1) if a > 1 else np.full(values[:, 0].shape, np.nan)
    return Error(sd / np.sqrt(a), np.full(sd.shape, float(a - 1)))


def _cluster_robust(cells: Cells, fits: mixed.CellFits, weights: Array) -> Error:
    """CR2 with the fitted model as working covariance, on cell means; absent cells are unit rows that weigh nothing."""
    present = np.broadcast_to(cells.counts > 0, cells.sums.shape)
    B, a, h = cells.sums.shape
    means = np.divide(cells.sums, cells.counts, out=np.zeros(cells.sums.shape), where=present)
    residual = np.where(present, means - fits.means[:, None, :], 0.0)
    both = present[..., :, None] & present[..., None, :]
    inverse_weight = np.divide(1.0, fits.weights, out=np.ones((B, a, h)), where=present)
    eye = np.eye(h)
    work = np.where(both, fits.assessor_ratio[:, None, None, None], 0.0) + inverse_weight[..., None] * eye
    M = _inverse_information(work, present)
    D = np.linalg.cholesky(work).transpose(0, 1, 3, 2)
    left = np.where(both, M[:, None], 0.0)
    inner = D @ (work - left) @ D.transpose(0, 1, 3, 2)
    values, vectors = np.linalg.eigh((inner + inner.transpose(0, 1, 3, 2)) / 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.where(values > 1e-10 * values.max(-1, keepdims=True), values**-0.5, 0.0)
    half = (vectors * root[..., None, :]) @ vectors.transpose(0, 1, 3, 2)
    adjust = D.transpose(0, 1, 3, 2) @ half @ D
    chosen = np.where(present[..., None], (M @ weights.T)[:, None], 0.0)
    p = adjust @ np.linalg.solve(work, chosen)
    score = np.einsum("bahk,bah->bak", p, residual)
    return Error(np.sqrt((score**2).sum(1)), _cluster_df(p, work, M, present))


def _inverse_information(work: Array, present: NDArray[np.bool_]) -> Array:
    """(X'V^-1 X)^-1 over the pulls, in units of the residual variance: (B, h, h)."""
    both = present[..., :, None] & present[..., None, :]
    return np.asarray(np.linalg.inv(np.where(both, np.linalg.inv(work), 0.0).sum(1)))


def _cluster_df(p: Array, work: Array, M: Array, present: NDArray[np.bool_]) -> Array:
    """Satterthwaite df of a CR2 variance under the working model, (B, k)."""
    own = np.einsum("bahk,bahg,bagk->bak", p, work, p)
    seen = np.where(present[..., None], p, 0.0)
    across = np.einsum("bahk,bhg,bcgk->bkac", seen, M, seen)
    table = -across
    index = np.arange(p.shape[1])
    table[:, :, index, index] += own.transpose(0, 2, 1)
    trace = np.einsum("bkaa->bk", table)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(trace**2 / (table**2).sum((2, 3)))


# ---- sitting error -------------------------------------------------------------------------------------------------
def _sitting_error(y: Array, weights: Array) -> Error | None:
    """Sittings as a random draw of trays: SE^2 from mean squares of pull x sitting, assessor x pull and rest.

    Single missing cells are filled in by additive expectation and cost a degree of freedom. None with one sitting.
    """
    pulls: NDArray[np.bool_] = np.asarray(np.isfinite(y).any(axis=1))[0]
    whole = pulls.all(1)
    S = y.shape[3]
    if S < 2 or whole.sum() < 2:
        return None
    table = y[:, :, whole, :]
    filled, gaps = _filled(table)
    _B, a, h, _S = table.shape
    ms_sh, ms_ah, ms_e, f_e = mean_squares(filled, gaps)
    v_sh, v_ah = np.maximum(ms_sh - ms_e, 0) / a, np.maximum(ms_ah - ms_e, 0) / S
    f_sh, f_ah = (S - 1) * (h - 1), (a - 1) * (h - 1)
    used = (weights != 0).astype(int) @ (~pulls).astype(int) > 0
    apart = used.all(1)  # pulls of a contrast that share no sitting: nothing tells trays from hours
    served = np.where(apart, 1, S - used.sum(1)).astype(float)
    size = (weights**2).sum(1)
    # SE^2 / 2 = v_sh / S + v_ah / a + v_e / (a S), written in mean squares; a negative variance counts as zero.
    daily, personal = (v_sh > 0)[:, None], (v_ah > 0)[:, None]
    part_sh = np.where(daily, ms_sh[:, None], 0.0) / (a * served)
    part_ah = np.where(personal, ms_ah[:, None], 0.0) / (a * S)
    rest = np.where(daily, 0.0, 1 / (a * served)) - np.where(personal, 1 / (a * S), 0.0)
    part_e = ms_e[:, None] * rest
    total = part_sh + part_ah + part_e
    bottom = part_sh**2 / f_sh + part_ah**2 / f_ah + part_e**2 / f_e[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        df = np.clip(np.where(bottom > 0, total**2 / bottom, f_ah), 1, f_ah)
    return Error(np.where(apart, np.inf, np.sqrt(np.maximum(total, 0) * size)), df)


def _filled(y: Array) -> tuple[Array, Array]:
    """Missing cells by iterated additive expectation of the two-way margins; (table, number filled (B,))."""
    absent = ~np.isfinite(y)
    gaps = absent.sum((1, 2, 3)).astype(float)
    if not gaps.any():
        return y, gaps
    with np.errstate(invalid="ignore"):
        filled = np.where(absent, np.nanmean(y, axis=(1, 2, 3), keepdims=True), y)
    for _ in range(50):
        filled = np.where(absent, filled - _three_way(filled), filled)
    return filled, gaps


def _three_way(y: Array) -> Array:
    """What is left of assessor x pull x sitting after every two-way margin."""

    def m(*axes: int) -> Array:
        return np.asarray(y.mean(axes, keepdims=True))

    return np.asarray(y - m(3) - m(2) - m(1) + m(2, 3) + m(1, 3) + m(1, 2) - m(1, 2, 3))


def mean_squares(y: Array, gaps: Array) -> tuple[Array, Array, Array, Array]:
    """Mean squares of pull x sitting, assessor x pull and rest (each (B,)), and the df of the rest."""
    _, a, h, S = y.shape
    grand = y.mean((1, 2, 3), keepdims=True)
    pull, person, day = y.mean((1, 3), keepdims=True), y.mean((2, 3), keepdims=True), y.mean((1, 2), keepdims=True)
    sh = y.mean(1, keepdims=True) - pull - day + grand
    ah = y.mean(3, keepdims=True) - pull - person + grand
    f_e = np.maximum((a - 1) * (h - 1) * (S - 1) - gaps, 1.0)
    ms_e = (_three_way(y) ** 2).sum((1, 2, 3)) / f_e
    return a * (sh**2).sum((1, 2, 3)) / ((S - 1) * (h - 1)), S * (ah**2).sum((1, 2, 3)) / ((a - 1) * (h - 1)), ms_e, f_e
