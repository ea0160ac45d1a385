"""Mixed models of panel scores: fixed pulls (or samples), random assessors, REML, Satterthwaite degrees of freedom.

`fit` reads a data frame and fits one response; `fit_cells` fits a whole batch of hours-only designs given as counts and sums.
Contrasts after Giesbrecht & Burns 1985, F after Fai & Cornelius 1996, as in Kuznetsova, Brockhoff & Christensen 2017.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtr

from analysis import reml

Array = NDArray[np.float64]


# ---- a batch of hours-only designs ---------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class CellFits:
    """Fits of a batch. Shapes: (B,) variances and loglik, (B, h) means, (B, h, h) covariance, (B, a, h) weights.

    `interaction` is NaN where no cell was scored twice (it cannot be told from the residual). For assessor i the
    covariance of the cell means is residual * (diag(1 / weights_i) + assessor_ratio), absent cells have weight 0.
    `containment` is cells - assessors - pulls + number of connected parts.
    """

    residual: Array
    interaction: Array
    assessor: Array
    loglik: Array
    means: Array
    covariance: Array
    weights: Array
    assessor_ratio: Array
    containment: Array
    moves: Array
    parameter_covariance: Array
    copied: NDArray[np.bool_]

    def contrast(self, weights: Array) -> tuple[Array, Array, Array]:
        """Estimate, SE and plain Satterthwaite df, each (B, k), of k contrasts `weights` (k, h)."""
        variance = np.einsum("kh,bhi,ki->bk", weights, self.covariance, weights)
        slopes = np.einsum("kh,bphi,ki->bkp", weights, self.moves, weights)
        spread = np.einsum("bkp,bpr,bkr->bk", slopes, self.parameter_covariance, slopes)
        with np.errstate(divide="ignore", invalid="ignore"):
            df = np.where(spread > 0, 2 * variance**2 / spread, self.containment[:, None])
        return self.means @ weights.T, np.sqrt(np.maximum(variance, 0)), df

    def difference(self, reference: int) -> tuple[Array, Array, Array]:
        """Each pull against the reference pull (index): estimate, SE, df, each (B, h); the reference has SE 0."""
        h = self.means.shape[1]
        return self.contrast(np.eye(h) - np.eye(h)[reference])

    def mean(self) -> tuple[Array, Array, Array]:
        """The mean of each pull: estimate, SE, df, each (B, h)."""
        return self.contrast(np.eye(self.means.shape[1]))


def fit_cells(counts: Array, sums: Array, within_ss: Array) -> CellFits:
    """Fit hours + assessor + assessor:hours to each of a batch by REML.

    Args:
        counts: scores per cell, (B, a, h) or (1, a, h); 0 where nothing was scored.
        sums: sums of the scores per cell, (B, a, h).
        within_ss: sum of squares within cells, (B,), computed from centred scores.

    Raises:
        ValueError: a pull or an assessor without any score.
    """
    sums = np.asarray(sums, float)
    counts = np.broadcast_to(np.asarray(counts, float), sums.shape)
    within = np.asarray(within_ss, float)
    if not ((counts.sum(1) > 0).all() and (counts.sum(2) > 0).all()):
        raise ValueError("counts: every pull and every assessor needs at least one score; drop the empty ones")
    repeated = (counts > 1).any((1, 2))
    scale = np.abs(sums).max((1, 2)) + 1e-300
    copied = repeated & (within <= 1e-20 * scale**2)
    means = np.divide(sums, counts, out=np.zeros_like(sums), where=counts > 0)
    counts = np.where(copied[:, None, None], (counts > 0).astype(float), counts)
    sums = np.where(copied[:, None, None], means, sums)
    within = np.where(copied, 0.0, within)
    balanced = (counts == counts[:, :1, :1]).all((1, 2))
    single = ~(counts > 1).any((1, 2))
    parts = []
    for mask, route in (
        (balanced, _closed_form),
        (~balanced & ~single, lambda n, s, w: _iterated(n, s, w, ("assessor", "cell"))),
        (~balanced & single, lambda n, s, w: _iterated(n, s, w, ("assessor",))),
    ):
        rows = np.flatnonzero(mask)
        if len(rows):
            parts.append((rows, route(counts[rows], sums[rows], within[rows])))
    return _gather(parts, copied)


def _gather(parts: list[tuple[NDArray[np.intp], dict[str, Array]]], copied: NDArray[np.bool_]) -> CellFits:
    """Put the routes' results back in the order of the batch; moves are padded to three parameters."""
    if len(parts) == 1 and len(parts[0][0]) == len(copied):
        return CellFits(**parts[0][1], copied=copied)
    whole: dict[str, Array] = {}
    for rows, part in parts:
        for name, values in part.items():
            if name == "moves":
                values = np.pad(values, ((0, 0), (0, 3 - values.shape[1]), (0, 0), (0, 0)))
            if name == "parameter_covariance":
                pad = (0, 3 - values.shape[1])
                values = np.pad(values, ((0, 0), pad, pad))
            whole.setdefault(name, np.empty((len(copied), *values.shape[1:])))[rows] = values
    return CellFits(**whole, copied=copied)


