"""Equal blocks in two strata, against a reference library and against the weights of single cells."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from analysis import blocks, cell_weights, equal_blocks
from analysis.cell_weights import CellProblem
from analysis.mixed import fit_cells

Array = NDArray[np.float64]
BOTH = ("assessor", "cell")
SPREADS = [(1.0, 0.5, 1.0), (0.0, 0.5, 1.0), (1.0, 0.0, 1.0), (0.0, 0.0, 1.0), (3.0, 0.1, 0.4)]


def served(people: int, pulls: int, k: int) -> Array:
    """Who is served which pull, 0 or 1 (a, h)."""
    return np.array(blocks.servings(pulls, k, people, 1, 1, (0, pulls - 1))).transpose(1, 2, 0)[..., 0].astype(float)


def drawn(asked: Array, n: int, sd: tuple[float, float, float], batch: int = 60) -> tuple[Array, Array, Array]:
    """Counts (1, a, h), cell means centred by pull (B, a, h) and squares within cells (B,)."""
    rng = np.random.default_rng(int(asked.sum()) + n)
    a, h = asked.shape
    person, cell, error = (
        size * rng.standard_normal((batch, a, *shape)) for size, shape in zip(sd, ((1, 1), (h, 1), (h, n)), strict=True)
    )
    y = np.arange(h)[:, None] / 3 + person + cell + error
    means = y.mean(3)
    within = (((y - means[..., None]) ** 2).sum(3) * asked).sum((1, 2))
    centre = (means * asked).sum(1) / asked.sum(0)
    return n * asked[None], np.where(asked > 0, means - centre[:, None], 0.0), within


@pytest.mark.parametrize("sd", SPREADS)
@pytest.mark.parametrize(("people", "pulls", "k"), [(12, 6, 4), (10, 5, 3), (7, 6, 4), (6, 4, 4)])
@pytest.mark.parametrize("n", [1, 3])
def test_strata_and_weights_of_cells_find_the_same(
    n: int, people: int, pulls: int, k: int, sd: tuple[float, float, float]
) -> None:
    """Balanced blocks, nearly balanced ones and complete panels, boundaries included; K = 1 where no cell was scored
    twice."""
    counts, cells, within = drawn(served(people, pulls, k), n, sd)
    nested = BOTH if n > 1 else BOTH[:1]
    plan = equal_blocks.plan_of(counts)
    assert plan is not None
    ours = equal_blocks.solved(plan, cells, within, nested)
    theirs = cell_weights.solved(CellProblem(counts, cells, within, nested))
    assert_allclose(ours.deviance, theirs.deviance, atol=1e-9)
    assert_allclose(ours.rho, theirs.rho, rtol=1e-5, atol=1e-7)
    for part in ("residual", "inverse", "coefficients", "weights", "moves", "parameter_covariance"):
        atol = 1e-8 * max(1, np.abs(getattr(theirs, part)).max())
        assert_allclose(getattr(ours, part), getattr(theirs, part), rtol=2e-6, atol=atol, err_msg=part)


def test_derivatives_are_those_of_the_weights_of_cells() -> None:
    """Anywhere, not at the optimum alone: the same gradient and Hessians to the last digits."""
    counts, cells, within = drawn(served(12, 6, 4), 3, SPREADS[0])
    plan = equal_blocks.plan_of(counts)
    assert plan is not None
    rho = np.random.default_rng(4).uniform(0, 3, (60, 2))
    ours = equal_blocks.BlockProblem.of(plan, cells, within, BOTH).at(rho)
    theirs = CellProblem(counts, cells, within, BOTH).at(rho)
    assert_allclose(ours.deviance, theirs.deviance, rtol=1e-12)
    for part in ("gradient", "hessian", "cross_residual", "residual_curve", "profiled", "expected"):
        assert_allclose(getattr(ours.slope(), part), getattr(theirs.slope(), part), rtol=1e-9, atol=1e-9, err_msg=part)


def test_single_scores_in_blocks_agree_with_statsmodels() -> None:
    """Random intercepts of assessors by REML, statsmodels' MixedLM; 15 people, three of six pulls each."""
    asked = served(15, 6, 3)
    rng = np.random.default_rng(8)
    y = np.where(asked > 0, rng.normal(0, 1, (15, 1)) + np.arange(6) / 4 + rng.normal(0, 0.7, (15, 6)), 0.0)
    person, pull = np.nonzero(asked)
    frame = pd.DataFrame({"person": person, "pull": pull.astype(str), "score": y[person, pull]})
    reference = smf.mixedlm("score ~ 0 + pull", frame, groups="person").fit(reml=True)
    ours = fit_cells(asked[None], y[None], np.zeros(1))
    # MixedLM stops early, so its variances are good to four digits; its standard errors are from a numerical Hessian.
    assert_allclose(ours.loglik[0], reference.llf, atol=1e-6)
    assert_allclose(ours.means[0], reference.fe_params, atol=1e-5)
    assert_allclose(ours.residual[0], reference.scale, rtol=1e-3)
    assert_allclose(ours.assessor[0], reference.cov_re.to_numpy()[0, 0], rtol=1e-3)
    assert_allclose(np.sqrt(np.diagonal(ours.covariance[0])), reference.bse_fe, rtol=2e-3)


def test_unequal_blocks_have_no_plan() -> None:
    """One more pull for somebody, one more score in a cell, or panels that differ."""
    asked = served(12, 6, 4)[None]
    assert equal_blocks.plan_of(asked) is not None
    more, twice = asked.copy(), asked.copy()
    more[0, 0, np.flatnonzero(asked[0, 0] == 0)[0]] = 1
    twice[0, 0, 0] = 2
    assert equal_blocks.plan_of(more) is None
    assert equal_blocks.plan_of(twice) is None
    assert equal_blocks.plan_of(np.concatenate([asked, 2 * asked])) is None
