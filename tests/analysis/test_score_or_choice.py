"""Scores beside forced choice on the same people and pieces: known powers, exactness, and fair use of pieces."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, t

from analysis.planning.score_or_choice import compare
from analysis.planning.simulation import AttributeTruth

USUAL = AttributeTruth((0.0, 0.0))
# Cups in a set, then power in per cent at d' 1 and 1.5: 8 assessors, two sittings of six servings, alpha .05, all
# alike. Made by separate exact binomial sums, psychometric functions of Ennis 1993, when forced choice was specified.
POWERS = {
    "two-alternative": (2, 98, 100),
    "three-alternative": (3, 96, 100),
    "tetrad": (4, 38, 82),
    "two-out-of-five": (5, 24, 67),
    "triangle": (3, 22, 60),
    "duo-trio": (3, 15, 47),
}


@pytest.mark.parametrize("method", POWERS)
@pytest.mark.parametrize("far", [0, 1])
def test_known_powers_come_out_again(method: str, far: int) -> None:
    """A margin of 1 or 1.5 at a spread of one mark of 1 is d' 1 or 1.5; 97.5 was noted as 98."""
    cups, *powers = POWERS[method]
    _scores, choice = compare(USUAL, (1.0, 1.5)[far], 8, 6, 2, 0.05, {method: cups}, studies=20)
    assert choice.servings == 6 // cups * 2
    assert 100 * choice.noticed == pytest.approx(powers[far], abs=0.53)


def test_a_claim_of_sameness_keeps_its_error() -> None:
    """Marked by hand: no count of right answers up to the mark is likely when a share notices; scipy's binomial."""
    _scores, choice = compare(USUAL, 1.0, 12, 6, 2, 0.05, {"three-alternative": 3}, studies=20)
    marks = [x for x in range(49) if binom.cdf(x, 48, 1 / 3) <= choice.same + 1e-12]
    assert binom.cdf(marks[-1], 48, 1 / 3) == pytest.approx(choice.same)
    assert 0.5 < choice.same < 1


def test_scores_use_the_same_pieces() -> None:
    """Two pieces are one of each sample; the widest of two errors passes a little less often than a paired t test."""
    scores = compare(AttributeTruth((0, 0), 1.0, 0.0, 1.0), 1.0, 6, 2, 3, 0.05, {}, studies=4000, seed=3)[0]
    assert scores.servings == 3
    rng = np.random.default_rng(9)
    difference = rng.standard_normal((40_000, 6)) * np.sqrt(2 / 3)
    reach = t.ppf(0.95, 5) * difference.std(1, ddof=1) / np.sqrt(6)
    alone = (difference.mean(1) + reach < 1).mean()
    assert 0.5 < alone < 0.9
    assert alone - 0.1 < scores.same < alone + 4 * scores.monte_carlo_se


def test_what_cannot_be_asked_is_refused() -> None:
    """One piece is no pair; no spread is no distance."""
    with pytest.raises(ValueError, match="palate must be 2"):
        compare(USUAL, 1.0, 8, 1, 2, 0.05, {})
    with pytest.raises(ValueError, match="above 0"):
        compare(USUAL, 0.0, 8, 6, 2, 0.05, {})
    with pytest.raises(ValueError, match="the methods are"):
        compare(USUAL, 1.0, 8, 6, 2, 0.05, {"guessing": 3}, studies=10)


def test_a_test_that_does_not_fit_the_palate_is_left_out() -> None:
    """Four cups are more than three pieces."""
    assert [row.test for row in compare(USUAL, 1.0, 8, 3, 2, 0.05, {"triangle": 3, "tetrad": 4}, studies=10)] == [
        "scores",
        "triangle",
    ]
