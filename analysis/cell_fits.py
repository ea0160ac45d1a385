"""REML fits of hours + assessor + assessor:hours to a whole batch of panels, each given as counts and sums per cell.

Two routes with the same numbers: pooled mean squares when every cell has the same count, else weighted sums over
cells and Newton steps. Shapes: B batch (attributes, simulated studies, resampled panels), a assessors, h pulls.
Contrasts after Giesbrecht & Burns 1985; F after Fai & Cornelius 1996, as in Kuznetsova, Brockhoff & Christensen 2017.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any, Protocol, Self

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from analysis import reml

Array = NDArray[np.float64]
Rows = NDArray[np.intp]
Triple = tuple[Array, Array, Array]
BOTH = ("assessor", "cell")
# Sums of squares below this share of the squared scores are what rounding leaves of nothing.
NOTHING = 1e-24
LOG_2PI = float(np.log(2 * np.pi))


class CellFits(Protocol):
    """Fits of a batch, whatever the route.

    residual, interaction, assessor: variances (B,); `interaction` is NaN where no cell was scored twice, so that it
    cannot be told from the residual. loglik (B,): REML, NaN where every score of the attribute is explained exactly.
    means (B, h), covariance of the means (B, h, h). copied (B,): every replicate was identical, so cell means
    were taken as the data. containment (B,): cells - assessors - pulls + connected parts. parts (B, h): the first pull
    that each pull is connected with through shared assessors.
    The fitted covariance of assessor i's cell means is residual * (diag(1 / weights_i) + assessor_ratio), with weights
    (B, a, h) zero in absent cells and assessor_ratio (B,).
    """

    @property
    def residual(self) -> Array: ...
    @property
    def interaction(self) -> Array: ...
    @property
    def assessor(self) -> Array: ...
    @property
    def loglik(self) -> Array: ...
    @property
    def means(self) -> Array: ...
    @property
    def covariance(self) -> Array: ...
    @property
    def copied(self) -> NDArray[np.bool_]: ...
    @property
    def containment(self) -> Array: ...
    @property
    def parts(self) -> Rows: ...
    @property
    def weights(self) -> Array: ...
    @property
    def assessor_ratio(self) -> Array: ...
    @property
    def moves(self) -> Array: ...
    @property
    def parameter_covariance(self) -> Array: ...

    def contrast(self, weights: Array) -> Triple:
        """Estimate, SE and plain Satterthwaite df, each (B, k), of k contrasts `weights` (k, h)."""

    def difference(self, reference: int) -> Triple:
        """Each pull against the pull number `reference`: estimate, SE, plain Satterthwaite df, each (B, h).

        The reference itself has estimate 0, SE 0 and the containment df.
        """

    def mean(self) -> Triple:
        """The mean of each pull: estimate, SE, df, each (B, h)."""

    def f_test(self) -> tuple[Array, float, Array, Array]:
        """F of hours (B,), its numerator df, denominator df (B,) and p (B,)."""


def fit_cells(counts: Array, sums: Array, within_ss: Array, interaction: bool = True) -> CellFits:
    """Fit hours + assessor + assessor:hours to each of a batch by REML.

    Args:
        counts: scores per cell, (B, a, h), or (1, a, h) when shared; 0 where nothing was scored.
        sums: sums of the scores per cell, (B, a, h); ignored where the count is 0.
        within_ss: sum of squares within cells, (B,), computed from centred scores.
        interaction: leave assessor:hours out when False.

    Raises:
        ValueError: fewer than two assessors or pulls, or one of them without any score.
    """
    sums, counts = np.asarray(sums, float), np.asarray(counts, float)
    within = np.broadcast_to(np.asarray(within_ss, float), len(sums))
    _check(counts, sums)
    copied = _copied(counts, sums, within)
    if copied.any():
        alone = copied[:, None, None]
        sums = np.where(alone, sums / np.maximum(counts, 1), sums)
        counts = np.where(alone, np.minimum(counts, 1), counts)
        within = np.where(copied, 0.0, within)
    parts = []
    for rows, route in _routes(counts, interaction):
        if len(rows) == len(counts):
            return route(counts, sums, within, copied)
        if len(rows):
            parts.append((rows, route(counts[rows], sums[rows], within[rows], copied[rows])))
    return _gathered(parts, copied)


def _check(counts: Array, sums: Array) -> None:
    """Refuse shapes and gaps that have no fit."""
    if sums.ndim != 3 or counts.shape[1:] != sums.shape[1:] or len(counts) not in (1, len(sums)):
        raise ValueError(f"counts {counts.shape} and sums {sums.shape}: both need shape (batch, assessors, pulls)")
    if min(sums.shape[1:]) < 2:
        raise ValueError(f"sums {sums.shape}: a fit needs at least two assessors and two pulls")
    seen = counts > 0
    if not (seen.any(1).all() and seen.any(2).all()):
        raise ValueError("counts: every pull and every assessor needs at least one score; drop the empty ones")


def _copied(counts: Array, sums: Array, within: Array) -> NDArray[np.bool_]:
    """Where cells were scored more than once and yet nothing varies within them: the likelihood has no maximum."""
    flat = sums.reshape(len(sums), -1)
    return np.asarray((within <= NOTHING * np.vecdot(flat, flat)) & (counts > 1).any((1, 2)))


Route = Callable[[Array, Array, Array, NDArray[np.bool_]], CellFits]


def _routes(counts: Array, interaction: bool) -> list[tuple[Rows, Route]]:
    """Which rows of the batch take which route; a shared pattern (1, a, h) sends everything one way."""
    balanced = (counts == counts[:, :1, :1]).all((1, 2))
    single = ~(counts > 1).any((1, 2))
    closed = balanced & (single | interaction)
    only_assessor = ~closed & (single | (not interaction))
    chosen: list[tuple[NDArray[np.bool_], Route]] = [
        (closed, _balanced),
        (only_assessor, lambda n, s, w, c: _weighted(n, s, w, c, ("assessor",))),
        (~closed & ~only_assessor, lambda n, s, w, c: _weighted(n, s, w, c, BOTH)),
    ]
    return [(np.flatnonzero(mask), route) for mask, route in chosen]


# ---- complete and balanced: closed form -----------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class BalancedFits:
    """Fits of complete, balanced panels, kept as pooled mean squares: low <= middle <= high (B,).

    They estimate the residual, r interaction + residual and h r assessor + r interaction + residual; middle_df and
    high_df (B,) are the df pooled into the last two. `replicates` (B,) or (1,).
    """

    counts: Array
    replicates: Array
    low: Array
    middle: Array
    high: Array
    middle_df: Array
    high_df: Array
    means: Array
    copied: NDArray[np.bool_]

    @property
    def shape(self) -> tuple[int, int]:
        """Assessors and pulls."""
        return self.counts.shape[1], self.counts.shape[2]

    @property
    def residual(self) -> Array:
        return self.low

    @property
    def interaction(self) -> Array:
        return np.where(self.replicates > 1, (self.middle - self.low) / self.replicates, np.nan)

    @property
    def assessor(self) -> Array:
        return (self.high - self.middle) / (self.replicates * self.shape[1])

    @property
    def loglik(self) -> Array:
        a, h = self.shape
        f1, f2 = (a - 1) * (h - 1), a - 1
        r = self.replicates
        f0 = a * h * (r - 1)
        exact = (self.low <= 0) | (self.middle <= 0)
        logs = [np.log(np.where(exact, 1.0, level)) for level in (self.low, self.middle, self.high)]
        free = a * h * r - h
        deviance = f0 * logs[0] + f1 * logs[1] + f2 * logs[2] + h * np.log(a * r) + free * (1 + LOG_2PI)
        return np.where(exact, np.nan, -deviance / 2)

    @property
    def assessor_ratio(self) -> Array:
        return np.divide(self.assessor, self.low, out=np.zeros_like(self.low), where=self.low > 0)

    @property
    def weights(self) -> Array:
        shrunk = np.divide(self.low, self.middle, out=np.ones_like(self.low), where=self.middle > 0)
        return self.counts * shrunk[:, None, None]

    @property
    def covariance(self) -> Array:
        even, a = self._even()
        per = (a * self.replicates)[:, None, None]
        middle, high = self.middle[:, None, None], self.high[:, None, None]
        return ((np.eye(len(even)) - even) * middle + even * high) / per

    @property
    def moves(self) -> Array:
        """d covariance / d (middle, high): (B, 2, h, h); where they are pooled, all of it moves with the first."""
        even, a = self._even()
        shared = (self.high <= self.middle)[:, None, None]
        both = [np.where(shared, np.eye(len(even)), np.eye(len(even)) - even), np.where(shared, 0.0, even)]
        return np.stack(both, 1) / (a * self.replicates)[:, None, None, None]

    @property
    def parameter_covariance(self) -> Array:
        both = np.stack([2 * self.middle**2 / self.middle_df, 2 * self.high**2 / self.high_df], 1)
        return both[:, :, None] * np.eye(2)

    @property
    def containment(self) -> Array:
        a, h = self.shape
        return np.full(len(self.means), float((a - 1) * (h - 1)))

    @property
    def parts(self) -> Rows:
        return np.zeros(self.means.shape, np.intp)

    def _even(self) -> tuple[Array, int]:
        """The matrix of equal shares among pulls, and the number of assessors."""
        a, h = self.shape
        return np.full((h, h), 1 / h), a

    def contrast(self, weights: Array) -> Triple:
        """See CellFits; the share common to all pulls moves with `high`, the rest with `middle`."""
        weights = np.asarray(weights, float)
        a, h = self.shape
        common = weights.sum(1) ** 2 / h
        rest = (weights**2).sum(1) - common
        from_high, from_middle = self.high[:, None] * common, self.middle[:, None] * rest
        total = from_high + from_middle
        spread = from_high**2 / self.high_df[:, None] + from_middle**2 / self.middle_df[:, None]
        df = np.divide(total**2, spread, out=np.repeat(self.containment[:, None], len(rest), 1), where=spread > 0)
        # Without a common part the df are those of `middle` to the last digit, so that a batch shares its quantile.
        alone = (self.high <= self.middle)[:, None] | (common <= 1e-12 * rest)
        df = np.where(alone & (total > 0), self.middle_df[:, None], df)
        return self.means @ weights.T, np.sqrt(total / (a * self.replicates)[:, None]), df

    def difference(self, reference: int) -> Triple:
        """See CellFits."""
        eye = np.eye(self.shape[1])
        return self.contrast(eye - eye[reference])

    def mean(self) -> Triple:
        """See CellFits."""
        return self.contrast(np.eye(self.shape[1]))

    def f_test(self) -> tuple[Array, float, Array, Array]:
        """See CellFits."""
        a, h = self.shape
        between = a * self.replicates * self.means.var(1) * h / (h - 1)
        with np.errstate(divide="ignore", invalid="ignore"):
            F = between / self.middle
        return F, float(h - 1), self.middle_df, fdtrc(h - 1, self.middle_df, F)


def _balanced(counts: Array, sums: Array, within: Array, copied: NDArray[np.bool_]) -> CellFits:
    """Pooled mean squares are the REML estimates under variances >= 0."""
    _, a, h = sums.shape
    r = counts[:, 0, 0]
    cell = sums if (r == 1).all() else sums / r[:, None, None]
    pulls = np.full(a, 1 / a) @ cell
    rest = cell - pulls[:, None, :]
    person = rest @ np.full(h, 1 / h)
    squares = np.vecdot(rest.reshape(len(sums), -1), rest.reshape(len(sums), -1))
    between = np.vecdot(person, person)
    f1, f2 = float((a - 1) * (h - 1)), float(a - 1)
    m2 = r * h * between / f2
    nothing = NOTHING * (squares + np.vecdot(pulls, pulls))
    across = _interaction_squares(rest, person, squares, between)
    m2 = np.where(between > nothing, m2, 0.0)
    m1 = np.where(across > nothing, r * across / f1, 0.0)
    f0 = a * h * (r - 1.0)
    m0 = np.divide(within, f0, out=np.zeros_like(m1), where=f0 > 0)
    low, middle, high = _pooled((m0, m1, m2), (f0, f1, f2))
    middle_df = f1 + np.where(low >= middle, f0, 0.0) + np.where(high <= middle, f2, 0.0)
    high_df = f2 + np.where(high <= middle, middle_df - f2, 0.0)
    low = np.where(f0 > 0, low, middle)
    return BalancedFits(counts, r, low, middle, high, middle_df, high_df, pulls, copied)


def _interaction_squares(rest: Array, person: Array, squares: Array, between: Array) -> Array:
    """Sum of squares of `rest` about `person`; by subtraction, but anew where that would lose digits."""
    h = rest.shape[2]
    found = squares - h * between
    for row in np.flatnonzero(found < 1e-4 * squares):
        found[row] = ((rest[row] - person[row][:, None]) ** 2).sum()
    return np.asarray(found)


def _pooled(m: Triple, f: tuple[Array, float, float]) -> Triple:
    """Isotonic regression of three mean squares by the max-min formula; the first is absent where its df is 0."""
    s0, s1, s2 = f[0] * m[0], f[1] * m[1], f[2] * m[2]
    first, last, all3 = (s0 + s1) / (f[0] + f[1]), (s1 + s2) / (f[1] + f[2]), (s0 + s1 + s2) / (f[0] + f[1] + f[2])
    low = np.minimum(np.minimum(np.where(f[0] > 0, m[0], np.inf), first), all3)
    high = np.maximum(np.maximum(m[2], last), all3)
    middle = np.maximum(np.minimum(m[1], last), np.where(f[0] > 0, np.minimum(first, all3), -np.inf))
    return low, middle, high


# ---- anything missing: weights --------------------------------------------------------------------------------------
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
        """Pooled mean squares at the harmonic mean count, kept above 2 % of the residual."""
        seen = self.counts > 0
        _, a, h = self.cells.shape
        number = seen.sum((1, 2))
        replicates = number / np.divide(1.0, self.counts, out=np.zeros_like(self.counts), where=seen).sum((1, 2))
        rest, person = _sweep(self.cells, seen)
        per = number / a
        m2 = replicates * per * person.var(1) * a / (a - 1)
        f1 = np.maximum(number - a - h + 1.0, 1.0)
        m1 = replicates * np.vecdot(rest.reshape(len(rest), -1), rest.reshape(len(rest), -1)) / f1
        f0 = self.counts.sum((1, 2)) - number
        if "cell" not in self.nested:
            f0 = np.zeros_like(f0)
        m0 = np.divide(self.within, f0, out=np.zeros_like(m1), where=f0 > 0)
        low, middle, high = _pooled((m0, m1, m2), (f0, f1, float(a - 1)))
        low = np.maximum(np.where(f0 > 0, low, middle), 1e-12 * high + np.finfo(float).tiny)
        ratios = {"assessor": (high - middle) / (per * replicates) / low, "cell": (middle - low) / replicates / low}
        return np.asarray(np.maximum(np.stack([ratios[name] for name in self.nested], 1), 0.02))

    def at(self, rho: Array) -> CellPoint:
        """See reml.Problem; U'WU of [pulls | scores] from cell weights."""
        rho_a = rho[:, 0]
        n, y = self.counts, self.cells
        a, h = y.shape[1:]
        loose = 1 + rho[:, 1, None, None] * n if len(self.nested) == 2 else np.ones((len(rho), 1, 1))
        w = n / loose
        total = w @ np.ones(h)
        stiff = 1 + rho_a[:, None] * total
        k = 1 / stiff
        q = rho_a[:, None] * k
        wy = w * y
        pulled = wy @ np.ones(h)
        columns = np.ones(a)
        XWX = -(w.transpose(0, 2, 1) @ (q[..., None] * w))
        XWX[:, np.arange(h), np.arange(h)] += columns @ w
        XWy = columns @ wy - ((q * pulled)[:, None, :] @ w)[:, 0]
        inverse, log_det = inverse_and_log_det(XWX)
        gamma = (inverse @ XWy[..., None])[..., 0]
        b = len(rho)
        yWy = self.within + np.vecdot(wy.reshape(b, -1), y.reshape(b, -1)) - np.vecdot(q * pulled, pulled)
        rss = np.maximum(yWy - np.vecdot(XWy, gamma), np.finfo(float).tiny)
        free = n.sum((1, 2)) - h
        log_w = np.log(stiff).sum(1)
        if len(self.nested) == 2:
            log_w = log_w + np.log(loose).sum((1, 2))
        deviance = log_w + log_det + free * (1 + np.log(2 * np.pi * rss / free))
        return CellPoint(self, deviance, rss / free, inverse, gamma, w, total, k, q)


