"""The spread between assessors: the Saxony families, the chance-corrected distribution, and its limits."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import beta, betabinom, binom

from analysis.choice.beta_binomial import fit, fit_counts, pmf, tarone_z

ROWS = {
    row["quantity"]: row
    for row in csv.DictReader(
        (Path(__file__).parents[1] / "reference/04_beta_binomial.csv").read_text(encoding="utf-8").splitlines()
    )
}
BOYS = [int(x) for x in ROWS["data counts x=0..12"]["published"].split()]
FAMILIES = {(12, boys): families for boys, families in enumerate(BOYS)}


def _value(quantity: str) -> float:
    return float(ROWS[quantity]["recomputed"])


def test_the_saxony_families() -> None:
    """Geissler 1889, boys among 12 children of 6115 families; by Newton's method in other code, see the file.

    The recalled published estimates (34.09558, 31.5715) are under-converged, so the likelihood is compared.
    """
    found = fit_counts(FAMILIES)
    assert found.gamma is not None
    assert found.loglik == pytest.approx(_value("log-likelihood beta-binomial at ML"), abs=6e-5)
    assert found.loglik_binomial == pytest.approx(_value("log-likelihood binomial"), abs=6e-5)
    assert found.likelihood_ratio == pytest.approx(_value("LR statistic 2(llBB-llB)"), abs=2e-4)
    assert found.mu == pytest.approx(_value("mu = alpha/(alpha+beta)"), abs=1e-6)
    assert found.gamma == pytest.approx(_value("gamma = 1/(alpha+beta+1)"), abs=1e-6)
    assert found.mu * (1 / found.gamma - 1) == pytest.approx(_value("alpha ML"), abs=2e-3)


def test_the_recalled_estimates_lie_just_below_the_maximum() -> None:
    """alpha 34.09558, beta 31.5715 (from memory): 1.5e-6 below in log-likelihood."""
    a, b = (float(ROWS[f"{name} ML"]["published"]) for name in ("alpha", "beta"))
    loglik = float(np.array(BOYS) @ betabinom.logpmf(np.arange(13), 12, a, b))
    assert 0 < fit_counts(FAMILIES).loglik - loglik < 1e-5


def test_moments_and_trend_of_the_saxony_families() -> None:
    """Mean, second moment, method of moments and Tarone's z; the values seen on public pages."""
    x, families = np.arange(13), np.array(BOYS)
    assert families.sum() == 6115
    m1, m2 = families @ x / 6115, families @ x**2 / 6115
    assert (m1, m2) == (pytest.approx(_value("m1"), abs=1e-6), pytest.approx(_value("m2"), abs=1e-6))
    whole = 12 * (m2 / m1 - m1 - 1) + m1
    a = (12 * m1 - m2) / whole
    assert a == pytest.approx(_value("alpha method of moments"), abs=1e-4)
    assert a * (12 / m1 - 1) == pytest.approx(_value("beta method of moments"), abs=1e-4)
    assert families @ (x - m1) ** 2 / 6114 == pytest.approx(_value("sample variance"), abs=6e-5)
    share = m1 / 12
    assert share == pytest.approx(_value("binomial ML p"), abs=1e-6)
    assert 12 * share * (1 - share) == pytest.approx(_value("binomial variance at ML"), abs=6e-5)
    trials, boys = np.full(6115, 12), np.repeat(x, families)
    assert tarone_z(trials.tolist(), boys.tolist()) == pytest.approx(_value("Tarone z"), abs=6e-5)


CORRECTED = [row for name, row in ROWS.items() if name.startswith("chance-corrected BB pmf")]


@pytest.mark.parametrize("row", CORRECTED, ids=lambda row: row["quantity"])
def test_the_chance_corrected_distribution(row: dict[str, str]) -> None:
    """Ennis & Bi 1998; the file's values by formula and by quadrature."""
    n, mu, gamma, chance, x = (float(v) for v in re.findall(r"=([\d.]+)", row["quantity"]))
    exact = {0.3333: 1 / 3}.get(chance, chance)
    assert pmf(int(n), mu, gamma, exact)[int(x)] == pytest.approx(float(row["recomputed"]), abs=6e-9)


@pytest.mark.parametrize("chance", [0.0, 0.1, 0.5])
def test_the_distribution_is_a_mixture_of_binomials(chance: float) -> None:
    """scipy.integrate.quad over the beta distribution of shares; without guessing scipy.stats.betabinom."""
    mu, gamma, n = 0.35, 0.25, 6
    a, b = mu * (1 / gamma - 1), (1 - mu) * (1 / gamma - 1)
    for x, found in enumerate(pmf(n, mu, gamma, chance)):
        mixture = quad(lambda p, x=x: binom.pmf(x, n, chance + (1 - chance) * p) * beta.pdf(p, a, b), 0, 1)[0]
        assert found == pytest.approx(mixture, abs=1e-7)
        if chance == 0:
            assert found == pytest.approx(betabinom.pmf(x, n, a, b), rel=1e-10)


def test_at_or_below_guessing_the_spread_is_not_identified() -> None:
    """54 people, two trials each, 29 of 108 right at guess rate 1/3 (public question, see the file): mu 0, no gamma."""
    assert "29 of 108" in next(row["published"] for name, row in ROWS.items() if name.startswith("pancake"))
    found = fit([2] * 54, [1] * 29 + [0] * 25, 1 / 3)
    assert (found.mu, found.gamma, found.identified) == (0.0, None, False)


def test_a_panel_of_two_kinds_is_more_spread_than_one_of_equals() -> None:
    """Half always right and half guessing, against everybody in between."""
    two_kinds = fit([6] * 12, [6] * 6 + [2] * 6, 1 / 3)
    equals = fit([6] * 12, [4] * 12, 1 / 3)
    assert two_kinds.gamma is not None
    assert equals.gamma is not None
    assert two_kinds.gamma > 0.5 > 0.1 > equals.gamma


@pytest.mark.parametrize(
    ("trials", "correct", "words"), [([2], [3], "between 0 and the 2"), ([2, 2], [1], "one entry")]
)
def test_impossible_counts_are_refused(trials: list[int], correct: list[int], words: str) -> None:
    """Counts lie between 0 and the trials, one an assessor."""
    with pytest.raises(ValueError, match=words):
        fit(trials, correct)
