"""The bounded minimiser: known minima, scipy as oracle, and panels whose likelihood has two tops."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize, rosen, rosen_der

from analysis.choice import threshold
from analysis.choice.descent import descend

WIDE = np.full(3, 1e6)


def test_a_curved_valley_is_followed_to_its_end() -> None:
    """Rosenbrock's function of three parameters: minimum 0 at 1, 1, 1."""
    found = descend(lambda x: (float(rosen(x)), rosen_der(x)), np.array([-1.2, 1.0, 2.0]), -WIDE, WIDE)
    assert found.at == pytest.approx(np.ones(3), abs=1e-4)


@given(
    centre=st.lists(st.floats(-3, 3), min_size=3, max_size=3),
    mixing=st.lists(st.floats(-1, 1), min_size=9, max_size=9),
    start=st.lists(st.floats(-1, 1), min_size=3, max_size=3),
)
@settings(max_examples=60, deadline=None)
@example(  # once went to and fro along a face
    [0.0, 1.75, 2.25], [0.5, 0.0, 0.90625, 0.0, 0.0, 0.21875, 0.125, 0.0625, 0.59375], [0.0, -0.375, 0.0]
)
def test_bounded_bowls_agree_with_scipy(centre: list[float], mixing: list[float], start: list[float]) -> None:
    """Convex quadratics in the box from -1 to 1, minimum often on its faces; scipy's L-BFGS-B as oracle."""
    half = np.array(mixing).reshape(3, 3)
    curve = half @ half.T + 0.1 * np.eye(3)

    def bowl(x: np.ndarray) -> tuple[float, np.ndarray]:
        away = x - np.array(centre)
        return float(away @ curve @ away), 2 * curve @ away

    found = descend(bowl, np.array(start), -np.ones(3), np.ones(3))
    oracle = minimize(bowl, start, jac=True, method="L-BFGS-B", bounds=[(-1, 1)] * 3, options={"ftol": 1e-14})
    assert found.value <= oracle.fun + 1e-5 * (1 + abs(oracle.fun))
    assert np.all(np.abs(found.at) <= 1)


def test_equal_bounds_fix_a_parameter() -> None:
    """A profile holds one parameter and climbs over the others."""
    lower, upper = np.array([-5.0, 0.7, -5.0]), np.array([5.0, 0.7, 5.0])
    found = descend(lambda x: (float(x @ x), 2 * x), np.array([1.0, 3.0, -2.0]), lower, upper)
    assert found.at == pytest.approx([0.0, 0.7, 0.0], abs=1e-5)


@pytest.mark.parametrize("seed", range(4))
def test_no_random_start_climbs_higher(seed: int) -> None:
    """Panels of 9 with steep curves, or only guessing (seed 3): random starts of scipy's TNC find no better."""
    random = np.random.default_rng(seed)
    doses = 2.0 ** np.arange(1, 7)
    m = np.log(11) + 0.3 * random.standard_normal((9, 1))
    right = np.full((9, 6), 1 / 3) if seed == 3 else 1 / 3 + 0.65 / (1 + np.exp(-(np.log(doses) - m) / 0.1))
    correct = random.binomial(3, right)
    answers = threshold.DoseAnswers(tuple(map(str, range(9))), doses, np.full_like(correct, 3), correct)
    lower, upper = np.array(threshold._bounds(answers)).T
    starts = lower + (upper - lower) * random.random((10, 3))
    bounds = list(zip(lower, upper, strict=True))
    others = [
        minimize(threshold._minus_loglik, start, (answers, 1 / 3), jac=True, method="TNC", bounds=bounds).fun
        for start in starts
    ]
    assert threshold.fit(answers, "triangle").loglik >= -min(others) - 1e-3
