"""The errors that a difference of two pulls must face, for a batch of panels at once.

Panel error: the mixed model's contrast. Own error: the assessor as the unit, paired when complete, else the same
contrast with the bias-reduced cluster-robust error CR2 and Satterthwaite df (Bell & McCaffrey 2002; Pustejovsky &
Tipton 2018; both from memory). Sitting error: what a tray prepared differently moves for everybody.
Shapes: B batch, a assessors, h pulls, S sittings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.model import cells as scored
from analysis.model import cluster_robust as cr2
from analysis.model.cell_fits import CellFits, fit_cells
from analysis.model.cells import BySitting, Cells, is_balanced
from analysis.model.contrasts import quadratic
from analysis.model.quantiles import upper_t

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Columns = list[int] | NDArray[np.intp]
MOST_DF = cr2.MOST_DF
# Mean squares that are equal but for rounding.
TIED = 1e-9


@dataclass(frozen=True, slots=True)
class Error:
    """A standard error and its degrees of freedom, for k contrasts: (B, k) each."""

    se: Array
    df: Array

    def reach(self, level: float) -> Array:
        """How far a one-sided limit at `level` lies from the estimate."""
        return upper_t(level, self.df) * self.se

    def at_least(self, se: Array) -> Error:
        """The same error, nowhere below `se`."""
        return Error(np.maximum(self.se, se), self.df)

    def of(self, columns: Columns) -> Error:
        """The error of some of the contrasts."""
        return Error(self.se[:, columns], self.df[:, columns])

    def rows(self, rows: slice | NDArray[np.intp]) -> Error:
        """The error of some of the batch."""
        return Error(self.se[rows], self.df[rows])


@dataclass(frozen=True, slots=True)
class Estimates:
    """k contrasts of pull means: estimate (B, k), plain Satterthwaite df (B, k), and the errors in force."""

    estimate: Array
    df: Array
    panel: Error
    own: Error
    sitting: Error | None = None

    @property
    def errors(self) -> tuple[Error, ...]:
        """Every error in force."""
        return tuple(error for error in (self.panel, self.own, self.sitting) if error is not None)

    def reach(self, level: float) -> Array:
        """How far the decisive limits, the widest of all errors in force, lie from the estimate (B, k)."""
        first, *others = (error.reach(level) for error in self.errors)
        for other in others:
            first = np.maximum(first, other)
        return first

    def reach_at(self, levels: Array) -> Array:
        """The same with a level for each contrast (k,); without limit where it is NaN, since nothing is asked there."""
        found = np.full(self.estimate.shape, np.inf)
        for level in np.unique(levels[~np.isnan(levels)]):
            columns = np.flatnonzero(levels == level)
            found[:, columns] = self.of(columns).reach(float(level))
        return found

    def upper(self, level: float) -> Array:
        """The largest upper limit (B, k)."""
        return self.estimate + self.reach(level)

    def at_least(self, se: Array) -> Estimates:
        """The same with every error in force nowhere below `se`."""
        sitting = None if self.sitting is None else self.sitting.at_least(se)
        return replace(self, panel=self.panel.at_least(se), own=self.own.at_least(se), sitting=sitting)

    def times(self, sign: Array) -> Estimates:
        """The same contrasts with the sign turned where more is wanted; `sign` (B, 1)."""
        return Estimates(self.estimate * sign, self.df, self.panel, self.own, self.sitting)

    def of(self, columns: Columns) -> Estimates:
        """Some of the contrasts."""
        sitting = None if self.sitting is None else self.sitting.of(columns)
        return Estimates(
            self.estimate[:, columns], self.df[:, columns], self.panel.of(columns), self.own.of(columns), sitting
        )

    def rows(self, rows: slice | NDArray[np.intp]) -> Estimates:
        """Some of the batch."""
        sitting = None if self.sitting is None else self.sitting.rows(rows)
        return Estimates(self.estimate[rows], self.df[rows], self.panel.rows(rows), self.own.rows(rows), sitting)


class Contrasts(Protocol):
    """Whatever contrasts of pulls can be asked of, for a batch of panels."""

    @property
    def cells(self) -> Cells: ...

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """k contrasts `weights` (k, h): differences use the capped df, means the plain one."""


def means(panels: Contrasts) -> Estimates:
    """The mean of every pull."""
    return panels.contrast(np.eye(panels.cells.sums.shape[2]), capped=False)


def rounding(cells: Cells, weights: Array) -> Array:
    """The least standard error (B or 1, k) of contrasts: what recording in steps leaves in the means."""
    return np.asarray(np.sqrt(cells.rounding @ (weights**2).T))


@dataclass(frozen=True, slots=True)
class Fitted:
    """A batch of panels, fitted once; contrasts are asked of it."""

    cells: Cells
    fits: CellFits

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """See Contrasts."""
        estimate, df, panel = self.by_panel(weights, capped)
        own, sitting = own_error(self.cells, self.fits, weights), self.by_sitting(weights, capped)
        return Estimates(estimate, df, panel, own, sitting).at_least(rounding(self.cells, weights))

    def by_panel(self, weights: Array, capped: bool) -> tuple[Array, Array, Error]:
        """Estimate, plain Satterthwaite df and the panel's own error."""
        estimate, se, df = self.fits.contrast(weights)
        return estimate, df, Error(se, np.minimum(df, self.fits.containment[:, None]) if capped else df)

    def by_sitting(self, weights: Array, capped: bool) -> Error | None:
        """The sitting error of differences, where it is in force and there are several sittings to tell it from."""
        return sitting_error(self.cells, weights) if capped else None

    def rows(self, rows: NDArray[np.intp]) -> Fitted:
        """Some of the batch."""
        return Fitted(self.cells.rows(rows), self.fits.take(rows))


