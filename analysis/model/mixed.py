"""Mixed models of panel scores: fixed pulls (or samples), random assessors, REML, Satterthwaite degrees of freedom.

`fit` reads a data frame and fits one response. `labelled` reads the labels of many attributes at once and
`fit_cells` fits a whole batch of hours-only panels given as counts and sums. Contrasts after Giesbrecht & Burns 1985, F
after Fai & Cornelius 1996, as in Kuznetsova, Brockhoff & Christensen 2017.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtr

from analysis.model.cell_fits import NOTHING, CellFits, connected_parts, fit_cells
from analysis.model.cells import Cells
from analysis.model.contrasts import MeansFit, contrast_of
from analysis.model.crossed import CrossedProblem, same_groups, told_apart
from analysis.model.crossed_fits import fit_crossed
from analysis.model.scores import cells_of, of_codes

__all__ = ["CellFits", "Contrast", "FTest", "Labelled", "MixedFit", "fit", "fit_cells", "labelled"]

Array = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class FTest:
    """F of a fixed factor with Satterthwaite denominator df."""

    f: float
    num_df: float
    den_df: float
    p: float


@dataclass(frozen=True, slots=True)
class Contrast:
    """Level minus reference: estimate, SE, plain Satterthwaite df, containment df, two-sided p (NaN when SE is 0)."""

    level: object
    estimate: float
    se: float
    df: float
    containment_df: float
    p: float


@dataclass(frozen=True, slots=True)
class MixedFit:
    """One REML fit.

    levels (h) of the first fixed factor, with means, mean_se, mean_df (h,), averaged over further fixed factors with
    equal weight, and their covariance (h, h). `variance` names every random term and "residual"; None is a term that
    could not be told apart. `loglik` is NaN when nothing is left to explain. `singular`: a variance is estimated at
    zero. `notes` are
    codes: "interaction dropped" (no cell scored twice), "copied replicates" (all identical, so cell means were taken
    as data), "constant scores", "exact fit" (the terms explain every score), "disconnected" (some levels are compared
    between assessors only), "dropped: TERM" (a crossed factor that cannot be told from another term).
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
    estimates: MeansFit

    def contrast(self, weights: Array) -> tuple[Array, Array, Array]:
        """Estimate, SE and plain Satterthwaite df, each (k,), of contrasts `weights` (k, h) of the means."""
        estimate, se, df = contrast_of(self.estimates, np.asarray(weights, float))
        return estimate[0], se[0], df[0]

    def against(self, reference: object) -> tuple[Contrast, ...]:
        """Every other level of the first fixed factor minus `reference`.

        Raises:
            ValueError: `reference` is not a level.
        """
        if reference not in self.levels:
            raise ValueError(f"reference {reference!r} is not among the levels {list(self.levels)}")
        at = self.levels.index(reference)
        eye = np.eye(len(self.levels))
        estimate, se, df = self.contrast(eye - eye[at])
        with np.errstate(divide="ignore", invalid="ignore"):
            p = np.where(se > 0, 2 * stdtr(df, -np.abs(estimate) / se), np.nan)
        return tuple(
            Contrast(level, float(estimate[i]), float(se[i]), float(df[i]), self.containment_df, float(p[i]))
            for i, level in enumerate(self.levels)
            if i != at
        )


def fit(data: pd.DataFrame, response: str, fixed: Sequence[str], random: Sequence[str]) -> MixedFit:
    """Fit `response` ~ fixed factors + random terms by REML.

    Args:
        data: one row a score; every named column present and filled.
        response: column of finite numbers.
        fixed: factors; the first is the one whose means and contrasts are reported.
        random: terms such as "assessor", "assessor:hours", "sitting".

    Raises:
        ValueError: a column is missing or has gaps, a score is not finite, fixed factors are confounded, fewer than
            two levels or assessors, or nothing is left to estimate the residual from.
    """
    fixed, random = tuple(fixed), tuple(random)
    y = _scores(data, response)
    terms = _terms(data, fixed, random)
    if len(fixed) == 1 and not terms.crossed and terms.inner == fixed[0]:
        return _fit_cells_of(data, y, response, fixed, random, terms)
    return _fit_crossed(data, y, response, fixed, random, terms)


