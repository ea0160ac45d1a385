"""Scores as cells, assessor x pull, for a batch of panels at once.

Shapes: B batch, a assessors, h pulls, S sittings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analysis.model.small_arrays import ones, over_pulls

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.intp] | slice
# The line records tenths; whole numbers are coarser.
LINE, WHOLE = 0.1, 1.0
TOP = 10.0


@dataclass(frozen=True, slots=True)
class BySitting:
    """Cells of each sitting: counts (1 or B, a, h, S), sums (B, a, h, S), sums of squares within them (B, S)."""

    counts: Array
    sums: Array
    within: Array

    @property
    def means(self) -> Array:
        """Means (B, a, h, S), NaN where nothing was scored."""
        seen = np.broadcast_to(self.counts > 0, self.sums.shape)
        return np.asarray(np.divide(self.sums, self.counts, out=np.full(self.sums.shape, np.nan), where=seen))

    @property
    def served(self) -> Flags:
        """Which pull was served in which sitting (h, S), to anybody; the same for every panel of the batch."""
        return np.asarray((self.counts[0] > 0).any(0))

    def matter(self, trays: bool) -> bool:
        """Whether it matters which sitting was which; `trays` as in `Cells`."""
        return self.counts.shape[3] > 1 and (trays or not bool(self.served.all()))

    def rows(self, rows: Rows) -> BySitting:
        """Some of the batch."""
        return BySitting(_rows(self.counts, rows), self.sums[rows], self.within[rows])

    def of(self, people: Flags, days: Flags) -> BySitting:
        """Some of the assessors (a,) and of the sittings (S,)."""
        return BySitting(self.counts[:, people][..., days], self.sums[:, people][..., days], self.within[:, days])

    def only(self, chosen: Flags) -> BySitting:
        """Some of the sittings (S,), and whoever sat there."""
        return self.of(np.asarray((self.counts[0][..., chosen] > 0).any((1, 2))), chosen)

    def pooled(self) -> tuple[Array, Array, Array]:
        """Counts, sums and sums of squares within the cells of all sittings together."""
        counts, sums = self.counts.sum(3), self.sums.sum(3)
        away = self.sums / np.maximum(self.counts, 1) - (sums / np.maximum(counts, 1))[..., None]
        between = (self.counts * away**2).reshape(len(sums), -1).sum(1)
        return counts, sums, self.within.sum(1) + between


@dataclass(frozen=True, slots=True)
class Cells:
    """Scores of one attribute: counts (1 or B, a, h), sums (B, a, h) and sums of squares within cells (B,).

    `step` (1 or B,) is the step of recording and `top` the upper end of the scale, in scale units. `sittings` keeps the
    sittings apart where that matters: when `trays` says that the rule reckons with trays that shift a sitting, or when
    a pull was not served in every sitting.
    """

    counts: Array
    sums: Array
    within: Array
    step: Array = field(default_factory=lambda: np.array([LINE]))
    sittings: BySitting | None = None
    trays: bool = False
    top: float = TOP

    def rows(self, rows: Rows) -> Cells:
        """Some of the batch."""
        sittings = None if self.sittings is None else self.sittings.rows(rows)
        counts, step = _rows(self.counts, rows), _rows(self.step, rows)
        return replace(
            self, counts=counts, sums=self.sums[rows], within=self.within[rows], step=step, sittings=sittings
        )

    def present(self) -> Cells:
        """Less the people and sittings that gave no score; of panels scored by the same people."""
        people = np.asarray((over_pulls(self.counts) > 0).any(0))
        if people.all() and self.sittings is None:
            return self
        sittings = self.sittings
        if sittings is not None:
            left = sittings.of(people, np.asarray((sittings.counts > 0).any((0, 1, 2))))
            sittings = left if left.matter(self.trays) else None
        return replace(self, counts=self.counts[:, people], sums=self.sums[:, people], sittings=sittings)

    @property
    def served_apart(self) -> bool:
        """Whether some pull was not served in every sitting, so that comparisons must stay within sittings."""
        return self.sittings is not None and not self.sittings.served.all()

    @property
    def rounding(self) -> Array:
        """Variance that recording in steps leaves in the mean of each pull (1 or B, h)."""
        servings = ones(self.counts.shape[1]) @ self.counts
        return np.asarray(self.step[:, None] ** 2 / 12 / np.maximum(servings, 1))


def pooled(sittings: BySitting, step: Array, trays: bool, top: float = TOP) -> Cells:
    """Cells of all sittings together; the sittings stay beside them where they matter."""
    return Cells(*sittings.pooled(), step, sittings if sittings.matter(trays) else None, trays, top)


def within_sittings(cells: Cells, chosen: Flags) -> tuple[Cells, Flags]:
    """The cells of some sittings alone (S,), less whom and what they did not see; and which pulls are left (h,)."""
    assert cells.sittings is not None
    some = cells.sittings.only(chosen)
    pulls = (some.counts[0] > 0).any((0, 2))
    counts, sums, within = some.pooled()
    return Cells(counts[..., pulls], sums[..., pulls], within, cells.step, top=cells.top), pulls


def stacked(parts: list[Cells]) -> Cells:
    """Cells of panels of one shape, served alike, one after another along the batch axis."""
    first = parts[0]
    if len(parts) == 1:
        return first
    apart = [part.sittings for part in parts if part.sittings is not None]
    step = np.concatenate([np.broadcast_to(part.step, len(part.sums)) for part in parts])
    sittings = BySitting(*_one_after_another(apart)) if apart else None
    return Cells(*_one_after_another(parts), step, sittings, first.trays, first.top)


def _one_after_another(parts: Sequence[Cells] | Sequence[BySitting]) -> tuple[Array, Array, Array]:
    """Counts, sums and squares within cells along the batch axis."""
    sums = [part.sums for part in parts]
    return (
        _joined([part.counts for part in parts], sums),
        np.concatenate(sums),
        np.concatenate([p.within for p in parts]),
    )


def is_balanced(counts: Array) -> bool:
    """Every cell of every panel scored equally often."""
    return bool((counts == counts[:, :1, :1]).all())


def people(counts: Array) -> NDArray[np.intp]:
    """How many gave any score (n,)."""
    return np.asarray(np.count_nonzero(over_pulls(counts), axis=1))


def step_of(scores: Array) -> Array:
    """Step of recording of each panel (B,), from its scores (B, any), NaN where missing: 1 where all are whole."""
    step = np.full(len(scores), LINE)
    # A first score between whole numbers tells at once; few studies have to be read to the end.
    first = scores[:, 0]
    maybe = np.flatnonzero(~(first != np.round(first)) | np.isnan(first))
    rest = scores[maybe]
    step[maybe[((rest == np.round(rest)) | np.isnan(rest)).all(1)]] = WHOLE
    return step


def _rows(shared: Array, rows: Rows) -> Array:
    """Some rows of what may be one row for all."""
    return shared if len(shared) == 1 else shared[rows]


def _joined(counts: list[Array], sums: list[Array]) -> Array:
    """Counts one after another, one row for all where they are shared."""
    first = counts[0]
    if all(len(part) == 1 and np.array_equal(part, first) for part in counts):
        return first
    return np.concatenate([np.broadcast_to(part, own.shape) for part, own in zip(counts, sums, strict=True)])
