"""Sequential forced-choice plans with a sealed cap: decide after every answer, exactly known errors.

Wald's two lines (1947; ISO 16820) decide before the cap; at the cap two counts do, chosen so that the errors stay
within alpha and beta where that is possible. `alpha` is the risk of a false "different" of an identical pair, `beta` of
a false "same" when a share pd notices. Errors and mean lengths are exact, by dynamic programming over the number of
answers and of right ones. A "same" of people who taste more than once holds for these assessors only.

Imports only numpy and scipy.special.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.choice.forced_choice import SLACK, check_alpha, check_pd
from analysis.choice.psychometric import Array, from_discriminators, method_named

MOST_CAPPED = 2_000

Standing = Literal["same", "different", "go on", "cannot tell"]


@dataclass(frozen=True, slots=True)
class SequentialPlan:
    """A sealed plan: after n trials same when right <= same_intercept + slope n, different when right >=
    different_intercept + slope n.

    At the cap: different from `cap_different_at_least` on, same up to `cap_same_at_most`, between them cannot tell;
    None when no count at the cap gives that verdict. Chances and mean numbers of trials are exact.
    """

    method: str
    alpha: float
    beta: float
    pd: float
    cap: int
    same_intercept: float
    different_intercept: float
    slope: float
    cap_same_at_most: int | None
    cap_different_at_least: int | None
    false_different: float
    false_same: float
    cannot_tell_identical: float
    cannot_tell_at_pd: float
    mean_trials_identical: float
    mean_trials_at_pd: float
    mean_trials_at_half_pd: float


def plan(method: str, alpha: float, beta: float, pd: float, cap: int) -> SequentialPlan:
    """The plan for one test, two risks, a share `pd` of detections and at most `cap` trials. Raises ValueError."""
    check_alpha(alpha)
    check_alpha(beta, "beta")
    check_pd(pd)
    if not 1 <= cap <= MOST_CAPPED:
        raise ValueError(f"cap must be between 1 and {MOST_CAPPED}, got {cap}")
    chance = method_named(method).chance
    lines = wald_lines(chance, from_discriminators(method, pd), alpha, beta)
    walks = [_walk(lines, from_discriminators(method, share), cap) for share in (0.0, pd, 0.5 * pd)]
    same, different = _cap_counts(walks[0], walks[1], alpha, beta, math.ceil(lines[2] * cap - SLACK))
    identical, at_pd = (_chances(walk, same, different) for walk in walks[:2])
    return SequentialPlan(
        method_named(method).name,
        alpha,
        beta,
        pd,
        cap,
        *lines,
        same if same >= 0 else None,
        different if different <= cap else None,
        identical[1],
        at_pd[0],
        identical[2],
        at_pd[2],
        *(walk.mean_trials for walk in walks),
    )


def wald_lines(p0: float, p1: float, alpha: float, beta: float) -> tuple[float, float, float]:
    """Intercepts (same, different) and common slope of the number right against the number of trials (Wald 1947)."""
    k = math.log(p1 * (1 - p0) / (p0 * (1 - p1)))
    return math.log(beta / (1 - alpha)) / k, math.log((1 - beta) / alpha) / k, math.log((1 - p0) / (1 - p1)) / k


def standing(sealed: SequentialPlan, trials: int, correct: int) -> Standing:
    """What the plan says after `trials` answers with `correct` right ones. Raises ValueError beyond the cap."""
    if not 0 <= correct <= trials <= sealed.cap:
        raise ValueError(f"correct <= trials <= {sealed.cap} must hold, got {correct} and {trials}")
    if trials == sealed.cap:
        return _at_cap(sealed, correct)
    if correct >= sealed.different_intercept + sealed.slope * trials - SLACK:
        return "different"
    if correct <= sealed.same_intercept + sealed.slope * trials + SLACK:
        return "same"
    return "go on"


def _at_cap(sealed: SequentialPlan, correct: int) -> Standing:
    if sealed.cap_different_at_least is not None and correct >= sealed.cap_different_at_least:
        return "different"
    if sealed.cap_same_at_most is not None and correct <= sealed.cap_same_at_most:
        return "same"
    return "cannot tell"


# ---- dynamic programming -------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Walk:
    """Chances of an early verdict, the distribution of the number right among those that reach the cap, mean trials."""

    same_early: float
    different_early: float
    at_cap: Array
    mean_trials: float


def _walk(lines: tuple[float, float, float], proportion: float, cap: int) -> _Walk:
    low, high, slope = lines
    right = np.arange(cap + 1)
    alive = np.zeros(cap + 1)
    alive[0] = 1.0
    same = different = mean = 0.0
    for trials in range(1, cap + 1):
        mean += float(alive.sum())
        alive = _one_more(alive, proportion)
        if trials < cap:
            above = right >= high + slope * trials - SLACK
            below = right <= low + slope * trials + SLACK
            different += float(alive[above].sum())
            same += float(alive[below].sum())
            alive[above | below] = 0.0
    return _Walk(same, different, alive, mean)


def _one_more(alive: Array, proportion: float) -> Array:
    after = alive * (1 - proportion)
    after[1:] += alive[:-1] * proportion
    return after


def _cap_counts(identical: _Walk, at_pd: _Walk, alpha: float, beta: float, line: int) -> tuple[int, int]:
    """(l, u): u the smallest that keeps false different within alpha, l the largest that keeps false same within beta.

    -1 and cap + 1 stand for "none". Where they would overlap both are moved to the line between them.
    """
    upper_tail = np.append(np.cumsum(identical.at_cap[::-1])[::-1], 0.0)
    lower_tail = np.append(0.0, np.cumsum(at_pd.at_cap))
    keeps_alpha = identical.different_early + upper_tail <= alpha * (1 + SLACK)
    keeps_beta = at_pd.same_early + lower_tail <= beta * (1 + SLACK)
    cap = len(identical.at_cap) - 1
    different = int(np.argmax(keeps_alpha)) if keeps_alpha.any() else cap + 1
    same = int(np.flatnonzero(keeps_beta)[-1]) - 1 if keeps_beta.any() else -1
    if different <= same:
        different = min(max(line, different), same + 1)
        same = different - 1
    return same, different


def _chances(walk: _Walk, same: int, different: int) -> tuple[float, float, float]:
    """Chances of same, different and cannot tell."""
    ends = walk.same_early + float(walk.at_cap[: same + 1].sum())
    found = walk.different_early + float(walk.at_cap[different:].sum())
    return ends, found, float(walk.at_cap[same + 1 : different].sum())
