"""REML fits of hours + assessor + assessor:hours to a whole batch of panels, each given as counts and sums per cell.

Two routes with the same numbers: pooled mean squares when every cell has the same count, else weighted sums over
cells and Newton steps. Shapes: B batch (attributes, simulated studies, resampled panels), a assessors, h pulls.
Contrasts after Giesbrecht & Burns 1985; F after Fai & Cornelius 1996, as in Kuznetsova, Brockhoff & Christensen 2017.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from analysis.model import reml
from analysis.model.cell_weights import CellProblem, pooled
from analysis.model.contrasts import against, contrast_of, differences, f_of, hypothesis, satterthwaite
from analysis.model.small_arrays import ones, over_all

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

    def take(self, rows: Rows) -> CellFits:
        """Some of the batch."""

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


def fit_cells(counts: Array, sums: Array, within: Array, interaction: bool = True) -> CellFits:
    """Fit hours + assessor + assessor:hours to each of a batch by REML.

    Args:
        counts: scores per cell, (B, a, h), or (1, a, h) when shared; 0 where nothing was scored.
        sums: sums of the scores per cell, (B, a, h); ignored where the count is 0.
        within: sum of squares within cells, (B,), computed from centred scores.
        interaction: leave assessor:hours out when False.

    Raises:
        ValueError: fewer than two assessors or pulls, or one of them without any score.
    """
    sums, counts = np.asarray(sums, float), np.asarray(counts, float)
    within = np.broadcast_to(np.asarray(within, float), len(sums))
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
    present = (counts > 0).astype(float)
    if not ((ones(counts.shape[1]) @ present).all() and (present @ ones(counts.shape[2])).all()):
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

    def take(self, rows: Rows) -> BalancedFits:
        """See CellFits."""
        return _taken(self, rows)

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
        total = from_high + from_middle if common.any() else from_middle
        # Without a common part the df are those of `middle` to the last digit, so that a batch shares its quantile.
        df = np.where(total > 0, self.middle_df[:, None], self.containment[:, None])
        both = (self.high > self.middle)[:, None] & (common > 1e-12 * rest)
        if both.any():
            spread = from_high**2 / self.high_df[:, None] + from_middle**2 / self.middle_df[:, None]
            np.divide(total**2, spread, out=df, where=both & (spread > 0))
        return self.means @ weights.T, np.sqrt(total / (a * self.replicates)[:, None]), df

    def difference(self, reference: int) -> Triple:
        """See CellFits."""
        return self.contrast(differences(self.shape[1], reference))

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
    pulls = (np.full(a, 1 / a) @ sums) / r[:, None]
    person = (sums.reshape(-1, h) @ np.full(h, 1 / h)).reshape(-1, a) / r[:, None]
    person -= (person @ np.full(a, 1 / a))[:, None]
    between = np.vecdot(person, person)
    across, nothing = _interaction_squares(sums, r, pulls, person)
    f1, f2 = float((a - 1) * (h - 1)), float(a - 1)
    m2 = np.where(between > nothing, r * h * between / f2, 0.0)
    m1 = np.where(across > nothing, r * across / f1, 0.0)
    f0 = a * h * (r - 1.0)
    m0 = np.divide(within, f0, out=np.zeros_like(m1), where=f0 > 0)
    low, middle, high = pooled((m0, m1, m2), (f0, f1, f2))
    middle_df = f1 + np.where(low >= middle, f0, 0.0) + np.where(high <= middle, f2, 0.0)
    high_df = f2 + np.where(high <= middle, middle_df - f2, 0.0)
    low = np.where(f0 > 0, low, middle)
    return BalancedFits(counts, r, low, middle, high, middle_df, high_df, pulls, copied)


def _interaction_squares(sums: Array, r: Array, pulls: Array, person: Array) -> tuple[Array, Array]:
    """Sum of squares of cell means about pulls and assessors (B,), and what of it would be rounding alone.

    By subtraction, but anew where that would lose digits.
    """
    _, a, h = sums.shape
    flat = sums.reshape(len(sums), -1)
    total, lift = np.vecdot(flat, flat) / r**2, np.vecdot(pulls, pulls)
    found = total - a * lift - h * np.vecdot(person, person)
    rows = np.flatnonzero(found < 1e-4 * total)
    if len(rows):
        each = r[rows, None, None] if len(r) > 1 else r
        found[rows] = ((sums[rows] / each - pulls[rows, None, :] - person[rows, :, None]) ** 2).sum((1, 2))
    return found, NOTHING * (total - (a - 1) * lift)


# ---- anything missing: weights --------------------------------------------------------------------------------------
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
    parts: Rows
    containment: Array

    def take(self, rows: Rows) -> WeightedFits:
        """See CellFits."""
        return _taken(self, rows)

    def contrast(self, weights: Array) -> Triple:
        """See CellFits."""
        return contrast_of(self, np.asarray(weights, float))

    def difference(self, reference: int) -> Triple:
        """See CellFits."""
        variance = against(self.covariance, reference)
        df = satterthwaite(variance, against(self.moves, reference), self.parameter_covariance, self.containment)
        estimate = self.means - self.means[:, reference, None]
        return estimate, np.sqrt(np.maximum(variance, 0)), df

    def mean(self) -> Triple:
        """See CellFits."""
        variance = np.einsum("bhh->bh", self.covariance)
        slopes = np.einsum("bphh->bph", self.moves)
        df = satterthwaite(variance, slopes, self.parameter_covariance, self.containment)
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
    cells = np.divide(sums, counts, out=np.zeros_like(sums), where=seen)
    everyone = ones(cells.shape[1])
    centre = (everyone @ cells) / (everyone @ seen.astype(float))
    cells = np.where(seen, cells - centre[:, None, :], 0.0)
    exact, means, person = _explained(cells, seen, within)
    if exact.any():
        cells, within = np.where(exact[:, None, None], 0.0, cells), np.where(exact, 1.0, within)
    rho, point, slope = reml.optimise(CellProblem.of(counts, cells, within, nested))
    s2 = np.where(exact, 0.0, point.residual)
    parts = connected_parts(counts)
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
        parts=np.broadcast_to(parts, point.coefficients.shape),
        containment=np.broadcast_to(_containment(counts, parts), s2.shape),
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


Fits = TypeVar("Fits", BalancedFits, WeightedFits)


def _taken(fits: Fits, rows: Rows) -> Fits:
    """Some of a batch of fits; what all of them share stays as it is."""
    values = (getattr(fits, field.name) for field in fields(fits))
    return type(fits)(*(value if len(value) == 1 else value[rows] for value in values))


def connected_parts(counts: Array) -> Rows:
    """The first pull that each pull is connected with through shared assessors (B or 1, h)."""
    seen = (counts > 0).astype(float)
    h = counts.shape[2]
    if ((seen @ np.ones(h)).max(1) == h).all():  # somebody scored every pull
        return np.zeros((len(counts), h), np.intp)
    links = seen.transpose(0, 2, 1) @ seen > 0
    for _ in range(int(np.ceil(np.log2(h)))):
        links = links.astype(float) @ links.astype(float) > 0
    return np.asarray(links.argmax(2))


def _containment(counts: Array, parts: Rows) -> Array:
    """Cells - assessors - pulls + connected parts (B or 1,)."""
    a, h = counts.shape[1:]
    return np.asarray(over_all((counts > 0).astype(float)) - a - h + (parts == np.arange(h)).sum(1))


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