def _pooled(m: Array, f: Array) -> tuple[Array, Array]:
    """Isotonic regression of mean squares m (B, k) with df f (k,), and the df pooled into each: both (B, k)."""
    k = m.shape[1]
    levels = np.empty_like(m)
    for j in range(k):
        best = np.full(len(m), -np.inf)
        for low in range(j + 1):
            smallest = np.full(len(m), np.inf)
            for high in range(j, k):
                block = f[low : high + 1]
                smallest = np.minimum(smallest, (m[:, low : high + 1] * block).sum(1) / block.sum())
            best = np.maximum(best, smallest)
        levels[:, j] = best
    same = np.isclose(levels[:, :, None], levels[:, None, :], rtol=1e-12, atol=0)
    return levels, (same * f).sum(2)


def _closed_form(counts: Array, sums: Array, within: Array) -> dict[str, Array]:
    """Complete and balanced: pooled mean squares are the REML estimates under variances >= 0."""
    B, a, h = sums.shape
    r = counts[:, 0, 0]
    cell = sums / r[:, None, None]
    pull, person = cell.mean(1), cell.mean(2)
    centre = pull.mean(1)
    rest = cell - pull[:, None, :] - person[:, :, None] + centre[:, None, None]
    m2 = r * h * ((person - centre[:, None]) ** 2).sum(1) / max(a - 1, 1)
    m1 = r * (rest**2).sum((1, 2)) / max((a - 1) * (h - 1), 1)
    f1, f2 = float((a - 1) * (h - 1)), float(a - 1)
    out = {name: np.empty(B) for name in ("residual", "interaction", "assessor", "loglik", "assessor_ratio")}
    moves = np.zeros((B, 2, h, h))
    spread = np.zeros((B, 2, 2))
    covariance = np.empty((B, h, h))
    ratio_c = np.empty(B)
    for size in np.unique(r):
        rows = np.flatnonzero(r == size)
        alone = size == 1
        f = np.array([f1, f2]) if alone else np.array([a * h * (size - 1), f1, f2])
        m = np.stack([m1[rows], m2[rows]] if alone else [within[rows] / f[0], m1[rows], m2[rows]], 1)
        levels, pooled = _pooled(m, f)
        l0, l1, l2 = levels[:, 0], levels[:, -2], levels[:, -1]
        N = a * h * size
        with np.errstate(divide="ignore", invalid="ignore"):
            deviance = (f * np.log(levels) + f * m / levels).sum(1) + h * np.log(a * size) + (N - h) * np.log(2 * np.pi)
            out["assessor_ratio"][rows] = np.where(l0 > 0, (l2 - l1) / (size * h) / l0, 0.0)
            ratio_c[rows] = np.where(l0 > 0, (l1 - l0) / size / l0, 0.0)
        out["residual"][rows], out["loglik"][rows] = l0, -deviance / 2
        out["interaction"][rows] = np.nan if alone else (l1 - l0) / size
        out["assessor"][rows] = (l2 - l1) / (size * h)
        shared = np.isclose(l1, l2, rtol=1e-12, atol=0)[:, None, None]
        even = np.full((h, h), 1 / h)
        moves[rows, 0] = np.where(shared, np.eye(h), np.eye(h) - even) / (a * size)
        moves[rows, 1] = np.where(shared, 0.0, even) / (a * size)
        spread[rows, 0, 0] = 2 * l1**2 / pooled[:, -2]
        spread[rows, 1, 1] = 2 * l2**2 / pooled[:, -1]
        covariance[rows] = ((np.eye(h) - even) * l1[:, None, None] + even * l2[:, None, None]) / (a * size)
    weights = counts / (1 + np.where(np.isfinite(ratio_c), ratio_c, 0)[:, None, None] * counts)
    return {
        **out,
        "means": pull,
        "covariance": covariance,
        "weights": weights,
        "containment": np.full(B, f1),
        "moves": moves,
        "parameter_covariance": spread,
    }


