"""What is said beside a verdict: codes with their values, never part of it. `findings` writes the sentences."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtrit

from analysis import orders
from analysis.decision import Warning
from analysis.limits import Cells, sitting_squares
from analysis.outcome import why_not
from analysis.panels import Panel
from analysis.rule import AttributeRule, Rule
from analysis.verdicts import AttributeLimits, Judged

Array = NDArray[np.float64]
WIDEST_GAIN = 3.0
SIGNIFICANT = 0.05
# Fewer assessors can pass, but their limits are wide.
FEW = 8


def warnings_beside(panel: Panel, rule: Rule, level: float, judged: Judged) -> tuple[Warning, ...]:
    """Everything worth saying, the gravest first."""
    reasons = why_not(judged)
    found = [Warning(why, {"attribute": name, "assessors": panel.people[name]}) for name, why in reasons.items()]
    smallest = min(panel.people.values())
    if 5 <= smallest < FEW:
        found.append(Warning("few assessors", {"assessors": smallest}))
    found += _orders(panel, rule)
    found += _sittings(panel, rule)
    for name, limits in judged.attributes.items():
        if name not in reasons:
            found += _people(panel, name, rule.attributes[name], level, limits, int(judged.shortest[0]))
    if panel.scope["batches"] <= 1:
        found.append(Warning("one batch", {}))
    return tuple(found)


def _orders(panel: Panel, rule: Rule) -> Iterator[Warning]:
    if orders.servings(panel) is None:
        yield Warning("order not recorded", {})
        return
    why = orders.why_not_trusted(panel, rule)
    if why is not None:
        yield Warning("orders unbalanced", {"why": why, "adjusted": not orders.forbid(panel, rule)})


# ---- sittings ------------------------------------------------------------------------------------------------------
def _sittings(panel: Panel, rule: Rule) -> Iterator[Warning]:
    """One sitting cannot show how a tray moves a pull; several can, and may disagree."""
    if panel.scope["sittings"] < 2:
        if "sitting" in panel.recorded:
            yield Warning("as prepared for this sitting", {})
        return
    if "sitting:hours" in rule.adjust:
        return
    for name, cells in panel.cells.items():
        if _disagree(cells):
            yield Warning("sittings disagree", {"attribute": name})


def _disagree(cells: Cells) -> bool:
    """Pull x sitting significant at 5 %, where at most half of the residual df are lost to missing cells."""
    squares = None if cells.sittings is None else sitting_squares(cells.sittings)
    if squares is None or squares.rest_df[0] < squares.full_df / 2 or squares.rest[0] <= 0:
        return False
    return bool(fdtrc(squares.daily_df, squares.rest_df[0], squares.daily[0] / squares.rest[0]) < SIGNIFICANT)


# ---- people --------------------------------------------------------------------------------------------------------
def _people(
    panel: Panel, name: str, wish: AttributeRule, level: float, limits: AttributeLimits, shortest: int
) -> Iterator[Warning]:
    """Who still notices at the chosen pull, and who stretches the scale."""
    if 0 <= shortest < len(panel.hours) - 1:
        noticing = _still_notice(limits, wish, level, shortest)
        if noticing:
            values = {"attribute": name, "count": noticing, "assessors": panel.people[name]}
            hours = {"hours": float(panel.hours[shortest]), "reference": float(panel.hours[-1])}
            yield Warning("someone still notices", {**values, **hours})
    gains = assessor_gains(limits.cells)
    if gains is not None and (gains.min() <= 0 or gains.max() > WIDEST_GAIN * gains.min()):
        yield Warning("scales stretched", {"attribute": name, "low": float(gains.min()), "high": float(gains.max())})


def _still_notice(limits: AttributeLimits, wish: AttributeRule, level: float, pull: int) -> int:
    """Assessors whose own difference is clearly beyond the margin, each at level / number of assessors able to show it.

    Able is who scored both pulls at least twice; the error is the residual between replicates.
    """
    cells = limits.cells
    counts = np.broadcast_to(cells.counts, cells.sums.shape)[0]
    df = counts.sum() - (counts > 0).sum()
    able = (counts[:, pull] >= 2) & (counts[:, -1] >= 2)
    if df < 1 or not able.any():
        return 0
    means = (cells.sums[0] / np.maximum(counts, 1))[able]
    own = limits.sign * (means[:, pull] - means[:, -1])
    if wish.wanted == "same":
        own = np.abs(own)
    se = np.sqrt(float(cells.within[0]) / df * (1 / counts[able, pull] + 1 / counts[able, -1]))
    return int((own - stdtrit(df, 1 - level / able.sum()) * se > wish.margin).sum())


def assessor_gains(cells: Cells) -> Array | None:
    """Slope of each assessor's pull means on the panel's (a,); None with gaps, or where the pulls do not truly differ
    (F of pulls against assessor x pull at 5 %), since slopes on nothing are noise."""
    if not (cells.counts > 0).all():
        return None
    means = (cells.sums / cells.counts)[0]
    a, h = means.shape
    pull = means.mean(0) - means.mean()
    rest = means - means.mean(1, keepdims=True) - pull
    size, df = float((pull**2).sum()), (a - 1) * (h - 1)
    error = float((rest**2).sum()) / df
    if size <= 0 or (error > 0 and fdtrc(h - 1, df, a * size / (h - 1) / error) >= SIGNIFICANT):
        return None
    return np.asarray((means - means.mean(1, keepdims=True)) @ pull / size)
