"""Forced-choice tests: exact verdicts on "different" and "similar", and how large the difference is.

Two claims, each with its own risk `alpha`: *different* (more right answers than guessing gives) and *similar* (fewer
right answers than a share `pd_limit` of true detections would give). Both may hold: noticeable, and small enough.

With several trials an assessor, "similar" has two scopes. *These assessors*: the binomial mark on all answers. *People
like them*: the mark of the worst mixture, in which a share pd of people is always right and the others guess. Limits of
pd come from the same distribution as the verdict, so that interval and verdict cannot contradict each other.

Marks and p-values are arithmetic; `verdict` is what may be said. It is never "similar" where fewer answers are right
than guessing explains (codes swapped, the question read the other way), nor where the mark cannot be meant: an
identical pair would seldom reach it, or so few people cannot speak for people like them at this limit.

Reading order: results, the two public functions, marks and limits, the all-or-none distribution, warnings.
Imports only numpy and scipy.special.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy.special import bdtr, bdtrc, betaincinv

from analysis.choice import psychometric
from analysis.choice.psychometric import Array, Psychometric, increasing_root, method_named

if TYPE_CHECKING:
    from analysis.choice.control import ControlResult

MOST_TRIALS = 1_000_000
MOST_REPEATED_TRIALS = 10_000  # the all-or-none distribution is convolved, which costs the square of the trials
SLACK = 1e-9  # relative; doubles turn an exact .01 into .010000000000000002

Code = Literal[
    "one trial assumed",
    "unequal trials",
    "too few to pass",
    "below the floor",
    "fewer than guessing",
    "grouping rule",
    "control_not_served",
]
Verdict = Literal["different", "similar", "different and similar", "cannot tell"]
Reason = Literal[
    "fewer right than guessing", "control not found", "no control", "too few people to show it", "between the marks"
]


@dataclass(frozen=True, slots=True)
class Estimate:
    """An estimate with limits, each one-sided at 1 - alpha. None is a value that does not exist (no upper limit)."""

    estimate: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class DPrime:
    """d' with limits mapped from those of the proportion correct; `se` is None where its formula fails."""

    estimate: float | None
    low: float | None
    high: float | None
    se: float | None


@dataclass(frozen=True, slots=True)
class Similar:
    """One scope of the similarity claim, as arithmetic. `maximum_correct` is None when no count would show it;
    `offered` is False where the mark cannot be meant."""

    p_value: float
    maximum_correct: int | None
    similar: bool
    offered: bool


@dataclass(frozen=True, slots=True)
class ChoiceWarning:
    """Something to say beside the verdict: a code and the value its sentence needs."""

    code: Code
    value: float | None = None


@dataclass(frozen=True, slots=True)
class Chances:
    """How often a design says what, when some share truly notices, everyone alike. "Different" and "similar" may be
    said together; `cannot_tell` is neither."""

    different: float
    similar: float
    cannot_tell: float

    def controlled(self, found: float) -> Chances:
        """The same where "similar" needs a control that is found with this chance."""
        alone = 1 - self.different - self.cannot_tell
        return Chances(self.different, self.similar * found, self.cannot_tell + alone * (1 - found))


@dataclass(frozen=True, slots=True)
class Errors:
    """How often a claim comes at its mark though it is false: of an identical pair ("different"), of the worst mixture
    of people at the limit ("similar"), of these assessors at the limit, everyone alike."""

    different: float
    similar: float
    these_assessors: float