@dataclass(frozen=True, slots=True)
class PanelAlone:
    """The same panels with no error but the panel's: limits no wider than the decisive ones, for a first look."""

    whole: Fitted

    @property
    def cells(self) -> Cells:
        """See Contrasts."""
        return self.whole.cells

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """See Contrasts; in the place of the own error stands one that never decides."""
        estimate, df, panel = self.whole.by_panel(weights, capped)
        own = Error(np.zeros_like(panel.se), np.full_like(panel.df, MOST_DF))
        return Estimates(estimate, df, panel.at_least(rounding(self.cells, weights)), own)


def fitted(cells: Cells) -> Fitted:
    """Fit a batch of panels, all sittings taken together."""
    return Fitted(cells, fit_cells(cells.counts, cells.sums, cells.within))


# ---- pulls that were not served in every sitting --------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class WithinSittings:
    """Panels of which some pulls were not served in every sitting: each difference is taken within the sittings that
    served all of its pulls, since whoever scores one sitting higher would move it. Means are taken over all.

    `part` gives the same panels in some of the sittings (S,) and which pulls are left, None where those cannot tell.
    """

    whole: Contrasts
    part: Callable[[Flags], tuple[Contrasts, Flags] | None]
    parts: dict[bytes, tuple[Contrasts, Flags] | None] = field(default_factory=dict)

    @property
    def cells(self) -> Cells:
        """See Contrasts."""
        return self.whole.cells

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """See Contrasts; pulls that no sitting served together have no limits."""
        found = self.whole.contrast(weights, capped)
        if not capped:
            return found
        assert self.cells.sittings is not None
        apart = (weights != 0).astype(int) @ ~self.cells.sittings.served > 0
        for chosen in np.unique(~apart[apart.any(1)], axis=0):
            columns = np.flatnonzero((apart == ~chosen).all(1))
            part = self._part(chosen)
            if part is None:
                found = _without_limits(found, columns)
            else:
                panels, pulls = part
                some = weights[np.ix_(columns, np.flatnonzero(pulls))]
                found = _set_in(found, columns, panels.contrast(some, capped))
        return found

    def _part(self, chosen: Flags) -> tuple[Contrasts, Flags] | None:
        """The panels in the chosen sittings; None where fewer than two people sat there."""
        key = chosen.tobytes()
        if key not in self.parts:
            assert self.cells.sittings is not None
            there = (self.cells.sittings.counts[0][..., chosen] > 0).any((1, 2))
            self.parts[key] = self.part(chosen) if there.sum() > 1 else None
        return self.parts[key]


