"""What batches add to the error of a difference of makes, for a claim that goes beyond the batches tasted.

The batch is the unit beside the assessor, as in `stopping.batch_error`. Where batches are pairs (one lot of beans, one
sitting), the batch error comes from the differences of each pair; else from the batch means within each make, each make
by its own spread, since a make that varies more than the other would be hidden by a pooled one (Welch 1938).
Shapes: B studies, a assessors, columns pieces x batches.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.comparing.reading import Lots, together_by
from analysis.model.scores import Scores, cells_of
from analysis.stopping import batch_error
from analysis.stopping.standard_errors import Error, Estimates, contrasts_of, means

Array = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Apart:
    """What batches did: `differences` (B, pieces) of each piece from the reference as the mean over batches, the error
    of batches alone (`batch`), NaN where a piece has no batches of its own, and `by_batch` (B, batches, pieces) the
    differences batch by batch, NaN where batches are no pairs."""

    differences: Array
    batch: Error
    by_batch: Array


def with_batches(worse: Estimates, apart: Apart, sign: float) -> Estimates:
    """Differences as means over batches, with the error of batches in the place of the sitting's: a batch holds the
    tray too. The control keeps its own where it has no batches."""
    known = np.isfinite(apart.batch.se)
    estimate = np.where(known, sign * apart.differences, worse.estimate)
    return replace(worse, estimate=estimate, sitting=batch_error.joined(worse.own, apart.batch))


def apart_of(scores: Scores, lots: Lots, pairs: bool) -> tuple[Apart, Scores]:
    """What batches did to one attribute, and its scores by piece less what they did.

    Args:
        scores: by piece and batch, (B, a, columns, S, r).
        lots: of which piece and batch each column is.
        pairs: whether batches of one number belong together.
    """
    mean = means(contrasts_of(cells_of(scores).present())).estimate
    shift = _pair_shift(mean, lots) if pairs else _own_shift(mean, lots.piece)
    less = scores.less(shift[:, None, :, None, None])
    found = _by_pairs(scores, lots) if pairs else _nested(mean, lots.piece)
    return found, together_by(less, lots.piece)


def _own_shift(mean: Array, piece: Codes) -> Array:
    """How far each batch lies from the mean of its piece (B, columns)."""
    return np.asarray(mean - np.stack([mean[:, piece == of].mean(1) for of in piece], 1))


def _pair_shift(mean: Array, lots: Lots) -> Array:
    """How far each pair lies from the mean of all pairs (B, columns); nothing for what belongs to no pair."""
    by_pair = {one: mean[:, lots.batch == one].mean(1) for one in np.unique(lots.batch) if one >= 0}
    grand = np.mean(list(by_pair.values()), 0)
    return np.stack([by_pair[one] - grand if one >= 0 else np.zeros(len(mean)) for one in lots.batch.tolist()], 1)


def _by_pairs(scores: Scores, lots: Lots) -> Apart:
    """The differences of each pair from its own fit, and their spread."""
    last = int(lots.piece.max())
    found = np.full((len(scores.values), int(lots.batch.max()) + 1, last + 1), np.nan)
    for pair in range(found.shape[1]):
        columns = np.flatnonzero(lots.batch == pair)
        part = Scores(scores.values[:, :, columns])
        own = means(contrasts_of(cells_of(part).present()))
        reference = own.estimate[:, lots.piece[columns] == last]
        found[:, pair, lots.piece[columns]] = own.estimate - reference
    return Apart(found.mean(1), batch_error.spread_of(found), found)


def _nested(mean: Array, piece: Codes) -> Apart:
    """Each make by the spread of its own batches; Satterthwaite's df of the sum (Welch)."""
    last = int(piece.max())
    own = [mean[:, piece == of] for of in range(last + 1)]
    centre = np.stack([values.mean(1) for values in own], 1)
    counts = np.array([values.shape[1] for values in own], float)
    several = counts > 1
    part = np.stack([values.var(1, ddof=1) / values.shape[1] if values.shape[1] > 1 else np.full(len(mean), np.nan)
                     for values in own], 1)  # fmt: skip
    total = part + part[:, last:]
    with np.errstate(divide="ignore", invalid="ignore"):
        df = total**2 / (part**2 / (counts - 1) + part[:, last:] ** 2 / (counts[last] - 1))
    df = np.where(several & np.isfinite(df), df, counts[last] - 1)
    nothing = np.full((len(mean), 1, last + 1), np.nan)
    return Apart(centre - centre[:, last:], Error(np.sqrt(total), df), nothing)
