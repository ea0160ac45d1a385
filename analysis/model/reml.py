"""The one REML optimiser: Newton steps on the profiled deviance, batched over attributes, studies or resamples.

Variances are handled as ratios rho = variance / residual, all >= 0, so that a batch of B problems with K ratios is an
array (B, K). REML after Patterson & Thompson 1971 and Harville 1977. What a problem looks like inside (cells of a
panel, or crossed factors) is the business of `cell_weights` and `crossed`; here it only has to give deviance and slope.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import product
from typing import Any, Generic, Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Rows = NDArray[np.intp]

ROUNDS = 200
HALVINGS = 40
# A step this small, relative to the ratio, leaves an error of about its square, at most twice that in simulated panels.
STEP_TOLERANCE = 5e-5
# A step this small need not be taken: it is the error that is left.
NOTHING_LEFT = 1e-7
# Added to a diagonal of ones: ratios that cannot be told apart are then known next to nothing of, not by chance.
LEVEL = 1e-14
LEAST_CURVE = 1e-100
AS_GOOD_AS_ZERO = 1e-9
# So few problems cost little more than one.
FEW = 32


@dataclass(frozen=True, slots=True)
class Slope:
    """Derivatives of the deviance in (ratios, residual), and what moves the covariance of the fixed coefficients.

    gradient (B, K); cross_residual (B, K) and residual_curve (B,) are the residual's part of the observed Hessian;
    profiled (B, K, K) is the rest, with the residual profiled out, expected its expectation; moves (B, K, p, p) = G'G.
    """

    gradient: Array
    cross_residual: Array
    residual_curve: Array
    profiled: Array
    expected: Array
    moves: Array

    def take(self, rows: Rows) -> Slope:
        """The same for some of the batch."""
        return Slope(*(getattr(self, field.name)[rows] for field in fields(self)))


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

    def levels(self) -> Array:
        """L (B or 1, K, K): 1 + L rho are the mean squares, per residual, of a balanced panel of about this size."""

    def at(self, rho: Array) -> P_co:
        """The point at ratios `rho` (B, K)."""

    def take(self, rows: Rows) -> Self:
        """The same problem for some of the batch."""


def assemble(
    trace: Array, norm: Array, bent: Array, square: Array, moves: Array, residual: Array, free: Array
) -> Slope:
    """Derivatives from their parts, with r_k = Zk'W(y - F gamma) and Q_kl = Zk'(W - W F C F'W)Zl.

    trace_k = tr Q_kk, norm_kl = |Q_kl|^2, bent_kl = r_k'Q_kl r_l, square_k = r_k'r_k, free = N - p.
    """
    s2, wide = residual[:, None], free[:, None, None]
    per = square / s2
    profiled = 2 * bent / s2[..., None] - norm - per[:, :, None] * per[:, None, :] / wide
    expected = norm - trace[:, :, None] * trace[:, None, :] / wide
    return Slope(trace - per, per / s2, free / residual**2, profiled, expected, moves)


@dataclass(frozen=True, slots=True)
class _Reached(Generic[P]):
    """Where a batch has come to: its ratios, the point there and its derivatives; `levels` L and its inverse."""

    rho: Array
    point: P
    slope: Slope
    levels: Array
    ratios: Array

    def take(self, rows: Rows) -> _Reached[P]:
        """Some of the batch."""
        levels, ratios = (every if len(every) == 1 else every[rows] for every in (self.levels, self.ratios))
        return _Reached(self.rho[rows], self.point.take(rows), self.slope.take(rows), levels, ratios)

    def put(self, rows: Rows, part: _Reached[P]) -> _Reached[P]:
        """The whole batch, with what some of it has reached; arrays are written to."""
        if len(rows) == len(self.rho):
            return part
        self.rho[rows] = part.rho
        pairs: list[tuple[Any, Any]] = [(self.point, part.point), (self.slope, part.slope)]
        for whole, some in pairs:
            for name in (field.name for field in fields(whole)):
                values = getattr(whole, name)
                if isinstance(values, np.ndarray):
                    values[rows] = getattr(some, name)
        return self


def optimise(problem: Problem[P]) -> tuple[Array, P, Slope]:
    """Ratios of least deviance (B, K), the point there and its derivatives."""
    rho, levels = problem.start(), problem.levels()
    point = problem.at(rho)
    whole = here = _Reached(rho, point, point.slope(), levels, np.asarray(np.linalg.inv(levels), np.float64))
    active, ended = np.arange(len(rho)), np.zeros(len(rho), bool)
    for _ in range(ROUNDS):
        step = _step(here)
        size = (np.abs(step) / (here.rho + 0.01)).max(1)
        moving = (size >= NOTHING_LEFT) & ~ended
        if not moving.any():
            break
        # Copying costs about as much as an iteration of what it saves, so only large savings are taken.
        if len(moving) > FEW and 4 * moving.sum() < 3 * len(moving):
            rows = np.flatnonzero(moving)
            whole = whole.put(active, here)
            active, problem, here = active[rows], problem.take(rows), here.take(rows)
            step, size = step[rows], size[rows]
        here, stuck = _descend(problem, here, step)
        ended = (size < STEP_TOLERANCE) | stuck
    whole = whole.put(active, here)
    return whole.rho, whole.point, whole.slope


def _descend(problem: Problem[P], here: _Reached[P], step: Array) -> tuple[_Reached[P], NDArray[np.bool_]]:
    """Take the step, halved where the deviance would rise; also tells where nothing was gained."""
    size = np.ones(len(step))
    target = here.rho + step
    reached = problem.at(target)
    allowed = here.point.deviance + 1e-11 * (1 + np.abs(here.point.deviance))
    for _ in range(HALVINGS):
        rising = ~(reached.deviance <= allowed)
        if not rising.any():
            break
        size = np.where(rising, size / 2, size)
        target = here.rho + size[:, None] * step
        reached = problem.at(target)
    return _Reached(target, reached, reached.slope(), here.levels, here.ratios), size < 1e-9


def _step(here: _Reached[P]) -> Array:
    """A step inside rho >= 0: bent where that stays inside, straight elsewhere, and down to zero where hardly anything
    would be left: the df of a ratio at zero are others than those of the next one above."""
    step, trusted = _bent_step(here)
    if not trusted.all():
        rows = np.flatnonzero(~trusted)
        step[rows] = _straight_step(here.rho[rows], here.slope.take(rows))
    return np.where(here.rho + step < AS_GOOD_AS_ZERO, -here.rho, step)


def _bent_step(here: _Reached[P]) -> tuple[Array, NDArray[np.bool_]]:
    """Newton step in the powers -1/3 of the levels 1 + L rho, and where it can be trusted (B,).

    Squares with f degrees of freedom and level l add f log l + SS / l to the deviance. As a function of l^(-1/3) that
    has no third derivative at its minimum, as a gamma variable's cube root is nearly normal (Wilson & Hilferty 1931,
    from memory). So steps converge cubically in balanced panels and nearly so in others. With g and H the derivatives
    by the levels and d the relative change of the powers: (3 lHl + 4 diag(lg)) d = lg.
    """
    level = 1 + np.matvec(here.levels, here.rho)
    lg = level * np.vecmat(here.slope.gradient, here.ratios)
    turned = here.ratios * level[:, None, :]
    curve = 3 * (turned.swapaxes(1, 2) @ here.slope.profiled @ turned)
    np.einsum("bkk->bk", curve)[:] += 4 * lg
    bends_up = _bends_up(curve)
    if not bends_up.all():
        curve[~bends_up] = np.eye(lg.shape[1])
    change = np.maximum(_solve(curve, lg), -0.5)
    target = np.matvec(here.ratios, level * (1 + change) ** -3 - 1)
    return target - here.rho, bends_up & (np.minimum(here.rho, target) > 0).all(1)


def _straight_step(rho: Array, slope: Slope) -> Array:
    """Newton step inside rho >= 0, expected information where the Hessian bends the wrong way.

    A ratio at zero that wants to fall is held there. Each ratio is scaled by its own expected information, since they
    may differ by orders of magnitude.
    """
    diagonal = np.einsum("bkk->bk", slope.expected)
    # Nor does a ratio move that the scores tell nothing of.
    held = (rho <= 0) & (slope.gradient >= 0) | (diagonal <= 0)
    scale = 1 / np.sqrt(np.maximum(diagonal, np.finfo(float).tiny))
    scale = np.where(held, 0.0, scale)
    unit = np.eye(rho.shape[1]) * held[:, None, :]
    both = scale[:, :, None] * scale[:, None, :]
    H = slope.profiled * both + unit
    wrong = ~_bends_up(H)
    if wrong.any():
        H = np.where(wrong[:, None, None], slope.expected * both + unit, H)
        # Ratios that cannot be told apart leave a level valley: straight down is the way out of it.
        H[~_bends_up(H)] = np.eye(rho.shape[1])
    g = slope.gradient * scale
    move = _solve(H, -g)
    leaving = (rho + move * scale < 0).any(1)
    if leaving.any():
        rows = np.flatnonzero(leaving)
        room = np.divide(rho[rows], scale[rows], out=np.zeros_like(rho[rows]), where=scale[rows] > 0)
        move[rows] = _along_edges(H[rows], g[rows], room)
    return move * scale


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
        found = np.empty_like(right)
        found[:, 0], found[:, 1] = d * x - b * y, a * y - b * x
        return found / (a * d - b * b)[:, None]
    return np.asarray(np.linalg.solve(H, right[..., None])[..., 0])


def parameter_covariance(rho: Array, slope: Slope) -> Array:
    """2 H^-1 over (ratios above zero, residual), zero for ratios at zero: (B, K + 1, K + 1).

    A component at zero has no first-order part in the covariance on the scale of its standard deviation, so its row
    and column are dropped, as the reference software does.
    """
    dead = rho <= 0
    # Ratios may differ by orders of magnitude: scaled to a unit diagonal before inverting.
    curve = np.maximum(np.abs(np.einsum("bkk->bk", slope.profiled)), LEAST_CURVE)
    scale = np.where(dead, 0.0, 1 / np.sqrt(curve))
    both = scale[:, :, None] * scale[:, None, :]
    unit = np.eye(rho.shape[1])
    inverse = _inverse(slope.profiled * both + unit * dead[:, None, :] + LEVEL * unit) * both
    # The residual is set aside first, so that what is left to invert is the profiled Hessian.
    along = slope.cross_residual / slope.residual_curve[:, None]
    beside = -np.matvec(inverse, along)
    found = np.empty((len(rho), rho.shape[1] + 1, rho.shape[1] + 1))
    found[:, :-1, :-1] = inverse
    found[:, :-1, -1] = found[:, -1, :-1] = beside
    found[:, -1, -1] = 1 / slope.residual_curve - np.vecdot(along, beside)
    return 2 * found


def _inverse(H: Array) -> Array:
    """H^-1, written out for the usual one and two components."""
    if H.shape[1] == 1:
        return 1 / H
    if H.shape[1] == 2:
        a, b, d = H[:, 0, 0], H[:, 0, 1], H[:, 1, 1]
        found = np.empty_like(H)
        found[:, 0, 0], found[:, 1, 1] = d, a
        found[:, 0, 1] = found[:, 1, 0] = -b
        return found / (a * d - b * b)[:, None, None]
    return np.asarray(np.linalg.inv(H), np.float64)


def covariance_moves(residual: Array, inverse: Array, slope: Slope) -> Array:
    """d Cov(fixed coefficients) / d (ratios, residual): (B, K + 1, p, p)."""
    C = inverse[:, None]
    return np.concatenate([residual[:, None, None, None] * (C @ slope.moves @ C), C], 1)
