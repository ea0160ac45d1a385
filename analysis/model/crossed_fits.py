"""REML fits of a batch of crossed problems: means of the first factor, averaged over the further fixed ones.

Shapes: B batch, h levels of the first factor, f columns, p of them fixed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.model import reml
from analysis.model.contrasts import f_of, hypothesis
from analysis.model.crossed import CrossedProblem, containment

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
# What is left of squares, and eigenvalues, as a share of the largest, when only rounding is left.
EXPLAINED, SINGULAR = 1e-14, 1e-10


@dataclass(frozen=True, slots=True)
class CrossedFits:
    """See contrasts.MeansFit; `variances` (B, K) of the assessor, the cell if there, and the crossed factors.

    `residual` (B,); `loglik` (B,), NaN where fixed factors, crossed ones and assessors explain every score; `counts`
    (B, h), scores a level; `alone`: no further fixed factor.
    """

    means: Array
    covariance: Array
    moves: Array
    parameter_covariance: Array
    containment: Array
    variances: Array
    residual: Array
    loglik: Array
    counts: Array
    alone: bool

    def f_test(self) -> tuple[Array, float, Array, Array]:
        """F of the first factor (B,), its numerator df, denominator df (B,) and p (B,); beside further fixed factors
        the hypothesis is differences from its first level."""
        h = self.means.shape[1]
        rows = hypothesis(self.counts) if self.alone else np.hstack([-np.ones((h - 1, 1)), np.eye(h - 1)])[None]
        return f_of(rows, self)


def fit_crossed(problem: CrossedProblem, centre: Array, average: Array) -> CrossedFits:
    """Fit a batch by REML.

    Args:
        problem: fixed columns begin with those of the first factor, one a level.
        centre: what was taken off the scores of each level (B, h).
        average: from the fixed coefficients to the levels' means (h, p).
    """
    p, h = problem.fixed, centre.shape[1]
    exact = _is_exact(problem)
    counts = np.einsum("bhh->bh", problem.cross[:, :h, :h])
    if exact.any():
        problem = _without_scores(problem, exact)
    rho, point, slope = reml.optimise(problem)
    s2 = np.where(exact, 0.0, point.residual)
    beta = point.coefficients[:, :p].copy()
    beta[:, :h] += centre
    moves = reml.covariance_moves(point.residual, point.inverse, slope)[..., :p, :p]
    return CrossedFits(
        means=beta @ average.T,
        covariance=average @ (s2[:, None, None] * point.inverse[:, :p, :p]) @ average.T,
        moves=average @ moves @ average.T,
        parameter_covariance=reml.parameter_covariance(rho, slope),
        containment=containment(problem),
        variances=rho * s2[:, None],
        residual=s2,
        loglik=np.where(exact, np.nan, -point.deviance / 2),
        counts=counts,
        alone=p == h,
    )


def _is_exact(problem: CrossedProblem) -> Flags:
    """Fixed factors, crossed factors and assessors explain every score, so that the likelihood has no maximum (B,)."""
    sums, n, cross = problem.sums.sum(2), problem.counts.sum(2), problem.cross
    within = cross - sums.transpose(0, 2, 1) @ (sums / n[..., None])
    right = within[:, :-1, -1:]
    beta = np.linalg.pinv(within[:, :-1, :-1], rcond=SINGULAR, hermitian=True) @ right
    left = within[:, -1, -1] - (right * beta).sum((1, 2))
    return np.asarray(left <= EXPLAINED * np.maximum(cross[:, -1, -1], 1e-300))


def _without_scores(problem: CrossedProblem, exact: Flags) -> CrossedProblem:
    """The same design; where it explains every score, with scores that carry nothing but a unit sum of squares."""
    sums, cross = problem.sums.copy(), problem.cross.copy()
    sums[exact, ..., -1] = 0.0
    cross[exact, -1, :] = cross[exact, :, -1] = 0.0
    cross[exact, -1, -1] = 1.0
    return CrossedProblem(problem.counts, sums, cross, problem.fixed, problem.nested, problem.crossed)
