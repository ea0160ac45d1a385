"""Sums and inverses of many small arrays at once, several times faster than one reduction or inversion for each.

Shapes: B batch, a assessors, h pulls.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def over_pulls(values: Array) -> Array:
    """Sums over the last axis of (B, a, h), as one product: several times faster than a reduction of short rows."""
    B, a, h = values.shape
    return (values.reshape(B * a, h) @ ones(h)).reshape(B, a)


def over_all(values: Array) -> Array:
    """Sums of all the numbers of each panel (B,)."""
    flat = values.reshape(len(values), -1)
    return np.asarray(flat @ ones(flat.shape[1]))


@cache
def ones(size: int) -> Array:
    """A row of ones to sum with, made once; not to be written to."""
    made = np.ones(size)
    made.flags.writeable = False
    return made


def inverse_and_log_det(A: Array) -> tuple[Array, Array]:
    """Inverses and log determinants of positive definite matrices (B, h, h); many at once by elimination in step."""
    if len(A) < 64:
        return np.asarray(np.linalg.inv(A), np.float64), np.asarray(np.linalg.slogdet(A)[1])
    work = np.ascontiguousarray(A.transpose(1, 2, 0))
    pivots, product = np.empty(work.shape[1:]), np.empty_like(work)
    for i in range(len(work)):
        pivots[i] = work[i, i]
        over = 1 / pivots[i]
        row, column = work[i] * over, work[:, i].copy()
        work -= np.multiply(column[:, None], row, out=product)
        work[i] = row
        np.multiply(column, -over, out=work[:, i])
        work[i, i] = over
    return np.ascontiguousarray(work.transpose(2, 0, 1)), np.log(pivots).sum(0)