def inverse_and_log_det(A: Array) -> tuple[Array, Array]:
    """Inverses and log determinants of positive definite matrices (B, h, h); many at once by elimination in step."""
    if len(A) < 64:
        return np.asarray(np.linalg.inv(A), np.float64), np.asarray(np.linalg.slogdet(A)[1])
    work = np.ascontiguousarray(A.transpose(1, 2, 0))
    log_det = np.zeros(len(A))
    for i in range(len(work)):
        pivot = work[i, i].copy()
        log_det += np.log(pivot)
        row = work[i] / pivot
        column = work[:, i].copy()
        work -= column[:, None] * row
        work[i] = row
        work[:, i] = -column / pivot
        work[i, i] = 1 / pivot
    return np.ascontiguousarray(work.transpose(2, 0, 1)), log_det


def _sweep(cells: Array, seen: NDArray[np.bool_]) -> tuple[Array, Array]:
    """What is left of the cell means after assessors and pulls, two sweeps, and the assessors' means."""
    present = seen.astype(float)
    by_pull, by_person = np.ones(cells.shape[1]), np.ones(cells.shape[2])
    pulls, people = by_pull @ present, present @ by_person
    rest = cells
    person = np.zeros(cells.shape[:2])
    for _ in range(2):
        level = (rest @ by_person) / people
        person = person + level
        rest = rest - level[:, :, None] * present
        rest = rest - ((by_pull @ rest) / pulls)[:, None, :] * present
    return rest, person


