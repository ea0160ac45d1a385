"""REML where factors cross the assessors (sitting, batch) or further fixed factors (position) stand beside the pulls.

Crossed factors are penalised columns of F = [X | Zs], so that only cross-products within cells are needed (Bates,
Maechler, Bolker & Walker 2015, sect. 3), never a matrix of rows by cells. Shapes: B batch, a assessors, c cells an
assessor, f columns of F, m = f + 1 with the scores last.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.model import reml
from analysis.model.small_arrays import over_all, over_pulls

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]
START = {"assessor": 1.0, "cell": 0.3, "crossed": 0.2}


@dataclass(frozen=True, slots=True)
class CrossedProblem:
    """Counts (B, a, c), cell sums (B, a, c, m) and cross-products (B, m, m) of [F | scores].

    `fixed` columns of F come first; `crossed` are the slices of the penalised blocks; `nested` names the components
    "assessor" and, if there, "cell".
    """

    counts: Array
    sums: Array
    cross: Array
    fixed: int
    nested: tuple[str, ...]
    crossed: tuple[slice, ...] = ()

    def start(self) -> Array:
        """See reml.Problem."""
        one = [START[name] for name in (*self.nested, *["crossed"] * len(self.crossed))]
        return np.tile(np.array(one), (len(self.sums), 1))

    def levels(self) -> Array:
        """See reml.Problem; a crossed factor is taken as if it stood alone."""
        scores, cells = over_all(self.counts), over_all((self.counts > 0).astype(float))
        size = len(self.nested) + len(self.crossed)
        L = np.zeros((len(scores), size, size))
        L[:, 0, 0] = scores / self.counts.shape[1]
        if "cell" in self.nested:
            L[:, :2, 1] = (scores / cells)[:, None]
        for number, block in enumerate(self.crossed, len(self.nested)):
            L[:, number, number] = scores / (block.stop - block.start)
        return L

    def take(self, rows: Rows) -> CrossedProblem:
        """See reml.Problem."""
        return CrossedProblem(
            self.counts[rows], self.sums[rows], self.cross[rows], self.fixed, self.nested, self.crossed
        )

    def keeping(self, kept: Sequence[slice]) -> CrossedProblem:
        """With some of the crossed factors alone."""
        f = self.sums.shape[-1]
        columns = np.r_[: self.fixed, *kept, f - 1]
        ends = self.fixed + np.cumsum([0, *(block.stop - block.start for block in kept)])
        blocks = tuple(slice(int(low), int(high)) for low, high in pairwise(ends))
        cross = self.cross[:, columns[:, None], columns]
        return CrossedProblem(self.counts, self.sums[..., columns], cross, self.fixed, self.nested, blocks)

    def at(self, rho: Array) -> CrossedPoint:
        """See reml.Problem: F'WF from cell sums, then one penalised solve."""
        f = self.sums.shape[-1] - 1
        rho_a = rho[:, 0, None]
        loose = 1 + rho[:, 1, None, None] * self.counts if "cell" in self.nested else np.ones_like(self.counts)
        w = self.counts / loose
        total = over_pulls(w)
        k = 1 / (1 + rho_a * total)
        q = rho_a * k
        spread = self.sums / loose[..., None]
        pulled = spread.sum(2)
        cross = self.cross - pulled.transpose(0, 2, 1) @ (q[..., None] * pulled)
        if "cell" in self.nested:
            cross = cross - rho[:, 1, None, None] * (_flat(spread).transpose(0, 2, 1) @ _flat(self.sums))
        log_w = over_all(np.log(loose)) - over_all(np.log(k))
        C, log_m = self._penalised(cross[:, :f, :f], rho)
        right = cross[:, :f, f]
        gamma = (C @ right[..., None])[..., 0]
        rss = np.maximum(cross[:, f, f] - np.vecdot(right, gamma), np.finfo(float).tiny)
        free = self.free
        deviance = log_w + log_m + free * (1 + np.log(2 * np.pi * rss / free))
        return CrossedPoint(self, deviance, rss / free, C, gamma, w, total, k, q, spread, pulled, cross)

    @property
    def free(self) -> Array:
        """Scores less fixed columns (B,)."""
        return over_all(self.counts) - self.fixed

    def _penalised(self, FWF: Array, rho: Array) -> tuple[Array, Array]:
        """C = L M^-1 L and log |M|, M = L F'WF L + diag(0, I), L = diag(1, sqrt(rho_s))."""
        f = FWF.shape[1]
        scale = np.ones((len(rho), f))
        for number, block in enumerate(self.crossed):
            scale[:, block] = np.sqrt(rho[:, len(self.nested) + number])[:, None]
        both = scale[:, :, None] * scale[:, None, :]
        M = both * FWF + np.diag((np.arange(f) >= self.fixed).astype(float))
        return both * np.linalg.inv(M), np.linalg.slogdet(M)[1]


