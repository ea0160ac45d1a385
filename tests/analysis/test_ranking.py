"""Ranked samples: printed examples, R and scipy values, exact critical values."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest

from analysis.choice.ranking import friedman, friedman_critical, page, page_critical

REFERENCE = Path(__file__).parents[1] / "reference"


def _rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((REFERENCE / name).read_text(encoding="utf-8").splitlines()))


def _table(data: str) -> list[list[float]]:
    return [[float(x) for x in row.split()] for row in data.split("|")]


FRIEDMAN = _rows("06a_friedman.csv")
PAGE = _rows("06b_page.csv")


@pytest.mark.parametrize("row", FRIEDMAN, ids=lambda row: row["example"])
def test_friedman_agrees_with_the_examples(row: dict[str, str]) -> None:
    """Student exercises, Korosteleva 2013, Hollander & Wolfe 1973 as printed by R 4.2.2; see the file."""
    found = friedman(_table(row["data"]))
    assert list(found.rank_sums) == pytest.approx([float(x) for x in row["rank_sums"].split()])
    assert found.statistic == pytest.approx(float(row["friedman_tie_corrected"]), abs=6e-7)
    assert found.p_value == pytest.approx(float(row["p_chi2_tie_corrected"]), rel=1e-4)
    least = next(value for key, value in row.items() if key.startswith("LSD"))
    assert found.least_difference == pytest.approx(float(least), abs=3e-4)


def test_the_one_printed_least_difference_that_is_wrong() -> None:
    """The turmeric ranking divides by 5 where the formula has 6: printed 15.06, right 13.72."""
    (row,) = [row for row in FRIEDMAN if "ERRATUM" in row["published_and_verdict"]]
    assert "15.06" in row["published_and_verdict"]
    assert friedman(_table(row["data"])).least_difference == pytest.approx(13.72, abs=0.005)


@pytest.mark.parametrize("row", [row for row in PAGE if row["data"]], ids=lambda row: row["case"])
def test_page_agrees_with_scipy_and_r(row: dict[str, str]) -> None:
    """Documented and R-generated values of scipy's own tests; with ties the asymptotic p-value is the one to take."""
    found = page(_table(row["data"]))
    assert found.statistic == pytest.approx(float(re.findall(r"L=([\d.]+)", row["published"])[0]))
    name = "exact p" if found.exact and "exact p" in row["published"] else "p"
    if not found.exact:
        name = "asymptotic p"
    p_value = float(re.findall(rf"{name}=([\d.e-]+)", row["published"])[0])
    assert found.p_value == pytest.approx(p_value, rel=1e-9)


@pytest.mark.parametrize(
    "row", [row for row in PAGE if row["case"].startswith("Page critical")], ids=lambda row: row["case"]
)
def test_page_critical_values(row: dict[str, str]) -> None:
    """Page 1963 / ISO 8587, from memory."""
    samples, assessors = (int(x) for x in re.findall(r"[kn]=(\d+)", row["case"]))
    found = [page_critical(assessors, samples, alpha) for alpha in (0.05, 0.01, 0.001)]
    assert found == [int(x) for x in row["published"].split()]


@pytest.mark.parametrize(
    "row", _rows("06c_friedman_exact_critical.csv"), ids=lambda row: f"{row['k']} {row['n']} {row['alpha']}"
)
def test_friedman_exact_critical_values(row: dict[str, str]) -> None:
    """Exact null distribution without ties, recomputed by other code; two of them in Korosteleva 2013 Table A.5."""
    found = friedman_critical(int(row["n"]), int(row["k"]), float(row["alpha"]))
    assert found == pytest.approx(float(row["recomputed"]), abs=1e-8)
    if row["published"]:
        assert found == pytest.approx(float(row["published"]))


def test_the_critical_value_keeps_its_risk_in_draws() -> None:
    """20,000 random rankings of 8 x 3 (seed 2): at or above 6.25 in 4.69 %, within four standard errors."""
    random = np.random.default_rng(2)
    ranks = random.permuted(np.tile([1, 2, 3], (20_000, 8, 1)), axis=2).sum(axis=1)
    statistic = 12 / (8 * 3 * 4) * ((ranks - 16.0) ** 2).sum(axis=1)
    critical = friedman_critical(8, 3, 0.05)
    assert critical == pytest.approx(6.25)
    assert (statistic >= 6.25 - 1e-9).mean() == pytest.approx(0.046907, abs=0.006)


def test_too_large_exact_distributions_are_refused() -> None:
    """The number of rank-sum vectors grows beyond what is worth waiting for."""
    with pytest.raises(ValueError, match="too large"):
        friedman_critical(12, 8, 0.05)


@pytest.mark.parametrize(
    ("scores", "words"),
    [
        ([[1.0, 2.0, 3.0]], "2 assessors"),
        ([[1.0, 2.0], [2.0, 1.0]], "3 samples"),
        ([[1, 2, float("nan")]] * 3, "complete"),
    ],
)
def test_unusable_rankings_are_refused(scores: list[list[float]], words: str) -> None:
    """Every assessor ranks every sample."""
    with pytest.raises(ValueError, match=words):
        friedman(scores)
