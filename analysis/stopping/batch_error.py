"""What batches add to the error of a contrast, for a claim that goes beyond the batches tasted.

The batch is the unit beside the assessor: SE^2 = own SE^2 + batch SE^2, with Satterthwaite's degrees of freedom. The
noise of the assessors counts twice; that keeps the error. Shapes: B studies, b batches, k contrasts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.stopping.standard_errors import Error

Array = NDArray[np.float64]


def spread_of(by_batch: Array) -> Error:
    """The error of the mean of batches (B, k) from the value of each (B, b, k): sd / sqrt(b), df b - 1."""
    b = by_batch.shape[1]
    se = by_batch.std(1, ddof=1) / np.sqrt(b)
    return Error(se, np.full(se.shape, b - 1.0))


def joined(own: Error, batch: Error) -> Error:
    """Assessors and batches as units together; the own error alone where the batch error is not known (NaN)."""
    known = np.isfinite(batch.se)
    se = np.where(known, np.sqrt(own.se**2 + batch.se**2), own.se)
    with np.errstate(divide="ignore", invalid="ignore"):
        df = se**4 / (own.se**4 / own.df + batch.se**4 / batch.df)
    return Error(se, np.where(known & np.isfinite(df), df, own.df))