def _without_limits(found: Estimates, columns: Columns) -> Estimates:
    """Some contrasts with errors beyond all limits."""

    def endless(error: Error) -> Error:
        se = error.se.copy()
        se[:, columns] = np.inf
        return Error(se, error.df)

    return replace(found, panel=endless(found.panel), own=endless(found.own))


def _set_in(found: Estimates, columns: Columns, part: Estimates) -> Estimates:
    """Some contrasts from a part of the sittings; the sitting error knows by itself which sittings served them."""

    def put(values: Array, new: Array) -> Array:
        values = np.array(np.broadcast_to(values, found.estimate.shape))
        values[:, columns] = new
        return values

    def error(one: Error, new: Error) -> Error:
        return Error(put(one.se, new.se), put(one.df, new.df))

    return replace(
        found,
        estimate=put(found.estimate, part.estimate),
        df=put(found.df, part.df),
        panel=error(found.panel, part.panel),
        own=error(found.own, part.own),
    )


def contrasts_of(cells: Cells) -> Contrasts:
    """Whatever contrasts are asked of a batch of panels, each taken within the sittings that served its pulls."""
    whole = fitted(cells)
    if not cells.served_apart:
        return whole

    def part(chosen: Flags) -> tuple[Contrasts, Flags]:
        some, pulls = scored.within_sittings(cells, chosen)
        return fitted(some), pulls

    return WithinSittings(whole, part)


# ---- own error -----------------------------------------------------------------------------------------------------
def own_error(cells: Cells, fits: CellFits, weights: Array) -> Error:
    """The assessor as the unit: paired when every cell holds as many scores, else cluster-robust."""
    return paired(cells, fits.means, weights) if is_balanced(cells.counts) else cluster_robust(cells, fits, weights)


def paired(cells: Cells, means: Array, weights: Array) -> Error:
    """Complete and balanced, with the `means` (B, h) of the pulls: one value of each contrast an assessor, standard
    error sd / sqrt(a), df a - 1."""
    a, r = cells.sums.shape[1], cells.counts[:, :1, 0]
    se = np.sqrt(_squares_about_mean(cells.sums, r * means, weights) / (a * (a - 1))) / r
    return Error(se, np.broadcast_to(float(a - 1), se.shape))


def _squares_about_mean(sums: Array, mean: Array, weights: Array) -> Array:
    """Sums of squares (n, k) of each assessor's contrasts of cell sums about their mean; `mean` (n, h) of the pulls.

    All contrasts from one product of the deviations with themselves, but anew where that would lose digits.
    """
    off = sums - mean[:, None, :]
    products = off.transpose(0, 2, 1) @ off
    found = quadratic(products, weights)
    scale = np.einsum("...hh->...h", products) @ (weights**2).T
    lost = found < 1e-4 * scale
    if lost.any():
        rows = np.flatnonzero(lost.any(1))
        found[rows] = ((off[rows] @ weights.T) ** 2).sum(1)
    return np.asarray(found)


def cluster_robust(cells: Cells, fits: CellFits, weights: Array) -> Error:
    """CR2 with the fitted model as working covariance, on cell means."""
    means = cells.sums / np.maximum(cells.counts, 1)
    return Error(*cr2.cluster_robust(cells.counts, means, fits, weights))


def own_bounds(cells: Cells, fits: CellFits, weights: Array) -> tuple[Error, Error]:
    """The least and the most that the cluster-robust error can be."""
    means = cells.sums / np.maximum(cells.counts, 1)
    least, most = cr2.bounds(cells.counts, means, fits, weights)
    return Error(*least), Error(*most)


