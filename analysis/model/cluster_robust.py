"""The assessor's own error when scores are missing: bias-reduced cluster-robust variance CR2, clusters = assessors.

Bell & McCaffrey 2002 with the symmetric adjustment and Satterthwaite df of Pustejovsky & Tipton 2018 (both from
memory), with the fitted mixed model as working covariance of the single scores. Shapes: B batch, a assessors, h pulls,
k contrasts.

CR2 is defined on rows, and not the same on means of cells that hold different numbers n of scores. But all that the
rows of a cell add to s times its mean, s = sqrt(n), is untouched by the fit, so h numbers an assessor are enough. Their
working covariance s Phi s, Phi = diag(1 / w) + rho 1 1', has the root R = s (diag(1 / u) + theta 1 u'), u = sqrt(w),
and the adjustment A of A (s Phi s - s M s) A = s Phi s is R (R' (s Phi s - s M s) R)^-1/2 R', whatever root is taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from typing import Self

import numpy as np
from numpy.typing import NDArray

from analysis.model.cell_fits import CellFits
from analysis.model.small_arrays import inverse_and_log_det, ones, over_pulls

Array = NDArray[np.float64]
Rows = NDArray[np.intp]
Pair = tuple[Array, Array]
# Directions of an assessor that the fit explains entirely have no residual; their eigenvalue is rounding alone.
NO_RESIDUAL = 1e-10
# Bounds keep this share of distance, for rounding; they are trusted where no direction comes near being explained.
ASIDE = 1e-7
MOST_DF = 1e6
FAR_FROM_EXPLAINED = 1e8
# Numbers in an array of matrices, one an assessor, that stay close to the processor.
NUMBERS_AT_ONCE = 24_000


def cluster_robust(counts: Array, cells: Array, fits: CellFits, weights: Array) -> tuple[Array, Array]:
    """SE and Satterthwaite df, each (B, k), of the contrasts `weights` (k, h) with the assessor as the unit.

    Args:
        counts: scores per cell, (B or 1, a, h).
        cells: cell means (B, a, h), anything where nothing was scored.
        fits: the working model, fitted to the same scores.
        weights: contrasts of the pulls' means; a row of zeros has SE 0 and df NaN.
    """
    w, ratio, c = fits.weights, fits.assessor_ratio, np.asarray(weights, float).T
    n = _told(counts, fits)
    residual = np.where(w > 0, cells - fits.means[:, None, :], 0.0)
    se, df = np.empty((len(w), c.shape[1])), np.empty((len(w), c.shape[1]))
    at_once = max(1, NUMBERS_AT_ONCE // (w[0].size * w.shape[2]))
    for start in range(0, len(w), at_once):
        rows = slice(start, start + at_once)
        se[rows], df[rows] = _some(w[rows], ratio[rows], n[rows], residual[rows], c)
    return se, df


def _told(counts: Array, fits: CellFits) -> Array:
    """Scores per cell that tell something: one where replicates are copies of each other."""
    return np.where(fits.copied[:, None, None], np.minimum(counts, 1), counts)


def bounds(counts: Array, cells: Array, fits: CellFits, weights: Array) -> tuple[Pair, Pair]:
    """The least that `cluster_robust` can find, as (SE, df) with the most df, and the most, with the fewest df.

    No matrix needs a root here. Let M be what the fit explains of an assessor's covariance V, and lo V <= M <= hi V.
    The adjustment A is the geometric mean of V and (V - M)^-1, and such means are monotone (Kubo & Ando 1980, from
    memory): (1 - lo)^-1/2 <= A <= (1 - hi)^-1/2. So each score lies near a multiple of the plain one, t'We; the
    variances of the scores are t'Wt whatever A is; and their covariances are at most hi / (1 - hi) of these.
    """
    w, ratio, c = fits.weights, fits.assessor_ratio, np.asarray(weights, float).T
    n = _told(counts, fits)
    e = np.where(w > 0, cells - fits.means[:, None, :], 0.0)
    M = _information_inverse(w, ratio)
    low, high, beyond, trusted = _adjustments(M, w, ratio)
    t = M @ c
    q = ratio[:, None] / (1 + ratio[:, None] * over_pulls(w))
    we, wt, tt = w * e, w @ t, t * t
    plain = (we - (q * over_pulls(we))[..., None] * w) @ t
    own = w @ tt - q[..., None] * wt**2
    density = np.divide(w**2, n, out=np.zeros_like(w), where=w > 0)
    qwt = q[..., None] * wt
    norm = density @ tt - 2 * qwt * (density @ t) + over_pulls(density)[..., None] * qwt**2
    length = np.sqrt(np.maximum(norm, 0) * over_pulls(n * e**2)[..., None])
    everyone = ones(w.shape[1])
    near = np.sqrt(everyone @ (((high + low) / 2)[..., None] * plain) ** 2)
    off = np.sqrt(everyone @ (((high - low) / 2)[..., None] * length) ** 2)
    total, squares = (everyone @ own) ** 2, everyone @ own**2
    with np.errstate(invalid="ignore"):
        most_df, fewest_df = total / squares, total / (squares + beyond**2 * (total - squares))
    least_se, most_se = np.maximum(near - off, 0) * (1 - ASIDE), (near + off) * (1 + ASIDE)
    return (
        (np.where(trusted, least_se, 0.0), np.where(trusted, most_df * (1 + ASIDE), MOST_DF)),
        (np.where(trusted, most_se, np.inf), np.where(trusted, fewest_df * (1 - ASIDE), 1.0)),
    )


def _adjustments(M: Array, w: Array, ratio: Array) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """(1 - lo)^-1/2 (B, a), (1 - hi)^-1/2, hi / (1 - hi) and whether they can be trusted, (B, 1) each.

    From the eigenvalues of M against an assessor with the largest weight everywhere: nobody's covariance is smaller,
    and none larger than by the ratio of that weight to the least.
    """
    h = w.shape[2]
    largest = w.reshape(len(w), -1).max(1)
    lean = 1 + ratio * largest * h
    root = np.sqrt(largest)[:, None, None] * (np.eye(h) - ((1 - 1 / np.sqrt(lean)) / h)[:, None, None])
    values = np.linalg.eigvalsh(root @ M @ root)
    # Pull by pull: several times faster than a reduction of short rows.
    share = reduce(np.minimum, np.moveaxis(np.where(w > 0, w, np.inf), 2, 0)) / largest[:, None]
    left = 1 - values[:, -1]
    trusted = (lean / share.min(1)) ** 2 < FAR_FROM_EXPLAINED * left
    left = np.where(trusted, left, 1.0)[:, None]
    least = 1 / np.sqrt(1 - np.where(trusted[:, None], share * values[:, :1], 0.0))
    return least, 1 / np.sqrt(left), 1 / left - 1, trusted[:, None]


def _some(w: Array, ratio: Array, n: Array, residual: Array, c: Array) -> tuple[Array, Array]:
    """SE and df of the contrasts `c` (h, k) for a part of the batch."""
    M = _information_inverse(w, ratio)
    study, person, place = _distinct(n)
    roots = _Roots.of(w[study, person], ratio[study], n[study, person])
    adjusted, varying = roots.adjusted(M[study], (M @ c)[study])
    p, own = adjusted[place], varying[place]
    score = (residual[:, :, None, :] @ p)[:, :, 0]
    return np.sqrt((score**2).sum(1)), _df(p, own, M)


def _information_inverse(w: Array, ratio: Array) -> Array:
    """(X'V^-1 X)^-1 in units of the residual variance, (B, h, h)."""
    h = w.shape[2]
    q = ratio[:, None] / (1 + ratio[:, None] * over_pulls(w))
    XWX = -(w.transpose(0, 2, 1) @ (q[..., None] * w))
    XWX[:, np.arange(h), np.arange(h)] += ones(w.shape[1]) @ w
    return inverse_and_log_det(XWX)[0]


def _distinct(counts: Array) -> tuple[Rows, Rows, Rows]:
    """Study and assessor of the rows worth adjusting, and for each assessor (B, a) which of them is theirs.

    Assessors of a study whose cells hold the same counts share one adjustment: those who scored everything, and those
    who were served the same block.
    """
    code = _codes(counts)
    order = np.argsort(code, axis=1, kind="stable")
    ranked = np.take_along_axis(code, order, 1)
    new = np.ones(code.shape, bool)
    new[:, 1:] = ranked[:, 1:] != ranked[:, :-1]
    place = np.empty(code.shape, np.intp)
    np.put_along_axis(place, order, new.ravel().cumsum().reshape(code.shape) - 1, 1)
    return np.nonzero(new)[0], order[new], place


def _codes(counts: Array) -> Array:
    """A number for each row of counts (B, a), the same for equal rows of a study alone."""
    h, base = counts.shape[2], counts.max() + 1
    if h * np.log2(base) < 52:  # exact as digits of one float
        return np.asarray(counts @ base ** np.arange(h))
    equal = (counts[:, :, None, :] == counts[:, None, :, :]).all(3)
    return np.asarray(equal.argmax(2), float)


@dataclass(frozen=True, slots=True)
class _Roots:
    """R of some assessors (U of them): u, s / u, s (U, h), theta and its inverse's theta (U, 1)."""

    u: Array
    over: Array
    s: Array
    theta: Array
    back: Array

    @classmethod
    def of(cls, w: Array, ratio: Array, n: Array) -> Self:
        """From weights (U, h), ratios (U,) and counts (U, h)."""
        u = np.sqrt(w)
        total = w.sum(1, keepdims=True)
        theta = (np.sqrt(1 + ratio[:, None] * total) - 1) / total
        s = np.where(w > 0, np.sqrt(n), 0.0)
        over = np.divide(s, u, out=np.zeros_like(u), where=w > 0)
        return cls(u, over, s, theta, theta / (1 + theta * total))

    def squared(self) -> Array:
        """R'R (U, h, h)."""
        h = self.u.shape[1]
        side = self.theta[..., None] * (self.over * self.s)[:, :, None] * self.u[:, None, :]
        far = (self.theta**2 * (self.s**2).sum(1, keepdims=True))[..., None] * self.u[:, :, None] * self.u[:, None, :]
        found = side + side.transpose(0, 2, 1) + far
        found[:, np.arange(h), np.arange(h)] += self.over**2
        return np.asarray(found)

    def sandwiched(self, M: Array) -> Array:
        """R's M s R of a symmetric M (U, h, h) on the pulls each assessor scored."""
        M = self.s[:, :, None] * M * self.s[:, None, :]
        row = self.theta * (M @ self.s[..., None])[..., 0] * self.over
        corner = self.theta**2 * (self.s[:, None, :] @ M @ self.s[..., None])[..., 0]
        side = (row + corner * self.u / 2)[:, :, None] * self.u[:, None, :]
        return np.asarray(self.over[:, :, None] * M * self.over[:, None, :] + side + side.transpose(0, 2, 1))

    def adjusted(self, M: Array, targets: Array) -> tuple[Array, Array]:
        """p = s A (s Phi s)^-1 s M c of each contrast (U, h, k), and p'Phi p (U, k)."""
        RR = self.squared()
        values, vectors = np.linalg.eigh(RR @ RR - self.sandwiched(M))
        kept = values > NO_RESIDUAL * values[:, -1:]
        power = np.divide(1.0, np.sqrt(np.maximum(values, 0)), out=np.zeros_like(values), where=kept)
        y = self.u[..., None] * targets
        y = y - (self.back * self.u)[..., None] * (self.u[:, None, :] @ y)
        z = vectors @ (power[..., None] * (vectors.transpose(0, 2, 1) @ y))
        p = self.over[..., None] * z + (self.theta * self.s)[..., None] * (self.u[:, None, :] @ z)
        return self.s[..., None] * p, ((RR @ z) ** 2).sum(1)


def _df(p: Array, own: Array, M: Array) -> Array:
    """Satterthwaite df of sum_i (p_i'e_i)^2 under the working model: p (B, a, h, k), own = p'Phi p (B, a, k)."""
    explained = (p * (M[:, None] @ p)).sum(2)
    each = p.transpose(0, 3, 1, 2)
    MS = M[:, None] @ (each.transpose(0, 1, 3, 2) @ each)
    squares = (own**2 - 2 * own * explained).sum(1) + (MS * MS.transpose(0, 1, 3, 2)).sum((2, 3))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray((own - explained).sum(1) ** 2 / squares)
