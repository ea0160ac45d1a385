"""The REML problem of equal blocks: every assessor scored k of the h pulls, every cell that was served n times.

Assessors' totals and what differs within assessors are two strata with one weight each, n / (1 + n rho_c + k n rho_a)
between and n / (1 + n rho_c) within, so that both kinds of information on the pulls are combined in closed form (Yates
1940; Nelder 1968; from memory). One change of the pulls' coordinates, the same for the whole batch, makes every matrix
diagonal; nothing is left but sums over its h directions. Shapes: B batch, a assessors, h pulls or directions.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

from analysis import reml
from analysis.cell_weights import pooled

Array = NDArray[np.float64]
Rows = NDArray[np.intp]
# Directions of the pulls with less than this share of their information within assessors have none.
NO_SHARE = 1e-9


@dataclass(frozen=True, slots=True)
class Plan:
    """What a batch shares: `served` (a, h), 0 or 1; n scores a cell, k pulls an assessor; directions T (h, h) with
    T'RT = 1 for the pulls' counts of cells R, and the share `between` (h,) of their information that lies between
    assessors."""

    served: Array
    n: float
    k: float
    T: Array
    between: Array

    @property
    def within(self) -> Array:
        """The share within assessors (h,)."""
        return 1 - self.between


def plan_of(counts: Array) -> Plan | None:
    """The plan behind counts (B, a, h), where all panels share equal blocks, else None."""
    first = counts[0]
    served = (first > 0).astype(float)
    per, n = served.sum(1), first.max()
    if not ((per == per[0]).all() and (first == n * served).all() and (counts == first).all()):
        return None
    between, T = eigh(served.T @ served / per[0], np.diag(served.sum(0)))
    return Plan(served, float(n), float(per[0]), T, np.clip(between, 0, 1))


@dataclass(frozen=True, slots=True)
class BlockProblem:
    """Cell means as sums along the directions, within and between assessors (B, h); their squares in both strata, and
    those within cells (B,)."""

    plan: Plan
    nested: tuple[str, ...]
    inner: Array
    outer: Array
    squares: Array
    outer_squares: Array
    within: Array

    @classmethod
    def of(cls, plan: Plan, cells: Array, within: Array, nested: tuple[str, ...]) -> BlockProblem:
        """From cell means (B, a, h), centred by pull and 0 where nothing was served."""
        B, a, h = cells.shape
        totals = (cells.reshape(-1, h) @ np.ones(h)).reshape(B, a)
        outer = (totals / plan.k) @ plan.served @ plan.T
        inner = np.ones(a) @ cells @ plan.T - outer
        between = np.vecdot(totals, totals) / plan.k
        flat = cells.reshape(B, -1)
        return cls(plan, nested, inner, outer, np.vecdot(flat, flat) - between, between, within)

    def take(self, rows: Rows) -> BlockProblem:
        """See reml.Problem."""
        return BlockProblem(self.plan, self.nested, *(getattr(self, field.name)[rows] for field in fields(self)[2:]))

    def start(self) -> Array:
        """Mean squares within assessors, and between them about the pulls' means found within."""
        plan, a = self.plan, len(self.plan.served)
        inside = plan.within > NO_SHARE
        share = np.where(inside, plan.within, 1.0)
        g = np.where(inside, self.inner / share, self.outer / np.where(inside, 1.0, plan.between))
        f0 = a * plan.k * (plan.n - 1) if "cell" in self.nested else 0.0
        f1, f2 = a * (plan.k - 1) - inside.sum(), a - (~inside).sum()
        m1 = plan.n * (self.squares - (self.inner * g * inside).sum(1)) / max(f1, 1)
        about = self.outer_squares - 2 * np.vecdot(g, self.outer) + (g * g) @ plan.between
        m2 = (plan.n * about - m1 * (inside * plan.between / share).sum()) / max(f2, 1)
        m0 = self.within / f0 if f0 else np.zeros_like(m1)
        df = np.full(len(m1), f0), float(max(f1, 1)), float(max(f2, 1))
        low, middle, high = pooled((m0, m1, np.maximum(m2, 0)), df)
        low = np.maximum(low if f0 else middle, 1e-12 * high + np.finfo(float).tiny)
        ratios = {"assessor": (high - middle) / (plan.k * plan.n) / low, "cell": (middle - low) / plan.n / low}
        return np.asarray(np.maximum(np.stack([ratios[name] for name in self.nested], 1), 0.02))

    def levels(self) -> Array:
        """See reml.Problem; exact here."""
        n, per = self.plan.n, self.plan.n * self.plan.k
        return np.array([[[0.0, n], [per, n]]]) if "cell" in self.nested else np.array([[[per]]])

    def at(self, rho: Array) -> BlockPoint:
        """See reml.Problem."""
        plan, a = self.plan, len(self.plan.served)
        inner = 1 + plan.n * rho[:, 1] if "cell" in self.nested else np.ones(len(rho))
        outer = inner + plan.n * plan.k * rho[:, 0]
        t1, t2 = (plan.n / inner)[:, None], (plan.n / outer)[:, None]
        d = t1 * plan.within + t2 * plan.between
        g = (t1 * self.inner + t2 * self.outer) / d
        rest = self.within + t1[:, 0] * self.squares + t2[:, 0] * self.outer_squares - np.vecdot(d, g * g)
        rss = np.maximum(rest, np.finfo(float).tiny)
        log_w = a * ((plan.k - 1) * np.log(inner) + np.log(outer))
        log_det = np.log(d).sum(1) + np.log(plan.served.sum(0)).sum()
        free = self.free
        deviance = log_w + log_det + free * (1 + np.log(2 * np.pi * rss / free))
        return BlockPoint(self, deviance, rss / free, t1, t2, d, g)

    @property
    def free(self) -> float:
        """Scores less pulls."""
        return float(self.plan.n * self.plan.served.sum() - len(self.plan.T))


