"""The spreads of a panel's scores, pooled over its studies.

One attribute of one study: score = mean of the pull in its sitting + assessor + assessor:hours + assessor:sitting +
error, the means fixed, the rest random. Four sums of squares by successive fitting (Henderson 1953, method 3) and their
expectations are added over studies, and the variances are solved from the totals. On one complete study they are those
of the mixed model; added up they stay unbiased, while variances that each study's own fit had held at zero would pool
too high. Limits after Ting, Burdick, Graybill, Jeyaratnam and Lu 1990, for one mean square the exact chi-square ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import chdtri

from analysis.planning.simulation import AttributeTruth

Array = NDArray[np.float64]
# Strata and components share their places: assessor, assessor:hours, assessor:sitting, error.
ASSESSOR, INTERACTION, SITTING, ERROR = range(4)
# With fewer degrees of freedom the two limits of a standard deviation lie further apart than a factor of five.
LEAST_DF = 4.0
# Three steps of the line, in scale units: nobody repeats a mark more closely, so what seems closer was written at an
# end of the line, and says nothing of a note that is there. A convention.
LEAST_ERROR = 0.3
OUTSIDE = 0.025  # on either side of the limits
TINY = 1e-9
CELL = ("assessor", "hours", "sitting")


@dataclass(frozen=True, slots=True)
class Spread:
    """A standard deviation with its 95 % limits, scale units. `low` and `high` hold it between them."""

    sd: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PooledSpreads:
    """Standard deviations of one attribute, from `scores` scores of `studies` studies.

    `interaction` is assessor:hours, `sitting` assessor:sitting, `error` one score. None: too few degrees of freedom,
    or, for `sitting`, no study with several. `split`: too few cells were scored twice, so that only the sum of
    interaction and error is known and was parted in the usual proportion. `floored`: the error was below three steps
    of the line and was taken to be three steps.
    """

    assessor: Spread | None
    interaction: Spread | None
    sitting: Spread | None
    error: Spread
    studies: int
    scores: int
    split: bool = False
    floored: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Strata:
    """Sums of squares (4,) of assessor, assessor:hours, assessor:sitting and error, each adjusted for those it crosses;
    `shares` (4, 4): what each sum expects of the four variances, the last column its degrees of freedom."""

    squares: Array
    shares: Array
    studies: int = 1
    scores: int = 0

    @property
    def df(self) -> Array:
        """Degrees of freedom (4,)."""
        return np.asarray(self.shares[:, ERROR])


# ---- one study -------------------------------------------------------------------------------------------------------
def strata_of(data: pd.DataFrame) -> dict[str, Strata]:
    """The sums of squares of every attribute of one study that carries any spread.

    Left out are attributes with fewer than two assessors or two pulls, and those whose scores are all explained by
    pull and sitting: a note that nobody found says nothing of its spread.

    Args:
        data: one row a score: assessor, hours, sitting, attribute, score; no gaps.
    """
    every = data.groupby(["attribute", *CELL], sort=True)["score"].agg(["size", "mean", "var"])
    found, layouts = {}, {}
    for name in data["attribute"].unique():
        cells = every.loc[name].reset_index()
        if cells["assessor"].nunique() < 2 or cells["hours"].nunique() < 2:
            continue
        key = tuple(cells[[*CELL, "size"]].itertuples(index=False, name=None))
        if key not in layouts:  # most often all attributes of a study were scored alike
            layouts[key] = _layout(cells)
        strata = _strata(cells, layouts[key])
        if strata.squares.sum() > TINY**2 * (cells["size"] * cells["mean"] ** 2).sum():
            found[str(name)] = strata
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Layout:
    """Who scored what how often: one row a cell of assessor, pull and sitting, weighted by the root of its scores.

    bases: orthonormal columns of the first three strata; everything: of all that is not error.
    """

    bases: tuple[Array, Array, Array]
    everything: Array
    shares: Array


def _layout(cells: pd.DataFrame) -> _Layout:
    root = np.sqrt(cells["size"].to_numpy(float))[:, None]
    parts = [root * _columns(cells, names) for names in (["assessor"], ["assessor", "hours"], ["assessor", "sitting"])]
    means = root * _columns(cells, ["hours", "sitting"])
    bases, everything = _bases(means / np.linalg.norm(means, axis=0), parts)
    shares = np.zeros((4, 4))
    shares[:ERROR, :ERROR] = [[np.sum((basis.T @ part) ** 2) for part in parts] for basis in bases]
    shares[:, ERROR] = [*(basis.shape[1] for basis in bases), cells["size"].sum() - everything.shape[1]]
    return _Layout(bases, everything, shares)


def _strata(cells: pd.DataFrame, layout: _Layout) -> Strata:
    """The scores of one attribute on their layout."""
    size = cells["size"].to_numpy(float)
    y = np.sqrt(size) * cells["mean"].to_numpy(float)
    within = float(np.nansum((size - 1) * cells["var"].to_numpy(float)))
    rest = y - layout.everything @ (layout.everything.T @ y)
    squares = [float(np.sum((basis.T @ y) ** 2)) for basis in layout.bases]
    return Strata(np.array([*squares, within + float(rest @ rest)]), layout.shares, scores=int(size.sum()))


def _columns(cells: pd.DataFrame, names: list[str]) -> Array:
    """0/1 columns of the combinations that occur, (cells, combinations)."""
    numbers = cells.groupby(names, sort=True).ngroup().to_numpy()
    return np.eye(int(numbers.max()) + 1)[numbers]


def _bases(means: Array, parts: list[Array]) -> tuple[tuple[Array, Array, Array], Array]:
    """Orthonormal columns of assessor after the means, assessor:hours after all others, assessor:sitting after all
    others; and of everything."""
    assessor, interaction, sitting = parts
    first = _added(assessor, means)
    base = np.hstack([means, first])
    day, cell = _added(sitting, base), _added(interaction, base)
    last_cell = _added(interaction, np.hstack([base, day]))
    last_day = _added(sitting, np.hstack([base, cell]))
    return (first, last_cell, last_day), np.hstack([base, day, last_cell])


def _added(columns: Array, basis: Array) -> Array:
    """Orthonormal columns of what `columns` span beyond an orthonormal `basis`."""
    rest = columns - basis @ (basis.T @ columns)
    vectors, sizes, _ = np.linalg.svd(rest, full_matrices=False)
    return np.asarray(vectors[:, sizes > 1e-7 * np.linalg.norm(columns)])


# ---- several ---------------------------------------------------------------------------------------------------------
def added_up(strata: Iterable[Strata]) -> Strata:
    """One attribute over several studies, each weighted by its degrees of freedom.

    Raises:
        ValueError: there is none.
    """
    every = list(strata)
    if not every:
        raise ValueError("strata: at least one study is needed")
    return Strata(
        np.sum([one.squares for one in every], 0),
        np.sum([one.shares for one in every], 0),
        sum(one.studies for one in every),
        sum(one.scores for one in every),
    )


def of_one_panel(attributes: Mapping[str, Strata]) -> Strata:
    """All attributes of one study as one: their mean variance, with the degrees of freedom of a single attribute, as
    attributes scored from the same bite are no independent witnesses.

    Raises:
        ValueError: there is none.
    """
    total = added_up(attributes.values())
    return Strata(total.squares / len(attributes), total.shares / len(attributes), 1, total.scores)


def spreads_of(strata: Strata) -> PooledSpreads | None:
    """Standard deviations with limits; None while there are too few degrees of freedom for the spread of one score.

    A variance that would be negative is zero, and its sum of squares then tells of the error, as in REML.
    """
    enough = strata.df >= LEAST_DF
    if not enough[ERROR]:
        return _split(strata) if enough[INTERACTION] else None
    known = [part for part in range(4) if enough[part]]
    first = _solved(strata, known)
    final, merged = known, strata
    for part in (INTERACTION, SITTING):
        if part in final and _solved(merged, final)[part].sd == 0:
            merged, final = _as_error(merged, part), [other for other in final if other != part]
    found = {**first, **_solved(merged, final)}
    error, floored = _at_least(found[ERROR])
    assessor, interaction, sitting = (found.get(part) for part in (ASSESSOR, INTERACTION, SITTING))
    return PooledSpreads(assessor, interaction, sitting, error, strata.studies, strata.scores, floored=floored)


def _solved(strata: Strata, known: list[int]) -> dict[int, Spread]:
    """Every known component from its strata: the linear combination of mean squares that is unbiased for it."""
    df = strata.df[known]
    weights = np.linalg.inv(strata.shares[np.ix_(known, known)]) * df
    means = strata.squares[known] / df
    return {part: _spread(weights[row], means, df) for row, part in enumerate(known)}


def _spread(weights: Array, means: Array, df: Array) -> Spread:
    """Root of a combination of mean squares, with limits."""
    parts = weights * means
    down, up = 1 - df / chdtri(df, OUTSIDE), df / chdtri(df, 1 - OUTSIDE) - 1
    below = np.sqrt(np.sum((np.where(parts > 0, down, up) * parts) ** 2))
    above = np.sqrt(np.sum((np.where(parts > 0, up, down) * parts) ** 2))
    value = parts.sum()
    sd, low, high = (float(np.sqrt(max(one, 0.0))) for one in (value, value - below, value + above))
    return Spread(sd, low, high)


def _as_error(strata: Strata, part: int) -> Strata:
    """A stratum whose own component is zero counted to the error."""
    squares, shares = strata.squares.copy(), strata.shares.copy()
    squares[ERROR] += squares[part]
    shares[ERROR] += shares[part]
    return replace(strata, squares=squares, shares=shares)


def _split(strata: Strata) -> PooledSpreads:
    """One score in each cell: interaction and error known in sum, parted as the usual truth parts them."""
    usual = AttributeTruth(())
    ratio = (usual.interaction / usual.error) ** 2
    shares = strata.shares.copy()
    shares[:, INTERACTION] = shares[:, ERROR] + ratio * shares[:, INTERACTION]
    known = [part for part in (ASSESSOR, INTERACTION) if strata.df[part] >= LEAST_DF]
    found = _solved(replace(strata, shares=shares), known)
    both = found[INTERACTION]
    interaction = Spread(*(ratio**0.5 * one for one in (both.sd, both.low, both.high)))
    error, floored = _at_least(both)
    return PooledSpreads(
        found.get(ASSESSOR), interaction, None, error, strata.studies, strata.scores, split=True, floored=floored
    )


def _at_least(error: Spread) -> tuple[Spread, bool]:
    """The error, not below the floor; and whether it was."""
    if error.sd >= LEAST_ERROR:
        return error, False
    return Spread(LEAST_ERROR, min(error.low, LEAST_ERROR), max(error.high, LEAST_ERROR)), True
