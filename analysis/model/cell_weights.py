"""The REML problem of an incomplete panel: weighted sums over cells, hours + assessor + assessor:hours.

Cells have weights w_ij = n / (1 + rho_c n) and assessors k_i = 1 / (1 + rho_a sum_j w_ij), q_i = rho_a k_i. With the
pulls as columns X, an assessor's Zc'WX is D = diag(w) - q w w' and Za'WX = k w'; every derivative is a sum of powers
of w.
Shapes: B batch, a assessors, h pulls.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numpy.typing import NDArray

from analysis.model import reml
from analysis.model.small_arrays import inverse_and_log_det, ones, over_all, over_pulls

Array = NDArray[np.float64]
Rows = NDArray[np.intp]
Triple = tuple[Array, Array, Array]
LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True)
class CellProblem:
    """Counts (B or 1, a, h), cell means (B, a, h) centred by pull (0 where absent), sums of squares within cells (B,),
    and how many scores and cells there are (B or 1,)."""

    counts: Array
    cells: Array
    within: Array
    nested: tuple[str, ...]
    scores: Array
    filled: Array

    @classmethod
    def of(cls, counts: Array, cells: Array, within: Array, nested: tuple[str, ...]) -> Self:
        """The same, counted once: every evaluation asks for the numbers of scores and cells."""
        return cls(counts, cells, within, nested, over_all(counts), over_all((counts > 0).astype(float)))

    def take(self, rows: Rows) -> CellProblem:
        """See reml.Problem."""
        counts, scores, filled = (
            shared if len(self.counts) == 1 else shared[rows] for shared in (self.counts, self.scores, self.filled)
        )
        return CellProblem(counts, self.cells[rows], self.within[rows], self.nested, scores, filled)

    def start(self) -> Array:
        """Pooled mean squares, as if every cell held the mean count, kept above 2 % of the residual."""
        _, a, h = self.cells.shape
        number, scores = self.filled, self.scores
        n, per = scores / number, scores / a
        rest, person = sweep(self.cells, (self.counts > 0).astype(float))
        person = person - (person @ ones(a) / a)[:, None]
        m2 = per * np.vecdot(person, person) / (a - 1)
        f1 = np.maximum(number - a - h + 1.0, 1.0)
        m1 = over_all(self.counts * rest * rest) / f1
        f0 = scores - number if "cell" in self.nested else np.zeros_like(scores)
        m0 = np.divide(self.within, f0, out=np.zeros_like(m1), where=f0 > 0)
        low, middle, high = pooled((m0, m1, m2), (f0, f1, float(a - 1)))
        low = np.maximum(np.where(f0 > 0, low, middle), 1e-12 * high + np.finfo(float).tiny)
        ratios = {"assessor": (high - middle) / per / low, "cell": (middle - low) / n / low}
        return np.asarray(np.maximum(np.stack([ratios[name] for name in self.nested], 1), 0.02))

    def levels(self) -> Array:
        """See reml.Problem: 1 + n rho_c within assessors, 1 + n rho_c + n h rho_a between them, n the mean count."""
        per = self.scores / self.cells.shape[1]
        if "cell" not in self.nested:
            return np.asarray(per[:, None, None])
        L = np.zeros((len(per), 2, 2))
        L[:, 1, 0] = per
        L[:, :, 1] = (self.scores / self.filled)[:, None]
        return L

    def at(self, rho: Array) -> CellPoint:
        """See reml.Problem; U'WU of [pulls | scores] from cell weights."""
        b, rho_a = len(rho), rho[:, 0, None]
        n, y = self.counts, self.cells
        loose = 1 + rho[:, 1, None, None] * n if len(self.nested) == 2 else np.ones((b, 1, 1))
        w = n / loose
        total = over_pulls(w)
        stiff = 1 + rho_a * total
        k = 1 / stiff
        q = rho_a * k
        qw = q[..., None] * w
        turned = np.ascontiguousarray(w.transpose(0, 2, 1))
        wy = w * y
        pulled = over_pulls(wy)
        drawn = q * pulled
        everyone = ones(y.shape[1])
        XWX = -(turned @ qw)
        np.einsum("bhh->bh", XWX)[:] += everyone @ w
        XWy = everyone @ wy - np.vecmat(drawn, w)
        inverse, log_det = inverse_and_log_det(XWX)
        gamma = np.matvec(inverse, XWy)
        yWy = self.within + np.vecdot(wy.reshape(b, -1), y.reshape(b, -1)) - np.vecdot(drawn, pulled)
        rss = np.maximum(yWy - np.vecdot(XWy, gamma), np.finfo(float).tiny)
        free = self.free
        log_w = np.log(stiff) @ everyone
        if len(self.nested) == 2:
            log_w += over_all(np.log(loose))
        residual = rss / free
        deviance = log_w + log_det + free * (1 + LOG_2PI + np.log(residual))
        return CellPoint(self, deviance, residual, inverse, gamma, w, turned, qw, total, k, q)

    @property
    def free(self) -> Array:
        """Scores less pulls (B or 1,)."""
        return np.asarray(self.scores - self.counts.shape[2])


