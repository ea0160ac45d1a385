"""The assessor's own error with scores missing, against the formula written out with full matrices."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.linalg import block_diag, inv, sqrtm
from scipy.stats import ttest_rel

from analysis.model.cluster_robust import _distinct, bounds, cluster_robust
from analysis.model.mixed import CellFits, fit_cells

Array = np.ndarray


def panels(batch: int, a: int, h: int, r: int, missing: float, seed: int = 1) -> tuple[Array, Array, Array]:
    """Counts, cell means and squares within cells; every pull and assessor keeps two scores at least."""
    rng = np.random.default_rng(seed)
    y = rng.normal(0, 1, (batch, a, 1, 1)) + rng.normal(0, 0.5, (batch, a, h, 1)) + rng.normal(0, 1, (batch, a, h, r))
    seen = rng.random(y.shape) >= missing
    index = np.arange(a)
    seen[:, index, index % h, 0] = seen[:, index, (index + 1) % h, 0] = True
    counts = seen.sum(3)
    means = np.where(seen, y, 0).sum(3) / np.maximum(counts, 1)
    return counts.astype(float), means, np.where(seen, (y - means[..., None]) ** 2, 0).sum((1, 2, 3))


def written_out(
    counts: Array, cells: Array, fits: CellFits, row: int, weights: Array
) -> tuple[list[float], list[float]]:
    """SE and df of one panel: A = Phi^1/2 (Phi^1/2 (Phi - X M X') Phi^1/2)^-1/2 Phi^1/2, variance sum (c'M X'W A e)^2.

    On sqrt(n) times each cell mean, which holds all that the fit sees of the rows.

    Formulas of Bell & McCaffrey 2002 and Pustejovsky & Tipton 2018, from memory.
    """
    h = cells.shape[2]
    seen = fits.weights[row] > 0
    root_n = [np.sqrt(n[s]) for n, s in zip(counts[row], seen, strict=True)]
    X = [r[:, None] * np.eye(h)[s] for r, s in zip(root_n, seen, strict=True)]
    Phi = [
        np.outer(r, r) * (np.diag(1 / w[s]) + fits.assessor_ratio[row])
        for r, w, s in zip(root_n, fits.weights[row], seen, strict=True)
    ]
    M = inv(sum(x.T @ inv(phi) @ x for x, phi in zip(X, Phi, strict=True)))
    P = []
    for x, phi in zip(X, Phi, strict=True):
        root = np.real(sqrtm(phi))
        A = root @ inv(np.real(sqrtm(root @ (phi - x @ M @ x.T) @ root))) @ root
        P.append(A @ inv(phi) @ x @ M)
    spread = block_diag(*Phi) - np.vstack(X) @ M @ np.vstack(X).T
    edges = np.cumsum([0, *(len(x) for x in X)])
    errors, free = [], []
    for c in weights:
        blocks = np.zeros((len(X), len(spread)))
        for i, p in enumerate(P):
            blocks[i, edges[i] : edges[i + 1]] = p @ c
        e = np.concatenate([root_n[i] * (cells[row, i] - fits.means[row])[s] for i, s in enumerate(seen)])
        table = blocks @ spread @ blocks.T
        errors.append(float(np.sqrt(((blocks @ e) ** 2).sum())))
        free.append(float(np.trace(table) ** 2 / (table**2).sum()))
    return errors, free


@pytest.mark.parametrize(("shape", "missing"), [((12, 6, 3), 0.05), ((8, 5, 2), 0.3), ((6, 4, 1), 0.2)])
def test_errors_and_df_are_those_of_the_formula(shape: tuple[int, int, int], missing: float) -> None:
    """Differences to the last pull and plain means, six panels each."""
    counts, cells, within = panels(6, *shape, missing)
    fits = fit_cells(counts, counts * cells, within)
    eye = np.eye(shape[1])
    weights = np.vstack([(eye - eye[-1])[:-1], eye])
    se, df = cluster_robust(counts, cells, fits, weights)
    for row in range(6):
        errors, free = written_out(counts, cells, fits, row, weights)
        assert_allclose(se[row], errors, rtol=1e-8)
        assert_allclose(df[row], free, rtol=1e-8)


def test_complete_data_give_the_paired_test() -> None:
    """SE and df of scipy's paired t test on assessors' means, to rounding."""
    counts, cells, within = panels(4, 9, 5, 2, 0.0)
    fits = fit_cells(counts, counts * cells, within)
    se, df = cluster_robust(counts, cells, fits, np.eye(5)[:4] - np.eye(5)[4])
    for row in range(4):
        for pull in range(4):
            paired = ttest_rel(cells[row, :, pull], cells[row, :, 4])
            difference = (cells[row, :, pull] - cells[row, :, 4]).mean()
            assert se[row, pull] == pytest.approx(difference / paired.statistic, rel=1e-10)
            assert df[row, pull] == pytest.approx(paired.df, rel=1e-10)


def test_the_reference_against_itself_has_no_error() -> None:
    """A contrast of zeros: SE 0, df unknown."""
    counts, cells, within = panels(2, 8, 4, 2, 0.2)
    se, df = cluster_robust(counts, cells, fit_cells(counts, counts * cells, within), np.zeros((1, 4)))
    assert_allclose(se, 0)
    assert np.isnan(df).all()


@pytest.mark.parametrize("pulls", [6, 30])
def test_assessors_who_were_served_alike_share_an_adjustment(pulls: int) -> None:
    """Four kinds of blocks among twelve assessors: as many adjustments a study, each belonging to its own counts."""
    rng = np.random.default_rng(6)
    kinds = rng.integers(0, 5, (4, pulls))
    chosen = rng.integers(0, 4, (30, 12))
    chosen[:, :4] = np.arange(4)
    counts = kinds[chosen].astype(float)
    study, person, place = _distinct(counts)
    assert np.bincount(study).tolist() == [4] * 30
    assert_allclose(counts[study, person][place], counts)
    assert (study[place] == np.arange(30)[:, None]).all()


@pytest.mark.parametrize("missing", [0.1, 0.3])
def test_copies_of_a_score_count_once(missing: float) -> None:
    """Every score written down twice says no more than once, whoever missed which pull."""
    counts, cells, _within = panels(20, 8, 5, 1, missing)
    eye = np.eye(5)
    weights = (eye - eye[-1])[:-1]
    once = cluster_robust(counts, cells, fit_cells(counts, counts * cells, np.zeros(20)), weights)
    fits = fit_cells(2 * counts, 2 * counts * cells, np.zeros(20))
    assert fits.copied.all()
    for doubled, single in zip(cluster_robust(2 * counts, cells, fits, weights), once, strict=True):
        assert_allclose(doubled, single, rtol=1e-10)


@given(
    people=st.integers(2, 12),
    pulls=st.integers(2, 6),
    replicates=st.integers(1, 4),
    missing=st.floats(0, 0.6),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=150, deadline=None)
def test_bounds_enclose_what_they_stand_for(
    people: int, pulls: int, replicates: int, missing: float, seed: int
) -> None:
    """SE and df of differences and of means, in panels of every size with any gaps."""
    counts, cells, within = panels(8, people, max(pulls, 3), replicates, missing, seed)
    assume((counts > 0).any(1).all())
    fits = fit_cells(counts, counts * cells, within)
    eye = np.eye(cells.shape[2])
    weights = np.vstack([(eye - eye[-1])[:-1], eye])
    se, df = cluster_robust(counts, cells, fits, weights)
    (least_se, most_df), (most_se, fewest_df) = bounds(counts, cells, fits, weights)
    assert (least_se <= se).all()
    assert (se <= most_se).all()
    known = np.isfinite(most_se)
    assert (fewest_df[known] <= df[known]).all()
    assert (df[known] <= most_df[known]).all()


def test_bounds_are_close_enough_to_settle_most() -> None:
    """12 people, 6 pulls, 3 servings, 5 % missing: the bounds of most errors lie within a tenth of each other."""
    counts, cells, within = panels(100, 12, 6, 3, 0.05)
    eye = np.eye(6)
    (least, _), (most, _) = bounds(counts, cells, fit_cells(counts, counts * cells, within), (eye - eye[-1])[:-1])
    assert np.median(most / least) < 1.1
