"""Quantiles of Student's t for batches, against scipy's own."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import t as student

from analysis.model.quantiles import upper_t


@pytest.mark.parametrize("level", [0.05, 0.0304, 0.0193, 0.05 / 6, 0.001])
@pytest.mark.parametrize("size", [5, 4000])
def test_quantiles_are_those_of_scipy(level: float, size: int) -> None:
    """Small and large batches, from df below 1 to infinity, against scipy.stats.t.isf."""
    df = np.geomspace(0.7, 1e8, size).reshape(-1, 5)
    df[-1, -1] = np.inf
    assert_allclose(upper_t(level, df), student.isf(level, df), rtol=1e-9)


def test_one_df_for_all_and_an_unknown_df() -> None:
    """A batch that shares its df, and NaN, which stays NaN."""
    assert_allclose(upper_t(0.05, np.full((200, 6), 35.0)), student.isf(0.05, 35))
    df = np.linspace(3, 9, 100)
    df[7] = np.nan
    found = upper_t(0.05, df)
    assert np.isnan(found[7])
    assert_allclose(np.delete(found, 7), student.isf(0.05, np.delete(df, 7)), rtol=1e-9)