@dataclass(frozen=True, slots=True)
class BlockPoint:
    """One set of ratios: deviance, residual (B,), the strata's weights t1 within and t2 between (B, 1), and along the
    directions the information d and the coefficients g (B, h)."""

    problem: BlockProblem
    deviance: Array
    residual: Array
    t1: Array
    t2: Array
    d: Array
    g: Array

    def take(self, rows: Rows) -> BlockPoint:
        """See reml.Point."""
        return BlockPoint(self.problem.take(rows), *(getattr(self, field.name)[rows] for field in fields(self)[1:]))

    def slope(self) -> reml.Slope:
        """See reml.Point; `moves` holds what stands on the diagonal along the directions (B, K, h).

        With E1 and E2 projecting into the strata, W = t1 E1 + t2 E2, Zc = 1 and Za Za' = k E2.
        """
        plan, t1, t2, g = self.problem.plan, self.t1, self.t2, self.g
        a, k, both = len(plan.served), plan.k, "cell" in self.problem.nested
        inner, outer = self.problem.inner - plan.within * g, self.problem.outer - plan.between * g
        q1 = self.problem.squares - np.vecdot(g, self.problem.inner + inner)
        q2 = self.problem.outer_squares - np.vecdot(g, self.problem.outer + outer)
        u1, u2 = t1[:, 0], t2[:, 0]
        shared = plan.between / self.d
        cubic = (t2**3 * shared).sum(1)
        moves, slid = [k * t2**2 * plan.between], [k * t2**2 * outer]
        trace, square = [a * k * u2], [k * u2**2 * q2]
        norm, bent = [a * k**2 * u2**2 - 2 * k**2 * cubic], [k**2 * u2**3 * q2]
        if both:
            moves.append(t1**2 * plan.within + t2**2 * plan.between)
            slid.append(t1**2 * inner + t2**2 * outer)
            trace.append(a * (k - 1) * u1 + a * u2)
            square.append(u1**2 * q1 + u2**2 * q2)
            mixed, bend = a * k * u2**2 - 2 * k * cubic, k * u2**3 * q2
            own = a * (k - 1) * u1**2 + a * u2**2 - 2 * (cubic + (t1**3 * plan.within / self.d).sum(1))
            norm += [mixed, mixed, own]
            bent += [bend, bend, u1**3 * q1 + u2**3 * q2]
        size = len(moves)
        along, m, v = 1 / self.d[:, None, :], np.stack(moves, 1), np.stack(slid, 1)
        md, shape = m * along, (len(g), size, size)
        return reml.assemble(
            np.stack(trace, 1) - md.sum(2),
            np.stack(norm, 1).reshape(shape) + md @ md.swapaxes(1, 2),
            np.stack(bent, 1).reshape(shape) - (v * along) @ v.swapaxes(1, 2),
            np.stack(square, 1),
            m,
            self.residual,
            self.problem.free,
        )


def solved(plan: Plan, cells: Array, within: Array, nested: tuple[str, ...]) -> reml.Solved:
    """The fit of equal blocks; cell means (B, a, h) are centred by pull, 0 where nothing was served."""
    rho, point, slope = reml.optimise(BlockProblem.of(plan, cells, within, nested))
    along = 1 / point.d

    def turned(diagonal: Array) -> Array:
        """T diag T'."""
        return np.asarray((plan.T * diagonal[..., None, :]) @ plan.T.T)

    inverse = turned(along)
    moved = turned(point.residual[:, None, None] * slope.moves * along[:, None] ** 2)
    return reml.Solved(
        rho,
        point.deviance,
        point.residual,
        inverse,
        point.g @ plan.T.T,
        point.t1[..., None] * plan.served,
        np.concatenate([moved, inverse[:, None]], 1),
        reml.parameter_covariance(rho, slope),
    )
