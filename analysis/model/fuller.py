"""The fuller model: pull + place (fixed) + assessor + assessor x pull + sitting (random) + error, of arrays of scores.

What cannot be told apart stays out: a sitting that goes together with people or pulls, assessor x pull where nobody
scored a pull twice. Shapes: B batch, a assessors, h pulls, S sittings, r servings, N = a h S r, f columns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.model.cell_fits import NOTHING
from analysis.model.crossed import CrossedProblem, told_apart
from analysis.model.crossed_fits import CrossedFits, fit_crossed
from analysis.model.scores import Scores, cells_of, positions_connected

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.intp] | slice


@dataclass(frozen=True, slots=True)
class FullerModel:
    """What the model of each study holds (B,), of `scores` without copies: `position`, `sitting`, and `twice`, assessor
    x pull. `asked`: a sitting was asked for and there are several; `enough`: scores to estimate an error from."""

    scores: Scores
    position: Flags
    asked: Flags
    sitting: Flags
    twice: Flags
    enough: Flags

    @classmethod
    def of(cls, scores: Scores, position: Flags, by_sitting: bool) -> FullerModel:
        """The model of each study; `position` (B,) whether the place is asked for, and can be told from pulls."""
        asked = np.asarray((scores.seen.any((1, 2, 4)).sum(1) > 1) & by_sitting)
        enough = np.asarray(scores.counts.sum((1, 2)) > scores.values.shape[2] + 1)
        copies = _copied(scores)
        if copies.any():
            scores = scores.first_alone(copies)
            position = position & (~copies | positions_connected(scores)) if position.any() else position
        sitting = asked & _sitting_told_apart(scores, position) if asked.any() else asked
        return cls(scores, position, asked, sitting, np.asarray((scores.counts > 1).any((1, 2))), enough)

    def rows(self, rows: Rows) -> FullerModel:
        """Some of the batch."""
        flags = (self.position, self.asked, self.sitting, self.twice, self.enough)
        return FullerModel(self.scores.rows(rows), *(own[rows] for own in flags))

    def traits(self) -> Flags:
        """What studies must share to be fitted together (B, any): the model, people, sittings and places."""
        seen = self.scores.seen
        terms = np.stack([self.position, self.asked, self.sitting, self.twice, self.enough], 1)
        parts = [terms, seen.any((2, 3, 4)), seen.any((1, 2, 4))]
        if self.position.any():
            parts.append(self.scores.columns("position").any(1) & self.position[:, None])
        return np.hstack(parts)

    def fit(self) -> FullerFits:
        """Fits of studies whose traits are the same."""
        h = self.scores.values.shape[2]
        problem, centre = _problem(self.scores, bool(self.position[0]), bool(self.sitting[0]), bool(self.twice[0]))
        others = problem.fixed - h
        average = np.hstack([np.eye(h), np.full((h, others), 1 / (others + 1))])
        names = ["assessor", *(["assessor:hours"] if self.twice[0] else []), *(["sitting"] if self.sitting[0] else [])]
        asked = ["assessor", "assessor:hours", *(["sitting"] if self.asked[0] else [])]
        return FullerFits(fit_crossed(problem, centre, average), tuple(names), tuple(asked))


@dataclass(frozen=True, slots=True)
class FullerFits:
    """Fits of a batch; `names` of their variances in order, and the terms that were asked for."""

    fits: CrossedFits
    names: tuple[str, ...]
    asked: tuple[str, ...]

    def variance(self, row: int) -> dict[str, float | None]:
        """Every term that was asked for, and the residual; None where it cannot be told apart."""
        found: dict[str, float | None] = dict.fromkeys(self.asked)
        found.update(zip(self.names, self.fits.variances[row].tolist(), strict=True))
        return {**found, "residual": float(self.fits.residual[row])}


def _copied(scores: Scores) -> Flags:
    """Where cells were scored more than once and yet nothing varies within them (B,)."""
    cells = cells_of(scores)
    largest = np.abs(np.nan_to_num(scores.values)).max((1, 2, 3, 4))
    return np.asarray((cells.counts > 1).any((1, 2)) & (cells.within <= NOTHING * largest**2))


def _sitting_told_apart(scores: Scores, position: Flags) -> Flags:
    """Whether the sitting can be told from the other terms (B,), of studies that need not be alike."""
    days = scores.columns("sitting")
    fixed = [scores.columns("hours")]
    if position.any():
        fixed.append(scores.columns("position") * position[:, None, None])
    columns = np.concatenate([*fixed, days, np.zeros((*days.shape[:2], 1))], 2)
    sitting = slice(columns.shape[2] - 1 - days.shape[2], columns.shape[2] - 1)
    return told_apart(_summed(scores, columns, sitting.start, True, (sitting,)), sitting)


def _problem(scores: Scores, position: bool, sitting: bool, twice: bool) -> tuple[CrossedProblem, Array]:
    """The model of studies that are alike, and the mean of each pull (B, h), which was taken off its scores."""
    blocks = [scores.columns("hours")]
    if position:
        every = scores.columns("position")
        blocks.append(every[:, :, every.any((0, 1))][..., 1:])
    fixed = sum(block.shape[2] for block in blocks)
    if sitting:
        days = scores.columns("sitting")
        blocks.append(days[:, :, days.any((0, 1))])
    y = np.where(scores.seen, scores.values, 0.0).reshape(len(blocks[0]), -1)
    centre = (blocks[0].transpose(0, 2, 1) @ y[..., None])[..., 0] / blocks[0].sum(1)
    rest = y - (blocks[0] @ centre[..., None])[..., 0]
    columns = np.concatenate([*blocks, rest[..., None]], 2)
    crossed = (slice(fixed, columns.shape[2] - 1),) if sitting else ()
    return _summed(scores, columns, fixed, twice, crossed), centre


def _summed(scores: Scores, columns: Array, fixed: int, twice: bool, crossed: tuple[slice, ...]) -> CrossedProblem:
    """Sums and cross-products of columns (B, N, f), less the people who gave no score in any study."""
    size, a, h = scores.values.shape[:3]
    people = scores.seen.any((0, 2, 3, 4))
    return CrossedProblem(
        scores.counts[:, people],
        columns.reshape(size, a, h, -1, columns.shape[2]).sum(3)[:, people],
        columns.transpose(0, 2, 1) @ columns,
        fixed,
        ("assessor", "cell") if twice else ("assessor",),
        crossed,
    )