# ---- sitting error -------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class SittingSquares:
    """Mean squares (B,) of sittings x pulls x assessors: pull x sitting, assessor x pull, rest, with their df."""

    daily: Array
    personal: Array
    rest: Array
    daily_df: int
    personal_df: int
    rest_df: Array
    full_df: int


def sitting_squares(cells: Cells) -> SittingSquares | None:
    """Mean squares of the means of cells in each sitting, over the pulls that were served in every sitting.

    Single missing cells are filled in by additive expectation and cost a degree of freedom of the rest. None when fewer
    than two sittings, pulls or assessors are left, or sittings are not kept apart.
    """
    if cells.sittings is None:
        return None
    table = cells.sittings.means[:, :, cells.sittings.served.all(1), :]
    _, a, h, S = table.shape
    if min(a, h, S) < 2:
        return None
    filled, gaps = additive_filled(table)
    grand = filled.mean((1, 2, 3), keepdims=True)
    pull, person, day = (filled.mean(axes, keepdims=True) for axes in ((1, 3), (2, 3), (1, 2)))
    daily = filled.mean(1, keepdims=True) - pull - day + grand
    personal = filled.mean(3, keepdims=True) - pull - person + grand
    f_sh, f_ah, f_e = (S - 1) * (h - 1), (a - 1) * (h - 1), (a - 1) * (h - 1) * (S - 1)
    rest_df = np.maximum(f_e - gaps, 1.0)
    rest = (_three_way(filled) ** 2).sum((1, 2, 3)) / rest_df
    ms_sh, ms_ah = a * (daily**2).sum((1, 2, 3)) / f_sh, S * (personal**2).sum((1, 2, 3)) / f_ah
    return SittingSquares(ms_sh, ms_ah, rest, f_sh, f_ah, rest_df, f_e)


def sitting_error(cells: Cells, weights: Array) -> Error | None:
    """Sittings as a random draw of trays: SE^2 = (v_sh / S_k + v_ah / a + v_e / (a S_k)) x sum of squared weights.

    v_sh, v_ah, v_e are the variances of pull x sitting, assessor x pull and rest, none below zero; S_k counts the
    sittings that served every pull of contrast k. They come from the pulls that every sitting served; where those are
    fewer than two, for each contrast from the sittings that served its pulls. Satterthwaite df of the combination of
    mean squares, at least 1 and at most (a - 1)(h - 1). None with one sitting, and where the rule does not reckon with
    trays.
    """
    if not cells.trays or cells.sittings is None:
        return None
    served = (weights != 0).astype(int) @ ~cells.sittings.served == 0
    squares = sitting_squares(cells)
    if squares is None:
        return _by_common_sittings(cells, cells.sittings, weights, served)
    return _of_squares(squares, cells.sittings, weights, served.sum(1))


def _of_squares(squares: SittingSquares, sittings: BySitting, weights: Array, common: NDArray[np.intp]) -> Error:
    """The sitting error from its mean squares; `common` (k,) sittings served every pull of a contrast."""
    a, S = sittings.sums.shape[1], sittings.sums.shape[3]
    apart = common == 0  # pulls of a contrast that share no sitting: nothing tells trays from hours
    served = np.maximum(common, 1).astype(float)
    rest = squares.rest[:, None]
    daily, personal = (mean[:, None] > rest * (1 + TIED) for mean in (squares.daily, squares.personal))
    part_sh = np.where(daily, squares.daily[:, None], 0.0) / (a * served)
    part_ah = np.where(personal, squares.personal[:, None], 0.0) / (a * S)
    # Each variance above zero takes the rest out of its mean square once; v_e / (a S_k) gives it back once.
    part_e = rest * (np.where(daily, 0.0, 1 / (a * served)) - np.where(personal, 1 / (a * S), 0.0))
    total = part_sh + part_ah + part_e
    bottom = part_sh**2 / squares.daily_df + part_ah**2 / squares.personal_df + part_e**2 / squares.rest_df[:, None]
    cap = float(squares.personal_df)
    df = np.clip(np.divide(total**2, bottom, out=np.full(total.shape, cap), where=bottom > 0), 1, cap)
    return Error(np.where(apart, np.inf, np.sqrt(np.maximum(total, 0) * (weights**2).sum(1))), df)


