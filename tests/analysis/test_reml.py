"""The optimiser where likelihoods are awkward: ratios at zero, few people with many gaps, ratios that look alike."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from analysis.model import reml
from analysis.model.cell_fits import fit_cells
from analysis.model.cell_weights import CellProblem

Array = NDArray[np.float64]


def panels(batch: int, a: int, h: int, r: int, missing: float, seed: int, rounded: bool = False) -> tuple[Array, ...]:
    """Counts and sums (B, a, h), squares within cells (B,); every pull and assessor has two scores or more."""
    rng = np.random.default_rng(seed)
    y = (
        4
        + rng.normal(0, 0.3, (batch, a, 1, 1))
        + rng.normal(0, 0.3, (batch, a, h, 1))
        + rng.normal(0, 1, (batch, a, h, r))
    )
    if rounded:
        y = np.round(y)
    seen = rng.random(y.shape) >= missing
    index = np.arange(max(a, h))
    seen[:, index % a, index % h, 0] = seen[:, index % a, (index + 1) % h, 0] = True
    counts = seen.sum(3).astype(float)
    sums = np.where(seen, y, 0).sum(3)
    means = sums / np.maximum(counts, 1)
    return counts, sums, np.where(seen, (y - means[..., None]) ** 2, 0).sum((1, 2, 3))


def test_df_of_a_batch_are_those_of_its_panels_alone() -> None:
    """Whole numbers often put a ratio exactly at zero, where the df jump: rounding may not decide which side it is."""
    counts, sums, within = panels(150, 6, 4, 2, 0.05, 3, rounded=True)
    batch = fit_cells(counts, sums, within).difference(3)
    for row in range(len(sums)):
        alone = fit_cells(counts[[row]], sums[[row]], within[[row]]).difference(3)
        for ours, theirs in zip(batch, alone, strict=True):
            assert_allclose(ours[row], theirs[0], rtol=1e-5, atol=1e-7, err_msg=str(row))


def test_no_grid_finds_a_better_place() -> None:
    """Six to eight people with a third of the scores missing: the deviance is the least of a grid of 625 places."""
    steps = np.concatenate([[0.0], 10 ** np.linspace(-2.5, 2.5, 24)])
    for people in (6, 8):
        counts, sums, within = panels(100, people, 5, 2, 0.35, people)
        seen = counts > 0
        cells = np.where(seen, sums / np.maximum(counts, 1), 0.0)
        cells = np.where(seen, cells - (cells.sum(1) / seen.sum(1))[:, None], 0.0)
        problem = CellProblem.of(counts, cells, within, ("assessor", "cell"))
        _rho, point, _slope = reml.optimise(problem)
        for one in steps:
            for other in steps:
                assert (point.deviance <= problem.at(np.tile([one, other], (100, 1))).deviance + 1e-6).all()