def _iterated(counts: Array, sums: Array, within: Array, nested: tuple[str, ...]) -> dict[str, Array]:
    """Anything missing: Newton on the profiled deviance."""
    B, a, h = sums.shape
    centre = sums.sum(1) / counts.sum(1)
    centred = sums - counts * centre[:, None, :]
    U = np.zeros((B, a, h, h + 1))
    U[..., np.arange(h), np.arange(h)] = counts
    U[..., h] = centred
    cross = np.zeros((B, h + 1, h + 1))
    cross[:, np.arange(h), np.arange(h)] = counts.sum(1)
    cross[:, :h, h] = cross[:, h, :h] = centred.sum(1)
    squares = np.divide(centred**2, counts, out=np.zeros_like(centred), where=counts > 0)
    cross[:, h, h] = within + squares.sum((1, 2))
    problem = reml.Problem(counts, U, cross, h, nested)
    rho, point, slope = reml.optimise(problem)
    ratio_c = rho[:, 1] if "cell" in nested else np.zeros(B)
    return {
        "residual": point.residual,
        "interaction": ratio_c * point.residual if "cell" in nested else np.full(B, np.nan),
        "assessor": rho[:, 0] * point.residual,
        "loglik": -point.deviance / 2,
        "means": point.coefficients + centre,
        "covariance": point.residual[:, None, None] * point.inverse,
        "weights": point.weights,
        "assessor_ratio": rho[:, 0],
        "containment": _containment(counts),
        "moves": reml.covariance_moves(point, slope, h),
        "parameter_covariance": reml.parameter_covariance(rho, slope),
    }


def _containment(counts: Array) -> Array:
    """cells - assessors - pulls + connected parts, (B,)."""
    seen = (counts > 0).astype(float)
    a, h = seen.shape[1:]
    links = seen.transpose(0, 2, 1) @ seen > 0
    for _ in range(max(int(np.ceil(np.log2(h))), 1)):
        links = (links.astype(float) @ links.astype(float)) > 0
    first = links.argmax(2)
    parts = (first == np.arange(h)).sum(1)
    return np.asarray(seen.sum((1, 2)) - a - h + parts, float)


# ---- one response from a data frame --------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class FTest:
    """F of a fixed factor with Satterthwaite denominator df."""

    f: float
    num_df: float
    den_df: float
    p: float


@dataclass(frozen=True, slots=True)
class Contrast:
    """Level minus reference: estimate, SE, plain Satterthwaite df, containment df, two-sided p."""

    level: object
    estimate: float
    se: float
    df: float
    containment_df: float
    p: float


@dataclass(frozen=True, slots=True)
class MixedFit:
    """One REML fit. `variance` names every random term and "residual"; None is a term that could not be told apart.

    `notes` are codes: "interaction dropped", "copied replicates".
    """

    response: str
    fixed: tuple[str, ...]
    random: tuple[str, ...]
    levels: tuple[object, ...]
    scores: int
    loglik: float
    variance: Mapping[str, float | None]
    singular: bool
    means: Array
    mean_se: Array
    mean_df: Array
    covariance: Array
    anova: FTest
    containment_df: float
    notes: tuple[str, ...]
    moves: Array
    parameter_covariance: Array

    def against(self, reference: object) -> tuple[Contrast, ...]:
        """Every other level of the first fixed factor minus `reference`.

        Raises:
            ValueError: `reference` is not a level.
        """
        if reference not in self.levels:
            raise ValueError(f"reference {reference!r} is not among the levels {list(self.levels)}")
        at = self.levels.index(reference)
        rows = np.eye(len(self.levels)) - np.eye(len(self.levels))[at]
        found = []
        for i, level in enumerate(self.levels):
            if i != at:
                v, df = _satterthwaite(rows[i], self.covariance, self.moves, self.parameter_covariance)
                estimate, se = float(rows[i] @ self.means), float(np.sqrt(v))
                p = float(2 * stdtr(df, -abs(estimate) / se)) if se > 0 else float("nan")
                found.append(Contrast(level, estimate, se, df, self.containment_df, p))
        return tuple(found)


def _satterthwaite(row: Array, covariance: Array, moves: Array, spread: Array) -> tuple[float, float]:
    """Variance of the contrast `row` and its Satterthwaite df."""
    v = float(row @ covariance @ row)
    g = np.einsum("h,phi,i->p", row, moves, row)
    bottom = float(g @ spread @ g)
    return v, 2 * v**2 / bottom if bottom > 0 else float("inf")


def _codes(values: pd.Series) -> tuple[NDArray[np.intp], tuple[object, ...]]:
    """Level numbers and sorted levels."""
    codes, levels = pd.factorize(values, sort=True)
    return codes, tuple(levels.tolist())