@dataclass(frozen=True, slots=True)
class ChoiceResult:
    """One forced-choice test. `similar` speaks for people like these assessors, `these_assessors` for them alone.

    `trials_each` are the trials of every assessor; `power` the chance that this design finds `pd_limit` were everyone
    alike, `pass_chance` the chance that a truly identical pair is called similar (people like them). `control` is None
    where nothing is known of one: then "similar" is said with a warning. With one that was not found it is not said.
    """

    method: str
    trials_each: tuple[int, ...]
    correct: int
    alpha: float
    pd_limit: float
    p_value: float
    minimum_correct: int | None
    different: bool
    proportion_correct: Estimate
    proportion_discriminators: Estimate
    d_prime: DPrime
    similar: Similar
    these_assessors: Similar
    power: float
    pass_chance: float
    warnings: tuple[ChoiceWarning, ...]
    control: ControlResult | None = None

    @property
    def trials(self) -> int:
        """All trials together."""
        return sum(self.trials_each)

    @property
    def floor(self) -> float:
        """The pd limit below which more trials by the same people no longer help; see `floor_pd`."""
        return floor_pd(len(self.trials_each), self.alpha)

    @property
    def fewer_at_most(self) -> int | None:
        """Largest number right that is fewer than guessing explains; None when there is none."""
        chance = method_named(self.method).chance
        return fewer_at_most(self.trials, chance, self.alpha)

    @property
    def fewer(self) -> bool:
        """Whether fewer answers are right than guessing explains."""
        return reached(at_most(self.correct, self.trials, method_named(self.method).chance), self.alpha)

    @property
    def can_be_close(self) -> bool:
        """Whether any count may say "similar": not where a control was not found, or was left out of the plan."""
        return self.control is None or self.control.found

    @property
    def close(self) -> bool:
        """Whether "similar" may be said for people like them."""
        return _holds(self.similar) and not self.fewer and self.can_be_close

    @property
    def close_here(self) -> bool:
        """Whether "similar" may be said for these assessors."""
        return _holds(self.these_assessors) and not self.fewer and self.can_be_close

    @property
    def verdict(self) -> Verdict:
        """What may be said, for people like these assessors."""
        if self.different:
            return "different and similar" if self.close else "different"
        return "similar" if self.close else "cannot tell"

    @property
    def reason(self) -> Reason | None:
        """Why it cannot be told; None where it can."""
        if self.verdict != "cannot tell":
            return None
        if self.fewer:
            return "fewer right than guessing"
        if self.control is not None and not self.control.found:
            if self.control.trials:
                return "control not found"
            if _holds(self.similar) or _holds(self.these_assessors):
                return "no control"
        return "between the marks" if self.similar.offered else "too few people to show it"

    @property
    def errors(self) -> Errors:
        """The exact risks at the marks of this design; 0 where there is no mark."""
        chance, share = method_named(self.method).chance, psychometric.from_discriminators(self.method, self.pd_limit)
        least, most, here = self.minimum_correct, self.similar.maximum_correct, self.these_assessors.maximum_correct
        return Errors(
            0.0 if least is None else at_least(least, self.trials, chance),
            0.0 if most is None else people_at_most(most, self.trials_each, chance, self.pd_limit),
            0.0 if here is None else at_most(here, self.trials, share),
        )

    def chances(self, noticing: float) -> Chances:
        """What this design says, and how often, where a share `noticing` truly notices; for people like them."""
        right = psychometric.from_discriminators(self.method, noticing)
        fewer = -1 if self.fewer_at_most is None else self.fewer_at_most
        least = self.trials + 1 if self.minimum_correct is None else self.minimum_correct
        most = self.similar.maximum_correct if self.similar.offered else None
        similar, alone = (
            max(at_most(top, self.trials, right) - at_most(fewer, self.trials, right), 0.0)
            for top in ((-1, -1) if most is None else (most, min(most, least - 1)))
        )
        different = at_least(least, self.trials, right)
        return Chances(different, similar, max(1 - different - alone, 0.0))

    @property
    def most_noticing(self) -> float:
        """The share of people like them that notices at most: its upper limit, never below what so few can show."""
        high = self.proportion_discriminators.high
        return 1.0 if high is None else max(high, self.floor)


def _holds(scope: Similar) -> bool:
    return scope.similar and scope.offered