def _by_common_sittings(cells: Cells, sittings: BySitting, weights: Array, served: Flags) -> Error | None:
    """The sitting error of each contrast from the sittings (k, S) that served all of its pulls, where there are two or
    more; those of one sitting alone hold as prepared there."""
    found = Error(np.zeros((len(cells.sums), len(weights))), np.full((len(cells.sums), len(weights)), MOST_DF))
    found.se[:, ~served.any(1)] = np.inf
    several = served.sum(1) > 1
    for chosen in np.unique(served[several], axis=0):
        columns = np.flatnonzero((served == chosen).all(1))
        some = sittings.only(chosen)
        squares = sitting_squares(replace(cells, sittings=some))
        if squares is not None:
            part = _of_squares(squares, some, weights[columns], served[columns].sum(1))
            found.se[:, columns], found.df[:, columns] = part.se, part.df
    return found if sittings.sums.shape[3] > 1 else None


def additive_filled(y: Array) -> tuple[Array, Array]:
    """Missing cells set where additive two-way margins expect them; (table, number filled (B,)).

    Solved in one step: it is where filling, fitting and filling again would end. What an assessor never tasted is
    begun, and where nothing tells more left, at the pull's mean and the assessor's lean. Studies that miss the same
    cells share one inverse.
    """
    absent = ~np.isfinite(y)
    gaps = absent.sum((1, 2, 3)).astype(float)
    if not gaps.any():
        return y, gaps
    filled = np.where(absent, _additive(y, ~absent), y)
    rows = slice(0, 1) if (absent == absent[:1]).all() else slice(None)
    cells, missing = _places(absent[rows].reshape(len(absent[rows]), -1))
    off = np.take_along_axis(
        _three_way(filled).reshape(len(y), -1), np.broadcast_to(cells, (len(y), cells.shape[1])), 1
    )
    # Where nothing tells a cell, an eigenvalue is zero but for rounding, which the usual bound may take for a number.
    projected = _projection(y.shape[1:], cells) * missing[:, :, None] * missing[:, None, :]
    inverse = np.linalg.pinv(projected, rcond=TIED, hermitian=True)
    step = (inverse @ (off * missing)[..., None])[..., 0]
    flat = filled.reshape(len(y), -1)
    study = np.arange(len(y))[:, None]
    flat[study, cells] -= step * missing
    return flat.reshape(y.shape), gaps


def _additive(y: Array, seen: NDArray[np.bool_]) -> Array:
    """Mean of each pull plus how far each assessor's scores lie from these on average (B, a, h, S)."""

    def mean(values: Array, axes: tuple[int, ...]) -> Array:
        total = np.where(seen, values, 0.0).sum(axes, keepdims=True)
        return np.asarray(total / np.maximum(seen.sum(axes, keepdims=True), 1))

    pull = mean(y, (1, 3))
    return np.broadcast_to(pull + mean(y - pull, (2, 3)), y.shape)


def _places(absent: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Which cells (B, m) each study misses, rows with fewer filled up with others; and which of them are missing."""
    cells = np.argsort(~absent, axis=1, kind="stable")[:, : absent.sum(1).max()]
    return cells, np.take_along_axis(absent, cells, 1)


def _projection(shape: tuple[int, ...], cells: NDArray[np.intp]) -> Array:
    """What `_three_way` makes of one cell in another (B, m, m): a product over the three factors."""
    found = np.ones((*cells.shape, cells.shape[1]))
    for size, level in zip(shape, np.unravel_index(cells, shape), strict=True):
        found *= (level[:, :, None] == level[:, None, :]) - 1 / size
    return found


def _three_way(y: Array) -> Array:
    """What is left of assessor x pull x sitting after every two-way margin: centred along each factor in turn."""
    for axis in (1, 2, 3):
        y = y - y.mean(axis, keepdims=True)
    return y
