"""A second opinion on the numbers below a verdict, from statsmodels and pingouin; nothing of it touches the verdict.

What is checked is the result as it was handed out, not a new fit of ours. Two searches may end in different places,
so the two programs are first compared without any search: statsmodels' own formulas at our variances must give our
log-likelihood, residual variance, differences, standard errors and F. The restricted log-likelihood is the same
quantity in both, every constant included. Only then does it matter where its search ended.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

from analysis.stopping import fates, orders, panels
from analysis.stopping.decision import AttributeResult, Decision
from analysis.stopping.other_programs import (
    MOST_COLUMNS,
    OPTIMISER,
    Difference,
    Fit,
    GaveNothing,
    OtherAnova,
    OtherFit,
    columns,
    mixed_model,
    repeated_measures,
)
from analysis.stopping.rule import Rule

__all__ = ["AnovaCheck", "AttributeCheck", "Difference", "Fit", "MixedCheck", "cross_check"]

LOGLIK = 1e-4  # what two searches may differ by and still have ended in the same place
SAME = 1e-4  # relative, of numbers that involve no search (worst seen 1e-6)
NOTICED = 0.01  # from here on a standard error is told to be another one
MixedSays = Literal["agrees", "stops short", "not converged", "differs", "no likelihood", "too large", "gave nothing"]
AnovaSays = Literal[
    "agrees", "another error term", "differs", "incomplete", "unequal", "fuller model", "no F", "gave nothing"
]


@dataclass(frozen=True, slots=True)
class MixedCheck:
    """statsmodels beside us. `says`:

    "agrees"; "stops short" (its search ended lower than its own likelihood is at our variances); "not converged" (it
    says so itself, and its formulas agree with us at our variances); "differs" in the parts that `differs` names
    ("loglik", "residual", "differences", "se", "f", "batch error" of means over batches, or "higher likelihood" when
    its search went above ours); or not compared: "no likelihood" (the terms explain every score, so there is no maximum), "too large"; "gave nothing": it
    broke off with an error (`problem` has its own words; its formulas agree with us where `other` is there).

    `at_zero` names the variances that we put at zero. `joint_se` is the largest share by which its printed standard
    errors differ from those with the variances taken as they are, None below 1 %. `copied`: the replicates of a cell
    are copies, so that both programs were given one score a cell.
    """

    says: MixedSays
    other: OtherFit | None = None
    differs: tuple[str, ...] = ()
    at_zero: tuple[str, ...] = ()
    joint_se: float | None = None
    problem: str = ""
    copied: bool = False


@dataclass(frozen=True, slots=True)
class AnovaCheck:
    """pingouin's repeated-measures analysis of variance on cell means beside our F test. `says`:

    "agrees"; "another error term" (the same differences between pulls over another error: we put the variances
    `at_zero` at zero and pool what they hold); "differs"; or not done: "incomplete" (a cell is empty), "unequal" (cells
    scored unequally often), "fuller model" (the rule takes `terms` out), "no F" (all is alike), "gave nothing".
    """

    says: AnovaSays
    other: OtherAnova | None = None
    at_zero: tuple[str, ...] = ()
    terms: tuple[str, ...] = ()
    problem: str = ""


@dataclass(frozen=True, slots=True)
class AttributeCheck:
    """Our numbers of one attribute, as the decision has them, and what two other programs say. Differences are pull
    minus reference, at `reference_hours`. Of several batches: of `batch` alone, or of all `batches` as means."""

    name: str
    reference_hours: float
    ours: Fit
    mixed: MixedCheck
    anova: AnovaCheck
    batch: str = ""
    batches: tuple[str, ...] = ()

    @property
    def agrees(self) -> bool:
        """Nothing is left that only a fault would explain."""
        return "differs" not in (self.mixed.says, self.anova.says)


def cross_check(
    scores: pd.DataFrame, rule: Rule, decision: Decision, optimiser: str = OPTIMISER
) -> dict[str, AttributeCheck]:
    """Every deciding attribute of `decision` beside statsmodels and pingouin; of several batches see `of_batches`.

    Args:
        scores, rule: what `decision` was made of.
        decision: the result of `stopping.decide`.
        optimiser: the one of statsmodels' own that searches.

    Raises:
        ValueError: as `stopping.decide`.
    """
    if decision.batches is not None:
        from analysis.stopping.cross_check_batches import of_batches

        return of_batches(scores, rule, decision, optimiser)
    told = fates.read(scores, rule)
    panel = panels.read(told.scored, told.rule)
    fixed = ("position",) if "position" in rule.adjust and orders.can_adjust(panel) else ()
    found = {}
    for name, result in decision.attributes.items():
        found[name] = one_attribute(name, panel.rows(name), fixed, result, optimiser)
    return found


def one_attribute(
    name: str, rows: pd.DataFrame, fixed: tuple[str, ...], result: AttributeResult, optimiser: str
) -> AttributeCheck:
    """One attribute on its rows of scores; `fixed` factors beside hours."""
    ours = _ours(result)
    mixed = _mixed(rows, fixed, ours, optimiser)
    return AttributeCheck(name, result.reference_hours, ours, mixed, _anova(rows, fixed, ours))


def _ours(result: AttributeResult) -> Fit:
    """The numbers of a decision; differences as pull minus reference, whichever way is worse."""
    sign = result.rule.sign
    pulls = [pull for pull in result.pulls if pull.hours != result.reference_hours]
    return Fit(
        result.reml_loglik,
        dict(result.variance),
        tuple(Difference(pull.hours, sign * pull.difference, pull.se) for pull in pulls),
        result.anova,
    )


def _at_zero(ours: Fit) -> tuple[str, ...]:
    return tuple(name for name, value in ours.variance.items() if value == 0 and name != "residual")


# ---- the mixed model -------------------------------------------------------------------------------------------------
def _mixed(rows: pd.DataFrame, fixed: tuple[str, ...], ours: Fit, optimiser: str) -> MixedCheck:
    """Ask statsmodels for the model whose terms we could tell apart."""
    variance = {name: value for name, value in ours.variance.items() if value is not None}
    if ours.loglik is None or not variance.get("residual"):
        return MixedCheck("no likelihood")
    if columns(rows, list(variance)) > MOST_COLUMNS:
        return MixedCheck("too large")
    once = rows.drop_duplicates(["assessor", "hours"])
    # The cells' own variance can be told from the rest where a cell has two scores, unless they are copies throughout.
    copied = "assessor:hours" not in variance and len(once) < len(rows)
    try:
        other = mixed_model(once if copied else rows, fixed, variance, optimiser)
    except GaveNothing as problem:
        return MixedCheck("gave nothing", problem=str(problem))
    return replace(judged(ours, other), copied=copied)


def judged(ours: Fit, other: OtherFit) -> MixedCheck:
    """Formulas first, then where the search ended."""
    parts = _differing(ours, other.at_given)
    if other.found is None:
        return MixedCheck("differs" if parts else "gave nothing", other, parts, _at_zero(ours), problem=other.problem)
    above = _number(other.found.loglik) - _number(ours.loglik)
    if above > LOGLIK:
        parts = (*parts, "higher likelihood")
    says: MixedSays = "agrees"
    if parts:
        says = "differs"
    elif not other.converged:
        says = "not converged"
    elif above < -LOGLIK:
        says = "stops short"
    return MixedCheck(says, other, parts, _at_zero(ours), _joint_se(other.found, other.at_given))


def _differing(ours: Fit, theirs: Fit) -> tuple[str, ...]:
    """Which numbers at the same variances are not the same."""
    one, two = _errors(ours), _errors(theirs)
    apart = [
        abs(mine.estimate - yours.estimate) for mine, yours in zip(ours.differences, theirs.differences, strict=True)
    ]
    agree = {
        "loglik": bool(abs(_number(ours.loglik) - _number(theirs.loglik)) <= LOGLIK),
        "residual": _close(ours.variance["residual"], theirs.variance["residual"]),
        "differences": bool((np.array(apart) <= SAME * two).all()),
        "se": bool(np.allclose(one, two, rtol=SAME, atol=0)),
        "f": _close(ours.anova.f, theirs.anova.f),
    }
    return tuple(name for name, same in agree.items() if not same)


def _joint_se(found: Fit, at_given: Fit) -> float | None:
    """How far the printed standard errors are from those at the same place with the variances taken as they are."""
    if abs(_number(found.loglik) - _number(at_given.loglik)) > LOGLIK:
        return None
    share = float(np.abs(_errors(found) / _errors(at_given) - 1).max())
    return share if share >= NOTICED else None


def _errors(fit: Fit) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([_number(difference.se) for difference in fit.differences])


def _number(value: float | None) -> float:
    return np.nan if value is None else value


def _close(one: float | None, two: float | None) -> bool:
    return bool(np.isclose(_number(one), _number(two), rtol=SAME, atol=0))


# ---- the analysis of variance ----------------------------------------------------------------------------------------
def _anova(rows: pd.DataFrame, fixed: tuple[str, ...], ours: Fit) -> AnovaCheck:
    """Ask pingouin where its model can be that of the rule."""
    terms = (*fixed, *(name for name in ("sitting",) if name in ours.variance))
    if terms:
        return AnovaCheck("fuller model", terms=terms)
    counts = rows.groupby(["assessor", "hours"]).size().unstack(fill_value=0).to_numpy()
    if counts.min() == 0:
        return AnovaCheck("incomplete")
    if counts.min() < counts.max():
        return AnovaCheck("unequal")
    if ours.anova.f is None:
        return AnovaCheck("no F")
    try:
        return _same_test(ours, repeated_measures(rows), len(counts))
    except GaveNothing as problem:
        return AnovaCheck("gave nothing", problem=str(problem))


def _same_test(ours: Fit, other: OtherAnova, assessors: int) -> AnovaCheck:
    """F and df alike, or else the same mean square between pulls over an error in which we pooled a variance at zero.

    Complete and equally often scored, all differences have one standard error, and the error mean square of cell means
    is assessors x SE^2 / 2; F times it is the mean square between pulls, which no choice of error can change.
    """
    errors = _errors(ours)
    between = _number(ours.anova.f) * assessors * errors**2 / 2
    zero = _at_zero(ours)
    if not np.allclose(between, other.between, rtol=SAME, atol=0):
        return AnovaCheck("differs", other, zero)
    if all(_close(getattr(ours.anova, name), getattr(other.test, name)) for name in ("f", "num_df", "den_df")):
        return AnovaCheck("agrees", other, zero)
    return AnovaCheck("another error term" if zero else "differs", other, zero)
