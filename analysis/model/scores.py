"""The scores of a batch of panels as one array; a file is a batch of one for each of its attributes.

What is asked of scores is asked here, of a file as of simulated studies: their cells, and what their places do to them.
Shapes: B batch, a assessors, h pulls, S sittings, r servings of a pull to a person in a sitting.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import TOP, BySitting, Cells, step_of
from analysis.model.small_arrays import ones

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]
Rows = NDArray[np.intp] | slice
# Eigenvalues of cross-products below this share of the largest are what rounding leaves of nothing.
NOTHING_LEFT = 1e-10


@dataclass(frozen=True, slots=True)
class Scores:
    """Scores of one attribute: `values` (B, a, h, S, r), NaN where missing; `positions`, of the same shape, numbers of
    the place on the tray from 0, below that where it is not known; None where none is. `recorded` (B,): the steps in
    which values were recorded that have been shifted since."""

    values: Array
    positions: Codes | None = None
    recorded: Array | None = None

    @property
    def seen(self) -> Flags:
        """Which servings were scored."""
        return np.isfinite(self.values)

    @property
    def counts(self) -> Array:
        """Scores of each assessor and pull (B, a, h)."""
        return np.asarray(self.seen.sum((3, 4)), np.float64)

    def counts_in(self, days: Flags) -> Array:
        """The same in some sittings (S,)."""
        return np.asarray(self.seen[:, :, :, days].sum((3, 4)), np.float64)

    @property
    def step(self) -> Array:
        """The steps in which each panel was recorded (B,)."""
        return step_of(self.values.reshape(len(self.values), -1)) if self.recorded is None else self.recorded

    def less(self, shift: Array) -> Scores:
        """The same less a `shift` that broadcasts over the values, in steps that stay what they were."""
        return replace(self, values=self.values - shift, recorded=self.step)

    def columns(self, factor: str) -> Array:
        """0/1 columns (B, a h S r, levels) of assessor, hours, sitting or place, zero where nothing was scored."""
        if factor == "position":
            assert self.positions is not None
            codes = self.positions
        else:
            axis = ("assessor", "hours", "sitting").index(factor)
            codes = np.broadcast_to(np.indices(self.values.shape[1:], sparse=True)[axis], self.values.shape)
        size = len(codes)
        hot = codes.reshape(size, -1, 1) == np.arange(codes.max() + 1)
        return np.asarray(hot & self.seen.reshape(size, -1, 1), np.float64)

    @property
    def differ(self) -> Flags:
        """Whether not every score of a panel is the same (B,)."""
        return np.asarray(np.nanmax(self.values, (1, 2, 3, 4)) > np.nanmin(self.values, (1, 2, 3, 4)))

    def first_alone(self, which: Flags) -> Scores:
        """Of some panels (B,) the first score of each assessor and pull alone: by sitting, then by place."""
        S, r = self.values.shape[3:]
        served = np.arange(S * r).reshape(S, r)
        if self.positions is not None:
            most = int(self.positions.max()) + 2
            served = (served // r * most + self.positions + 1) * r + served % r
        order = np.where(self.seen, served, np.iinfo(np.intp).max)
        later = order > order.min((3, 4), keepdims=True)
        return replace(self, values=np.where(which[:, None, None, None, None] & later, np.nan, self.values))

    def _each(self, some: Callable[[NDArray[Any]], NDArray[Any]]) -> Scores:
        """The same of every array there is."""
        return replace(
            self, values=some(self.values), positions=None if self.positions is None else some(self.positions)
        )

    def within(self, days: Codes, pulls: Flags) -> Scores:
        """What was scored of some pulls (h,) in some sittings."""
        return self._each(lambda part: part[:, :, pulls][:, :, :, days])

    def rows(self, rows: Rows) -> Scores:
        """Some of the batch."""
        own = self._each(lambda part: part[rows])
        return own if self.recorded is None else replace(own, recorded=self.recorded[rows])


def of_codes(y: Array, codes: tuple[Codes, Codes, Codes, Codes], positions: Codes | None = None) -> Scores:
    """Scores `y` (n,) by their numbers of panel, assessor, pull and sitting, n each, and of their places.

    What one cell holds is put in the order of its scores, so that neither the order of a file nor a name has a part.
    """
    shape = tuple(int(part.max()) + 1 for part in codes)
    at = np.ravel_multi_index(codes, shape)
    order = np.argsort(at, kind="stable")
    counts = np.bincount(at, minlength=int(np.prod(shape)))
    number = np.arange(len(y)) - (np.cumsum(counts) - counts)[at[order]]
    whole = (len(counts), int(counts.max()))
    values, position = np.full(whole, np.nan), np.full(whole, -1)
    values[at[order], number] = y[order]
    if positions is None:
        return Scores(np.sort(values, axis=1).reshape(*shape, -1))
    position[at[order], number] = positions[order]
    turn = np.lexsort((position, values), axis=1)
    turned = (np.take_along_axis(part, turn, 1).reshape(*shape, -1) for part in (values, position))
    return Scores(*turned)


# ---- cells -----------------------------------------------------------------------------------------------------------
def cells_of(scores: Scores, trays: bool = False, top: float = TOP) -> Cells:
    """Counts, sums and squares within cells; `trays` and `top` as in `Cells`, whose sittings stay where they matter."""
    y = scores.values
    B, a, h, S, r = y.shape
    counts, sums, within = _tallied(y.reshape(B, a, h, 1, S * r))
    apart = S > 1 and (trays or (counts.min() < S * r and not scores.seen.any((1, 4)).all()))
    sittings = BySitting(*_tallied(y)) if apart else None
    return Cells(counts[..., 0], sums[..., 0], within[:, 0], scores.step, sittings, trays, top)


def _tallied(y: Array) -> tuple[Array, Array, Array]:
    """Counts (1 or B, a, h, S), sums (B, a, h, S) and sums of squares within cells (B, S) of scores (B, a, h, S, r).

    Squares around the cell means, so that scores far from zero lose no digits.
    """
    shape, r = y.shape[:4], y.shape[4]
    flat = y.reshape(-1, r)
    sums = flat @ ones(r)
    counts, means = np.full((1, *shape[1:]), float(r)), sums / r
    if np.isnan(sums @ ones(len(sums))):
        seen = np.isfinite(flat)
        counts = (seen.astype(float) @ ones(r)).reshape(shape)
        sums = np.where(seen, flat, 0.0) @ ones(r)
        means = sums / np.maximum(counts, 1).ravel()
        flat = np.where(seen, flat, means[:, None])
    within = np.zeros((shape[0], shape[3]))
    for number in range(r if r > 1 else 0):
        off = (flat[:, number] - means).reshape(shape[0], -1, shape[3]).swapaxes(1, 2)
        within += np.vecdot(off, off)
    return counts, sums.reshape(shape), within


# ---- places ----------------------------------------------------------------------------------------------------------
def without_positions(scores: Scores) -> Scores:
    """The scores less the effect of their place: least squares beside assessors and pulls, unbiased.

    What cannot be told from assessors and pulls together is left where it is (the shortest of the solutions).
    """
    position, pull = scores.columns("position"), scores.columns("hours")
    size, a = scores.values.shape[:2]
    seen = scores.seen.reshape(size, -1)
    y = np.where(seen, scores.values.reshape(size, -1), 0.0)
    y = np.where(seen, y - (y.sum(1) / seen.sum(1))[:, None], 0.0)[..., None]
    X = np.concatenate([position, pull, y], 2)
    by_person = X.reshape(size, a, -1, X.shape[2]).sum(2)
    shares = by_person / np.maximum(seen.reshape(size, a, -1).sum(2), 1)[..., None]
    cross = X.transpose(0, 2, 1) @ X - by_person.transpose(0, 2, 1) @ shares
    inverse = np.linalg.pinv(cross[:, :-1, :-1], rcond=NOTHING_LEFT, hermitian=True)
    effects = (inverse @ cross[:, :-1, -1:])[:, : position.shape[2]]
    used = position.max(1)[..., None] > 0
    effects = effects - (effects * used).sum(1, keepdims=True) / used.sum(1, keepdims=True)
    return replace(scores, values=scores.values - (position @ effects).reshape(scores.values.shape))


def positions_told_apart(scores: Scores) -> Flags:
    """Whether place and pull can be told apart (B,): two pulls or more at every place that was used, all of them
    connected, and scores to spare."""
    table = _pulls_at_places(scores)
    seen, used = scores.seen, table.any(2)
    spare = seen.sum((1, 2, 3, 4)) > used.sum(1) + table.any(1).sum(1) + seen.any((2, 3, 4)).sum(1)
    return np.asarray(spare & ((table.sum(2) > 1) | ~used).all(1) & positions_connected(scores))


def positions_connected(scores: Scores) -> Flags:
    """Whether every pull is reached from every other through places that both were served at (B,)."""
    table = _pulls_at_places(scores)
    reached = table[np.arange(len(table)), table.any(2).argmax(1)]
    for _ in range(table.shape[1]):
        touched = (table & reached[:, None, :]).any(2)
        reached = (table & touched[:, :, None]).any(1)
    return np.asarray(reached.all(1))


def _pulls_at_places(scores: Scores) -> Flags:
    """Which place held which pull (B, places, h)."""
    return np.asarray(scores.columns("position").transpose(0, 2, 1) @ scores.columns("hours") > 0)
