"""Simulated studies that can be judged together: scores of the same people and pulls in the same sittings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import Cells
from analysis.model.small_arrays import ones, over_pulls

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]
FEWEST_PEOPLE = 2


def alike(cells: Mapping[str, Cells]) -> Iterator[tuple[Codes | slice, dict[str, Cells]]]:
    """Studies with scores of the same people and pulls in the same sittings, as the errors ask, less who gave none.

    Studies are left out whose scores `decide` refuses: a pull nobody scored, or one person alone.
    """
    if all(len(own.counts) == 1 and own.counts.all() for own in cells.values()):
        yield slice(None), dict(cells)
        return
    kinds = np.hstack([_held(own) for own in cells.values()])
    for rows in alike_rows(kinds):
        part = {name: (own if len(rows) == len(kinds) else own.rows(rows)).present() for name, own in cells.items()}
        if all(can_decide(own.counts) for own in part.values()):
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


def can_decide(counts: Array) -> bool:
    """Whether every pull was scored, and by two people in all; `counts` (B, a, h) of studies that are alike."""
    people = (over_pulls(counts) > 0).any(0).sum()
    return bool(people >= FEWEST_PEOPLE) and bool((ones(counts.shape[1]) @ counts > 0).all())
