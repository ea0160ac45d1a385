"""From what dose on is it noticed: a logistic curve over ln dose whose middle differs between assessors.

    P(right) = g + (1 - g - lapse) / (1 + exp(-(ln dose - m_i) / s)),   m_i ~ normal(mu, tau^2)

The threshold is exp(mu): half-way detection for the middle assessor, and the dose that half of people like these
notice; `at_share` gives that of another share. Maximum likelihood, marginal over m_i; limits by
the profile likelihood of mu, each one-sided at 1 - alpha, with the t quantile of (assessors - 1) in place of the normal
one. Nothing is reported outside the doses tasted. Doses are minutes or grams, above 0; blank against blank is dose 0,
is not fitted, and checks the guess rate. The quick ascending series stands at the end: another, rougher quantity.

Reading order: answers, results, `fit`, likelihood, limits, other shares, test of fit, single assessors, ascending
series.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, stdtrit, xlogy

from analysis.choice.descent import descend
from analysis.choice.forced_choice import at_least, at_most, check_alpha, reached
from analysis.choice.psychometric import Array, method_named

if TYPE_CHECKING:
    from analysis.choice.control import ControlResult

LAPSE = 0.01
NODES, REACH = 241, 6.0
PANELS = 999
FEWEST_ASSESSORS, FEWEST_DOSES, FEWEST_ANSWERS = 5, 4, 20  # ASTM E1432 1.1
APART = 0.05  # chance that a panel without any such person would single somebody out

Where = Literal["below", "tasted", "above"]
DoseVerdict = Literal["found from", "found at the lowest", "not found", "cannot tell"]
DoseReason = Literal["fewer right than guessing", "control not found"]


# ---- answers -------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class DoseAnswers:
    """Answers of a panel. `trials` and `correct` have shape (assessors, doses); doses ascend and are above 0."""

    assessors: tuple[str, ...]
    doses: Array
    trials: NDArray[np.int64]
    correct: NDArray[np.int64]
    blank_trials: int = 0
    blank_correct: int = 0

    @property
    def ln_doses(self) -> Array:
        """ln dose."""
        return np.asarray(np.log(self.doses))

    @property
    def step(self) -> float:
        """Mean step of ln dose."""
        return float(np.diff(self.ln_doses).mean())

    def without(self, assessor: int) -> DoseAnswers:
        """The same answers without the assessor at that position."""
        keep = [i for i in range(len(self.assessors)) if i != assessor]
        names = tuple(self.assessors[i] for i in keep)
        return DoseAnswers(names, self.doses, self.trials[keep], self.correct[keep])


def dose_answers(assessor: Sequence[str], dose: ArrayLike, correct: ArrayLike) -> DoseAnswers:
    """Answers counted by assessor and dose; the three sequences hold one entry a trial, `correct` 0 or 1.

    Raises ValueError for fewer than two doses or assessors, a negative dose, or an answer that is not 0 or 1.
    """
    dose, right = np.asarray(dose, float), np.asarray(correct, int)
    if not len(assessor) == len(dose) == len(right):
        raise ValueError("assessor, dose and correct need one entry a trial each")
    if np.any(~(np.isfinite(dose) & (dose >= 0))):
        raise ValueError("dose must be a number, 0 or more")
    if np.any((right != 0) & (right != 1)):
        raise ValueError("correct must be 0 or 1")
    fitted = dose > 0
    names = np.array(assessor, dtype=object)[fitted].astype(str)
    people, person = np.unique(names, return_inverse=True)
    doses, level = np.unique(dose[fitted], return_inverse=True)
    if len(people) < 2 or len(doses) < 2:
        raise ValueError(f"a threshold needs 2 assessors and 2 doses or more, got {len(people)} and {len(doses)}")
    trials, counts = np.zeros((2, len(people), len(doses)), np.int64)
    np.add.at(trials, (person, level), 1)
    np.add.at(counts, (person, level), right[fitted])
    blank = int((~fitted).sum()), int(right[~fitted].sum())
    return DoseAnswers(tuple(people.tolist()), doses, trials, counts, *blank)


# ---- results -------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class DosePoint:
    """A dose, None when it lies outside the doses tasted; `where` says on which side."""

    value: float | None
    where: Where


@dataclass(frozen=True, slots=True)
class ShareLevel:
    """The dose from which a `share` of people like these notices it, with limits as those of the threshold; for what
    fades (a day, a second after a piece) the time until which they do."""

    share: float
    estimate: DosePoint
    low: DosePoint
    high: DosePoint


@dataclass(frozen=True, slots=True)
class ThresholdFit:
    """Parameters on the ln dose scale, and the threshold with its limits in dose units.

    Both claims are one-sided at 1 - alpha: found from `high` on; not shown below `low`. `blank_p_value` is the chance
    of so many right answers at dose 0 by guessing, None without such trials. The `control`'s answers are none of these;
    where no dose is found, it tells a panel that could have found one. `noticed` holds other shares, if asked.
    """

    method: str
    answers: DoseAnswers
    alpha: float
    mu: float
    s: float
    tau: float
    loglik: float
    estimate: DosePoint
    low: DosePoint
    high: DosePoint
    blank_p_value: float | None
    warnings: tuple[str, ...]
    control: ControlResult | None = None
    noticed: tuple[ShareLevel, ...] = ()

    @property
    def fewer(self) -> bool:
        """Whether fewer answers are right, over all doses, than guessing explains."""
        right, asked = int(self.answers.correct.sum()), int(self.answers.trials.sum())
        return reached(at_most(right, asked, method_named(self.method).chance), self.alpha)

    @property
    def verdict(self) -> DoseVerdict:
        """What may be said; the numbers stay arithmetic."""
        if self.reason is not None:
            return "cannot tell"
        said: dict[Where, DoseVerdict] = {
            "tasted": "found from",
            "below": "found at the lowest",
            "above": "not found",
        }
        return said[self.estimate.where]

    @property
    def reason(self) -> DoseReason | None:
        """Why it cannot be told; None where it can. No dose found tells nothing of a panel that missed its control."""
        if self.fewer:
            return "fewer right than guessing"
        missed = self.control is not None and not self.control.found
        return "control not found" if missed and self.estimate.where == "above" else None

    @property
    def warned_of(self) -> tuple[str, ...]:
        """Every caution: those of the answers, and that no control tells a panel that could have found a dose."""
        untold = self.control is None and self.estimate.where == "above"
        return (*self.warnings, *("control_not_served",) * untold)


@dataclass(frozen=True, slots=True)
class FitTest:
    """Deviance of the totals at each dose from the best curve; p-value by simulated panels of the fitted model.

    `expected` is the fitted share of right answers at each dose, `departs` the dose that lies farthest from it.
    """

    deviance: float
    p_value: float
    panels: int
    expected: Array
    departs: float


# ---- the fit -------------------------------------------------------------------------------------------------------
def fit(answers: DoseAnswers, method: str, alpha: float = 0.05) -> ThresholdFit:
    """Threshold of a panel by maximum likelihood with profile-likelihood limits. Raises ValueError."""
    check_alpha(alpha)
    chance = method_named(method).chance
    (mu, ln_s, tau), loglik = _maximum(answers, chance)
    low, high = _limits(answers, chance, np.array([mu, ln_s, tau]), loglik, alpha)
    blank = None
    if answers.blank_trials:
        blank = at_least(answers.blank_correct, answers.blank_trials, chance)
    return ThresholdFit(
        method_named(method).name,
        answers,
        alpha,
        mu,
        math.exp(ln_s),
        tau,
        loglik,
        _point(answers, mu),
        low,
        high,
        blank,
        _warnings(answers, blank is not None and reached(blank, alpha)),
    )


def _point(answers: DoseAnswers, ln_dose: float) -> DosePoint:
    first, last = answers.ln_doses[[0, -1]]
    if ln_dose < first:
        return DosePoint(None, "below")
    if ln_dose > last:
        return DosePoint(None, "above")
    return DosePoint(math.exp(ln_dose), "tasted")


def _warnings(answers: DoseAnswers, told_apart: bool) -> tuple[str, ...]:
    found = {
        "blank told apart": told_apart,
        "few assessors": len(answers.assessors) < FEWEST_ASSESSORS,
        "few doses": len(answers.doses) < FEWEST_DOSES,
        "few answers": int(answers.trials.sum(axis=1).min()) < FEWEST_ANSWERS,
    }
    return tuple(code for code, holds in found.items() if holds)


# ---- likelihood ----------------------------------------------------------------------------------------------------
@cache
def _normal_grid() -> tuple[Array, Array]:
    """Nodes z on -6..6 and their normal weights, summing to 1."""
    z = np.linspace(-REACH, REACH, NODES)
    weight = np.exp(-0.5 * z * z)
    return z, weight / weight.sum()


def _right(answers: DoseAnswers, chance: float, m: Array, s: float) -> Array:
    """P(right) at each dose for assessors with the middles `m`, shape (doses, len(m))."""
    return np.asarray(chance + (1 - chance - LAPSE) * expit((answers.ln_doses[:, None] - m) / s))


def _by_node(answers: DoseAnswers, chance: float, mu: float, s: float, tau: float) -> Array:
    """ln of weight times likelihood of each assessor at each node, shape (assessors, nodes)."""
    z, weight = _normal_grid()
    right = _right(answers, chance, mu + tau * z, s)
    missed = answers.trials - answers.correct
    return np.asarray(answers.correct @ np.log(right) + missed @ np.log1p(-right) + np.log(weight))


def _log_sums(joint: Array) -> Array:
    """ln of the sum of exp over each row, without overflow."""
    top = joint.max(axis=1)
    return np.asarray(top + np.log(np.exp(joint - top[:, None]).sum(axis=1)))


def _minus_loglik(parameters: Array, answers: DoseAnswers, chance: float) -> tuple[float, Array]:
    """-ln L and its gradient in (mu, ln s, tau)."""
    mu, s, tau = parameters[0], math.exp(parameters[1]), parameters[2]
    z, _weight = _normal_grid()
    distance = (answers.ln_doses[:, None] - (mu + tau * z)) / s
    logistic = expit(distance)
    right = chance + (1 - chance - LAPSE) * logistic
    missed = answers.trials - answers.correct
    joint = answers.correct @ np.log(right) + missed @ np.log1p(-right) + np.log(_weight)
    top = joint.max(axis=1, keepdims=True)
    share = np.exp(joint - top)
    total = share.sum(axis=1, keepdims=True)
    share /= total
    change = (1 - chance - LAPSE) * logistic * (1 - logistic)
    per_right, per_missed = change / right, change / (1 - right)
    towards_mu = -(answers.correct @ per_right - missed @ per_missed) / s
    towards_s = -(answers.correct @ (per_right * distance) - missed @ (per_missed * distance))
    gradient = [(share * towards_mu).sum(), (share * towards_s).sum(), (share * towards_mu * z).sum()]
    return -float((np.log(total) + top).sum()), -np.array(gradient)


def _bounds(answers: DoseAnswers) -> list[tuple[float, float]]:
    step, (first, last) = answers.step, answers.ln_doses[[0, -1]]
    return [(first - 5 * step, last + 5 * step), (math.log(step / 7), math.log(3 * step)), (0.0, 4 * step)]


def _maximum(answers: DoseAnswers, chance: float) -> tuple[tuple[float, float, float], float]:
    """(mu, ln s, tau) and ln L at the best of several climbs from a grid: steep curves have a top between any doses."""
    (lowest, highest), step = _bounds(answers)[0], answers.step
    starts = _best_starts(answers, chance, np.arange(lowest, highest + 0.1 * step, 0.4 * step), 4)
    best = min((_minimise(start, answers, chance) for start in starts), key=lambda found: found[1])
    mu, ln_s, tau = best[0].tolist()
    return (mu, ln_s, tau), -best[1]


def _best_starts(answers: DoseAnswers, chance: float, mus: Array, count: int, share: float = 0.5) -> list[Array]:
    """The `count` best points of a grid; every tau is above 0, where the slope in tau vanishes."""
    step = answers.step
    points = [(mu, s * step, tau * step) for mu in mus for s in (0.15, 0.5, 1.6) for tau in (0.1, 0.6, 1.8)]
    logliks = [
        _log_sums(_by_node(answers, chance, mu - _beyond(share, s, tau)[0], s, tau)).sum() for mu, s, tau in points
    ]
    best = np.argsort(logliks)[::-1][:count]
    return [np.array([mu, math.log(s), tau]) for mu, s, tau in (points[place] for place in best)]


def _minimise(
    start: Array, answers: DoseAnswers, chance: float, mu: float | None = None, share: float = 0.5
) -> tuple[Array, float]:
    """Parameters and -ln L from one start; with `mu` given, over the other two. At another share than half the first
    parameter is the ln dose of that share."""
    lower, upper = np.array(_bounds(answers)).T
    if mu is not None:
        lower[0] = upper[0] = mu

    def objective(at: Array) -> tuple[float, Array]:
        beyond, by_ln_s, by_tau = _beyond(share, math.exp(at[1]), at[2])
        value, slope = _minus_loglik(at - np.array([beyond, 0.0, 0.0]), answers, chance)
        return value, slope - slope[0] * np.array([0.0, by_ln_s, by_tau])

    found = descend(objective, start, lower, upper)
    return found.at, found.value


def _beyond(share: float, s: float, tau: float) -> tuple[float, float, float]:
    """How far the ln dose that a share of people notices lies beyond mu, and its slopes in ln s and tau.

    It solves mean over z of expit((beyond - tau z) / s) = share; half the people notice at mu, as both are symmetric.
    """
    from scipy.optimize import brentq

    if share == 0.5:
        return 0.0, 0.0, 0.0
    z, weight = _normal_grid()
    alone = s * math.log(share / (1 - share))  # if all were alike
    beyond = float(
        brentq(
            lambda c: float(weight @ expit((c - tau * z) / s)) - share, alone - REACH * tau - s, alone + REACH * tau + s
        )
    )
    logistic = expit((beyond - tau * z) / s)
    steep = weight * logistic * (1 - logistic)
    steep = steep / steep.sum()
    return beyond, float(steep @ (beyond - tau * z)), float(steep @ z)


# ---- limits --------------------------------------------------------------------------------------------------------
def _limits(
    answers: DoseAnswers, chance: float, best: Array, loglik: float, alpha: float, share: float = 0.5
) -> tuple[DosePoint, DosePoint]:
    """Where twice the drop of the profile reaches t(assessors - 1, 1 - alpha)^2, looked for in the doses tasted."""
    critical = float(stdtrit(len(answers.assessors) - 1, 1 - alpha)) ** 2
    first, last = answers.ln_doses[[0, -1]]

    def excess(mu: float) -> float:
        return 2 * (loglik - _profile(answers, chance, best, mu, share)) - critical

    return _limit(excess, answers, best[0], first, last), _limit(excess, answers, best[0], last, first)


def _limit(excess: Callable[[float], float], answers: DoseAnswers, mu: float, outer: float, inner: float) -> DosePoint:
    """The outermost crossing between the `outer` end of the doses tasted and mu; `inner` is the other end."""
    from scipy.optimize import brentq

    towards_low = outer < inner
    beyond = mu < outer if towards_low else mu > outer
    if beyond or excess(outer) < 0:
        return DosePoint(None, "below" if towards_low else "above")
    inside = min(max(mu, min(outer, inner)), max(outer, inner))
    places = np.linspace(outer, inside, 2 + int(2 * abs(outer - inside) / answers.step)).tolist()
    for place, farther in zip(places[1:], places, strict=False):
        if excess(place) < 0:
            return _point(answers, float(brentq(excess, place, farther, xtol=1e-5)))
    return DosePoint(None, "above" if towards_low else "below")


def _profile(answers: DoseAnswers, chance: float, best: Array, mu: float, share: float) -> float:
    """ln L maximised over s and tau at one mu, from the overall maximum and from the best point of a grid."""
    above_zero = np.array([mu, best[1], max(best[2], 0.2 * answers.step)])
    starts = [above_zero, *_best_starts(answers, chance, np.array([mu]), 1, share)]
    return -min(_minimise(start, answers, chance, mu, share)[1] for start in starts)


# ---- other shares --------------------------------------------------------------------------------------------------
def at_share(fitted: ThresholdFit, share: float) -> ShareLevel:
    """The dose from which a share of people like these notices it, slips left out, with limits by its own profile.

    The share is that of the model over people: half-way for half of them is the threshold itself. Raises ValueError.
    """
    if not 0 < share < 1:
        raise ValueError(f"share must lie between 0 and 1, got {share:g}")
    answers, chance = fitted.answers, method_named(fitted.method).chance
    at = fitted.mu + _beyond(share, fitted.s, fitted.tau)[0]
    best = np.array([at, math.log(fitted.s), fitted.tau])
    low, high = _limits(answers, chance, best, fitted.loglik, fitted.alpha, share)
    return ShareLevel(share, _point(answers, at), low, high)


# ---- test of fit ---------------------------------------------------------------------------------------------------
def fit_test(fitted: ThresholdFit, seed: int = 1, panels: int = PANELS) -> FitTest:
    """Do the totals at each dose lie on a rising curve? Deviance against free proportions, by simulated panels.

    The curve compared is the best logistic one for the totals, found anew for every simulated panel.
    """
    answers, chance = fitted.answers, method_named(fitted.method).chance
    drawn = _simulate(fitted, np.random.default_rng(seed), panels).sum(axis=1)
    observed, asked = answers.correct.sum(axis=0), answers.trials.sum(axis=0)
    deviances = _deviance(answers, chance, np.vstack([observed, drawn]), asked)
    beyond = int((deviances[1:] >= deviances[0] - 1e-9).sum())
    spread = np.maximum(drawn.std(axis=0), 1e-9)
    farthest = int(np.argmax(abs(observed - drawn.mean(axis=0)) / spread))
    return FitTest(
        float(deviances[0]),
        (1 + beyond) / (1 + panels),
        panels,
        expected_right(fitted, answers.doses),
        float(answers.doses[farthest]),
    )


def expected_right(fitted: ThresholdFit, doses: ArrayLike) -> Array:
    """Share of right answers of a panel like this at each of `doses` (above 0), averaged over its assessors."""
    z, weight = _normal_grid()
    distance = (np.log(np.asarray(doses, float))[:, None] - (fitted.mu + fitted.tau * z)) / fitted.s
    chance = method_named(fitted.method).chance
    return np.asarray(chance + (1 - chance - LAPSE) * expit(distance) @ weight)


def _simulate(fitted: ThresholdFit, random: np.random.Generator, panels: int) -> NDArray[np.int64]:
    """Right answers of panels drawn from the fitted model, shape (panels, assessors, doses)."""
    answers, chance = fitted.answers, method_named(fitted.method).chance
    m = fitted.mu + fitted.tau * random.standard_normal((panels, len(answers.assessors), 1))
    right = chance + (1 - chance - LAPSE) * expit((answers.ln_doses - m) / fitted.s)
    return np.asarray(random.binomial(answers.trials, right), np.int64)


def _deviance(answers: DoseAnswers, chance: float, totals: NDArray[np.int64], asked: NDArray[np.int64]) -> Array:
    """Deviance of each row of totals from the best of a fine grid of logistic curves, shape (rows,)."""
    first, last, step = *answers.ln_doses[[0, -1]], answers.step
    mu = np.linspace(first - 3 * step, last + 3 * step, 12 * (len(answers.doses) + 5))
    s = step * np.geomspace(1 / 7, 6, 40)
    distance = (answers.ln_doses - mu[:, None, None]) / s[:, None]
    right = (chance + (1 - chance - LAPSE) * expit(distance)).reshape(-1, len(answers.doses))
    curves = totals @ np.log(right).T + (asked - totals) @ np.log1p(-right).T
    return np.asarray(2 * (_free(totals, asked) - curves.max(axis=1)))


def _free(totals: NDArray[np.int64], asked: NDArray[np.int64]) -> Array:
    share = totals / np.maximum(asked, 1)
    return np.asarray((xlogy(totals, share) + xlogy(asked - totals, 1 - share)).sum(axis=1))


# ---- single assessors ----------------------------------------------------------------------------------------------
def standing_apart(fitted: ThresholdFit) -> tuple[str, ...]:
    """Assessors who found so little that the others' fit makes it unlikely; show the threshold with and without them.

    For each one the model is fitted to the others; named is who has so few right answers that a person from that panel
    would have them with a chance of at most 0.05 / assessors.
    """
    answers = fitted.answers
    if len(answers.assessors) < 4:
        return ()
    level = APART / len(answers.assessors)
    return tuple(name for i, name in enumerate(answers.assessors) if _chance_of_so_few(fitted, i) <= level)


def _chance_of_so_few(fitted: ThresholdFit, assessor: int) -> float:
    """P(as few right in all) for a person drawn from the panel that the other assessors make up."""
    answers, chance = fitted.answers, method_named(fitted.method).chance
    (mu, ln_s, tau), _loglik = _maximum(answers.without(assessor), chance)
    z, weight = _normal_grid()
    right = _right(answers, chance, mu + tau * z, math.exp(ln_s))
    total = np.ones((1, NODES))
    for trials, proportion in zip(answers.trials[assessor], right, strict=True):
        for _ in range(trials):
            total = np.vstack([total * (1 - proportion), np.zeros(NODES)]) + np.vstack(
                [np.zeros(NODES), total * proportion]
            )
    return float((total[: answers.correct[assessor].sum() + 1] @ weight).sum())


# ---- ascending series ----------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class AscendingThreshold:
    """Best estimates by the ascending series, dose units; approximate, and not the same quantity as exp(mu)."""

    individual: tuple[float, ...]
    group: float
    sd_log10: float | None


def ascending(doses: ArrayLike, right: ArrayLike) -> AscendingThreshold:
    """Each assessor: geometric mean of the highest dose missed and the next; group: geometric mean (ASTM E679).

    `doses` ascend and are above 0; `right` has shape (assessors, doses), one answer each. Half a step outside the doses
    where the lowest was found or the highest missed. Raises ValueError.
    """
    levels, found = np.asarray(doses, float), np.atleast_2d(np.asarray(right, bool))
    if len(levels) < 2 or not (levels[0] > 0 and np.all(np.diff(levels) > 0)):
        raise ValueError("doses must be two or more, above 0 and ascending")
    if found.shape[1] != len(levels):
        raise ValueError(f"right needs one column a dose, got {found.shape[1]} for {len(levels)} doses")
    padded = np.concatenate(([levels[0] ** 2 / levels[1]], levels, [levels[-1] ** 2 / levels[-2]]))
    count = len(levels)
    highest_missed = np.where(found.all(axis=1), 0, count - np.argmax(~found[:, ::-1], axis=1))
    each = np.sqrt(padded[highest_missed] * padded[highest_missed + 1])
    logs = np.log10(each)
    sd = float(logs.std(ddof=1)) if len(each) > 1 else None
    return AscendingThreshold(tuple(each.tolist()), float(10 ** logs.mean()), sd)