def sweep(cells: Array, present: Array) -> tuple[Array, Array]:
    """What is left of the cell means after assessors and pulls, two sweeps, and the assessors' means.

    `present` (B, a, h) is 1 where a cell was scored, else 0.
    """
    by_pull, by_person = np.ones(cells.shape[1]), np.ones(cells.shape[2])
    pulls, people = by_pull @ present, present @ by_person
    rest, person = cells, np.zeros(cells.shape[:2])
    for _ in range(2):
        level = (rest @ by_person) / people
        person = person + level
        rest = rest - level[:, :, None] * present
        rest = rest - ((by_pull @ rest) / pulls)[:, None, :] * present
    return rest, person


@dataclass(frozen=True, slots=True)
class CellPoint:
    """One set of ratios: deviance, residual (B,), inverse of X'WX (B, h, h), coefficients (B, h); weights w (B, a,
    h), the same turned to (B, h, a), q w, sums of w over pulls, k and q (B, a) as in w_ij = n v, k = 1 / (1 + rho_a sum
    w), q = rho_a k."""

    problem: CellProblem
    deviance: Array
    residual: Array
    inverse: Array
    coefficients: Array
    w: Array
    turned: Array
    qw: Array
    total: Array
    k: Array
    q: Array

    def take(self, rows: Rows) -> CellPoint:
        """See reml.Point."""
        arrays = [getattr(self, field.name)[rows] for field in fields(self)[1:]]
        return CellPoint(self.problem.take(rows), *arrays)

    def slope(self) -> reml.Slope:
        """See reml.Point. With X = cells, Zc'WX of an assessor is D = diag(w) - q w w', and Za'WX = k w'."""
        w, k = self.w, self.k
        b, _, h = w.shape
        error = w * (self.problem.cells - self.coefficients[:, None, :])
        powers = _Powers.of(w, self.inverse)
        pulled = over_pulls(error)
        r_a = k * pulled
        size = len(self.problem.nested)
        trace, square = np.empty((b, size)), np.empty((b, size))
        norm, bent = np.empty((b, size, size)), np.empty((b, size, size))
        moves, slid = np.empty((b, size, h, h)), np.empty((b, size, h))
        kk, ks = k * k, k * self.total
        moves[:, 0] = self.turned @ (kk[..., None] * w)
        slid[:, 0] = np.vecmat(k * r_a, w)
        trace[:, 0] = np.vecdot(k, self.total) - np.vecdot(kk, powers.c11)
        square[:, 0] = np.vecdot(r_a, r_a)
        norm[:, 0, 0] = np.vecdot(ks, ks - 2 * kk * powers.c11)
        bent[:, 0, 0] = np.vecdot(ks * r_a, r_a)
        if size == 2:
            self._cell_parts(powers, error, pulled, r_a, trace, square, norm, bent, moves, slid)
        explained = self.inverse[:, None] @ moves
        flipped = explained.transpose(0, 1, 3, 2).reshape(b, size, -1)
        norm += explained.reshape(b, size, -1) @ flipped.transpose(0, 2, 1)
        bent -= slid @ self.inverse @ slid.transpose(0, 2, 1)
        return reml.assemble(trace, norm, bent, square, moves, self.residual, self.problem.free)

    def _cell_parts(
        self,
        powers: _Powers,
        error: Array,
        pulled: Array,
        r_a: Array,
        trace: Array,
        square: Array,
        norm: Array,
        bent: Array,
        moves: Array,
        slid: Array,
    ) -> None:
        """The rows and columns of assessor:hours, written into the arrays of `slope`."""
        w, k, q, b = self.w, self.k, self.q, len(self.w)
        p2, p3, c11 = powers.p2, powers.p3, powers.c11
        everyone = ones(w.shape[1])
        r_c = error - pulled[..., None] * self.qw
        wr = w * r_c
        inner = over_pulls(wr)
        q_inner, qp2, qp3 = q * inner, q * p2, q * p3
        bulk = w - (qp2 / 2)[..., None]
        bulk *= self.qw
        half = self.turned @ bulk
        second, third = everyone @ powers.w2, everyone @ powers.w3
        moves[:, 1] = -(half + half.transpose(0, 2, 1))
        np.einsum("bhh->bh", moves[:, 1])[:] += second
        slid[:, 1] = everyone @ wr - np.vecmat(q_inner, w)
        diagonal = np.einsum("bhh->bh", self.inverse)
        apart = powers.c12 - qp2 * c11
        trace[:, 1] = (self.total - qp2) @ everyone - np.vecdot(diagonal, second) + np.vecdot(q, powers.c12 + apart)
        flat = r_c.reshape(b, -1)
        square[:, 1] = np.vecdot(flat, flat)
        bowed = qp2 * qp2 - qp3
        cubic = 2 * powers.c13 + powers.c22 - 2 * qp2 * powers.c12 + bowed * c11
        own = (p2 - qp3 + bowed) @ everyone
        norm[:, 1, 1] = own - 2 * (np.vecdot(diagonal, third) - np.vecdot(q, cubic))
        norm[:, 0, 1] = norm[:, 1, 0] = np.vecdot(k * k, p2 - 2 * apart)
        bent[:, 1, 1] = np.vecdot(wr.reshape(b, -1), flat) - np.vecdot(q_inner, inner)
        bent[:, 0, 1] = bent[:, 1, 0] = np.vecdot(k * r_a, inner)


