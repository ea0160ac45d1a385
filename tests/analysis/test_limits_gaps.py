"""Gaps in the table of sittings: what is filled in, against an ordinary least-squares fit that never fills anything."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose

from analysis.model.scores import Scores, cells_of
from analysis.stopping.standard_errors import additive_filled, sitting_squares

SHAPE = (6, 5, 3)  # assessors, pulls, sittings


def _with_gaps(share: float, shared: bool, studies: int = 20) -> np.ndarray:
    """Tables with a share of cells missing, in all studies the same ones or not."""
    rng = np.random.default_rng(5)
    y = rng.standard_normal((studies, *SHAPE)) + np.arange(5.0)[:, None]
    gaps = rng.random(y.shape) < share
    if shared:
        gaps[:] = gaps[0]
    y[gaps] = np.nan
    return y


def _margins() -> np.ndarray:
    """A column for every level of every two factors together."""
    levels = np.array(list(product(*map(range, SHAPE))))
    pairs = [levels[:, [one, other]] for one, other in ((0, 1), (0, 2), (1, 2))]
    return np.hstack([(pair[:, None] == np.unique(pair, axis=0)).all(2).astype(float) for pair in pairs])


@pytest.mark.parametrize(("share", "shared"), [(0.02, False), (0.1, False), (0.3, False), (0.3, True)])
def test_the_rest_is_that_of_a_fit_to_the_observed_cells_alone(share: float, shared: bool) -> None:
    """Sum of squares left by numpy's lstsq on the observed rows; the filled cells add nothing to it."""
    y, margins = _with_gaps(share, shared), _margins()
    squares = sitting_squares(cells_of(Scores(y[..., None]), trays=True))
    assert squares is not None
    for study, table in enumerate(y.reshape(len(y), -1)):
        seen = np.isfinite(table)
        fitted = margins @ np.linalg.lstsq(margins[seen], table[seen], rcond=None)[0]
        left = ((table - fitted)[seen] ** 2).sum()
        assert_allclose(squares.rest[study] * squares.rest_df[study], left, atol=1e-9)


def test_one_gap_is_filled_by_the_textbook_formula() -> None:
    """Missing value of a three-way table without its highest interaction (Yates 1933): the fit to the others there."""
    y, margins = _with_gaps(0.0, shared=True, studies=1), _margins()
    y[0, 2, 3, 1] = np.nan
    filled, gaps = additive_filled(y)
    table = y.reshape(-1)
    seen = np.isfinite(table)
    fitted = margins @ np.linalg.lstsq(margins[seen], table[seen], rcond=None)[0]
    assert gaps.tolist() == [1.0]
    assert_allclose(filled.reshape(-1)[~seen], fitted[~seen])
    assert_allclose(filled.reshape(-1)[seen], table[seen])


def test_what_somebody_never_tasted_is_no_disagreement() -> None:
    """Assessor 0 never had pull 4; all scores are additive: nothing is left to disagree, between people or sittings."""
    person, pull = np.linspace(-1, 1, 6)[:, None, None], np.arange(5.0)[:, None]
    y = np.broadcast_to(person + pull, (1, *SHAPE)).copy()
    y[0, 0, 4, :] = np.nan
    squares = sitting_squares(cells_of(Scores(y[..., None]), trays=True))
    assert squares is not None
    assert_allclose([squares.rest[0], squares.daily[0]], 0, atol=1e-20)
    assert squares.personal[0] < 0.06