@dataclass(frozen=True, slots=True)
class _Component:
    """G = Zk'WF (B, rows, f), r = Zk'W(y - F gamma) (B, rows), |D_kl|^2 by l, and D_kl times something by l."""

    G: Array
    r: Array
    trace: Array
    size: tuple[Array, ...]
    times: tuple[Callable[[Array], Array], ...]


@dataclass(frozen=True, slots=True)
class CrossedPoint:
    """One set of ratios: deviance, residual (B,), C (B, f, f), coefficients (B, f), weights w (B, a, c), their sums
    total, k and q (B, a), sums of [F | scores] weighted by cell (spread) and by assessor (pulled), and [F |
    scores]'W[F | scores] (cross)."""

    problem: CrossedProblem
    deviance: Array
    residual: Array
    inverse: Array
    coefficients: Array
    w: Array
    total: Array
    k: Array
    q: Array
    spread: Array
    pulled: Array
    cross: Array

    def take(self, rows: Rows) -> CrossedPoint:
        """See reml.Point."""
        arrays = [getattr(self, field.name)[rows] for field in fields(self)[1:]]
        return CrossedPoint(self.problem.take(rows), *arrays)

    def slope(self) -> reml.Slope:
        """See reml.Point."""
        C = self.inverse
        parts = self._components()
        number = len(parts)
        moves = np.stack([part.G.transpose(0, 2, 1) @ part.G for part in parts], 1)
        slid = np.stack([(part.r[:, None, :] @ part.G)[:, 0] for part in parts], 1)
        square = np.stack([np.vecdot(part.r, part.r) for part in parts], 1)
        turned = C[:, None] @ moves
        flipped = turned.transpose(0, 1, 3, 2).reshape(*turned.shape[:2], -1)
        norm = turned.reshape(*turned.shape[:2], -1) @ flipped.transpose(0, 2, 1)
        bent = -(slid @ C @ slid.transpose(0, 2, 1))
        for i in range(number):
            for j in range(i + 1):
                DG = parts[i].times[j](parts[j].G)
                mixed = parts[i].G.transpose(0, 2, 1) @ DG
                gained = parts[i].size[j] - 2 * (C * mixed).sum((1, 2))
                curved = np.vecdot(parts[i].r, parts[i].times[j](parts[j].r[..., None])[..., 0])
                for row, column in {(i, j), (j, i)}:
                    norm[:, row, column] += gained
                    bent[:, row, column] += curved
        trace = np.stack([part.trace for part in parts], 1) - np.einsum("bkff->bk", turned)
        return reml.assemble(trace, norm, bent, square, moves, self.residual, self.problem.free)

    def _components(self) -> list[_Component]:
        """Every variance component, each with D_kl for itself and the ones before it."""
        found = [self._assessor()]
        if "cell" in self.problem.nested:
            found.append(self._cell())
        for number, block in enumerate(self.problem.crossed):
            found.append(self._crossing(found[: len(self.problem.nested)], number, block))
        return found

    def _error(self, sums: Array) -> Array:
        """Sums of [F | scores] turned into sums of scores less their fit."""
        f = self.coefficients.shape[1]
        return np.asarray(sums[..., f] - _times(sums[..., :f], self.coefficients))

    def _assessor(self) -> _Component:
        k, f = self.k, self.coefficients.shape[1]
        ks = k * self.total
        return _Component(
            k[..., None] * self.pulled[..., :f],
            k * self._error(self.pulled),
            ks.sum(1),
            (np.vecdot(ks, ks),),
            (lambda right: ks[..., None] * right,),
        )

    def _cell(self) -> _Component:
        """D of an assessor's cells is diag(w) - q w w'; against the assessor it is k w."""
        w, k, q, f = self.w, self.k, self.q, self.coefficients.shape[1]
        shape = (len(w), -1, f)
        G = self.spread[..., :f] - (q[..., None] * w)[..., None] * self.pulled[:, :, None, :f]
        r = self._error(self.spread) - (q * self._error(self.pulled))[..., None] * w
        w2 = w * w
        p2, p3 = over_pulls(w2), over_pulls(w2 * w)

        def from_assessor(right: Array) -> Array:
            return _flat((w * k[..., None])[..., None] * right[:, :, None, :])

        def from_cell(right: Array) -> Array:
            cells = right.reshape(*w.shape, -1)
            inner = (w[..., None] * cells).sum(2)
            return _flat(w[..., None] * cells - (q[..., None] * w)[..., None] * inner[:, :, None, :])

        return _Component(
            G.reshape(shape),
            r.reshape(len(w), -1),
            (self.total - q * p2).sum(1),
            (np.vecdot(k**2, p2), (p2 - 2 * q * p3 + (q * p2) ** 2).sum(1)),
            (from_assessor, from_cell),
        )

    def _crossing(self, nested: list[_Component], number: int, block: slice) -> _Component:
        """A crossed factor: its rows of F'WF; D against a nested component are columns of that one's G."""
        f = self.coefficients.shape[1]
        before = [part.G[..., block].transpose(0, 2, 1) for part in nested]
        before += [self.cross[:, block, other] for other in self.problem.crossed[: number + 1]]
        return _Component(
            self.cross[:, block, :f],
            self._error(self.cross[:, block]),
            np.einsum("bss->b", before[-1]),
            tuple((D**2).sum((1, 2)) for D in before),
            tuple(_matrix(D) for D in before),
        )


