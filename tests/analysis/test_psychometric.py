"""Psychometric functions: tabled values, a simulation of the decision rule, and the laws of an inverse."""

from __future__ import annotations

import csv
import math
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.choice.psychometric import (
    LARGEST_D_PRIME,
    METHODS,
    d_prime,
    from_discriminators,
    method_named,
    proportion_correct,
    slope,
    to_discriminators,
)

REFERENCE = Path(__file__).parents[1] / "reference"


def _rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((REFERENCE / name).read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize(
    "row", _rows("03a_thurstone_pc_from_dprime.csv"), ids=lambda row: f"{row['method']} {row['dprime']}"
)
def test_proportion_correct_and_slope_agree_with_the_tabled_integrals(row: dict[str, str]) -> None:
    """Formulas of Ura 1960, David & Trivedi 1962, Ennis 1993, Ennis et al. 1998, integrated by other code."""
    distance, chance = float(row["dprime"]), method_named(row["method"]).chance
    right = float(proportion_correct(row["method"], distance))
    assert right == pytest.approx(float(row["pc"]), abs=6e-7)
    assert (right - chance) / (1 - chance) == pytest.approx(float(row["pd_from_pc"]), abs=1e-6)
    assert slope(row["method"], distance) == pytest.approx(float(row["dpc_ddprime"]), abs=6e-7)


@pytest.mark.parametrize("row", [r for r in _rows("03a_thurstone_pc_from_dprime.csv") if r["monte_carlo_pc"]], ids=str)
def test_proportion_correct_agrees_with_draws_of_the_decision_rule(row: dict[str, str]) -> None:
    """The file's Monte Carlo column: 4 million draws, standard error at most .00025."""
    right = float(proportion_correct(row["method"], float(row["dprime"])))
    assert right == pytest.approx(float(row["monte_carlo_pc"]), abs=1e-3)


@pytest.mark.parametrize(
    "row", _rows("03b_thurstone_dprime_from_pc.csv"), ids=lambda row: f"{row['method']} {row['pc']}"
)
def test_d_prime_agrees_with_the_tabled_inverse(row: dict[str, str]) -> None:
    """B = pc (1 - pc) / f'(d')^2 (Bi, Ennis & O'Mahony 1997) is the variance of d' for one answer."""
    share = float(row["pc"])
    distance = d_prime(row["method"], share)
    assert distance == pytest.approx(float(row["dprime"]), abs=6e-5)
    assert share * (1 - share) / slope(row["method"], distance) ** 2 == pytest.approx(float(row["B"]), rel=1e-4)


@pytest.mark.parametrize(
    "row", _rows("03c_thurstone_recalled_table_values.csv"), ids=lambda r: f"{r['method']} {r['pc']}"
)
def test_d_prime_agrees_with_recalled_published_tables(row: dict[str, str]) -> None:
    """Ennis 1993, ASTM E2262; from memory, two decimals."""
    published = row["dprime_recalled"]
    digits = len(published.partition(".")[2])
    assert d_prime(row["method"], float(row["pc"])) == pytest.approx(float(published), abs=0.6 * 10**-digits)


def test_two_out_of_five_has_the_values_computed_in_two_other_ways() -> None:
    """Two other integrations, done apart from this code: f(0) = .1, f(1) = .212843, f(2) = .476540, f(3) = .731602."""
    right = proportion_correct("two-out-of-five", [0.0, 1.0, 2.0, 3.0])
    assert right == pytest.approx([0.1, 0.212843, 0.476540, 0.731602], abs=1e-6)


@pytest.mark.parametrize("distance", [0.0, 1.0, 2.5])
def test_two_out_of_five_is_the_closest_grouping(distance: float) -> None:
    """300,000 draws (seed 5) grouped by least squares within groups: standard error below .001."""
    tasted = np.random.default_rng(5).standard_normal((300_000, 5))
    tasted[:, :2] += distance
    squares = [_within(tasted[:, list(pair)]) + _within(tasted[:, _others(pair)]) for pair in combinations(range(5), 2)]
    found = float((np.argmin(squares, axis=0) == 0).mean())
    assert float(proportion_correct("two-out-of-five", distance)) == pytest.approx(found, abs=0.004)


def _others(pair: tuple[int, ...]) -> list[int]:
    return [i for i in range(5) if i not in pair]


def _within(group: np.ndarray) -> np.ndarray:
    return ((group - group.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)


@pytest.mark.parametrize(
    ("method", "at_30", "at_50", "pd_at_1"),
    [
        ("triangle", 1.64, 2.32, 13),
        ("two-out-of-five", 1.62, 2.26, 13),
        ("duo-trio", 1.42, 2.02, 17),
        ("tetrad", 1.14, 1.59, 24),
        ("three-alternative", 0.66, 1.12, 45),
        ("two-alternative", 0.54, 0.95, 52),
    ],
)
def test_one_pd_limit_is_another_distance_in_every_test(method: str, at_30: float, at_50: float, pd_at_1: int) -> None:
    """Worked out apart from this code; cut, not rounded, in 0.66 and 0.54, and 16.495 stands as 17."""
    assert d_prime(method, from_discriminators(method, 0.3)) == pytest.approx(at_30, abs=0.0052)
    assert d_prime(method, from_discriminators(method, 0.5)) == pytest.approx(at_50, abs=0.0052)
    assert 100 * to_discriminators(method, float(proportion_correct(method, 1.0))) == pytest.approx(pd_at_1, abs=0.51)


@pytest.mark.parametrize("method", METHODS)
@given(share=st.floats(0.0, 1.0, exclude_max=True))
def test_the_distance_leads_back_to_its_proportion(method: str, share: float) -> None:
    """pc(d'(pc)) = pc above guessing; 0 at or below it."""
    distance = d_prime(method, share)
    if share <= method_named(method).chance:
        assert distance == 0.0
    else:
        assert float(proportion_correct(method, distance)) == pytest.approx(share, abs=1e-11)


@pytest.mark.parametrize("method", METHODS)
def test_more_distance_never_means_fewer_right(method: str) -> None:
    """f rises from guessing to certainty."""
    right = proportion_correct(method, np.linspace(0.0, LARGEST_D_PRIME, 400))
    assert right[0] == pytest.approx(method_named(method).chance, abs=1e-12)
    assert np.all(np.diff(right) > -1e-12)
    assert right[-1] == pytest.approx(1.0, abs=1e-12)


def test_all_right_has_no_finite_distance() -> None:
    """d' at a proportion of 1 is infinite."""
    assert math.isinf(d_prime("triangle", 1.0))


@pytest.mark.parametrize(
    ("spelling", "name"), [("3-AFC", "three-alternative"), ("2-afc", "two-alternative"), ("Duo Trio", "duo-trio")]
)
def test_other_spellings_are_known(spelling: str, name: str) -> None:
    """2-AFC and 3-AFC are accepted, in any case."""
    assert method_named(spelling).name == name


def test_an_unknown_method_is_answered_with_the_list_and_the_nearest() -> None:
    """The error names all six and the nearest."""
    with pytest.raises(ValueError, match=r"triangle, duo-trio, .* the nearest is triangle"):
        method_named("triangel")


@pytest.mark.parametrize(("call", "words"), [((-1.0,), "d' must be 0"), ((float("nan"),), "d' must be 0")])
def test_a_negative_distance_is_refused(call: tuple[float], words: str) -> None:
    """Distances are 0 or more."""
    with pytest.raises(ValueError, match=words):
        proportion_correct("triangle", *call)


def test_a_proportion_outside_its_range_is_refused() -> None:
    """Proportions lie between 0 and 1."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        d_prime("triangle", 1.2)
