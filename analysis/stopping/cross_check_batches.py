"""A second opinion on several batches: every batch by its own scores and, of a recipe, means over all of them.

The other programs know no rule of several batches. What they can be asked is the fit of each batch; the fit of all
scores less what each batch did, which the panel's error comes from; and, of the differences they found batch by batch,
the mean and its error with the batch as the unit. Only what was handed out is checked against them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.stopping import orders, panels
from analysis.stopping.cross_check import SAME, AttributeCheck, judged, one_attribute
from analysis.stopping.deciding import decide
from analysis.stopping.decision import AttributeResult, Decision
from analysis.stopping.departing import BatchNumbers
from analysis.stopping.fates import Fates
from analysis.stopping.other_programs import Fit, OtherFit
from analysis.stopping.panels import Panel
from analysis.stopping.rule import RECIPE, THIS, Rule
from analysis.stopping.several import batches_of

Array = NDArray[np.float64]
Alone = tuple[Panel, Decision, tuple[str, ...]]


def of_batches(scores: pd.DataFrame, rule: Rule, decision: Decision, optimiser: str) -> dict[str, AttributeCheck]:
    """Every deciding attribute in every batch, named "attribute, batch"; of a recipe before that the attribute over
    all batches, where each of them served every pull."""
    told = decision.batches
    assert told is not None
    alone = {one.name: _alone(one.told) for one in batches_of(scores, rule) if one.name in told.names}
    every_pull = all(len(panel.hours) == len(told.hours) for panel, _own, _fixed in alone.values())
    found: dict[str, AttributeCheck] = {}
    for name, result in decision.attributes.items():
        single = {batch: _single(name, batch, *own, told, optimiser) for batch, own in alone.items()}
        if decision.claim == RECIPE and every_pull:
            found[name] = _over(result, alone, single, told, optimiser)
        found |= {f"{name}, {batch}": check for batch, check in single.items()}
    return found


def _alone(told: Fates) -> Alone:
    """A batch by itself, without limits of instruments, which are none of these programs' business."""
    rule = replace(told.rule, claim=THIS, batches=None, gates={})
    panel = panels.read(told.scored, rule)
    fixed = ("position",) if "position" in rule.adjust and orders.can_adjust(panel) else ()
    return panel, decide(told.scored, rule), fixed


def _single(
    name: str, batch: str, panel: Panel, own: Decision, fixed: tuple[str, ...], told: BatchNumbers, optimiser: str
) -> AttributeCheck:
    """One attribute in one batch; the differences are those that were told of several."""
    result = own.attributes[name]
    check = one_attribute(name, panel.rows(name), fixed, result, optimiser)
    values = dict(zip(told.hours, told.differences[name][batch], strict=True))
    sign = result.rule.sign
    apart = tuple(
        row if (value := values[row.hours]) is None else replace(row, estimate=sign * value)
        for row in check.ours.differences
    )
    return replace(_anew(check, replace(check.ours, differences=apart)), batch=batch)


def _anew(check: AttributeCheck, ours: Fit, other: OtherFit | None = None) -> AttributeCheck:
    """The same check of other numbers."""
    theirs = other or check.mixed.other
    mixed = check.mixed if theirs is None else replace(judged(ours, theirs), copied=check.mixed.copied)
    return replace(check, ours=ours, mixed=mixed)


# ---- means over batches ----------------------------------------------------------------------------------------------
def _over(
    result: AttributeResult,
    alone: Mapping[str, Alone],
    single: Mapping[str, AttributeCheck],
    told: BatchNumbers,
    optimiser: str,
) -> AttributeCheck:
    """All scores less what each batch did; means of what the other program found batch by batch in the place of that
    fit's own differences, which are others where scores are missing."""
    name = result.name
    level = {batch: np.mean([pull.mean for pull in own.attributes[name].pulls]) for batch, (_, own, _) in alone.items()}
    middle = np.mean(list(level.values()))
    rows = pd.concat(
        [own.assign(score=own["score"] - level[batch] + middle)
         for batch, (panel, _, _) in alone.items() for own in [panel.rows(name)]],
        ignore_index=True,
    )  # fmt: skip
    fixed = max((fixed for _, _, fixed in alone.values()), key=len)
    check = replace(one_attribute(name, rows, fixed, result, optimiser), batches=told.names)
    others = [one.mixed.other for one in single.values()]
    if check.mixed.other is None or None in others:
        return check
    found = np.array([[row.estimate for row in other.at_given.differences] for other in others if other is not None])
    return _with_means(check, found, told.batch_se[name])


def _with_means(check: AttributeCheck, found: Array, batch_se: Sequence[float | None]) -> AttributeCheck:
    """Held against means of the other program's differences (batches, pulls), and their error by statsmodels."""
    from statsmodels.stats.weightstats import DescrStatsW

    whole, over = check.mixed.other, DescrStatsW(found)
    assert whole is not None
    rows = zip(whole.at_given.differences, over.mean.tolist(), strict=True)
    given = replace(whole.at_given, differences=tuple(replace(row, estimate=mean) for row, mean in rows))
    check = _anew(check, check.ours, replace(whole, at_given=given))
    ours = np.array([np.nan if se is None else se for se in batch_se[:-1]])
    if np.allclose(ours, over.std_mean, rtol=SAME, atol=SAME * float(np.abs(found).max()), equal_nan=True):
        return check
    parts = (*check.mixed.differs, "batch error")
    return replace(check, mixed=replace(check.mixed, says="differs", differs=parts))