@dataclass(frozen=True, slots=True)
class _Powers:
    """Powers of the weights, their sums over pulls (p2, p3), and forms c_st = (w^s)' C w^t of each assessor (B, a)."""

    w2: Array
    w3: Array
    p2: Array
    p3: Array
    c11: Array
    c12: Array
    c13: Array
    c22: Array

    @classmethod
    def of(cls, w: Array, inverse: Array) -> Self:
        """From weights (B, a, h) and C (B, h, h); all six sums over pulls at once."""
        B, a, h = w.shape
        summed = np.empty((6, B, a, h))
        w2, w3 = np.multiply(w, w, out=summed[0]), summed[1]
        np.multiply(w2, w, out=w3)
        Cw = w @ inverse
        for power, place in ((w, 2), (w2, 3), (w3, 4)):
            np.multiply(Cw, power, out=summed[place])
        np.multiply(w2 @ inverse, w2, out=summed[5])
        return cls(w2, w3, *over_pulls(summed.reshape(6 * B, a, h)).reshape(6, B, a))


def pooled(m: Triple, f: tuple[Array, float, float]) -> Triple:
    """Isotonic regression of three mean squares by the max-min formula; the first is absent where its df is 0."""
    s0, s1, s2 = f[0] * m[0], f[1] * m[1], f[2] * m[2]
    first, last, all3 = (s0 + s1) / (f[0] + f[1]), (s1 + s2) / (f[1] + f[2]), (s0 + s1 + s2) / (f[0] + f[1] + f[2])
    low = np.minimum(np.minimum(np.where(f[0] > 0, m[0], np.inf), first), all3)
    high = np.maximum(np.maximum(m[2], last), all3)
    middle = np.maximum(np.minimum(m[1], last), np.where(f[0] > 0, np.minimum(first, all3), -np.inf))
    return low, middle, high