@dataclass(frozen=True, slots=True)
class _Rows:
    """The frame as numbers: group and cell codes, columns of F with crossed blocks, what the terms are called."""

    group: NDArray[np.intp]
    cell: NDArray[np.intp]
    nested: tuple[tuple[str, str], ...]
    columns: Array
    fixed: int
    crossed: tuple[tuple[str, slice], ...]
    levels: tuple[object, ...]
    first: NDArray[np.intp]


def _joined(data: pd.DataFrame, term: str) -> pd.Series:
    """The values of a random term; "a:b" joins the levels of its parts."""
    parts = term.split(":")
    for part in parts:
        if part not in data.columns:
            raise ValueError(f"random term {term!r}: the data have no column {part!r}, only {list(data.columns)}")
    joined = data[parts[0]].astype(str)
    for part in parts[1:]:
        joined = joined + "\x1f" + data[part].astype(str)
    return joined if len(parts) > 1 else data[parts[0]]


def _read(data: pd.DataFrame, fixed: Sequence[str], random: Sequence[str]) -> _Rows:
    """Sort terms into the nested pair (assessor, assessor:cell) and crossed factors."""
    for name in fixed:
        if name not in data.columns:
            raise ValueError(f"fixed factor {name!r}: the data have no such column, only {list(data.columns)}")
    simple = [term for term in random if ":" not in term]
    pair = next((t for t in random if t.count(":") == 1 and t.split(":")[0] in simple), None)
    leader = pair.split(":")[0] if pair else (simple[0] if simple else None)
    if leader is None:
        raise ValueError(f"random {list(random)}: name at least one simple factor, for example 'assessor'")
    inner = pair.split(":")[1] if pair else fixed[0]
    group, _ = _codes(data[leader])
    cell, _ = _codes(data[inner])
    first, levels = _codes(data[fixed[0]])
    columns = [np.eye(len(levels))[first]]
    for name in fixed[1:]:
        codes, others = _codes(data[name])
        columns.append(np.eye(len(others))[codes][:, 1:])
    width = sum(block.shape[1] for block in columns)
    crossed, at = [], width
    for term in random:
        if term not in (leader, pair):
            codes, others = _codes(_joined(data, term))
            columns.append(np.eye(len(others))[codes])
            crossed.append((term, slice(at, at + len(others))))
            at += len(others)
    nested = (("assessor", leader), ("cell", pair)) if pair else (("assessor", leader),)
    return _Rows(group, cell, nested, np.hstack(columns), width, tuple(crossed), levels, first)


def fit(data: pd.DataFrame, response: str, fixed: Sequence[str], random: Sequence[str]) -> MixedFit:
    """Fit `response` ~ fixed factors + random terms by REML.

    Args:
        data: one row a score; every named column present.
        response: column of finite numbers.
        fixed: factors; the first is the one whose means and contrasts are reported (means averaged over the others).
        random: terms such as "assessor", "assessor:hours", "sitting".

    Raises:
        ValueError: a column is missing, a score is not finite, or nothing is left to estimate the residual from.
    """
    fixed, random = tuple(fixed), tuple(random)
    if response not in data.columns:
        raise ValueError(f"response {response!r}: the data have no such column, only {list(data.columns)}")
    y = data[response].to_numpy(float)
    if not np.isfinite(y).all():
        raise ValueError(f"response {response!r}: every score must be a finite number; leave missing scores out")
    rows = _read(data, fixed, random)
    count = np.bincount(rows.first)
    centre = np.bincount(rows.first, y) / count
    e = y - centre[rows.first]
    notes: list[str] = []
    problem, nested = _problem(rows, e, notes)
    rho, point, slope = reml.optimise(problem)
    return _result(data, response, fixed, random, rows, centre, nested, notes, problem, rho, point, slope)


def _problem(rows: _Rows, e: Array, notes: list[str]) -> tuple[reml.Problem, tuple[tuple[str, str], ...]]:
    """Counts, sums and cross-products; the interaction is dropped where no cell was scored twice."""
    a, c = rows.group.max() + 1, rows.cell.max() + 1
    columns = np.column_stack([rows.columns, e])
    at = rows.group * c + rows.cell
    counts = np.bincount(at, minlength=a * c).astype(float)
    sums = np.zeros((a * c, columns.shape[1]))
    np.add.at(sums, at, columns)
    nested = rows.nested
    if len(nested) == 2 and counts.max() <= 1:
        notes.append("interaction dropped")
        nested = nested[:1]
    shape = (1, a, c)
    problem = reml.Problem(
        counts.reshape(shape),
        sums.reshape(*shape, -1),
        (columns.T @ columns)[None],
        rows.fixed,
        tuple(kind for kind, _ in nested),
        tuple(block for _, block in rows.crossed),
    )
    if counts.sum() - rows.fixed < 1:
        raise ValueError("data: fewer scores than fixed effects, nothing is left to estimate the spread from")
    return problem, nested


