"""How unequal assessors are: the chance-corrected beta-binomial model of repeated forced-choice trials.

A description beside the verdict, never the verdict: its limits are too narrow for so few people. `mu` is the mean share
of true detections, `gamma` (0 to 1) how unequal the assessors are. At or below guessing gamma is not identified.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaln, comb, expit, gammaln, logsumexp, xlog1py, xlogy

from analysis.choice.psychometric import Array


@dataclass(frozen=True, slots=True)
class BetaBinomial:
    """Maximum likelihood. `identified` is False at or below guessing, where `gamma` means nothing and is None."""

    mu: float
    gamma: float | None
    loglik: float
    loglik_binomial: float
    identified: bool

    @property
    def likelihood_ratio(self) -> float:
        """2 (ln L - ln L of equal assessors); halve the chi-squared(1) p-value, as gamma = 0 is a boundary."""
        return 2 * (self.loglik - self.loglik_binomial)


def pmf(trials: int, mu: float, gamma: float, chance: float = 0.0) -> Array:
    """P(0 .. trials right) of one assessor, shape (trials + 1,). The share is beta(mu (1/gamma - 1), ...).

    The share p becomes chance + (1 - chance) p (Ennis & Bi 1998), so that the misses are a binomially thinned
    beta-binomial. `chance` 0 gives the plain beta-binomial.
    """
    a, b = mu * (1 / gamma - 1), (1 - mu) * (1 / gamma - 1)
    return np.asarray(np.exp(_log_pmf(trials, np.arange(trials + 1), a, b, chance)))


def fit(trials: Sequence[int], correct: Sequence[int], chance: float = 0.0) -> BetaBinomial:
    """The spread of a panel; one entry an assessor. Raises ValueError."""
    if len(trials) != len(correct) or not len(trials):
        raise ValueError("trials and correct need one entry an assessor")
    return fit_counts(_counted(trials, correct), chance)


def fit_counts(people: Mapping[tuple[int, int], int], chance: float = 0.0) -> BetaBinomial:
    """The same from {(trials, right): number of assessors}."""
    from scipy.optimize import minimize

    asked = sum(n * count for (n, _), count in people.items())
    right = sum(k * count for (_, k), count in people.items())
    equal = _loglik_binomial(people, max(right / asked, chance))
    if right <= chance * asked:
        return BetaBinomial(0.0, None, equal, equal, False)
    mu = min(max((right / asked - chance) / (1 - chance), 1e-4), 1 - 1e-4)

    def minus(parameters: Array) -> float:
        share, unequal = expit(parameters)
        a, b = share * (1 / unequal - 1), (1 - share) * (1 / unequal - 1)
        return -sum(c * float(_log_pmf(n, np.array([k]), a, b, chance)[0]) for (n, k), c in people.items())

    start = np.array([math.log(mu / (1 - mu)), -2.0])
    bounds = [(-9.0, 9.0), (-12.0, 9.0)]
    found = minimize(minus, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-15, "gtol": 1e-7})
    found = minimize(minus, found.x, method="Nelder-Mead", bounds=bounds, options={"xatol": 1e-9, "fatol": 1e-11})
    best_mu, best_gamma = expit(found.x).tolist()
    return BetaBinomial(best_mu, best_gamma, max(-float(found.fun), equal), equal, True)


def tarone_z(trials: Sequence[int], correct: Sequence[int]) -> float:
    """Tarone's (1979) z for more spread than one binomial proportion gives, without chance correction."""
    n, k = np.asarray(trials, float), np.asarray(correct, float)
    share = k.sum() / n.sum()
    spread = ((k - n * share) ** 2).sum() / (share * (1 - share))
    return float((spread - n.sum()) / math.sqrt(2 * (n * (n - 1)).sum()))


def _log_pmf(trials: int, right: ArrayLike, a: float, b: float, chance: float) -> Array:
    """ln P(right): sum over j of the misses that would have been j without guessing, each kept with 1 - chance."""
    missed = trials - np.asarray(right)
    if chance == 0:
        return np.asarray(_log_choose(trials, missed) + betaln(trials - missed + a, missed + b) - betaln(a, b))
    j = np.arange(trials + 1)
    would_miss = _log_choose(trials, j) + betaln(trials - j + a, j + b) - betaln(a, b)
    with np.errstate(divide="ignore"):
        kept = np.log(comb(j, missed[:, None])) + xlogy(missed[:, None], 1 - chance)
    kept = kept + xlogy(np.maximum(j - missed[:, None], 0), chance)
    return np.asarray(logsumexp(would_miss + kept, axis=1))


def _log_choose(n: int, k: ArrayLike) -> Array:
    k = np.asarray(k, float)
    return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1))


def _loglik_binomial(people: Mapping[tuple[int, int], int], share: float) -> float:
    return sum(c * float(_log_choose(n, k) + xlogy(k, share) + xlog1py(n - k, -share)) for (n, k), c in people.items())


def _counted(trials: Sequence[int], correct: Sequence[int]) -> dict[tuple[int, int], int]:
    people: dict[tuple[int, int], int] = {}
    for n, k in zip(trials, correct, strict=True):
        if not 0 <= k <= n:
            raise ValueError(f"correct must be between 0 and the {n} trials, got {k}")
        people[n, k] = people.get((n, k), 0) + 1
    return people
