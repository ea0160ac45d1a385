"""The one REML optimiser: Newton steps on the profiled deviance, batched over attributes, studies or resamples.

Variances are handled as ratios rho = variance / residual, all >= 0, so that a batch of B problems with K ratios is an
array (B, K). REML after Patterson & Thompson 1971 and Harville 1977. What a problem looks like inside (cells of a
panel, or crossed factors) is the business of `cell_weights` and `crossed`; here it only has to give deviance and slope.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Rows = NDArray[np.intp]

ROUNDS = 200
HALVINGS = 40
# A step this small, relative to the ratio, leaves an error of about its square, at most twice that in simulated panels.
STEP_TOLERANCE = 5e-5
# So few problems cost little more than one.
FEW = 32


@dataclass(frozen=True, slots=True)
class Slope:
    """Derivatives of the deviance in (ratios, residual), and what moves the covariance of the fixed coefficients.

    gradient (B, K); hessian (B, K, K), cross_residual (B, K) and residual_curve (B,) are the observed Hessian;
    profiled (B, K, K) the Hessian with the residual profiled out, expected its expectation; moves (B, K, p, p) = G'G.
    """

    gradient: Array
    hessian: Array
    cross_residual: Array
    residual_curve: Array
    profiled: Array
    expected: Array
    moves: Array


class Point(Protocol):
    """The deviance (-2 REML log likelihood) at one set of ratios, and the way to its derivatives."""

    @property
    def deviance(self) -> Array:
        """(B,)"""

    def slope(self) -> Slope:
        """Analytic derivatives here."""

    def take(self, rows: Rows) -> Self:
        """The same for some of the batch."""


P_co = TypeVar("P_co", bound=Point, covariant=True)
P = TypeVar("P", bound=Point)


class Problem(Protocol[P_co]):
    """Anything whose deviance can be evaluated at ratios."""

    def start(self) -> Array:
        """Starting ratios (B, K), all above zero."""

    def at(self, rho: Array) -> P_co:
        """The point at ratios `rho` (B, K)."""

    def take(self, rows: Rows) -> Self:
        """The same problem for some of the batch."""


def assemble(
    trace: Array, norm: Array, bent: Array, square: Array, moves: Array, residual: Array, free: Array | float
) -> Slope:
    """Derivatives from their parts, with r_k = Zk'W(y - F gamma) and Q_kl = Zk'(W - W F C F'W)Zl.

    trace_k = tr Q_kk, norm_kl = |Q_kl|^2, bent_kl = r_k'Q_kl r_l, square_k = r_k'r_k, free = N - p.
    """
    s2 = residual[:, None]
    gradient = trace - square / s2
    hessian = 2 * bent / s2[..., None] - norm
    cross = square / s2**2
    curve = free / residual**2
    profiled = hessian - cross[:, :, None] * cross[:, None, :] / curve[:, None, None]
    wide = np.reshape(free, (-1, 1, 1))
    expected = norm - trace[:, :, None] * trace[:, None, :] / wide
    return Slope(gradient, hessian, cross, curve, profiled, expected, moves)


def optimise(problem: Problem[P]) -> tuple[Array, P, Slope]:
    """Ratios of least deviance (B, K), the point there and its derivatives."""
    here = problem.start()
    rho, active, part = here.copy(), np.arange(len(here)), problem
    point = problem.at(here)
    for _ in range(ROUNDS):
        step = _step(here, point.slope())
        near = (np.abs(step) < STEP_TOLERANCE * (here + 0.01)).all(1)
        here, point, stuck = _descend(part, here, step, point)
        rho[active] = here
        moving = ~(near | stuck)
        if not moving.any():
            break
        # Copying the batch costs about as much as an iteration of what it saves, and all are evaluated once more at
        # the end, so only large savings are taken.
        if len(moving) > FEW and 4 * moving.sum() < 3 * len(moving):
            rows = np.flatnonzero(moving)
            active, part, here, point = active[rows], part.take(rows), here[rows], point.take(rows)
    if len(active) < len(rho):
        point = problem.at(rho)
    return rho, point, point.slope()


def _descend(problem: Problem[P], here: Array, step: Array, point: P) -> tuple[Array, P, NDArray[np.bool_]]:
    """Take the step, halved where the deviance would rise; also tells where nothing was gained."""
    size = np.ones(len(here))
    target = here + step
    reached = problem.at(target)
    allowed = point.deviance + 1e-11 * (1 + np.abs(point.deviance))
    for _ in range(HALVINGS):
        rising = ~(reached.deviance <= allowed)
        if not rising.any():
            break
        size = np.where(rising, size / 2, size)
        target = here + size[:, None] * step
        reached = problem.at(target)
    return target, reached, size < 1e-9


def _step(rho: Array, slope: Slope) -> Array:
    """Newton step inside rho >= 0, expected information where the Hessian bends the wrong way.

    A ratio at zero that wants to fall is held there. Each ratio is scaled by its own expected information, since they
    may differ by orders of magnitude.
    """
    held = (rho <= 0) & (slope.gradient >= 0)
    diagonal = np.einsum("bkk->bk", slope.expected)
    scale = 1 / np.sqrt(np.maximum(diagonal, np.finfo(float).tiny))
    scale = np.where(held, 0.0, scale)
    unit = np.eye(rho.shape[1]) * held[:, None, :]
    both = scale[:, :, None] * scale[:, None, :]
    H = slope.profiled * both + unit
    wrong = ~_bends_up(H)
    if wrong.any():
        H = np.where(wrong[:, None, None], slope.expected * both + unit, H)
    g = slope.gradient * scale
    move = _solve(H, -g)
    leaving = (rho + move * scale < 0).any(1)
    if leaving.any():
        rows = np.flatnonzero(leaving)
        room = np.divide(rho[rows], scale[rows], out=np.zeros_like(rho[rows]), where=scale[rows] > 0)
        move[rows] = _along_edges(H[rows], g[rows], room)
    step = move * scale
    return np.where(step <= -rho * (1 - 1e-12), -rho, step)


def _along_edges(H: Array, g: Array, room: Array) -> Array:
    """Least value of g's + s'Hs/2 over s >= -room, for rows whose free minimum lies outside: every set of edges
    tried."""
    best = -room
    lowest = _model(H, g, best)
    for free in product((True, False), repeat=g.shape[1]):
        inside = np.array(free)
        if inside.all() or not inside.any():
            continue
        bound = np.where(inside, 0.0, -room)
        reduced = np.where(inside[:, None] & inside, H, np.eye(len(inside)))
        right = np.where(inside, -g - np.einsum("bkl,bl->bk", H, bound), 0.0)
        trial = _solve(reduced, right) + bound
        value = np.where((trial >= -room).all(1), _model(H, g, trial), np.inf)
        better = value < lowest
        best, lowest = np.where(better[:, None], trial, best), np.where(better, value, lowest)
    return best


def _model(H: Array, g: Array, s: Array) -> Array:
    """g's + s'Hs/2 of each row."""
    return np.asarray((g * s).sum(1) + 0.5 * np.einsum("bk,bkl,bl->b", s, H, s))


def _bends_up(H: Array) -> NDArray[np.bool_]:
    """Whether each matrix, scaled to about one, is safely positive definite."""
    if H.shape[1] > 2:
        return np.asarray(np.linalg.eigvalsh(H)[:, 0] > 1e-8)
    first = H[:, 0, 0] - 1e-8
    if H.shape[1] == 1:
        return np.asarray(first > 0)
    return np.asarray((first > 0) & (first * (H[:, 1, 1] - 1e-8) > H[:, 0, 1] ** 2))


def _solve(H: Array, right: Array) -> Array:
    """H^-1 right, written out for the usual one and two components."""
    if H.shape[1] == 1:
        return right / H[:, 0]
    if H.shape[1] == 2:
        a, b, d = H[:, 0, 0], H[:, 0, 1], H[:, 1, 1]
        x, y = right[:, 0], right[:, 1]
        return np.stack([d * x - b * y, a * y - b * x], 1) / (a * d - b * b)[:, None]
    return np.asarray(np.linalg.solve(H, right[..., None])[..., 0])


def parameter_covariance(rho: Array, slope: Slope) -> Array:
    """2 H^-1 over (ratios above zero, residual), zero for ratios at zero: (B, K + 1, K + 1).

    A component at zero has no first-order part in the covariance on the scale of its standard deviation, so its row
    and column are dropped, as the reference software does.
    """
    size = rho.shape[1] + 1
    H = np.empty((len(rho), size, size))
    H[:, :-1, :-1] = slope.hessian
    H[:, :-1, -1] = H[:, -1, :-1] = slope.cross_residual
    H[:, -1, -1] = slope.residual_curve
    dead = np.concatenate([rho <= 0, np.zeros((len(rho), 1), bool)], 1)
    either = dead[:, :, None] | dead[:, None, :]
    H = np.where(either, np.eye(size), H)
    # Ratios and residual differ by orders of magnitude: scaled to a unit diagonal before inverting.
    scale = 1 / np.sqrt(np.abs(np.einsum("bkk->bk", H)))
    both = scale[:, :, None] * scale[:, None, :]
    return np.where(either, 0.0, 2 * np.linalg.inv(H * both) * both)


def covariance_moves(residual: Array, inverse: Array, slope: Slope) -> Array:
    """d Cov(fixed coefficients) / d (ratios, residual): (B, K + 1, p, p)."""
    C = inverse[:, None]
    return np.concatenate([residual[:, None, None, None] * (C @ slope.moves @ C), C], 1)
