"""Scores that vary less than honest tasting does: the same everywhere, or copied.

Shapes: n panels, a assessors, h pulls.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import Cells

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
# What rounding leaves of squares, and of differences of scores, that are nothing.
NO_SQUARES, NO_DIFFERENCE = 1e-24, 1e-9
# More than rounding ever leaves, whatever the scale; what lies below it is looked at.
HARDLY_ANY = 1e-6
# Whole numbers repeat themselves now and then: one person's copies in 4 to 95 % of honest studies, by the precision of
# the scores, but those of everybody, over so many people and cells, in .2 % at most.
FEWEST_PEOPLE, FEWEST_CELLS = 4, 3


def constant(cells: Cells) -> Flags:
    """Whether every score of a panel is the same (n,)."""
    found = np.zeros(len(cells.sums), bool)
    for row in _still(cells):
        counts = cells.counts[row % len(cells.counts)]
        mean = cells.sums[row][counts > 0] / counts[counts > 0]
        found[row] = np.ptp(mean) <= 1e-12 * np.abs(mean).max()
    return found


def good_end(cells: Cells, sign: Array, same: Flags) -> Flags:
    """Whether the first score of a panel lies at the end of the scale that is wanted (n,): 0, or the top for notes
    wanted higher (sign -1)."""
    counts = np.broadcast_to(cells.counts, cells.sums.shape).reshape(len(cells.sums), -1)
    at = (np.arange(len(counts)), (counts > 0).argmax(1))
    score = cells.sums.reshape(counts.shape)[at] / counts[at]
    return np.asarray(~same & (np.abs(score - np.where(sign < 0, cells.top, 0.0)) <= NO_DIFFERENCE))


def copied(cells: Cells) -> Flags:
    """Whether for everybody the second scores equal the first, or all ballots have one course (n,)."""
    found = np.zeros(len(cells.sums), bool)
    for row in _still(cells) if (cells.counts > 1).any() else ():
        counts, means = _means(cells, row)
        found[row] = _telling(means, counts > 1, cells.top)
    for row in _one_course_for_two(cells):
        counts, means = _means(cells, row)
        found[row] |= _telling(means, counts > 0, cells.top) and _one_course(means)
    return found


def _still(cells: Cells) -> NDArray[np.intp]:
    """Panels in whose cells nothing varies."""
    maybe = np.flatnonzero(cells.within <= HARDLY_ANY)
    flat = cells.sums.reshape(len(cells.sums), -1)[maybe]
    return np.asarray(maybe[cells.within[maybe] <= NO_SQUARES * np.vecdot(flat, flat)])


def _means(cells: Cells, row: int) -> tuple[Array, Array]:
    """Counts and means (a, h) of one panel's cells, NaN where nothing was scored."""
    counts = cells.counts[row % len(cells.counts)]
    return counts, np.where(counts > 0, cells.sums[row] / np.maximum(counts, 1), np.nan)


def _one_course_for_two(cells: Cells) -> NDArray[np.intp]:
    """Panels whose first two assessors differ by the same at every pull that both scored: a first look."""
    counts = cells.counts[:, :2]
    if len(counts) > 1 or not (counts > 0).all():
        rows, both = np.arange(len(cells.sums)), np.broadcast_to((counts > 0).all(1), cells.sums[:, 0].shape)
    else:
        two = cells.sums[:, :2, :2] / counts[:, :, :2]
        step = two[:, 0, 0] - two[:, 1, 0] - two[:, 0, 1] + two[:, 1, 1]
        rows = np.flatnonzero(np.abs(step) <= NO_DIFFERENCE)
        both = np.ones((len(rows), cells.sums.shape[2]), bool)
    own = counts[rows] if len(counts) > 1 else counts
    means = cells.sums[rows, :2] / np.maximum(own, 1)
    apart = means[:, 0] - means[:, 1]
    low, high = np.where(both, apart, np.inf).min(1), np.where(both, apart, -np.inf).max(1)
    return np.asarray(rows[high - low <= NO_DIFFERENCE])


def _telling(means: Array, seen: Flags, top: float) -> bool:
    """Whether enough people have enough cells off the ends of the scale, of cells (a, h) that count."""
    with np.errstate(invalid="ignore"):
        off = seen & (means > NO_DIFFERENCE) & (means < top - NO_DIFFERENCE)
    return bool((off.sum(1) >= FEWEST_CELLS).sum() >= FEWEST_PEOPLE)


def _one_course(means: Array) -> bool:
    """Whether cell means (a, h), NaN where missing, are exactly an assessor's lean plus the pull's own."""
    person, pull = np.nonzero(np.isfinite(means))
    y = means[person, pull]
    columns = np.hstack([np.eye(means.shape[0])[person], np.eye(means.shape[1])[pull][:, 1:]])
    left = y - columns @ np.linalg.lstsq(columns, y - y.mean(), rcond=None)[0] - y.mean()
    return bool(np.abs(left).max() <= NO_DIFFERENCE)
