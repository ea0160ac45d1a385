"""REML for score ~ fixed + assessor + assessor:cell + crossed factors, batched over attributes, studies or resamples.

Cross-products instead of row-sized matrices (Bates, Maechler, Bolker & Walker 2015, sect. 3); REML after Patterson & Thompson 1971
and Harville 1977. Shapes: B batch, a assessors, c cells an assessor, f columns of F = [fixed | crossed], m = f + 1 (scores last).
Variances are handled as ratios rho = variance / residual, all >= 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
START = {"assessor": 1.0, "cell": 0.3}
START_CROSSED = 0.2


@dataclass(frozen=True, slots=True)
class Problem:
    """Counts (B, a, c), cell sums (B, a, c, m) and cross-products (B, m, m) of [F | scores]; `fixed` columns come
    first, `crossed` are the slices of the penalised blocks; `nested` names the components "assessor", "cell"."""

    counts: Array
    sums: Array
    cross: Array
    fixed: int
    nested: tuple[str, ...]
    crossed: tuple[slice, ...] = ()

    @property
    def scores(self) -> Array:
        """Number of scores (B,)."""
        return np.asarray(self.counts.sum((1, 2)))

    @property
    def start(self) -> Array:
        """Starting ratios (B, K)."""
        one = [START[name] for name in self.nested] + [START_CROSSED] * len(self.crossed)
        return np.tile(np.array(one), (len(self.sums), 1))

    def take(self, rows: NDArray[np.intp]) -> Problem:
        """The same problem for some of the batch."""
        return Problem(self.counts[rows], self.sums[rows], self.cross[rows], self.fixed, self.nested, self.crossed)


@dataclass(frozen=True, slots=True)
class Point:
    """The deviance (-2 REML log likelihood) at one set of ratios, with what its derivatives need."""

    deviance: Array
    residual: Array
    inverse: Array
    coefficients: Array
    weights: Array
    shrink: Array
    pulled: Array
    total: Array
    spread: Array
    cross: Array


def _ratios(problem: Problem, rho: Array) -> tuple[Array, Array]:
    """The assessor and cell ratios (B,), zero where the model lacks them."""
    zero = np.zeros(len(rho))
    named = dict(zip(problem.nested, rho.T, strict=False))
    return named.get("assessor", zero), named.get("cell", zero)


def evaluate(problem: Problem, rho: Array) -> Point:
    """Deviance and moments at ratios `rho` (B, K)."""
    rho_a, rho_c = _ratios(problem, rho)
    f = problem.sums.shape[-1] - 1
    v = 1 / (1 + rho_c[:, None, None] * problem.counts)
    w = problem.counts * v
    total = w.sum(2)
    k = 1 / (1 + rho_a[:, None] * total)
    q = rho_a[:, None] * k
    spread = v[..., None] * problem.sums
    pulled = spread.sum(2)
    flat = (len(rho), -1, f + 1)
    cell_part = spread.reshape(flat).transpose(0, 2, 1) @ problem.sums.reshape(flat)
    cross = problem.cross - rho_c[:, None, None] * cell_part - pulled.transpose(0, 2, 1) @ (q[..., None] * pulled)
    log_w = -np.log1p(rho_c[:, None, None] * problem.counts).sum((1, 2)) - np.log1p(rho_a[:, None] * total).sum(1)
    scale = np.ones((len(rho), f))
    for number, block in enumerate(problem.crossed):
        scale[:, block] = np.sqrt(rho[:, len(problem.nested) + number])[:, None]
    penalty = np.diag(np.r_[np.zeros(problem.fixed), np.ones(f - problem.fixed)])
    M = scale[:, :, None] * cross[:, :f, :f] * scale[:, None, :] + penalty
    _, log_m = np.linalg.slogdet(M)
    inverse = scale[:, :, None] * np.linalg.inv(M) * scale[:, None, :]
    right = cross[:, :f, f]
    coefficients = np.einsum("bij,bj->bi", inverse, right)
    rss = np.maximum(cross[:, f, f] - (right * coefficients).sum(1), np.finfo(float).tiny)
    free = problem.scores - problem.fixed
    deviance = -log_w + log_m + free * (1 + np.log(2 * np.pi * rss / free))
    return Point(deviance, rss / free, inverse, coefficients, w, k, pulled, total, spread, cross)


@dataclass(frozen=True, slots=True)
class Slope:
    """Derivatives of the deviance in (ratios, residual): gradient (B, K), Hessian parts, and G'G (K of (B, f, f))."""

    gradient: Array
    hessian: Array
    cross_residual: Array
    residual_curve: Array
    profiled: Array
    expected: Array
    moves: tuple[Array, ...]