def _matrix(D: Array) -> Callable[[Array], Array]:
    """Multiplication by a dense D."""
    return lambda right: D @ right


def _times(blocks: Array, coefficients: Array) -> Array:
    """(B, ..., f) times (B, f)."""
    rows = blocks.reshape(len(blocks), -1, blocks.shape[-1])
    return (rows @ coefficients[..., None])[..., 0].reshape(blocks.shape[:-1])


def _flat(block: Array) -> Array:
    """(B, a, c, f) as (B, a c, f)."""
    return block.reshape(len(block), -1, block.shape[-1])


def containment(problem: CrossedProblem) -> Array:
    """rank[X Zs Za Zc] - rank[X Zs Za] (B,), from cross-products within cells and within assessors."""
    F = problem.cross[:, :-1, :-1]
    tolerance = 1e-9 * np.abs(F).max((1, 2))
    found = (problem.counts > 0).sum((1, 2)) - problem.counts.shape[1]
    by_cell = problem.sums[..., :-1].reshape(len(F), -1, F.shape[1])
    groups = (
        (by_cell, problem.counts.reshape(len(F), -1), 1),
        (problem.sums[..., :-1].sum(2), problem.counts.sum(2), -1),
    )
    for sums, n, sign in groups:
        mean = sums / np.sqrt(np.where(n > 0, n, 1.0))[..., None]
        inside = F - mean.transpose(0, 2, 1) @ mean
        found = found + sign * np.linalg.matrix_rank(inside, tol=tolerance, hermitian=True)
    return np.asarray(found, np.float64)


def told_apart(problem: CrossedProblem, block: slice) -> Flags:
    """Whether a crossed factor can be told from fixed factors, assessors and their cells (B,)."""
    fixed = np.arange(problem.fixed)
    by_cell = np.asarray(problem.sums[..., block] > 0)
    several = np.einsum("bss->bs", problem.cross[:, block, block]).max(1) > 1
    more = _rank(problem, np.r_[fixed, block]) > _rank(problem, fixed)
    same = same_groups(np.asarray(by_cell.any(2))) | same_groups(by_cell.reshape(len(by_cell), -1, by_cell.shape[-1]))
    return np.asarray(several & more & ~same)


def same_groups(both: Flags) -> Flags:
    """Whether two labellings split the scores alike (B,); which levels have scores in common (B, levels, levels)."""
    return np.asarray((both.sum(1) <= 1).all(1) & (both.sum(2) <= 1).all(1))


def _rank(problem: CrossedProblem, columns: Rows) -> Rows:
    """Rank of some columns (B,), from their cross-products."""
    return np.asarray(np.linalg.matrix_rank(problem.cross[:, columns[:, None], columns], hermitian=True))
