"""Psychometric functions of the six forced-choice tests: chance of a right answer against d'.

d' is the distance between the two samples in units of the noise of one tasting (Thurstone's model with equal, normal,
independent noise). Reading order: the methods, f and its slope, the inverse, then one integral a test.

Imports only numpy and scipy.special, because a command must answer within a second of its start.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]

LARGEST_D_PRIME = 20.0  # every test is right with a chance of 1 within 1e-12 long before this


@dataclass(frozen=True, slots=True)
class Psychometric:
    """One forced-choice test: its name, the chance of a right answer by guessing, and f(d') -> proportion correct.

    `by_grouping`: which answer is right rests on a rule that groups the cups, and with it d'.
    """

    name: str
    guess: Fraction
    right: Callable[[Array], Array]
    by_grouping: bool = False

    @property
    def chance(self) -> float:
        """The guess rate as a number, rounded once."""
        return float(self.guess)


def method_named(name: str) -> Psychometric:
    """The test of that name, in any case and with "2-AFC" or "3-AFC" as other spellings. Raises ValueError."""
    wanted = name.strip().casefold().replace("_", "-").replace(" ", "-")
    wanted = _SPELLINGS.get(wanted, wanted)
    if wanted not in METHODS:
        near = get_close_matches(wanted, METHODS, n=1, cutoff=0.4)
        nearest = f"; the nearest is {near[0]}" if near else ""
        raise ValueError(f"the methods are {', '.join(METHODS)}, got {name!r}{nearest}")
    return METHODS[wanted]


def proportion_correct(method: str, d_prime: ArrayLike) -> Array:
    """Chance of a right answer at `d_prime` (any shape, >= 0)."""
    distance = np.asarray(d_prime, float)
    if np.any(~(distance >= 0)):
        raise ValueError(f"d' must be 0 or more, got {distance.min()}")
    right = method_named(method).right(np.minimum(distance, LARGEST_D_PRIME).ravel())
    return np.clip(right, 0.0, 1.0).reshape(distance.shape)


def slope(method: str, d_prime: float) -> float:
    """df/dd' at one distance, by the five-point rule; error below 1e-9. 0 at 0 for the tests that name no attribute."""
    step = 2e-3
    right = method_named(method).right(d_prime + step * np.array([-2.0, -1.0, 1.0, 2.0]))
    return float(right @ np.array([1.0, -8.0, 8.0, -1.0]) / (12 * step))


def d_prime(method: str, proportion: float) -> float:
    """The distance at which the chance of a right answer is `proportion`: 0 at or below guessing, inf at 1."""
    test = method_named(method)
    if not 0 <= proportion <= 1:
        raise ValueError(f"a proportion of right answers lies between 0 and 1, got {proportion}")
    if proportion <= test.chance:
        return 0.0
    if proportion >= 1:
        return math.inf
    return increasing_root(lambda d: float(test.right(np.array([d]))[0]) - proportion, 0.0, LARGEST_D_PRIME)


def to_discriminators(method: str, proportion: float) -> float:
    """Share of true detections pd = (pc - g) / (1 - g), 0 below guessing."""
    chance = method_named(method).chance
    return max(0.0, (proportion - chance) / (1 - chance))


def from_discriminators(method: str, pd: float) -> float:
    """Proportion of right answers pc = g + (1 - g) pd."""
    chance = method_named(method).chance
    return chance + (1 - chance) * pd


def increasing_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where an increasing function crosses 0 between `low` and `high`, by halving; the nearer end if it does not cross.

    Halving needs nothing but monotony, and spares the start of a command the import of scipy.optimize.
    """
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        low, high = (middle, high) if function(middle) < 0 else (low, middle)
    return high if function(high) <= 0 else low


# ---- one integral a test -------------------------------------------------------------------------------------------
def _two_alternative(d: Array) -> Array:
    return np.asarray(ndtr(d / math.sqrt(2)))


def _three_alternative(d: Array) -> Array:
    z, weight = _normal_nodes()
    return np.asarray(ndtr(z + d[:, None]) ** 2 @ weight)


def _duo_trio(d: Array) -> Array:
    a, b = ndtr(d / math.sqrt(2)), ndtr(d / math.sqrt(6))
    return np.asarray(a * b + (1 - a) * (1 - b))


def _triangle(d: Array) -> Array:
    z, weight = _nodes(96, 0.0, 9.0)
    reach = d[:, None] * math.sqrt(2 / 3)
    near, far = ndtr(-z * math.sqrt(3) + reach), ndtr(-z * math.sqrt(3) - reach)
    return np.asarray(2 * (near + far) @ (weight * _normal(z)))


def _tetrad(d: Array) -> Array:
    z, weight = _normal_nodes()
    below = ndtr(d[:, None] - z) ** 2 + ndtr(-d[:, None] - z) ** 2
    return np.asarray(2 * below @ (weight * ndtr(z)))


def _two_out_of_five(d: Array) -> Array:
    """Right when the maximum-likelihood grouping (smallest sum of squares within groups) is the true one."""
    m, s, weight, gain = _five_grid()
    return _five_half(d, m, s, weight, gain) + _five_half(-d, m, s, weight, gain)


def _five_half(d: Array, m: Array, s: Array, weight: Array, gain: Array) -> Array:
    """H(d) = int 3 phi(m) int q(s; d - m) Q(s; m) ds dm; everything that does not depend on d is in `weight`."""
    distance = (s - 2 * (d[:, None, None] - m[:, None])) / math.sqrt(2)
    return np.asarray(np.einsum("dms,ms->d", _normal(distance), weight * gain))


@cache
def _five_grid() -> tuple[Array, Array, Array, Array]:
    """Nodes of m and s, the weights of the outer integrals, and Q(s; m) = int_0^s q(t; m) dt, none depending on d."""
    m, m_weight = _nodes(80, -8.5, 8.5)
    s, s_weight = _nodes(256, 0.0, 2 * (LARGEST_D_PRIME + 8.5) + 12)
    t, t_weight = _nodes(64, 0.0, 1.0)
    upper = np.minimum(s, 32.0)  # q(t; m) has nothing left beyond 2 * 8.5 + 12
    times = upper[:, None] * t
    span = _spread(times) * upper[:, None] * t_weight
    density = _normal((times - 2 * m[:, None, None]) / math.sqrt(2)) / math.sqrt(2)
    inner = np.einsum("mst,st->ms", density, span)
    outer = (3 * m_weight * _normal(m))[:, None] * (s_weight * _spread(s) / math.sqrt(2))
    return m, s, outer, inner


def _spread(s: Array) -> Array:
    """2 Phi(s / sqrt 2) - 1: the chance that two tastings of one sample differ by less than s."""
    return np.asarray(2 * ndtr(s / math.sqrt(2)) - 1)


def _normal(z: Array) -> Array:
    return np.asarray(np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi))


@cache
def _nodes(count: int, low: float, high: float) -> tuple[Array, Array]:
    """Gauss-Legendre nodes and weights on an interval."""
    z, weight = np.polynomial.legendre.leggauss(count)
    half = 0.5 * (high - low)
    return low + half * (z + 1), half * weight


@cache
def _normal_nodes() -> tuple[Array, Array]:
    """Nodes on the whole normal range, their weights multiplied by the normal density."""
    z, weight = _nodes(128, -9.0, 9.0)
    return z, weight * _normal(z)


# Ura 1960; David & Trivedi 1962; Ennis 1993 (triangle, duo-trio, alternatives); Ennis et al. 1998 (tetrad).
METHODS = {
    test.name: test
    for test in (
        Psychometric("triangle", Fraction(1, 3), _triangle),
        Psychometric("duo-trio", Fraction(1, 2), _duo_trio),
        Psychometric("two-alternative", Fraction(1, 2), _two_alternative),
        Psychometric("three-alternative", Fraction(1, 3), _three_alternative),
        Psychometric("tetrad", Fraction(1, 3), _tetrad),
        Psychometric("two-out-of-five", Fraction(1, 10), _two_out_of_five, by_grouping=True),
    )
}
_SPELLINGS = {
    "2-afc": "two-alternative",
    "3-afc": "three-alternative",
    "2afc": "two-alternative",
    "3afc": "three-alternative",
}