# ---- reading the frame ----------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Labelled:
    """The cells of several attributes of one panel, and what their axes are called."""

    cells: Cells
    attributes: tuple[object, ...]
    assessors: tuple[object, ...]
    levels: tuple[object, ...]


def labelled(data: pd.DataFrame, response: str, level: str, assessor: str, attribute: str | None = None) -> Labelled:
    """Cells, labels read once for all attributes.

    Args:
        data: one row a score.
        response: column of finite numbers.
        level: column of pulls or samples.
        assessor: column of assessors.
        attribute: column that splits the batch; None is a batch of one.

    Raises:
        ValueError: a column is missing or has gaps, a score is not finite.
    """
    return _labelled(data, _scores(data, response), level, assessor, attribute)


def _labelled(data: pd.DataFrame, y: Array, level: str, assessor: str, attribute: str | None = None) -> Labelled:
    """See `labelled`, from checked scores."""
    pull, levels = _codes(data, level)
    person, assessors = _codes(data, assessor)
    nothing = np.zeros(len(y), np.intp)
    which, attributes = _codes(data, attribute) if attribute else (nothing, (None,))
    return Labelled(cells_of(of_codes(y, (which, person, pull, nothing))), attributes, assessors, levels)


def _scores(data: pd.DataFrame, response: str) -> Array:
    """The response as finite numbers."""
    if response not in data.columns:
        raise ValueError(f"response {response!r}: the data have no such column, only {list(data.columns)}")
    y = data[response].to_numpy(float)
    if not np.isfinite(y).all():
        raise ValueError(f"response {response!r}: every score must be a finite number; leave missing scores out")
    return y


def _codes(data: pd.DataFrame, term: str) -> tuple[Codes, tuple[object, ...]]:
    """Level numbers and sorted levels of a column, or of the combinations "a:b"."""
    parts = term.split(":") if term not in data.columns else [term]
    for part in parts:
        if part not in data.columns:
            raise ValueError(f"term {term!r}: the data have no column {part!r}, only {list(data.columns)}")
    if len(parts) > 1:
        codes = [_codes(data, part) for part in parts]
        joined = codes[0][0]
        for number, levels in codes[1:]:
            joined = joined * len(levels) + number
        numbers, found = pd.factorize(joined, sort=True)
        return numbers, tuple(found.tolist())
    # As an array: pandas takes several times as long to sort the labels of a column of its own.
    numbers, labels = pd.factorize(data[term].to_numpy(), sort=True)
    if len(numbers) and numbers.min() < 0:
        raise ValueError(f"column {term!r} has an empty cell; every score needs its {term}")
    return numbers, tuple(labels.tolist())


@dataclass(frozen=True, slots=True)
class _Terms:
    """The assessor column, what its cells are, the name of the nested term if asked for, and the crossed terms."""

    leader: str
    inner: str
    pair: str | None
    crossed: tuple[str, ...]


def _terms(data: pd.DataFrame, fixed: Sequence[str], random: Sequence[str]) -> _Terms:
    """Sort random terms into assessor, assessor:cell and crossed ones."""
    if not fixed:
        raise ValueError("fixed: name at least one factor, for example 'hours'")
    simple = [term for term in random if ":" not in term]
    if not simple:
        raise ValueError(f"random {list(random)}: name at least one simple factor, for example 'assessor'")
    for term in random:
        parts = term.split(":")
        for leader, inner in (parts, parts[::-1]) if len(parts) == 2 else ():
            if leader in simple:
                return _Terms(leader, inner, term, tuple(t for t in random if t not in (leader, term)))
    return _Terms(simple[0], fixed[0], None, tuple(random[i] for i in range(len(random)) if random[i] != simple[0]))


