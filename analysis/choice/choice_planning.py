"""What a forced-choice test can show before anybody has tasted: trials for a wished power, and the reach of a panel.

Exact power is a saw-tooth, so that one answer more may mean less power. `trials` is the first number that reaches it
and is sealed as it stands; from `trials_kept` on every larger number reaches it too (use it when attendance is unsure).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr, bdtrc

from analysis.choice.forced_choice import (
    SLACK,
    at_least,
    at_most,
    can_be_meant,
    check_alpha,
    check_pd,
    fewer_at_most,
    floor_pd,
    maximum_correct,
    minimum_correct,
    people_at_most,
    people_below,
    reached,
)
from analysis.choice.psychometric import Array, from_discriminators, increasing_root, method_named

Marks = NDArray[np.int64]

MOST_PLANNED = 200_000
MOST_ASSESSORS = 300
POWERS = (0.8, 0.9)


@dataclass(frozen=True, slots=True)
class ChoicePlan:
    """Trials of different people, one each, and the mark at that number; `power` is exact there."""

    trials: int
    trials_kept: int
    mark: int
    power: float


@dataclass(frozen=True, slots=True)
class Reach:
    """What a panel shows with one power, in whole per cent of true detections written as shares.

    `detectable_pd`: smallest share found with that power, whether all are alike or some always notice and the others
    never. `demonstrable_pd`: smallest limit under which a truly identical pair is shown with that power for people
    like these assessors, at `maximum_correct`; `demonstrable_pd_here` the same for these assessors alone.
    """

    detectable_pd: float | None
    demonstrable_pd: float
    demonstrable_pd_here: float
    maximum_correct: int


@dataclass(frozen=True, slots=True)
class PanelReach:
    """Reach by power, and the limit that no number of trials by so few people can go below."""

    assessors: int
    replicates: int
    by_power: Mapping[float, Reach]
    floor_pd: float


def plan_different(method: str, alpha: float, beta: float, pd: float) -> ChoicePlan:
    """First number of trials that finds a share `pd` of detections with a chance of 1 - beta. Raises ValueError."""
    _check(alpha, beta, pd)
    chance, share = method_named(method).chance, from_discriminators(method, pd)

    def powers(marks: Marks, trials: Marks) -> Array:
        return np.asarray(bdtrc(marks - 1, trials, share))

    return _plan(lambda most: _difference_marks(most, chance, alpha), powers, beta)


def plan_similar(method: str, alpha: float, beta: float, pd: float) -> ChoicePlan:
    """First number of trials in which a truly identical pair is called similar with a chance of 1 - beta."""
    _check(alpha, beta, pd)
    chance, share = method_named(method).chance, from_discriminators(method, pd)

    def powers(marks: Marks, trials: Marks) -> Array:
        return np.asarray(np.where(marks < 0, 0.0, bdtr(np.maximum(marks, 0), trials, chance)))

    return _plan(lambda most: _similarity_marks(most, share, alpha), powers, beta)


def panel_reach(method: str, assessors: int, replicates: int, alpha: float) -> PanelReach:
    """What `assessors` people with `replicates` trials each can find and show. Raises ValueError."""
    check_alpha(alpha)
    for name, value, most in (("assessors", assessors, MOST_ASSESSORS), ("replicates", replicates, 30)):
        if not 1 <= value <= most:
            raise ValueError(f"{name} must be between 1 and {most}, got {value}")
    each = (replicates,) * assessors
    by_power = {power: _reach(method, each, alpha, power) for power in POWERS}
    return PanelReach(assessors, replicates, by_power, floor_pd(assessors, alpha))


def settling_assessors(method: str, replicates: int, alpha: float, pd: float, power: float = 0.9) -> int | None:
    """People needed, with `replicates` trials each, for both claims to come with `power`; None above the largest panel.

    Found: a share `pd` of detections, everyone alike. Shown: that an identical pair stays under `pd`, people like them.
    """
    for assessors in range(1, MOST_ASSESSORS + 1):
        if _settles(method, (replicates,) * assessors, alpha, pd, power):
            return assessors
    return None


# ---- trials --------------------------------------------------------------------------------------------------------
def _plan(marks_up_to: Callable[[int], Marks], powers: Callable[[Marks, Marks], Array], beta: float) -> ChoicePlan:
    """Scan every number of trials; `marks_up_to(most)` holds the mark at 0, 1, ... `most` trials."""
    most = 256
    while True:
        marks = marks_up_to(most)
        power = powers(marks, np.arange(most + 1))
        enough = power >= (1 - beta) * (1 - SLACK)
        first = int(np.argmax(enough))
        if enough[first] and 2 * first + 60 <= most:
            break
        if most > MOST_PLANNED:
            raise ValueError(f"pd and beta ask for more than {MOST_PLANNED // 2} trials; state a larger pd or beta")
        most = 2 * first + 60 if enough[first] else 4 * most
    failing = np.flatnonzero(~enough[: 2 * first + 61])
    return ChoicePlan(first, int(failing[-1]) + 1, int(marks[first]), float(power[first]))


def _difference_marks(most: int, chance: float, alpha: float) -> Marks:
    """Smallest x with P(X >= x) <= alpha at each number of trials; it rises by one or not at all from n to n + 1."""
    marks = np.empty(most + 1, np.int64)
    mark = 1
    for trials in range(most + 1):
        if not reached(at_least(mark, trials, chance) if mark <= trials else 0.0, alpha):
            mark += 1
        marks[trials] = mark
    return marks


def _similarity_marks(most: int, share: float, alpha: float) -> Marks:
    """Largest x with P(X <= x) <= alpha at each number of trials, -1 where there is none."""
    marks = np.empty(most + 1, np.int64)
    mark = -1
    for trials in range(most + 1):
        if mark + 1 < trials and reached(at_most(mark + 1, trials, share), alpha):
            mark += 1
        marks[trials] = mark
    return marks


# ---- reach of a panel ----------------------------------------------------------------------------------------------
def _reach(method: str, each: tuple[int, ...], alpha: float, power: float) -> Reach:
    chance, trials = method_named(method).chance, sum(each)
    mark = minimum_correct(trials, chance, alpha)
    passing = next(x for x in range(trials + 1) if at_most(x, trials, chance) >= power * (1 - SLACK))
    here = increasing_root(lambda pd: alpha - at_most(passing, trials, chance + (1 - chance) * pd), 0.0, 1.0)
    like_them = increasing_root(lambda pd: alpha - people_at_most(passing, each, chance, pd), 0.0, 1.0)
    like_them = max(like_them, floor_pd(len(each), alpha))  # below it so few people speak for themselves only
    found = None if mark is None else _detectable(each, chance, mark, power)
    return Reach(found, _whole_per_cent(like_them), _whole_per_cent(here), passing)


def _detectable(each: tuple[int, ...], chance: float, mark: int, power: float) -> float:
    trials = sum(each)
    alike = increasing_root(lambda pd: at_least(mark, trials, chance + (1 - chance) * pd) - power, 0.0, 1.0)
    mixed = increasing_root(lambda pd: 1 - people_at_most(mark - 1, each, chance, pd) - power, 0.0, 1.0)
    return _whole_per_cent(max(alike, mixed))


def _whole_per_cent(share: float) -> float:
    """The next whole per cent, so that what is printed is itself reached."""
    return math.ceil(100 * share * (1 - SLACK)) / 100


def _settles(method: str, each: tuple[int, ...], alpha: float, pd: float, power: float) -> bool:
    chance, trials, share = method_named(method).chance, sum(each), from_discriminators(method, pd)
    mark = minimum_correct(trials, chance, alpha)
    if mark is None or at_least(mark, trials, share) < power:
        return False
    passing = maximum_correct(people_below(each, chance, pd), trials, alpha)
    meant = can_be_meant(passing, trials, method) and pd >= floor_pd(len(each), alpha)
    fewer = fewer_at_most(trials, chance, alpha)
    passes = at_most(passing or 0, trials, chance) - at_most(-1 if fewer is None else fewer, trials, chance)
    return meant and passes >= power


def _check(alpha: float, beta: float, pd: float) -> None:
    check_alpha(alpha)
    check_alpha(beta, "beta")
    check_pd(pd)