def judge_totals(
    method: str,
    trials: int,
    correct: int,
    alpha: float = 0.05,
    pd_limit: float = 0.3,
    control: ControlResult | None = None,
) -> ChoiceResult:
    """The test of `correct` right answers in `trials`, taken as one each of different people; see `judge_panel`."""
    _check_counts(trials, correct, MOST_TRIALS)
    judged = _judge(method_named(method), (1,) * trials, correct, alpha, pd_limit)
    return _with_warnings(judged, ("one trial assumed",), control)


def judge_panel(
    method: str,
    trials: Sequence[int],
    correct: Sequence[int],
    alpha: float = 0.05,
    pd_limit: float = 0.3,
    control: ControlResult | None = None,
) -> ChoiceResult:
    """The test of a panel; `trials[i]` and `correct[i]` are those of assessor i, and may differ between assessors.

    p-values are exact binomial tails (different) and exact tails of the all-or-none mixture (similar, people like
    them). Limits: Clopper & Pearson 1934, each one-sided at 1 - alpha. d' by the psychometric function, its standard
    error after Bi, Ennis & O'Mahony 1997. Raises ValueError naming argument, rule and value.
    """
    if len(trials) != len(correct):
        raise ValueError(f"trials and correct need one entry an assessor, got {len(trials)} and {len(correct)}")
    for asked, right in zip(trials, correct, strict=True):
        _check_counts(asked, right, MOST_REPEATED_TRIALS)
    _check_counts(sum(trials), sum(correct), MOST_TRIALS if set(trials) == {1} else MOST_REPEATED_TRIALS)
    noted: tuple[Code, ...] = ("unequal trials",) if len(set(trials)) > 1 else ()
    judged = _judge(method_named(method), tuple(trials), sum(correct), alpha, pd_limit)
    return _with_warnings(judged, noted, control)


def _judge(method: Psychometric, each: tuple[int, ...], correct: int, alpha: float, pd_limit: float) -> ChoiceResult:
    check_alpha(alpha)
    check_pd(pd_limit)
    trials, chance = sum(each), method.chance
    p_value = at_least(correct, trials, chance)
    mark = minimum_correct(trials, chance, alpha)
    share = psychometric.from_discriminators(method.name, pd_limit)
    counts = correct, trials, alpha
    people = _similar(people_below(each, chance, pd_limit), *counts, method, pd_limit >= floor_pd(len(each), alpha))
    these = _similar(lambda x: at_most(x, trials, share), *counts, method, True)
    right = _proportion_correct(method, each, correct, alpha)
    return ChoiceResult(
        method.name,
        each,
        correct,
        alpha,
        pd_limit,
        p_value,
        mark,
        reached(p_value, alpha),
        right,
        _discriminators(method, right),
        _d_prime(method, right, each, correct),
        people,
        these,
        0.0 if mark is None else at_least(mark, trials, share),
        0.0 if people.maximum_correct is None else at_most(people.maximum_correct, trials, chance),
        (),
    )


# ---- marks ---------------------------------------------------------------------------------------------------------
def reached(probability: float, level: float) -> bool:
    """Whether probability <= level, with exact ties counted as reached whatever doubles make of them."""
    return probability <= level * (1 + SLACK)


def at_least(x: int, trials: int, proportion: float) -> float:
    """P(X >= x) for X binomial."""
    return 1.0 if x <= 0 else float(bdtrc(x - 1, trials, proportion))


def at_most(x: int, trials: int, proportion: float) -> float:
    """P(X <= x) for X binomial."""
    return 0.0 if x < 0 else float(bdtr(x, trials, proportion))


def minimum_correct(trials: int, chance: float, alpha: float) -> int | None:
    """Smallest x with P(X >= x) <= alpha under guessing; None when even all right is not enough."""
    x = bisect_left(range(trials + 1), True, key=lambda x: reached(at_least(x, trials, chance), alpha))
    return x if x <= trials else None


def maximum_correct(at_most_x: Callable[[int], float], trials: int, alpha: float) -> int | None:
    """Largest x with P(X <= x) <= alpha, P given as a function of x; None when there is none."""
    above = bisect_left(range(trials + 1), True, key=lambda x: not reached(at_most_x(x), alpha))
    return above - 1 if above else None