# ---- hours only -----------------------------------------------------------------------------------------------------
def _fit_cells_of(
    data: pd.DataFrame, y: Array, response: str, fixed: tuple[str, ...], random: tuple[str, ...], terms: _Terms
) -> MixedFit:
    """A batch of one through `fit_cells`."""
    read = _labelled(data, y, fixed[0], terms.leader)
    _check_left(len(y), len(read.levels), len(read.assessors))
    cells = read.cells
    fits = fit_cells(cells.counts, cells.sums, cells.within, interaction=terms.pair is not None)
    notes = []
    if terms.pair and np.isnan(fits.interaction[0]):
        notes.append("interaction dropped")
    if fits.copied[0]:
        notes.append("copied replicates")
    if fits.parts.any():
        notes.append("disconnected")
    variance: dict[str, float | None] = {terms.leader: float(fits.assessor[0])}
    if terms.pair:
        variance[terms.pair] = None if np.isnan(fits.interaction[0]) else float(fits.interaction[0])
    variance["residual"] = float(fits.residual[0])
    f, num, den, p = fits.f_test()
    anova = FTest(float(f[0]), num, float(den[0]), float(p[0]))
    return _reported(y, response, fixed, random, read.levels, float(fits.loglik[0]), variance, anova, notes, fits)


def _check_left(scores: int, levels: int, assessors: int) -> None:
    """Refuse data that leave nothing to estimate from."""
    if levels < 2 or assessors < 2:
        raise ValueError(f"data: {levels} levels and {assessors} assessors, a fit needs at least two of each")
    if scores <= levels + 1:
        raise ValueError(f"data: {scores} scores of {levels} levels, nothing is left to estimate the spread from")


def _reported(
    y: Array,
    response: str,
    fixed: tuple[str, ...],
    random: tuple[str, ...],
    levels: tuple[object, ...],
    loglik: float,
    variance: Mapping[str, float | None],
    anova: FTest,
    notes: list[str],
    estimates: MeansFit,
) -> MixedFit:
    """What every route reports."""
    if np.isnan(loglik):
        notes.append("constant scores" if np.ptp(y) == 0 else "exact fit")
    means, se, df = (part[0] for part in contrast_of(estimates, np.eye(len(levels))))
    return MixedFit(
        response,
        fixed,
        random,
        levels,
        len(y),
        loglik,
        {**variance, "residual": variance["residual"]},
        any(value == 0 for value in variance.values()),
        means,
        se,
        df,
        estimates.covariance[0],
        anova,
        float(estimates.containment[0]),
        tuple(notes),
        estimates,
    )


# ---- crossed factors and further fixed ones -------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Design:
    """The frame as numbers: assessor and cell of each score, columns of X and of each crossed factor."""

    person: Codes
    cell: Codes
    first: Codes
    levels: tuple[object, ...]
    X: Array
    average: Array
    crossed: tuple[tuple[str, Array], ...]


def _design(data: pd.DataFrame, fixed: Sequence[str], terms: _Terms) -> _Design:
    """Level columns of the first factor, 0/1 columns without the first level of the others; crossed factors in full."""
    read = {name: _codes(data, name) for name in {*fixed, terms.leader, terms.inner, *terms.crossed}}
    first, levels = read[fixed[0]]
    h = len(levels)
    blocks, average = [np.eye(h)[first]], [np.eye(h)]
    for name in fixed[1:]:
        codes, others = read[name]
        blocks.append(np.eye(len(others))[codes][:, 1:])
        average.append(np.full((h, len(others) - 1), 1 / len(others)))
    X = np.hstack(blocks)
    if _rank(X) < X.shape[1]:
        raise ValueError(f"fixed {list(fixed)}: the levels of these factors go together, so they cannot be told apart")
    crossed = tuple((term, np.eye(len(read[term][1]))[read[term][0]]) for term in terms.crossed)
    return _Design(read[terms.leader][0], read[terms.inner][0], first, levels, X, np.hstack(average), crossed)


