"""Ranked samples: do they differ at all (Friedman), and do they rise in the order named beforehand (Page)?

scipy computes statistic and p-value; added here are the rank sums, the least difference that tells two samples apart,
and exact critical values for few assessors, where the chi-squared approximation is poor.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri
from scipy.stats import friedmanchisquare, page_trend_test, rankdata

from analysis.choice.psychometric import Array

MOST_EXACT = 20_000_000  # rank-sum vectors times orders of one assessor


@dataclass(frozen=True, slots=True)
class Ranking:
    """`rank_sums` by sample; `statistic` is corrected for ties; `least_difference` between two rank sums, two-sided."""

    rank_sums: tuple[float, ...]
    statistic: float
    p_value: float
    least_difference: float


@dataclass(frozen=True, slots=True)
class Trend:
    """Page's L for the order of the columns. `exact` tells which null distribution gave the p-value (one-sided)."""

    statistic: float
    p_value: float
    exact: bool


def friedman(scores: ArrayLike, alpha: float = 0.05) -> Ranking:
    """Do the samples differ? `scores` has shape (assessors, samples): ranks or scores, ranked within each assessor.

    Three samples or more (Friedman 1937; Conover's tie correction, as in scipy). Raises ValueError.
    """
    table = _table(scores)
    assessors, samples = table.shape
    found = friedmanchisquare(*table.T)
    sums = np.asarray(rankdata(table, axis=1)).sum(axis=0)
    least = float(ndtri(1 - alpha / 2)) * math.sqrt(assessors * samples * (samples + 1) / 6)
    return Ranking(tuple(sums.tolist()), float(found.statistic), float(found.pvalue), least)


def page(scores: ArrayLike) -> Trend:
    """Do the samples rise in the order of the columns? Exact without ties, asymptotic with ties (Page 1963).

    With ties the exact distribution, which knows none, would be read at a statistic rounded down.
    """
    table = _table(scores)
    ranks = np.asarray(rankdata(table, axis=1))
    exact = bool(np.all(ranks == np.floor(ranks)))
    found = page_trend_test(table, method="exact" if exact else "asymptotic")
    return Trend(float(found.statistic), float(found.pvalue), exact)


def friedman_critical(assessors: int, samples: int, alpha: float) -> float | None:
    """Smallest value of Friedman's statistic without ties whose exact chance under equal samples is at most alpha.

    None when there is none. Raises ValueError when the exact distribution would be too large.
    """
    chances = _squares(assessors, samples)
    tail, critical = 0.0, None
    for square in sorted(chances, reverse=True):
        tail += chances[square]
        if tail > alpha * (1 + 1e-9):
            break
        critical = 12 * square / (assessors * samples * (samples + 1))
    return critical


def page_critical(assessors: int, samples: int, alpha: float) -> int | None:
    """Smallest L without ties whose exact chance under equal samples is at most alpha; None when there is none."""
    one = Counter(sum((i + 1) * rank for i, rank in enumerate(order)) for order in permutations(range(1, samples + 1)))
    low = min(one)
    chance = np.zeros(max(one) - low + 1)
    for value, count in one.items():
        chance[value - low] = count / math.factorial(samples)
    total = np.ones(1)
    for _ in range(assessors):
        total = np.convolve(total, chance)
    tail = np.cumsum(total[::-1])[::-1]
    reached = np.flatnonzero(tail <= alpha * (1 + 1e-9))
    return int(reached[0]) + assessors * low if len(reached) else None


def _squares(assessors: int, samples: int) -> dict[float, float]:
    """Chance of each sum of squared deviations of the rank sums from their mean, by adding one assessor at a time."""
    orders = list(permutations(range(1, samples + 1)))
    sums: Counter[tuple[int, ...]] = Counter({(0,) * samples: 1})
    for _ in range(assessors):
        if len(sums) * len(orders) > MOST_EXACT:
            raise ValueError(f"no exact distribution for {assessors} assessors and {samples} samples: too large")
        after: Counter[tuple[int, ...]] = Counter()
        for vector, count in sums.items():
            for order in orders:
                # samples are exchangeable, so that only the sorted sums need to be told apart
                after[tuple(sorted(map(int.__add__, vector, order)))] += count
        sums = after
    mean, whole = assessors * (samples + 1) / 2, math.factorial(samples) ** assessors
    chances: Counter[float] = Counter()
    for vector, count in sums.items():
        chances[sum((rank - mean) ** 2 for rank in vector)] += count / whole
    return dict(chances)


def _table(scores: ArrayLike) -> Array:
    table = np.asarray(scores, float)
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] < 3:
        raise ValueError(f"scores need 2 assessors and 3 samples or more, got shape {table.shape}")
    if not np.all(np.isfinite(table)):
        raise ValueError("scores must be complete: every assessor ranks every sample")
    return table