def fewer_at_most(trials: int, chance: float, alpha: float) -> int | None:
    """Largest number right that is fewer than guessing explains, P(X <= x) <= alpha; None when there is none."""
    return maximum_correct(lambda x: at_most(x, trials, chance), trials, alpha)


def can_be_meant(mark: int | None, trials: int, method: str) -> bool:
    """Whether a mark of "similar" is reached otherwise than by fewer right answers than an identical pair gives."""
    guess = method_named(method).guess
    return mark is not None and mark * guess.denominator >= trials * guess.numerator


def _similar(
    at_most_x: Callable[[int], float], correct: int, trials: int, alpha: float, method: Psychometric, speaks: bool
) -> Similar:
    """One scope; `speaks` tells whether so few people can speak of this limit in it."""
    p_value, mark = at_most_x(correct), maximum_correct(at_most_x, trials, alpha)
    offered = speaks and can_be_meant(mark, trials, method.name)
    return Similar(p_value, mark, reached(p_value, alpha), offered)


# ---- estimates and limits ------------------------------------------------------------------------------------------
def exact_limits(trials: int, correct: int, alpha: float) -> tuple[float, float]:
    """Limits of a proportion, each one-sided at 1 - alpha (Clopper & Pearson 1934)."""
    low = 0.0 if correct == 0 else float(betaincinv(correct, trials - correct + 1, alpha))
    high = 1.0 if correct == trials else float(betaincinv(correct + 1, trials - correct, 1 - alpha))
    return low, high


def _proportion_correct(method: Psychometric, each: tuple[int, ...], correct: int, alpha: float) -> Estimate:
    trials = sum(each)
    low, high = exact_limits(trials, correct, alpha)
    if max(each) > 1:
        low, high = _mixed_limits(method, each, correct, alpha, low, high)
    return Estimate(correct / trials, low, high)


def _mixed_limits(
    method: Psychometric, each: tuple[int, ...], correct: int, alpha: float, low: float, high: float
) -> tuple[float, float]:
    """The limits of the all-or-none mixture. Below guessing no mixture exists: there the binomial ones stay, which
    join them without a step, as at pd = 0 both distributions are the same."""
    chance = method.chance
    if low > chance:
        pd = increasing_root(lambda pd: 1 - people_at_most(correct - 1, each, chance, pd) - alpha, 0.0, 1.0)
        low = psychometric.from_discriminators(method.name, pd)
    if chance < high < 1:
        pd = increasing_root(lambda pd: alpha - people_at_most(correct, each, chance, pd), 0.0, 1.0)
        high = psychometric.from_discriminators(method.name, pd)
    return low, high


def _discriminators(method: Psychometric, right: Estimate) -> Estimate:
    values = (right.estimate, right.low, right.high)
    return Estimate(*(None if pc is None else psychometric.to_discriminators(method.name, pc) for pc in values))


def _d_prime(method: Psychometric, right: Estimate, each: tuple[int, ...], correct: int) -> DPrime:
    estimate, low, high = (
        _finite(psychometric.d_prime(method.name, pc or 0.0)) for pc in (right.estimate, right.low, right.high)
    )
    return DPrime(estimate, low, high, _d_prime_error(method, each, correct, estimate))


def _finite(distance: float) -> float | None:
    return distance if math.isfinite(distance) else None


def _d_prime_error(method: Psychometric, each: tuple[int, ...], correct: int, distance: float | None) -> float | None:
    """sqrt(pc (1 - pc) / n) / f'(d') (Bi, Ennis & O'Mahony 1997): one trial each, above guessing, not all right."""
    trials = sum(each)
    at_chance = correct * method.guess.denominator <= trials * method.guess.numerator
    if distance is None or at_chance or max(each) > 1:
        return None
    proportion = correct / trials
    return math.sqrt(proportion * (1 - proportion) / trials) / psychometric.slope(method.name, distance)