def _rank(columns: Array) -> int:
    """Rank of 0/1 columns, from their cross-products."""
    return int(np.linalg.matrix_rank(columns.T @ columns, hermitian=True))


def _fit_crossed(
    data: pd.DataFrame, y: Array, response: str, fixed: tuple[str, ...], random: tuple[str, ...], terms: _Terms
) -> MixedFit:
    """Further fixed factors, crossed factors, or cells that are not the pulls."""
    notes: list[str] = []
    design = _design(data, fixed, terms)
    _check_left(len(y), design.X.shape[1], int(design.person.max()) + 1)
    if terms.pair and _is_copied(design, y):
        keep = ~pd.DataFrame({"person": design.person, "cell": design.cell}).duplicated().to_numpy()
        notes.append("copied replicates")
        data, y = data[keep], y[keep]
        design = _design(data, fixed, terms)
    centre = np.bincount(design.first, y) / np.bincount(design.first)
    problem = _problem(design, y - centre[design.first], terms, notes)
    names, problem = _told_apart(design, problem, notes)
    if terms.inner == fixed[0] and connected_parts(problem.counts).any():
        notes.append("disconnected")
    fits = fit_crossed(problem, centre[None], design.average)
    names = [terms.leader, *([terms.pair] if terms.pair and "cell" in problem.nested else []), *names]
    variance: dict[str, float | None] = dict.fromkeys(random)
    variance.update(zip(names, fits.variances[0].tolist(), strict=True))
    variance["residual"] = float(fits.residual[0])
    f, num, den, p = fits.f_test()
    anova = FTest(float(f[0]), num, float(den[0]), float(p[0]))
    return _reported(y, response, fixed, random, design.levels, float(fits.loglik[0]), variance, anova, notes, fits)


def _told_apart(design: _Design, problem: CrossedProblem, notes: list[str]) -> tuple[list[str], CrossedProblem]:
    """The names of the crossed factors that can be told from every other term, and the problem with these alone."""
    names, kept = [], list[slice]()
    for (name, _), block in zip(design.crossed, problem.crossed, strict=True):
        if told_apart(problem, block)[0] and not any(same_groups(problem.cross[:, block, o] > 0)[0] for o in kept):
            names.append(name)
            kept.append(block)
        else:
            notes.append(f"dropped: {name}")
    return names, problem.keeping(kept)


def _problem(design: _Design, e: Array, terms: _Terms, notes: list[str]) -> CrossedProblem:
    """Counts, sums and cross-products; the nested term is dropped where no cell was scored twice."""
    a, c = int(design.person.max()) + 1, int(design.cell.max()) + 1
    columns = np.column_stack([design.X, *(Z for _, Z in design.crossed), e])
    at = design.person * c + design.cell
    counts = np.asarray(np.bincount(at, minlength=a * c), np.float64)
    sums = np.asarray(np.stack([np.bincount(at, column, a * c) for column in columns.T], 1), np.float64)
    nested: tuple[str, ...] = ("assessor",)
    if terms.pair and counts.max() > 1:
        nested = ("assessor", "cell")
    elif terms.pair:
        notes.append("interaction dropped")
    widths = np.cumsum([design.X.shape[1], *(Z.shape[1] for _, Z in design.crossed)])
    blocks = tuple(slice(int(low), int(high)) for low, high in pairwise(widths))
    return CrossedProblem(
        counts.reshape(1, a, c),
        sums.reshape(1, a, c, -1),
        (columns.T @ columns)[None],
        design.X.shape[1],
        nested,
        blocks,
    )


def _is_copied(design: _Design, y: Array) -> bool:
    """Cells were scored more than once and yet nothing varies within them."""
    at = design.person * (int(design.cell.max()) + 1) + design.cell
    counts = np.bincount(at)
    rest = y - (np.bincount(at, y) / np.maximum(counts, 1))[at]
    return bool(counts.max() > 1 and (rest**2).sum() <= NOTHING * np.abs(y).max() ** 2)
