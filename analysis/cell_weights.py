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

from analysis import reml
from analysis.small_arrays import inverse_and_log_det, ones, over_all, over_pulls

Array = NDArray[np.float64]
Rows = NDArray[np.intp]
Triple = tuple[Array, Array, Array]


@dataclass(frozen=True, slots=True)
class CellProblem:
    """Counts (B or 1, a, h), cell means (B, a, h) centred by pull (0 where absent) and sums of squares within cells."""

    counts: Array
    cells: Array
    within: Array
    nested: tuple[str, ...]

    def take(self, rows: Rows) -> CellProblem:
        """See reml.Problem."""
        counts = self.counts if len(self.counts) == 1 else self.counts[rows]
        return CellProblem(counts, self.cells[rows], self.within[rows], self.nested)

    def start(self) -> Array:
        """Pooled mean squares, as if every cell held the mean count, kept above 2 % of the residual."""
        present = (self.counts > 0).astype(float)
        _, a, h = self.cells.shape
        number, scores = over_all(present), over_all(self.counts)
        n, per = scores / number, scores / a
        rest, person = sweep(self.cells, present)
        person = person - (person @ np.full(a, 1 / a))[:, None]
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
        scores = over_all(self.counts)
        per = scores / self.cells.shape[1]
        if "cell" not in self.nested:
            return np.asarray(per[:, None, None])
        n = scores / over_all((self.counts > 0).astype(float))
        return np.stack([np.stack([np.zeros_like(n), n], 1), np.stack([per, n], 1)], 1)

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
        free = self.free()
        log_w = np.log(stiff) @ everyone
        if len(self.nested) == 2:
            log_w += over_all(np.log(loose))
        deviance = log_w + log_det + free * (1 + np.log(2 * np.pi * rss / free))
        return CellPoint(self, deviance, rss / free, inverse, gamma, w, turned, qw, total, k, q)

    def free(self) -> Array:
        """Scores less pulls (B or 1,)."""
        return np.asarray(over_all(self.counts) - self.counts.shape[2])


def solved(problem: CellProblem) -> reml.Solved:
    """The fit of a panel with any gaps."""
    rho, point, slope = reml.optimise(problem)
    return reml.Solved(
        rho,
        point.deviance,
        point.residual,
        point.inverse,
        point.coefficients,
        point.w,
        reml.covariance_moves(point.residual, point.inverse, slope),
        reml.parameter_covariance(rho, slope),
    )


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
        h = w.shape[2]
        error = w * (self.problem.cells - self.coefficients[:, None, :])
        powers = _Powers.of(w, self.inverse)
        pulled = over_pulls(error)
        r_a = k * pulled
        both = "cell" in self.problem.nested
        size = 2 if both else 1
        trace, square = np.empty((len(w), size)), np.empty((len(w), size))
        norm, bent = np.empty((len(w), size, size)), np.empty((len(w), size, size))
        moves = np.empty((len(w), size, h, h))
        slid = np.empty((len(w), size, h))
        moves[:, 0] = self.turned @ ((k * k)[..., None] * w)
        slid[:, 0] = np.vecmat(k * r_a, w)
        trace[:, 0] = np.vecdot(k, self.total) - np.vecdot(k * k, powers.c11)
        square[:, 0] = np.vecdot(r_a, r_a)
        ks = k * self.total
        norm[:, 0, 0] = np.vecdot(ks, ks) - 2 * np.vecdot(k * k * ks, powers.c11)
        bent[:, 0, 0] = np.vecdot(ks * r_a, r_a)
        if both:
            self._cell_parts(powers, error, pulled, r_a, trace, square, norm, bent, moves, slid)
        explained = self.inverse[:, None] @ moves
        flipped = explained.transpose(0, 1, 3, 2).reshape(len(w), size, -1)
        norm += explained.reshape(len(w), size, -1) @ flipped.transpose(0, 2, 1)
        bent -= slid @ self.inverse @ slid.transpose(0, 2, 1)
        return reml.assemble(trace, norm, bent, square, moves, self.residual, self.problem.free())

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
        p2, p3 = powers.p2, powers.p3
        r_c = error - pulled[..., None] * self.qw
        wr = w * r_c
        inner = over_pulls(wr)
        bulk = w - (q * p2 / 2)[..., None]
        bulk *= self.qw
        half = self.turned @ bulk
        columns = ones(w.shape[1])
        second, third = columns @ powers.w2, columns @ powers.w3
        moves[:, 1] = -(half + half.transpose(0, 2, 1))
        index = np.arange(w.shape[2])
        moves[:, 1, index, index] += second
        slid[:, 1] = columns @ wr - np.vecmat(q * inner, w)
        diagonal = self.inverse[:, index, index]
        moved = np.vecdot(diagonal, second) - np.vecdot(q, 2 * powers.c12 - q * p2 * powers.c11)
        trace[:, 1] = (self.total - q * p2).sum(1) - moved
        square[:, 1] = np.vecdot(r_c.reshape(b, -1), r_c.reshape(b, -1))
        own = (p2 - 2 * q * p3 + (q * p2) ** 2).sum(1)
        cubic = 2 * powers.c13 + powers.c22 - q * (2 * p2 * powers.c12 + p3 * powers.c11) + (q * p2) ** 2 * powers.c11
        norm[:, 1, 1] = own - 2 * (np.vecdot(diagonal, third) - np.vecdot(q, cubic))
        kk = k * k
        mixed = np.vecdot(kk, p2) - 2 * np.vecdot(kk, powers.c12 - q * p2 * powers.c11)
        norm[:, 0, 1] = norm[:, 1, 0] = mixed
        bent[:, 1, 1] = np.vecdot(wr.reshape(b, -1), r_c.reshape(b, -1)) - np.vecdot(q * inner, inner)
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
        """From weights (B, a, h) and C (B, h, h)."""
        w2 = w * w
        w3 = w2 * w
        Cw = w @ inverse
        Cw2 = w2 @ inverse
        c11 = over_pulls(Cw * w)
        c13 = over_pulls(Cw * w3)
        Cw *= w2
        Cw2 *= w2
        return cls(w2, w3, over_pulls(w2), over_pulls(w3), c11, over_pulls(Cw), c13, over_pulls(Cw2))


def pooled(m: Triple, f: tuple[Array, float, float]) -> Triple:
    """Isotonic regression of three mean squares by the max-min formula; the first is absent where its df is 0."""
    s0, s1, s2 = f[0] * m[0], f[1] * m[1], f[2] * m[2]
    first, last, all3 = (s0 + s1) / (f[0] + f[1]), (s1 + s2) / (f[1] + f[2]), (s0 + s1 + s2) / (f[0] + f[1] + f[2])
    low = np.minimum(np.minimum(np.where(f[0] > 0, m[0], np.inf), first), all3)
    high = np.maximum(np.maximum(m[2], last), all3)
    middle = np.maximum(np.minimum(m[1], last), np.where(f[0] > 0, np.minimum(first, all3), -np.inf))
    return low, middle, high