# ---- people like them: a share pd always right, the others guessing -------------------------------------------------
def people_at_most(x: int, each: Sequence[int], chance: float, pd: float) -> float:
    """P(X <= x) for all answers together when a share `pd` of people is always right and the others guess."""
    trials = sum(each)
    if x >= trials:
        return 1.0
    if max(each) == 1:
        return at_most(x, trials, chance + (1 - chance) * pd)
    return float(people_pmf(each, chance, pd)[: max(x, -1) + 1].sum())


def people_below(each: Sequence[int], chance: float, pd: float) -> Callable[[int], float]:
    """`people_at_most` for many x at one pd: the distribution is convolved once."""
    if max(each) == 1:
        return lambda x: people_at_most(x, each, chance, pd)
    pmf = people_pmf(each, chance, pd)
    return lambda x: float(pmf[: x + 1].sum()) if x < len(pmf) - 1 else 1.0


def people_pmf(each: Sequence[int], chance: float, pd: float) -> Array:
    """Distribution of the number right, shape (sum of `each` + 1,): exact, by convolution over assessors."""
    total = np.ones(1)
    for replicates, people in sorted(Counter(each).items()):
        total = np.convolve(total, _power(_one_person(replicates, chance, pd), people))
    return total


def _one_person(replicates: int, chance: float, pd: float) -> Array:
    k = np.arange(replicates + 1)
    choose = np.array([math.comb(replicates, int(right)) for right in k], float)
    mixture = (1 - pd) * choose * chance**k * (1 - chance) ** (replicates - k)
    mixture[-1] += pd
    return np.asarray(mixture)


def _power(pmf: Array, times: int) -> Array:
    """The distribution of a sum of `times` independent copies, by repeated squaring."""
    total = np.ones(1)
    while times:
        if times & 1:
            total = np.convolve(total, pmf)
        times >>= 1
        if times:
            pmf = np.convolve(pmf, pmf)
    return total


def floor_pd(assessors: int, alpha: float) -> float:
    """1 - alpha^(1/assessors): the chance that none of so few people is a detector is still alpha at this share.

    However often they taste, they cannot speak for people like them below it, but by the luck of guessing badly.
    """
    return float(1 - alpha ** (1 / assessors))


# ---- warnings and checks -------------------------------------------------------------------------------------------
def _with_warnings(result: ChoiceResult, noted: tuple[Code, ...], control: ControlResult | None) -> ChoiceResult:
    warnings, method = [ChoiceWarning(code) for code in noted], method_named(result.method)
    mark = result.similar.maximum_correct
    if result.pd_limit < result.floor:
        warnings.append(ChoiceWarning("below the floor", result.floor))
    if not can_be_meant(mark, result.trials, method.name):
        warnings.append(ChoiceWarning("too few to pass", result.pass_chance))
    if result.fewer:
        warnings.append(ChoiceWarning("fewer than guessing"))
    if method.by_grouping:
        warnings.append(ChoiceWarning("grouping rule"))
    if control is None and (result.close or result.close_here):
        warnings.append(ChoiceWarning("control_not_served"))
    return replace(result, warnings=tuple(warnings), control=control)


def _check_counts(trials: int, correct: int, most: int) -> None:
    if not 1 <= trials <= most:
        raise ValueError(f"trials must be between 1 and {most}, got {trials}")
    if not 0 <= correct <= trials:
        raise ValueError(f"correct must be between 0 and the {trials} trials, got {correct}")


def check_alpha(alpha: float, name: str = "alpha") -> None:
    """Refuse a risk outside (0, 0.5)."""
    if not 0 < alpha < 0.5:
        raise ValueError(f"{name} must lie above 0 and below 0.5, got {alpha}")


def check_pd(pd: float) -> None:
    """Refuse a share of detections outside (0, 1)."""
    if not 0 < pd < 1:
        written = f"; write {pd / 100:.2f} for {pd:g} %" if 1 < pd < 100 else ""
        raise ValueError(f"pd must lie above 0 and below 1, got {pd:g}{written}")
