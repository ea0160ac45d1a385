"""Agreement of a panel against the published worked example."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.stopping.agreement import agreement

# Shrout & Fleiss 1979, Psychol Bull 86:420, table 2: six targets, four judges; ICC(2,4) = .62 (recalled, also in the
# documentation of several libraries).
RATINGS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]


def tidy(table: list[list[float]]) -> pd.DataFrame:
    """Rows are pulls, columns assessors."""
    rows = [(f"J{j}", float(i), "x", score) for i, row in enumerate(table) for j, score in enumerate(row)]
    return pd.DataFrame(rows, columns=["assessor", "hours", "attribute", "score"])


def test_the_mean_of_four_judges_agrees_as_published() -> None:
    """ICC(2,4) = .62 of the published example, inside its own limits."""
    found = agreement(tidy([[float(s) for s in row] for row in RATINGS]), "x")
    assert found is not None
    assert found.mean == pytest.approx(0.62, abs=0.005)
    assert found.low < found.mean < found.high
    assert found.assessors == 4


def test_replicates_are_averaged_first() -> None:
    """Two servings of each pull with the same scores change nothing."""
    once = tidy([[float(s) for s in row] for row in RATINGS])
    assert agreement(pd.concat([once, once]), "x") == agreement(once, "x")


def test_what_cannot_be_described_is_left_out() -> None:
    """A missing cell, two pulls only, or one score everywhere."""
    data = tidy([[float(s) for s in row] for row in RATINGS])
    assert agreement(data.drop(0), "x") is None
    assert agreement(data[data["hours"] < 2], "x") is None
    assert agreement(data.assign(score=3.0), "x") is None
    assert agreement(data.assign(score=np.nan).dropna(), "x") is None