@dataclass(frozen=True, slots=True)
class CellPoint:
    """One set of ratios: deviance, residual (B,), inverse of X'WX (B, h, h), coefficients (B, h); weights w (B, a,
    h), their sums over pulls, k and q (B, a) as in w_ij = n v, k = 1 / (1 + rho_a sum w), q = rho_a k."""

    problem: CellProblem
    deviance: Array
    residual: Array
    inverse: Array
    coefficients: Array
    w: Array
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
        free = self.problem.counts.sum((1, 2)) - h
        error = w * (self.problem.cells - self.coefficients[:, None, :])
        powers = _Powers.of(w, self.inverse)
        r_a = k * (error @ np.ones(h))
        both = "cell" in self.problem.nested
        size = 2 if both else 1
        trace, square = np.empty((len(w), size)), np.empty((len(w), size))
        norm, bent = np.empty((len(w), size, size)), np.empty((len(w), size, size))
        moves = np.empty((len(w), size, h, h))
        slid = np.empty((len(w), size, h))
        moves[:, 0] = w.transpose(0, 2, 1) @ ((k * k)[..., None] * w)
        slid[:, 0] = ((k * r_a)[:, None, :] @ w)[:, 0]
        trace[:, 0] = np.vecdot(k, self.total) - np.vecdot(k * k, powers.c11)
        square[:, 0] = np.vecdot(r_a, r_a)
        ks = k * self.total
        norm[:, 0, 0] = np.vecdot(ks, ks) - 2 * np.vecdot(k * k * ks, powers.c11)
        bent[:, 0, 0] = np.vecdot(ks * r_a, r_a)
        if both:
            self._cell_parts(powers, error, r_a, trace, square, norm, bent, moves, slid)
        turned = self.inverse[:, None] @ moves
        flipped = turned.transpose(0, 1, 3, 2).reshape(len(w), size, -1)
        norm += turned.reshape(len(w), size, -1) @ flipped.transpose(0, 2, 1)
        bent -= slid @ self.inverse @ slid.transpose(0, 2, 1)
        return reml.assemble(trace, norm, bent, square, moves, self.residual, free)

    def _cell_parts(
        self,
        powers: _Powers,
        error: Array,
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
        across = q * (error @ np.ones(w.shape[2]))
        r_c = error - across[..., None] * w
        wr = w * r_c
        inner = wr @ np.ones(w.shape[2])
        bulk = powers.w2 - (q * p2 / 2)[..., None] * w
        half = w.transpose(0, 2, 1) @ (q[..., None] * bulk)
        columns = np.ones(w.shape[1])
        second, third = columns @ powers.w2, columns @ powers.w3
        moves[:, 1] = -(half + half.transpose(0, 2, 1))
        index = np.arange(w.shape[2])
        moves[:, 1, index, index] += second
        slid[:, 1] = columns @ wr - ((q * inner)[:, None, :] @ w)[:, 0]
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
        ones = np.ones(w.shape[2])
        w2 = w * w
        w3 = w2 * w
        Cw = w @ inverse
        return cls(
            w2,
            w3,
            w2 @ ones,
            w3 @ ones,
            (Cw * w) @ ones,
            (Cw * w2) @ ones,
            (Cw * w3) @ ones,
            ((w2 @ inverse) * w2) @ ones,
        )


@dataclass(frozen=True, slots=True)
class WeightedFits:
    """Fits with anything missing; see CellFits."""

    counts: Array
    residual: Array
    interaction: Array
    assessor: Array
    loglik: Array
    means: Array
    covariance: Array
    weights: Array
    assessor_ratio: Array
    moves: Array
    parameter_covariance: Array
    copied: NDArray[np.bool_]

    @property
    def parts(self) -> Rows:
        return np.broadcast_to(connected_parts(self.counts), self.means.shape)

    @property
    def containment(self) -> Array:
        a, h = self.counts.shape[1:]
        first = connected_parts(self.counts)
        number = (first == np.arange(h)).sum(1)
        return np.broadcast_to(((self.counts > 0).sum((1, 2)) - a - h + number).astype(float), len(self.means))

    def contrast(self, weights: Array) -> Triple:
        """See CellFits."""
        return contrast_of(self, np.asarray(weights, float))

    def difference(self, reference: int) -> Triple:
        """See CellFits."""
        variance = _against(self.covariance, reference)
        df = _satterthwaite(variance, _against(self.moves, reference), self.parameter_covariance, self.containment)
        estimate = self.means - self.means[:, reference, None]
        return estimate, np.sqrt(np.maximum(variance, 0)), df

    def mean(self) -> Triple:
        """See CellFits."""
        variance = np.einsum("bhh->bh", self.covariance)
        slopes = np.einsum("bphh->bph", self.moves)
        df = _satterthwaite(variance, slopes, self.parameter_covariance, self.containment)
        return self.means, np.sqrt(np.maximum(variance, 0)), df

    def f_test(self) -> tuple[Array, float, Array, Array]:
        """See CellFits."""
        R = hypothesis(self.counts.sum(1))
        return f_of(np.broadcast_to(R, (len(self.means), *R.shape[1:])), self)


def _weighted(
    counts: Array, sums: Array, within: Array, copied: NDArray[np.bool_], nested: tuple[str, ...]
) -> CellFits:
    """Newton on the profiled deviance."""
    seen = counts > 0
    cells = np.divide(sums, counts, out=np.zeros_like(sums), where=np.broadcast_to(seen, sums.shape))
    centre = (np.ones(cells.shape[1]) @ cells) / seen.sum(1)
    cells = np.where(seen, cells - centre[:, None, :], 0.0)
    exact, means, person = _explained(cells, seen, within)
    if exact.any():
        cells, within = np.where(exact[:, None, None], 0.0, cells), np.where(exact, 1.0, within)
    rho, point, slope = reml.optimise(CellProblem(counts, cells, within, nested))
    s2 = np.where(exact, 0.0, point.residual)
    return WeightedFits(
        counts=counts,
        residual=s2,
        interaction=rho[:, 1] * s2 if len(nested) == 2 else np.full(len(s2), np.nan),
        assessor=np.where(exact, person, rho[:, 0] * s2),
        loglik=np.where(exact, np.nan, -point.deviance / 2),
        means=np.where(exact[:, None], means, point.coefficients) + centre,
        covariance=s2[:, None, None] * point.inverse,
        weights=point.w,
        assessor_ratio=rho[:, 0],
        moves=reml.covariance_moves(point.residual, point.inverse, slope),
        parameter_covariance=reml.parameter_covariance(rho, slope),
        copied=copied,
    )


def _explained(cells: Array, seen: NDArray[np.bool_], within: Array) -> tuple[NDArray[np.bool_], Array, Array]:
    """Where assessors and pulls explain every score exactly, so that the likelihood has no maximum: whether (B,),
    then the pulls' means (B, h) and the assessors' variance (B,) of that additive fit."""
    scale = np.abs(cells).max((1, 2)) ** 2
    exact = within <= NOTHING * scale
    means, person = np.zeros((len(cells), cells.shape[2])), np.zeros(len(cells))
    for row in np.flatnonzero(exact):
        at_person, at_pull = np.nonzero(seen[row % len(seen)])
        a, h = cells.shape[1:]
        X = np.hstack([np.eye(h)[at_pull], np.eye(a)[at_person]])
        y = cells[row][at_person, at_pull]
        found = np.linalg.lstsq(X, y)[0]
        exact[row] = ((y - X @ found) ** 2).sum() <= NOTHING * scale[row] * len(y)
        means[row], person[row] = found[:h] + found[h:].mean(), found[h:].var(ddof=1)
    return exact, means, person


def connected_parts(counts: Array) -> Rows:
    """The first pull that each pull is connected with through shared assessors (B or 1, h)."""
    seen = (counts > 0).astype(float)
    links = seen.transpose(0, 2, 1) @ seen > 0
    for _ in range(int(np.ceil(np.log2(counts.shape[2])))):
        links = links.astype(float) @ links.astype(float) > 0
    return np.asarray(links.argmax(2))


# ---- contrasts and F ------------------------------------------------------------------------------------------------
def _against(matrices: Array, reference: int) -> Array:
    """Variance of each pull minus the reference, from covariance matrices (..., h, h)."""
    own = np.einsum("...hh->...h", matrices)
    return np.asarray(own + own[..., reference, None] - 2 * matrices[..., :, reference])


def _satterthwaite(variance: Array, slopes: Array, spread: Array, otherwise: Array) -> Array:
    """2 v^2 / g'Ag for variances (B, k), their slopes (B, P, k) and the parameters' covariance (B, P, P)."""
    bottom = ((spread @ slopes) * slopes).sum(1)
    df = np.repeat(np.asarray(otherwise, float)[:, None], variance.shape[1], 1)
    return np.asarray(np.divide(2 * variance**2, bottom, out=df, where=(bottom > 1e-300) & (variance > 0)))


class Estimates(Protocol):
    """What contrasts need of any fit: means, their covariance, how it moves, the parameters' covariance, containment
    df."""

    @property
    def means(self) -> Array: ...
    @property
    def covariance(self) -> Array: ...
    @property
    def moves(self) -> Array: ...
    @property
    def parameter_covariance(self) -> Array: ...
    @property
    def containment(self) -> Array: ...


def contrast_of(fits: Estimates, weights: Array) -> Triple:
    """Estimate, SE and df of contrasts (k, h), shared, or (B, k, h), one set for each fit."""
    variance = ((weights @ fits.covariance) * weights).sum(2)
    each = weights if weights.ndim == 2 else weights[:, None]
    slopes = ((each @ fits.moves) * each).sum(3)
    df = _satterthwaite(variance, slopes, fits.parameter_covariance, fits.containment)
    return (weights @ fits.means[..., None])[..., 0], np.sqrt(np.maximum(variance, 0)), df


def hypothesis(pull_counts: Array) -> Array:
    """Rows of the F test of one factor (B, h - 1, h), on the levels' means, from scores a level (B, h).

    Rows 2.. of the unit upper triangle of X'X = L D L' with X = (1, level 2, .., level h), as the reference software
    takes them; they matter for the denominator df only.
    """
    h = pull_counts.shape[1]
    treatment = np.eye(h)
    treatment[1:, 0] = -1
    XX = pull_counts[:, :, None] * np.eye(h)
    XX[:, 0, :] = XX[:, :, 0] = pull_counts
    XX[:, 0, 0] = pull_counts.sum(1)
    lower = np.linalg.cholesky(XX)
    upper = (lower / np.einsum("bhh->bh", lower)[:, None, :]).transpose(0, 2, 1)
    return np.asarray(upper[:, 1:] @ treatment)


def f_of(R: Array, fits: Estimates) -> tuple[Array, float, Array, Array]:
    """F (B,), numerator df, denominator df (B,), p (B,) of the hypothesis rows R (B, q, h)."""
    _, vectors = np.linalg.eigh(R @ fits.covariance @ R.transpose(0, 2, 1))
    estimate, se, nu = contrast_of(fits, vectors.transpose(0, 2, 1) @ R)
    with np.errstate(divide="ignore", invalid="ignore"):
        F = ((estimate / se) ** 2).mean(1)
    q = R.shape[1]
    den = _denominator(nu)
    return F, float(q), den, fdtrc(q, den, F)


def _denominator(nu: Array) -> Array:
    """Denominator df (B,) from the df of q independent rows (B, q) (Fai & Cornelius 1996)."""
    q = nu.shape[1]
    few = np.asarray((nu <= 2).any(1))
    safe = np.where(few[:, None], 3.0, nu)
    e = (safe / (safe - 2)).sum(1)
    den = np.where(few, 2.0, 2 * e / (e - q))
    agree = np.abs(nu - nu[:, :1]).max(1) <= 1e-8 * nu[:, 0]
    return np.where(agree, nu.mean(1), den)


def _gathered(parts: list[tuple[Rows, CellFits]], copied: NDArray[np.bool_]) -> CellFits:
    """Put the routes' results back in the order of the batch; parameters are padded to three."""
    whole: dict[str, Any] = {}
    for rows, part in parts:
        for field in fields(WeightedFits):
            values = getattr(part, field.name)
            if field.name == "counts":
                values = np.broadcast_to(values, part.weights.shape)
            if field.name in ("moves", "parameter_covariance"):
                lack = 3 - values.shape[1]
                tail = (0, lack) if field.name == "parameter_covariance" else (0, 0)
                values = np.pad(values, [(0, 0), (0, lack), tail, (0, 0)][: values.ndim])
            shape = (len(copied), *values.shape[1:])
            whole.setdefault(field.name, np.empty(shape, values.dtype))[rows] = values
    return WeightedFits(**whole)
