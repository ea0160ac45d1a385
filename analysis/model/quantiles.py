"""Quantiles of Student's t for whole batches of degrees of freedom."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.polynomial import Chebyshev, Polynomial
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

Array = NDArray[np.float64]
# Below this many a direct call is as fast; below these df the quantile is too steep for the series.
FEW = 64
LEAST_DF = 2.0
DEGREE = 16


def upper_t(level: float, df: Array) -> Array:
    """The value that Student's t with `df` degrees of freedom exceeds with chance `level`, for each df > 0.

    A large batch is read from a Chebyshev series in 1 / df, fitted once a level, which agrees with the direct
    quantile to 1e-9; df below 2 and small batches are computed directly.
    """
    df = np.asarray(df, float)
    if df.size < FEW:
        return np.asarray(stdtrit(df, 1 - level))
    first = df.flat[0]
    if (df == first).all():
        return np.broadcast_to(np.asarray(stdtrit(first, 1 - level), np.float64), df.shape)
    # Horner's scheme in place, from 1 / df as a share of its range.
    x = LEAST_DF / np.maximum(df, LEAST_DF)
    highest, *rest = _series(level)
    found = np.full(df.shape, highest)
    for coefficient in rest:
        found *= x
        found += coefficient
    steep = df < LEAST_DF
    if steep.any():
        found[steep] = stdtrit(df[steep], 1 - level)
    return np.asarray(found)


@lru_cache(maxsize=64)
def _series(level: float) -> tuple[float, ...]:
    """Coefficients of the quantile, highest power first, in LEAST_DF / df between 0 and 1."""

    def quantile(x: Array) -> Array:
        with np.errstate(divide="ignore"):
            return np.asarray(np.where(x > 0, stdtrit(1 / np.maximum(x, 1e-300), 1 - level), ndtri(1 - level)))

    series = Chebyshev.interpolate(lambda x: quantile(x / LEAST_DF), DEGREE, domain=[0, 1])
    return tuple(float(c) for c in series.convert(kind=Polynomial).coef[::-1])
