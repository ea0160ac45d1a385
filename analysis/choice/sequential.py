"""Sequential forced-choice plans: judged at the ends of complete rounds, with a sealed cap and exactly known errors.

A round is one set of everybody who is seated. At its end, and nowhere else, the count of right answers is held against
Wald's two lines (1947; ISO 16820); after the last sealed round two counts decide, chosen so that the errors stay within
alpha and beta. `alpha` is the risk of a false "different" of an identical pair, `beta` of a false "same" when a share
pd notices. A "same" of people who taste more than once holds for these assessors only.

Where somebody missed a set, the counts at the end are those of the rounds really served, since sizes do not depend on
answers. "Same" must then hold twice, the second time with every missed answer filled in rather high, for those who stay
away may be those who noticed. Where only the first holds the plan goes on, and at the cap it cannot tell.

Reading order: results, the plan, the judge, limits, dynamic programming over rounds.
Imports only numpy and scipy.special.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
from scipy.special import betaln

from analysis.choice.forced_choice import (
    SLACK,
    Chances,
    Estimate,
    at_most,
    check_alpha,
    check_pd,
    fewer_at_most,
    reached,
)
from analysis.choice.psychometric import (
    Array,
    from_discriminators,
    increasing_root,
    method_named,
    to_discriminators,
)

if TYPE_CHECKING:
    from analysis.choice.control import ControlResult

MOST_CAPPED = 2_000

Standing = Literal["same", "different", "go on", "cannot tell"]
Why = Literal[
    "between the marks",
    "fewer right than guessing",
    "control not found",
    "no control",
    "those who stayed away",
    "closed early",
]
Careful = Literal["these assessors only", "answers missing", "control_not_served"]
Lines: TypeAlias = tuple[float, float, float]
Answers: TypeAlias = Sequence[Sequence[int | None]]


@dataclass(frozen=True, slots=True)
class SequentialPlan:
    """A sealed plan: after a round, with n answers in all, same when right <= same_intercept + slope n, different when
    right >= different_intercept + slope n.

    `people` answers make a round, and whole rounds make the cap. At the cap: different from `cap_different_at_least`
    on, same up to `cap_same_at_most`, between them cannot tell; None when no count at the cap gives that verdict.
    Chances and mean numbers of answers are exact when everybody answers in every round.
    """

    method: str
    alpha: float
    beta: float
    pd: float
    cap: int
    people: int
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

    @property
    def lines(self) -> Lines:
        """Intercepts (same, different) and common slope."""
        return self.same_intercept, self.different_intercept, self.slope

    @property
    def rounds(self) -> int:
        """Rounds up to the cap."""
        return self.cap // self.people


@dataclass(frozen=True, slots=True)
class Marks:
    """The counts that decide at the end of certain rounds, and their exact errors; None where no count does."""

    same_at_most: int | None
    different_at_least: int | None
    false_different: float
    false_same: float
    cannot_tell_identical: float
    cannot_tell_at_pd: float


@dataclass(frozen=True, slots=True)
class RoundEnd:
    """The end of one complete round: its `given` answers with `right` right ones, all up to here (`trials`, `correct`),
    the counts that decide here, and what they said."""

    given: int
    right: int
    trials: int
    correct: int
    same_at_most: int | None
    different_at_least: int | None
    standing: Standing


@dataclass(frozen=True, slots=True)
class SequentialResult:
    """What a plan says of its complete rounds; `reason` says why it cannot tell.

    `trials` and `correct` are those judged, up to the round that ended it. `missed` sets were not answered by people
    who were seated; `filled` is the count of right answers with those filled in. `marks` are those of the rounds really
    served, once the last has come; `sizes` are the answers of each.
    """

    plan: SequentialPlan
    standing: Standing
    reason: Why | None
    rounds: tuple[RoundEnd, ...]
    trials: int
    correct: int
    missed: int
    filled: float
    marks: Marks | None
    sizes: tuple[int, ...]
    control: ControlResult | None = None

    @property
    def warnings(self) -> tuple[Careful, ...]:
        """Something to say beside the verdict."""
        codes: dict[Careful, bool] = {
            "these assessors only": self.plan.people > 1,
            "answers missing": self.missed > 0,
            "control_not_served": self.standing == "same" and self.control is None,
        }
        return tuple(code for code, holds in codes.items() if holds)

    @property
    def proportion_discriminators(self) -> Estimate | None:
        """The share that noticed, with the limits of the whole path; None without answers."""
        return noticing(self.plan, self.sizes, self.correct) if self.trials else None


# ---- the plan ------------------------------------------------------------------------------------------------------
def plan(method: str, alpha: float, beta: float, pd: float, cap: int, people: int = 1) -> SequentialPlan:
    """The plan for one test, two risks, a share `pd` of detections, at most `cap` answers in rounds of `people`.

    Raises ValueError, also when the cap holds no whole number of rounds.
    """
    check_alpha(alpha)
    check_alpha(beta, "beta")
    check_pd(pd)
    if not 1 <= cap <= MOST_CAPPED:
        raise ValueError(f"cap must be between 1 and {MOST_CAPPED}, got {cap}")
    if people < 1 or cap % people:
        raise ValueError(f"cap must hold whole rounds of {people}, got {cap}; {whole_rounds(cap, people)} would")
    sizes = (people,) * (cap // people)
    name = method_named(method).name
    lines = wald_lines(method_named(method).chance, from_discriminators(method, pd), alpha, beta)
    walks = [_walk(lines, from_discriminators(method, share), sizes) for share in (0.0, pd, 0.5 * pd)]
    marks = _marks(walks[0], walks[0], walks[1], alpha, beta, _above(lines, sizes))
    return SequentialPlan(
        name,
        alpha,
        beta,
        pd,
        cap,
        people,
        *lines,
        marks.same_at_most,
        marks.different_at_least,
        marks.false_different,
        marks.false_same,
        marks.cannot_tell_identical,
        marks.cannot_tell_at_pd,
        *(walk.mean_trials for walk in walks),
    )


def chances(sealed: SequentialPlan, noticing: float) -> Chances:
    """How often the plan ends how, where a share `noticing` truly notices and everybody answers in every round; exact.

    "Same" is what `judge` says: an end with fewer right than guessing explains is none.
    """
    guess = method_named(sealed.method).chance

    def fewer(trials: int) -> int:
        most = fewer_at_most(trials, guess, sealed.alpha)
        return -1 if most is None else most

    sizes = (sealed.people,) * sealed.rounds
    walk = _walk(sealed.lines, from_discriminators(sealed.method, noticing), sizes, fewer)
    most, least = sealed.cap_same_at_most, sealed.cap_different_at_least
    same = walk.same_early + (0.0 if most is None else float(walk.at_end[fewer(sealed.cap) + 1 : most + 1].sum()))
    different = walk.different_early + (0.0 if least is None else float(walk.at_end[least:].sum()))
    return Chances(different, same, max(1 - same - different, 0.0))


def whole_rounds(cap: int, people: int) -> int:
    """The answers in as many whole rounds of `people` as fit under `cap`, one round at least."""
    return max(cap // max(people, 1), 1) * max(people, 1)


def wald_lines(p0: float, p1: float, alpha: float, beta: float) -> Lines:
    """Intercepts (same, different) and common slope of the number right against the number of trials (Wald 1947)."""
    k = math.log(p1 * (1 - p0) / (p0 * (1 - p1)))
    return math.log(beta / (1 - alpha)) / k, math.log((1 - beta) / alpha) / k, math.log((1 - p0) / (1 - p1)) / k


def line_marks(lines: Lines, trials: int) -> tuple[int | None, int | None]:
    """(same up to, different from) on the lines after so many answers; None where no count lies beyond a line."""
    low, high, slope = lines
    same, different = math.floor(low + slope * trials + SLACK), math.ceil(high + slope * trials - SLACK)
    return same if same >= 0 else None, different if different <= trials else None


@lru_cache(maxsize=1024)
def marks_of(sealed: SequentialPlan, sizes: tuple[int, ...]) -> Marks:
    """The counts that decide after rounds of these sizes, by the rule of the plan, and their exact errors."""
    lines = sealed.lines
    identical, at_pd = (_walk(lines, from_discriminators(sealed.method, share), sizes) for share in (0.0, sealed.pd))
    whole = all(size in (0, sealed.people) for size in sizes)
    free = identical if whole else _walk(_no_lower(lines), from_discriminators(sealed.method, 0.0), sizes)
    return _marks(identical, free, at_pd, sealed.alpha, sealed.beta, _above(lines, sizes))


def _no_lower(lines: Lines) -> Lines:
    """The lines without the lower one. Where somebody missed a set it may have to be crossed twice; then no path that
    crosses it is sure to end there, and any may yet end at the upper one: so chances at the upper end stay bounds."""
    return -math.inf, lines[1], lines[2]


def _above(lines: Lines, sizes: Sequence[int]) -> int:
    """The first count above the middle of the two lines. One that lies on it is the last "same" of a panel in rounds;
    of single answers it is the first "different"."""
    middle = lines[2] * sum(sizes)
    return math.ceil(middle - SLACK) if max(sizes, default=1) == 1 else math.floor(middle + SLACK) + 1


# ---- the judge -----------------------------------------------------------------------------------------------------
def judge(sealed: SequentialPlan, answers: Answers, control: ControlResult | None = None) -> SequentialResult:
    """What the plan says of `answers`: complete rounds in order, each with one entry a seat, 1 right, 0 wrong, None
    missed. Rounds beyond the cap and beyond the one that ends it are not judged. Raises ValueError.

    A round that nobody answered was not served: it counts nowhere, and where the last ones were not, the plan was
    closed early and cannot tell, for the count had been seen. A "same" needs its `control` found, once one is told of.
    """
    _check(sealed, answers)
    asked = list(answers[: sealed.rounds])
    behind = len(asked) == sealed.rounds
    while asked and not _given(asked[-1]):
        asked.pop()
    at_cap = len(asked) == sealed.rounds
    ends: list[RoundEnd] = []
    for number in range(1, len(asked) + 1):
        ends.append(_end(sealed, asked[:number], at_cap and number == len(asked)))
        if ends[-1].standing != "go on":
            break
    return _controlled(_result(sealed, asked[: len(ends)], tuple(ends), behind and not at_cap), control)


def _controlled(judged: SequentialResult, control: ControlResult | None) -> SequentialResult:
    """The same under its control; where the rounds cannot tell, one that was not found says so first."""
    if control is None or control.found or judged.standing not in ("same", "cannot tell"):
        return replace(judged, control=control)
    why: Why | None = "control not found" if control.trials else "no control"
    if judged.reason == "fewer right than guessing" or (judged.standing == "cannot tell" and not control.trials):
        why = judged.reason
    return replace(judged, standing="cannot tell", reason=why, control=control)


def _check(sealed: SequentialPlan, answers: Answers) -> None:
    for number, one in enumerate(answers, start=1):
        if len(one) != sealed.people or any(each not in (0, 1, None) for each in one):
            raise ValueError(f"round {number} must hold {sealed.people} answers, each 0, 1 or None")


def _given(one: Sequence[int | None]) -> int:
    return sum(each is not None for each in one)


def _right(one: Sequence[int | None]) -> int:
    return sum(each or 0 for each in one)


def _end(sealed: SequentialPlan, asked: Answers, last: bool) -> RoundEnd:
    """The end of the newest of these rounds: on the lines, or at the cap on the counts of the rounds served.

    A "same" that does not hold with the missed answers filled in is none: the plan goes on, and at the cap cannot tell.
    """
    sizes = tuple(_given(one) for one in asked)
    trials, correct = sum(sizes), sum(_right(one) for one in asked)
    marks = marks_of(sealed, sizes) if last else None
    same, different = (
        line_marks(sealed.lines, trials) if marks is None else (marks.same_at_most, marks.different_at_least)
    )
    standing: Standing = "cannot tell" if last else "go on"
    if different is not None and correct >= different:
        standing = "different"
    elif same is not None and correct <= same and _same_filled(sealed, asked, last):
        standing = "same"
    return RoundEnd(sizes[-1], _right(asked[-1]), trials, correct, same, different, standing)


def _same_filled(sealed: SequentialPlan, asked: Answers, last: bool) -> bool:
    """Whether "same" also holds with every missed answer filled in, against the line or the count of full rounds."""
    served = [one for one in asked if _given(one)]
    full = len(served) * sealed.people
    most = _full_cap_mark(sealed, full) if last else sealed.same_intercept + sealed.slope * full
    return _filled(served)[1] <= most + SLACK


def _result(sealed: SequentialPlan, asked: Answers, ends: tuple[RoundEnd, ...], closed_early: bool) -> SequentialResult:
    served = [one for one in asked if _given(one)]
    sizes = tuple(_given(one) for one in served)
    trials, correct = sum(sizes), sum(_right(one) for one in served)
    standing, reason = _verdict(ends, closed_early)
    chance = method_named(sealed.method).chance
    if standing in ("same", "cannot tell") and trials and reached(at_most(correct, trials, chance), sealed.alpha):
        standing, reason = "cannot tell", "fewer right than guessing"
    return SequentialResult(
        sealed,
        standing,
        reason,
        ends,
        trials,
        correct,
        *_filled(served),
        marks_of(sealed, sizes) if len(ends) == sealed.rounds else None,
        sizes,
    )


def _verdict(ends: tuple[RoundEnd, ...], closed_early: bool) -> tuple[Standing, Why | None]:
    standing: Standing = ends[-1].standing if ends else "go on"
    if standing in ("same", "different") or (standing == "go on" and not closed_early):
        return standing, None
    alone = bool(ends) and ends[-1].same_at_most is not None and ends[-1].correct <= ends[-1].same_at_most
    if alone:
        return "cannot tell", "those who stayed away"
    return "cannot tell", "closed early" if closed_early else "between the marks"


def _filled(served: Answers) -> tuple[int, float]:
    """(answers missed, right answers with each of them filled in as (own right + 1) / (own answers + 1))."""
    missed, filled = 0, 0.0
    for own in zip(*served, strict=True):
        lost, right = len(own) - _given(own), _right(own)
        missed += lost
        filled += right + lost * (right + 1) / (_given(own) + 1)
    return missed, filled


def _full_cap_mark(sealed: SequentialPlan, full: int) -> float:
    if full == sealed.cap:
        marked = sealed.cap_same_at_most
    else:  # a round in between was served to nobody
        marked = marks_of(sealed, (sealed.people,) * (full // sealed.people)).same_at_most
    return -1.0 if marked is None else float(marked)


# ---- limits of the whole path --------------------------------------------------------------------------------------
def noticing(sealed: SequentialPlan, sizes: Sequence[int], correct: int) -> Estimate:
    """Share of answers that came from noticing, after rounds of these sizes that ended with `correct` right ones.

    Outcomes are ordered by stage, as Armitage (1958) and Fairbanks & Madsen (1982) order those of sequential trials: an
    earlier end at the upper line is more, an earlier end at the lower line less, and at one stage the count decides.
    The lower limit fails in at most alpha, the upper one in at most beta, the risks of the claims they answer to; so
    neither limit can contradict the verdict. Where somebody missed a set both are bounds, on the safe side.
    """
    whole = all(size == sealed.people for size in sizes)
    upper = sealed.lines if whole else _no_lower(sealed.lines)
    low = increasing_root(lambda p: path_tails(upper, sizes, correct, p)[1] - sealed.alpha, 0.0, 1.0)
    high = increasing_root(lambda p: sealed.beta - path_tails(sealed.lines, sizes, correct, p)[0], 0.0, 1.0)
    ends = (correct / sum(sizes), low, high)
    return Estimate(*(to_discriminators(sealed.method, share) for share in ends))


def path_tails(lines: Lines, sizes: Sequence[int], correct: int, proportion: float) -> tuple[float, float]:
    """(chance of this outcome or less, of this outcome or more) in the order by stage, at one proportion right."""
    walk = _walk(lines, proportion, sizes)
    less, more = walk.at_end[: correct + 1].sum(), walk.at_end[correct:].sum()
    return walk.same_early + float(less), walk.different_early + float(more)


# ---- dynamic programming over rounds ---------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Walk:
    """Chances of an early verdict, the number right of those that come to the end, mean answers."""

    same_early: float
    different_early: float
    at_end: Array
    mean_trials: float


def _walk(
    lines: Lines, proportion: float, sizes: Sequence[int], fewer: Callable[[int], int] = lambda _trials: -1
) -> _Walk:
    """Through rounds of these sizes; the lines are looked at after each but the last. `fewer` gives for a number of
    answers the largest count that is no "same" below the lower line, and is left out of it."""
    low, high, slope = lines
    right = np.arange(sum(sizes) + 1)
    alive = np.zeros(len(right))
    alive[0] = 1.0
    same = different = mean = 0.0
    trials = 0
    for number, size in enumerate(sizes, start=1):
        mean += size * float(alive.sum())
        alive[: trials + size + 1] = np.convolve(alive[: trials + 1], _binomial(size, proportion))
        trials += size
        if number < len(sizes):
            above = right >= high + slope * trials - SLACK
            below = right <= low + slope * trials + SLACK
            different += float(alive[above].sum())
            same += float(alive[below & (right > fewer(trials))].sum())
            alive[above | below] = 0.0
    return _Walk(same, different, alive, mean)


def _binomial(size: int, proportion: float) -> Array:
    """Chances of 0, 1, ... `size` right answers."""
    if proportion in (0.0, 1.0):
        return np.asarray(np.arange(size + 1) == size * proportion, float)
    x = np.arange(size + 1)
    choose = -betaln(x + 1, size - x + 1) - math.log(size + 1)
    return np.asarray(np.exp(choose + x * math.log(proportion) + (size - x) * math.log1p(-proportion)))


def _marks(identical: _Walk, free: _Walk, at_pd: _Walk, alpha: float, beta: float, above: int) -> Marks:
    """The smallest count that keeps false different within alpha, the largest that keeps false same within beta.

    `free` are the paths of an identical pair that bound false different. Where the two counts would overlap, `above`
    is the first different as far as both errors allow, so both stay kept.
    """
    cap = len(identical.at_end) - 1
    upper_tail = np.append(np.cumsum(free.at_end[::-1])[::-1], 0.0)
    lower_tail = np.append(0.0, np.cumsum(at_pd.at_end))
    keeps_alpha = free.different_early + upper_tail <= alpha * (1 + SLACK)
    keeps_beta = at_pd.same_early + lower_tail <= beta * (1 + SLACK)
    different = int(np.argmax(keeps_alpha)) if keeps_alpha.any() else cap + 1
    same = int(np.flatnonzero(keeps_beta)[-1]) - 1 if keeps_beta.any() else -1
    if different <= same:
        different = min(max(above, different), same + 1)
        same = different - 1
    return Marks(
        same if same >= 0 else None,
        different if different <= cap else None,
        free.different_early + float(free.at_end[different:].sum()),
        at_pd.same_early + float(at_pd.at_end[: same + 1].sum()),
        float(identical.at_end[same + 1 : different].sum()),
        float(at_pd.at_end[same + 1 : different].sum()),
    )