def _parts(problem: Problem, rho: Array, point: Point) -> tuple[list[Array], list[Array]]:
    """G_k = Zk'WF and r_k = Zk'W(y - F gamma) of every component, rows flattened."""
    rho_a, _ = _ratios(problem, rho)
    f = point.coefficients.shape[1]
    w, k = point.weights, point.shrink
    q = rho_a[:, None] * k
    gamma = point.coefficients
    pulled_e = point.pulled[..., f] - np.einsum("baf,bf->ba", point.pulled[..., :f], gamma)
    G, r = [], []
    for name in problem.nested:
        if name == "assessor":
            G.append(k[..., None] * point.pulled[..., :f])
            r.append(k * pulled_e)
        else:
            G.append(point.spread[..., :f] - (q[..., None] * w)[..., None] * point.pulled[:, :, None, :f])
            spread_e = point.spread[..., f] - np.einsum("bacf,bf->bac", point.spread[..., :f], gamma)
            r.append(spread_e - (q * pulled_e)[..., None] * w)
    for block in problem.crossed:
        rows = point.cross[:, block, :f]
        G.append(rows)
        r.append(point.cross[:, block, f] - np.einsum("bsf,bf->bs", rows, gamma))
    return G, r


def _apply(problem: Problem, rho: Array, point: Point, row: int, column: int, right: Array) -> Array:
    """D_kl right, D_kl = Zk'WZl, for nested components; `right` is (B, rows of l, columns)."""
    rho_a, _ = _ratios(problem, rho)
    w, k = point.weights, point.shrink
    q = rho_a[:, None] * k
    to, of = problem.nested[row], problem.nested[column]
    if to == of == "assessor":
        return (k * point.total)[..., None] * right
    if to == "cell" and of == "assessor":
        return (w * k[..., None])[..., None] * right[:, :, None, :]
    if to == "assessor":
        return k[..., None] * (w[..., None] * right).sum(2)
    inner = (w[..., None] * right).sum(2)
    return w[..., None] * right - (q[..., None] * w)[..., None] * inner[:, :, None, :]


def _norm(problem: Problem, rho: Array, point: Point, row: int, column: int) -> tuple[Array, Array]:
    """|D_kl|^2 and trace of D_kk (zero off the diagonal) for nested components."""
    rho_a, _ = _ratios(problem, rho)
    w, k = point.weights, point.shrink
    q = rho_a[:, None] * k
    kinds = {problem.nested[row], problem.nested[column]}
    if kinds == {"assessor"}:
        ks = k * point.total
        return (ks**2).sum(1), ks.sum(1)
    squares = (w**2).sum(2)
    if kinds == {"assessor", "cell"}:
        return (k**2 * squares).sum(1), np.zeros(len(rho))
    cubes = (w**3).sum(2)
    return (squares - 2 * q * cubes + q**2 * squares**2).sum(1), (point.total - q * squares).sum(1)


def _flat(block: Array, columns: int) -> Array:
    """Rows of a component flattened: (B, rows, columns)."""
    return block.reshape(len(block), -1, columns)


def differentiate(problem: Problem, rho: Array, point: Point) -> Slope:
    """Analytic derivatives at `point`."""
    f = point.coefficients.shape[1]
    C, s2 = point.inverse, point.residual
    free = problem.scores - problem.fixed
    G, r = _parts(problem, rho, point)
    K, nested = len(G), len(problem.nested)
    moves = tuple(_flat(g, f).transpose(0, 2, 1) @ _flat(g, f) for g in G)
    slid = [np.einsum("brf,br->bf", _flat(g, f), _flat(x, 1)[..., 0]) for g, x in zip(G, r, strict=True)]
    trace = np.empty((len(rho), K))
    norm = np.empty((len(rho), K, K))
    bent = np.empty((len(rho), K, K))
    for i in range(K):
        for j in range(i + 1):
            if i < nested:
                size, diagonal = _norm(problem, rho, point, i, j)
                DG = _flat(_apply(problem, rho, point, i, j, G[j]), f)
                mixed = DG.transpose(0, 2, 1) @ _flat(G[i], f)
                Dr = _flat(_apply(problem, rho, point, i, j, r[j][..., None]), 1)[..., 0]
                inner = (_flat(r[i], 1)[..., 0] * Dr).sum(1)
            else:
                D = point.cross[:, problem.crossed[i - nested], problem.crossed[j - nested]] if j >= nested else None
                if D is None:
                    D = _flat(G[j], f)[..., problem.crossed[i - nested]].transpose(0, 2, 1)
                size = (D**2).sum((1, 2))
                diagonal = np.einsum("bss->b", D) if i == j else np.zeros(len(rho))
                mixed = _flat(G[j], f).transpose(0, 2, 1) @ D.transpose(0, 2, 1) @ G[i]
                inner = np.einsum("bi,bij,bj->b", r[i], D, _flat(r[j], 1)[..., 0])
            moved = C @ moves[i]
            norm[:, i, j] = norm[:, j, i] = (
                size - 2 * np.einsum("bij,bji->b", C, mixed) + np.einsum("bij,bji->b", C @ moves[j], moved)
            )
            bent[:, i, j] = bent[:, j, i] = inner - np.einsum("bi,bij,bj->b", slid[i], C, slid[j])
            if i == j:
                trace[:, i] = diagonal - np.einsum("bii->b", moved)
    square = np.stack([(_flat(x, 1)[..., 0] ** 2).sum(1) for x in r], 1)
    gradient = trace - square / s2[:, None]
    hessian = -norm + 2 * bent / s2[:, None, None]
    cross_residual = square / s2[:, None] ** 2
    curve = free / s2**2
    profiled = hessian - cross_residual[:, :, None] * cross_residual[:, None, :] / curve[:, None, None]
    expected = norm - trace[:, :, None] * trace[:, None, :] / free[:, None, None]
    return Slope(gradient, hessian, cross_residual, curve, profiled, expected, moves)


