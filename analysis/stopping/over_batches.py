"""Contrasts as means over batches, for a claim on a recipe and its machine.

Three errors stand beside each mean: the panel's and the assessors' own, from all scores less what each batch as a whole
did, and that of assessors and batches together. A contrast is taken over the batches that served all of its pulls, and
there must be three of these or more. Shapes: B studies, a assessors, h pulls, S sittings, b batches, k contrasts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import Cells
from analysis.model.scores import Scores, cells_of
from analysis.stopping import batch_error, standard_errors
from analysis.stopping.rule import FEWEST_BATCHES
from analysis.stopping.standard_errors import Contrasts, Error, Estimates, Fitted

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]
Fit = Callable[[Scores], Contrasts]


def plain(scores: Scores) -> Contrasts:
    """The panel's fit of some scores."""
    return standard_errors.contrasts_of(cells_of(scores).present())


@dataclass(frozen=True, slots=True)
class Together:
    """Some batches: the fit of all their scores less what each did, and the fit of each alone."""

    whole: Contrasts
    alone: tuple[Contrasts, ...]

    def contrast(self, weights: Array, capped: bool) -> Estimates:
        """Means over these batches, the batch error in the place of the sitting's: a batch holds its tray too."""
        found = self.whole.contrast(weights, capped)
        by_batch = self.by_batch(weights, capped)
        third = batch_error.joined(found.own, batch_error.spread_of(by_batch))
        return replace(found, estimate=by_batch.mean(1), sitting=third)

    def by_batch(self, weights: Array, capped: bool = True) -> Array:
        """The contrasts of each batch from its own fit (B, b, k)."""
        return np.stack([_estimate(one, weights, capped) for one in self.alone], 1)


def _estimate(panels: Contrasts, weights: Array, capped: bool) -> Array:
    if isinstance(panels, Fitted):
        return panels.by_panel(weights, capped)[0]
    return panels.contrast(weights, capped).estimate


@dataclass(frozen=True, slots=True)
class OverBatches:
    """Panels of one attribute that tasted several batches; `batch` (S,) is the number of each sitting's.

    Every batch served the last pull. `fit` makes contrasts of some scores; `parts` keeps those that were asked for.
    """

    scores: Scores
    batch: Codes
    cells: Cells
    fit: Fit = plain
    parts: dict[bytes, Together] = field(default_factory=dict)

    @classmethod
    def of(cls, scores: Scores, batch: Codes, top: float, fit: Fit = plain) -> OverBatches:
        """Of the scores of one attribute; its cells are the scores as they were given."""
        return cls(scores, batch, cells_of(scores, top=top).present(), fit)

    @property
    def served(self) -> Flags:
        """Which pull was served of which batch (h, b)."""
        by_sitting = np.asarray(self.scores.seen.any((0, 1, 4)))
        return np.stack([by_sitting[:, self.batch == one].any(1) for one in range(int(self.batch.max()) + 1)], 1)

    @property
    def whole(self) -> Contrasts:
        """The fit of every batch together."""
        return self.together(np.ones(int(self.batch.max()) + 1, bool)).whole

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """See `standard_errors.Contrasts`; without limits where fewer than three batches served all pulls."""
        shape = (len(self.scores.values), len(weights))
        found = _endless(shape)
        served = np.asarray((weights != 0).astype(int) @ ~self.served == 0)
        for chosen in np.unique(served, axis=0):
            columns = np.flatnonzero((served == chosen).all(1))
            if chosen.sum() >= FEWEST_BATCHES:
                _put(found, columns, self.together(chosen).contrast(weights[columns], capped))
            elif chosen.any():
                found.estimate[:, columns] = self.together(chosen).by_batch(weights[columns], capped).mean(1)
        return found

    def by_batch(self, weights: Array) -> Array:
        """The differences of each batch from its own fit (B, b, k), NaN where it did not serve all pulls."""
        served = np.asarray((weights != 0).astype(int) @ ~self.served == 0)
        found = np.full((len(self.scores.values), served.shape[1], len(weights)), np.nan)
        for one in range(served.shape[1]):
            alone = self.together(np.arange(served.shape[1]) == one)
            columns = np.flatnonzero(served[:, one])
            found[:, one, columns] = alone.by_batch(weights[columns])[:, 0]
        return found

    def together(self, chosen: Flags) -> Together:
        """Some of the batches (b,)."""
        key = chosen.tobytes()
        if key not in self.parts:
            self.parts[key] = self._together(chosen)
        return self.parts[key]

    def _together(self, chosen: Flags) -> Together:
        numbers, served = np.flatnonzero(chosen), self.served
        alone = [self._asked(self.scores, self.batch == one, served[:, one]) for one in numbers]
        common = np.eye(len(served))[served[:, chosen].all(1)]
        level = [_estimate(fit, common, False).mean(1) for fit in alone]
        shift = np.zeros((len(self.scores.values), len(self.batch)))
        for one, own in zip(numbers, level, strict=True):
            shift[:, self.batch == one] = (own - np.mean(level, 0))[:, None]
        less = self.scores.less(shift[:, None, None, :, None])
        return Together(self._asked(less, chosen[self.batch], np.asarray(served[:, chosen].any(1))), tuple(alone))

    def _asked(self, scores: Scores, days: Flags, pulls: Flags) -> Contrasts:
        """The fit of some sittings (S,) and the pulls (h,) they served, to be asked with weights of every pull."""
        fit = self.fit(scores.within(np.flatnonzero(days), pulls))
        return fit if pulls.all() else _Fewer(fit, pulls)


@dataclass(frozen=True, slots=True)
class _Fewer:
    """The fit of sittings that did not serve every pull, asked with weights of all pulls."""

    panels: Contrasts
    pulls: Flags

    @property
    def cells(self) -> Cells:
        """See Contrasts."""
        return self.panels.cells

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """See Contrasts; nothing is asked of pulls that were not served."""
        return self.panels.contrast(weights[:, self.pulls], capped)


def _endless(shape: tuple[int, int]) -> Estimates:
    """Contrasts without limits, to be filled in."""

    def error() -> Error:
        return Error(np.full(shape, np.inf), np.full(shape, standard_errors.MOST_DF))

    return Estimates(np.full(shape, np.nan), np.full(shape, standard_errors.MOST_DF), error(), error(), error())


def _put(found: Estimates, columns: Codes, part: Estimates) -> None:
    """Write some contrasts."""
    found.estimate[:, columns], found.df[:, columns] = part.estimate, part.df
    for one, new in zip(found.errors, part.errors, strict=True):
        one.se[:, columns], one.df[:, columns] = new.se, new.df
