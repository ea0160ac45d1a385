"""The numbers of each deciding attribute, for picture, table and file."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from analysis.model.cell_fits import CellFits
from analysis.model.fuller import FullerFits
from analysis.stopping import standard_errors as bounds
from analysis.stopping.adjusted import AdjustedFit
from analysis.stopping.decision import Anova, AttributeResult, PullResult
from analysis.stopping.evidence import WHY_NOT
from analysis.stopping.outcome import own_shortest
from analysis.stopping.over_batches import OverBatches
from analysis.stopping.panels import Panel
from analysis.stopping.rule import AttributeRule, Rule
from analysis.stopping.standard_errors import Contrasts, Error, Estimates, Fitted, WithinSittings
from analysis.stopping.verdicts import AttributeLimits, Judged

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
ModelNumbers = tuple[Anova, float | None, dict[str, float | None]]


def attribute_results(panel: Panel, rule: Rule, level: float, judged: Judged) -> dict[str, AttributeResult]:
    """One result an attribute, in the order of the rule."""
    models: dict[int, list[ModelNumbers]] = {}
    means: dict[int, Estimates] = {}
    found = {}
    for name, limits in judged.attributes.items():
        key = id(limits.panels)
        if key not in models:
            models[key] = _models(limits.panels)
            means[key] = bounds.means(limits.panels)
        model, own_means = models[key][limits.own.start], means[key].rows(limits.own)
        fails = judged.fails_on(name)[0]
        found[name] = _result(panel, name, rule.attributes[name], level, limits, model, own_means, fails)
    return found


def _result(
    panel: Panel,
    name: str,
    wish: AttributeRule,
    level: float,
    limits: AttributeLimits,
    model: ModelNumbers,
    means: Estimates,
    fails: Flags,
) -> AttributeResult:
    """Numbers of one attribute; `fails` (h,): where it is shown to fail."""
    own, why_not = own_shortest(limits), WHY_NOT[int(limits.why_not[0])]
    anova, loglik, variance = model
    return AttributeResult(
        name=name,
        rule=wish,
        reference_hours=float(panel.hours[-1]),
        shortest_hours=float(panel.hours[own]) if own < len(panel.hours) else None,
        assessors=panel.people[name],
        reml_loglik=loglik,
        variance=variance,
        anova=anova,
        pulls=_pulls(panel, wish, level, limits, means, fails),
        judged=why_not is None,
        why_not=why_not,
    )


# ---- the model -----------------------------------------------------------------------------------------------------
def _models(panels: Contrasts) -> list[ModelNumbers]:
    """F test, log likelihood and variances of the model in force, for each attribute of a stack."""
    if isinstance(panels, (WithinSittings, OverBatches)):
        return _models(panels.whole)
    if isinstance(panels, AdjustedFit):
        return [_of_fuller(panels.fuller)]
    assert isinstance(panels, Fitted)
    return list(_of_fits(panels.fits))


def _of_fuller(fuller: FullerFits) -> ModelNumbers:
    f, num, den, p = fuller.fits.f_test()
    return _anova(f[0], num, den[0], p[0]), _known(fuller.fits.loglik[0]), fuller.variance(0)


def _of_fits(fits: CellFits) -> Iterator[ModelNumbers]:
    f, num, den, p = fits.f_test()
    columns = (f, den, p, fits.loglik, fits.assessor, fits.interaction, fits.residual)
    for F, d, chance, loglik, person, cell, rest in zip(*(column.tolist() for column in columns), strict=True):
        variance = {"assessor": _known(person), "assessor:hours": _known(cell), "residual": _known(rest)}
        yield _anova(F, num, d, chance), _known(loglik), variance


def _anova(f: float, num: float, den: float, p: float) -> Anova:
    return Anova(_known(f), num, _known(den), _known(p)) if np.isfinite(f) else Anova(None, None, None, None)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


# ---- pulls ---------------------------------------------------------------------------------------------------------
def _pulls(
    panel: Panel, wish: AttributeRule, level: float, limits: AttributeLimits, means: Estimates, fails: Flags
) -> tuple[PullResult, ...]:
    """Every pull of one attribute; the reference has no limits."""
    worse, h = limits.worse, len(panel.hours)
    mean, spread = means.estimate[0], means.reach(level)[0]
    columns: dict[str, list[float | None]] = {
        "hours": panel.hours.tolist(),
        "mean": mean.tolist(),
        "mean_low": (mean - spread).tolist(),
        "mean_high": (mean + spread).tolist(),
        "difference": [*worse.estimate[0, :-1].tolist(), 0.0],
        "se": _but_reference(worse.panel.se[0]),
        "df": _but_reference(worse.df[0]),
        "own_se": _but_reference(worse.own.se[0]),
        "own_df": _but_reference(worse.own.df[0]),
    }
    for start, error in (("", worse.panel), ("own_", worse.own), ("sitting_", worse.sitting), ("decisive_", worse)):
        columns[f"{start}lower"], columns[f"{start}upper"] = _sides(worse.estimate[0], error, level)
    if limits.filled is not None:
        # Under the one filling the highest limits, under the other the lowest: all that is said holds for both.
        high, low = (way.worse for way in limits.filled)
        columns["decisive_upper"] = _sides(high.estimate[0], high, level)[1]
        columns["decisive_lower"] = _sides(low.estimate[0], low, level)[0]
    flags = {
        "within_margin": limits.within_margin[0].tolist(),
        "within_limit": [None] * h if wish.limit is None else limits.within_limit[0].tolist(),
        "shown_to_fail": fails.tolist(),
    }
    rows = {**columns, **flags}
    return tuple(PullResult(**dict(zip(rows, row, strict=True))) for row in zip(*rows.values(), strict=True))


def _but_reference(values: Array) -> list[float | None]:
    return [*(_known(value) for value in values[:-1].tolist()), None]


def _sides(estimate: Array, error: Error | Estimates | None, level: float) -> tuple[list[float | None], ...]:
    """Lower and upper limits; None where the error is not in force."""
    if error is None:
        return [None] * len(estimate), [None] * len(estimate)
    reach = error.reach(level)[0]
    return _but_reference(estimate - reach), _but_reference(estimate + reach)
