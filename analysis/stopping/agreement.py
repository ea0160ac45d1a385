"""How far the panel's means would repeat with other such assessors: an intraclass correlation, as description."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import pandas as pd

CODES = ("ICC(A,k)", "ICC2k")  # the name of the same coefficient in newer and older versions of the library


@dataclass(frozen=True, slots=True)
class Agreement:
    """Two-way random effects, absolute agreement, mean of `assessors` (Shrout & Fleiss 1979, case 2), 95 % limits."""

    mean: float
    low: float
    high: float
    assessors: int


def agreement(data: pd.DataFrame, attribute: str) -> Agreement | None:
    """Agreement on one attribute from the assessors' means of each pull; None when a cell is empty or nothing varies.

    Args:
        data: tidy scores with the columns assessor, hours, attribute, score.
        attribute: the one to describe.
    """
    cells = data[data["attribute"] == attribute].groupby(["hours", "assessor"])["score"].mean().unstack()
    if cells.shape[0] < 3 or cells.shape[1] < 2 or cells.isna().any(axis=None) or cells.stack().nunique() < 2:
        return None
    rows = cells.reset_index().melt("hours", var_name="assessor", value_name="score")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library still uses what pandas is about to drop
        import pingouin

        table = pingouin.intraclass_corr(rows, targets="hours", raters="assessor", ratings="score")
    row = table[table["Type"].isin(CODES)].iloc[0]
    limits = next(row[name] for name in ("CI95", "CI95%") if name in row)
    return Agreement(float(row["ICC"]), float(limits[0]), float(limits[1]), cells.shape[1])
