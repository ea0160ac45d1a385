"""Cells of simulated scores, for a batch of studies at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import BySitting, Cells, step_of
from analysis.model.small_arrays import ones, over_pulls

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]
FEWEST_PEOPLE = 2
# Differences of squares smaller than this share of the squares are rounding, not spread.
ROUNDING = 1e-13


def cells_of_draw(y: Array, trays: bool) -> Cells:
    """Cells of scores (B, a, h, S, r), NaN where missing; `trays` as in `Cells`."""
    step = step_of(y.reshape(len(y), -1))
    counts, sums, within = _pooled(y)
    apart = y.shape[3] > 1 and (trays or (len(counts) > 1 and not np.isfinite(y).any((1, 4)).all()))
    return Cells(counts, sums, within, step, by_sitting(y) if apart else None, trays)


def _pooled(y: Array) -> tuple[Array, Array, Array]:
    """Counts (1 or B, a, h), sums and sums of squares within cells of scores (B, a, h, ...)."""
    B, a, h = y.shape[:3]
    flat = y.reshape(B * a * h, -1)
    once = ones(flat.shape[1])
    sums = flat @ once
    counts = np.full((1, a, h), float(len(once)))
    means = sums / len(once)
    if np.isnan(sums @ ones(len(sums))):
        seen = np.isfinite(flat)
        counts, flat = (seen.astype(float) @ once).reshape(B, a, h), np.where(seen, flat, 0.0)
        sums = flat @ once
        means = sums / np.maximum(counts, 1).ravel()
    sums = sums.reshape(B, a, h)
    squares = np.vecdot(flat.reshape(B, -1), flat.reshape(B, -1))
    within = squares - np.vecdot(sums.reshape(B, -1), means.reshape(B, -1))
    return counts, sums, np.where(within > ROUNDING * squares, within, 0.0)


def by_sitting(y: Array) -> BySitting:
    """The same, sitting by sitting."""
    parts = [_pooled(y[:, :, :, sitting]) for sitting in range(y.shape[3])]
    counts = [np.broadcast_to(part[0], part[1].shape) for part in parts]
    return BySitting(np.stack(counts, 3), np.stack([part[1] for part in parts], 3), np.stack([p[2] for p in parts], 1))


# ---- studies that can be judged together ----------------------------------------------------------------------------
def alike(cells: Mapping[str, Cells]) -> Iterator[tuple[Codes | slice, dict[str, Cells]]]:
    """Studies with scores of the same people and pulls in the same sittings, as the errors ask, less who gave none.

    Studies are left out whose scores `decide` refuses: a pull nobody scored, or one person alone.
    """
    if all(len(own.counts) == 1 for own in cells.values()):
        yield slice(None), dict(cells)
        return
    kinds = np.hstack([_held(own) for own in cells.values()])
    for rows in alike_rows(kinds):
        part = {name: present(own if len(rows) == len(kinds) else own.rows(rows)) for name, own in cells.items()}
        if all(can_decide(own) for own in part.values()):
            yield rows, part


def _held(own: Cells) -> Flags:
    """Which people, pulls and pulls by sitting hold scores (B, any)."""
    size, a, h = own.sums.shape
    parts = [np.broadcast_to(over_pulls(own.counts) > 0, (size, a))]
    parts.append(np.broadcast_to(ones(a) @ own.counts > 0, (size, h)))
    if own.sittings is not None:
        counts = np.broadcast_to(own.sittings.counts, own.sittings.sums.shape)
        served = np.asarray((counts > 0).any(1))
        parts.append(served.reshape(size, -1))
        # Who sat there matters where a comparison is made within some of the sittings alone.
        everywhere = (served == served.any(1, keepdims=True)).all((1, 2))
        parts.append((counts > 0).any(2).reshape(size, -1) | everywhere[:, None])
    return np.hstack(parts)


def alike_rows(kinds: Flags) -> list[Codes]:
    """Rows of studies whose traits (B, any) are the same."""
    if (kinds == kinds[0]).all():
        return [np.arange(len(kinds))]
    which = np.unique(np.packbits(kinds, axis=1), axis=0, return_inverse=True)[1].reshape(-1)
    return [np.flatnonzero(which == kind) for kind in range(which.max() + 1)]


def present(own: Cells) -> Cells:
    """Cells of the people and sittings that gave any score; of studies that are alike."""
    people = np.asarray((over_pulls(own.counts) > 0).any(0))
    if people.all() and own.sittings is None:
        return own
    return replace(
        own,
        counts=own.counts[:, people],
        sums=own.sums[:, people],
        sittings=None if own.sittings is None else _present(own.sittings, people, own.trays),
    )


def _present(sittings: BySitting, people: Flags, trays: bool) -> BySitting | None:
    """The sittings of some people that gave any score; None where it does not matter which."""
    days = (sittings.counts > 0).any((0, 1, 2))
    left = BySitting(
        sittings.counts[:, people][..., days], sittings.sums[:, people][..., days], sittings.within[:, days]
    )
    return left if days.sum() > 1 and (trays or not left.served.all()) else None


def can_decide(own: Cells) -> bool:
    """Whether every pull was scored, and by more than one person in all."""
    return own.sums.shape[1] >= FEWEST_PEOPLE and bool((ones(own.counts.shape[1]) @ own.counts > 0).all())