def _average(rows: _Rows, fixed_levels: list[int]) -> Array:
    """Rows that turn fixed coefficients into means of the first factor, others averaged with equal weight."""
    h = len(rows.levels)
    others = [np.full(n - 1, 1 / n) for n in fixed_levels[1:]]
    tail = np.concatenate(others) if others else np.zeros(0)
    return np.hstack([np.eye(h), np.tile(tail, (h, 1))])


def _result(
    data: pd.DataFrame,
    response: str,
    fixed: tuple[str, ...],
    random: tuple[str, ...],
    rows: _Rows,
    centre: Array,
    nested: tuple[tuple[str, str], ...],
    notes: list[str],
    problem: reml.Problem,
    rho: Array,
    point: reml.Point,
    slope: reml.Slope,
) -> MixedFit:
    """Everything reported of a fit, from the optimum."""
    s2 = float(point.residual[0])
    names = [name for _, name in nested] + [name for name, _ in rows.crossed]
    variance: dict[str, float | None] = dict.fromkeys(random)
    variance.update({name: float(ratio) * s2 for name, ratio in zip(names, rho[0], strict=True)})
    variance["residual"] = s2
    spread = reml.parameter_covariance(rho, slope)[0]
    raw_moves = reml.covariance_moves(point, slope, rows.fixed)[0]
    covariance = s2 * point.inverse[0][: rows.fixed, : rows.fixed]
    T = _average(rows, [int(data[name].nunique()) for name in fixed])
    beta = point.coefficients[0][: rows.fixed].copy()
    beta[: len(centre)] += centre
    means, moves = T @ beta, T @ raw_moves @ T.T
    cov = T @ covariance @ T.T
    each = [_satterthwaite(row, cov, moves, spread) for row in np.eye(len(rows.levels))]
    return MixedFit(
        response,
        fixed,
        random,
        rows.levels,
        len(data),
        float(-point.deviance[0] / 2),
        variance,
        bool((rho[0] == 0).any()),
        means,
        np.sqrt([v for v, _ in each]),
        np.array([df for _, df in each]),
        cov,
        _f_test(rows, means, cov, moves, spread, len(fixed)),
        _containment_rank(problem),
        tuple(notes),
        moves,
        spread,
    )


def _f_test(rows: _Rows, means: Array, cov: Array, moves: Array, spread: Array, factors: int) -> FTest:
    """F of the first factor; the hypothesis rows follow the reference software (they matter for the ddf only)."""
    h = len(means)
    to_treatment = np.eye(h)
    to_treatment[1:, 0] = -1
    if factors == 1:
        X = np.eye(h)[rows.first] @ np.linalg.inv(to_treatment)
        lower = np.linalg.cholesky(X.T @ X)
        R = (lower / np.diag(lower)).T[1:] @ to_treatment
    else:
        R = to_treatment[1:]
    values, vectors = np.linalg.eigh(R @ cov @ R.T)
    turned = vectors.T @ R
    F = float(np.mean((turned @ means) ** 2 / values))
    nu = np.array([_satterthwaite(row, cov, moves, spread)[1] for row in turned])
    q = len(R)
    den = _denominator(nu, q)
    return FTest(F, float(q), den, float(fdtrc(q, den, F)))


def _denominator(nu: Array, q: int) -> float:
    """Denominator df from the df of independent rows (Fai & Cornelius 1996)."""
    if np.allclose(nu, nu[0], rtol=1e-8):
        return float(nu.mean())
    if (nu <= 2).any():
        return 2.0
    e = float((nu / (nu - 2)).sum())
    return 2 * e / (e - q)


def _containment_rank(problem: reml.Problem) -> float:
    """rank[X Zs Za Zc] - rank[X Zs Za], from cross-products within cells and within assessors."""
    n, U = problem.counts[0], problem.sums[0][..., :-1]
    cross = problem.cross[0][:-1, :-1]
    seen = n > 0
    cell = U[seen] / np.sqrt(n[seen])[:, None]
    person = U.sum(1) / np.sqrt(n.sum(1))[:, None]
    scale = float(np.abs(cross).max())
    inside = np.linalg.matrix_rank(cross - cell.T @ cell, tol=1e-9 * scale, hermitian=True)
    across = np.linalg.matrix_rank(cross - person.T @ person, tol=1e-9 * scale, hermitian=True)
    return float(seen.sum() + inside - len(n) - across)