def _step(rho: Array, slope: Slope) -> Array:
    """Newton step inside rho >= 0: expected information where the Hessian bends the wrong way, edges solved again."""
    K = rho.shape[1]
    fixed = (rho <= 0) & (slope.gradient >= 0)
    held = np.zeros_like(rho)
    step = held
    for _ in range(K + 1):
        free = ~fixed
        both = free[:, :, None] & free[:, None, :]
        H = np.where(both, slope.profiled, np.eye(K))
        E = np.where(both, slope.expected, np.eye(K))
        floor = 1e-8 * np.abs(np.einsum("bii->bi", E)).max(1)
        bad = np.linalg.eigvalsh(H)[:, 0] <= floor
        H = np.where(bad[:, None, None], E + 1e-10 * np.eye(K) * floor[:, None, None], H)
        pull = np.where(bad[:, None, None], slope.expected, slope.profiled)
        right = np.where(free, -slope.gradient - np.einsum("bij,bj->bi", pull, np.where(fixed, held, 0)), held)
        step = np.linalg.solve(H, right[..., None])[..., 0]
        leaving = free & (rho + step < 0)
        if not leaving.any():
            break
        fixed = fixed | leaving
        held = np.where(leaving, -rho, held)
    return np.where(rho + step < 0, -rho, step)


def optimise(problem: Problem, rho: Array | None = None, rounds: int = 100) -> tuple[Array, Point, Slope]:
    """Ratios of least deviance (B, K), the point there and its derivatives."""
    rho = problem.start if rho is None else rho.copy()
    active = np.arange(len(rho))
    for _ in range(rounds):
        part = problem.take(active)
        here = rho[active]
        point = evaluate(part, here)
        step = _step(here, differentiate(part, here, point))
        size = np.ones(len(here))
        target = here + step
        for _ in range(40):
            rising = evaluate(part, target).deviance > point.deviance + 1e-11 * (1 + np.abs(point.deviance))
            if not rising.any():
                break
            size = np.where(rising, size / 2, size)
            target = here + size[:, None] * step
        rho[active] = target
        near = (np.abs(target - here) < 1e-6 * (here + 0.01)).all(1)
        active = active[~near]
        if not len(active):
            break
    point = evaluate(problem, rho)
    return rho, point, differentiate(problem, rho, point)


def parameter_covariance(rho: Array, slope: Slope) -> Array:
    """2 H^-1 over (ratios above zero, residual), zero for ratios at zero: (B, K + 1, K + 1)."""
    size = rho.shape[1] + 1
    H = np.zeros((len(rho), size, size))
    H[:, :-1, :-1] = slope.hessian
    H[:, :-1, -1] = H[:, -1, :-1] = slope.cross_residual
    H[:, -1, -1] = slope.residual_curve
    alive = np.concatenate([rho > 0, np.ones((len(rho), 1), bool)], 1)
    both = alive[:, :, None] & alive[:, None, :]
    return np.where(both, 2 * np.linalg.inv(np.where(both, H, np.eye(size))), 0.0)


def covariance_moves(point: Point, slope: Slope, fixed: int) -> Array:
    """d Cov(fixed coefficients) / d (ratios, residual): (B, K + 1, fixed, fixed)."""
    C = point.inverse
    moves = [point.residual[:, None, None] * (C @ move @ C) for move in slope.moves]
    return np.stack([*moves, C], 1)[:, :, :fixed, :fixed]
