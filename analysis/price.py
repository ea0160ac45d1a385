"""The price of an answer: what one more sitting would probably settle, by the whole rule at the next look's level.

True means and variances are drawn from what the scores say (scaled inverse chi-square, then t), one new sitting from
the model; a flat prior errs low, so the chance is printed as "at least about".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis import panels
from analysis.limits import Cells, fitted
from analysis.verdicts import VERDICTS, Judged, judge

if TYPE_CHECKING:
    from analysis.stopping import Offer, Rule

Array = NDArray[np.float64]
CHUNK = 500


@dataclass(frozen=True, slots=True)
class _Plan:
    """One offered sitting: which pulls (indices), how many servings of each to an assessor."""

    name: str
    pulls: NDArray[np.intp]
    replicates: int


def offers(scores: pd.DataFrame, rule: Rule, draws: int, seed: int) -> tuple[Offer, ...]:
    """All pulls once more, only the open ones, or more replicates; empty when no sealed look is left."""
    from analysis.stopping import check_rule

    level = check_rule(rule)
    if rule.look >= rule.looks:
        return ()
    panel = panels.read(scores, rule.attributes, rule.control)
    now = judge(panel.cells, rule.attributes, level, panel.control)
    rng = np.random.default_rng(seed)
    return tuple(_offer(panel, rule, level, plan, draws, rng) for plan in _plans(panel, now))


def _plans(panel: panels.Panel, now: Judged) -> list[_Plan]:
    """What could be served next."""
    h = len(panel.hours)
    each = max(1, round(panel.servings_a_sitting))
    every = np.arange(h)
    open_ = ~now.fails[0] & ~now.passes[0]
    open_[[panel.control, h - 1]] = True
    plans = [_Plan("all pulls", every, each)]
    if 2 < open_.sum() < h:
        plans.append(_Plan("open pulls", every[open_], each))
    plans.append(_Plan("more replicates", every, each + 1))
    return plans


def _offer(panel: panels.Panel, rule: Rule, level: float, plan: _Plan, draws: int, rng: np.random.Generator) -> Offer:
    """Chances of each verdict when `plan` is served next."""
    from analysis.stopping import Offer

    counts = np.zeros(len(VERDICTS))
    done = 0
    while done < draws:
        size = min(CHUNK, draws - done)
        futures = {
            name: _future(cells, plan, size, rng, "sitting:hours" in rule.adjust) for name, cells in panel.cells.items()
        }
        judged = judge(futures, rule.attributes, level, panel.control)
        counts += np.bincount(judged.verdict, minlength=len(VERDICTS))
        done += size
    chances = counts / draws
    settles = float(1 - chances[VERDICTS.index("cannot tell")])
    people = next(iter(panel.cells.values())).sums.shape[1]
    return Offer(
        name=plan.name,  # type: ignore[arg-type]
        pulls=tuple(float(panel.hours[i]) for i in plan.pulls),
        sittings=1,
        replicates=plan.replicates,
        servings=people * len(plan.pulls) * plan.replicates,
        chances=dict(zip(VERDICTS, map(float, chances), strict=True)),
        settles=settles,
        monte_carlo_se=float(np.sqrt(settles * (1 - settles) / draws)),
    )


def _future(cells: Cells, plan: _Plan, size: int, rng: np.random.Generator, by_sitting: bool) -> Cells:
    """The scores so far with one drawn sitting added, `size` times."""
    fit = fitted(cells)
    a, h = cells.sums.shape[1:]
    f1, f0 = float(fit.fits.containment[0]), float(cells.counts.sum() - (cells.counts > 0).sum())
    residual = max(float(fit.fits.residual[0]), 1e-12)
    interaction = float(np.nan_to_num(fit.fits.interaction[0]))
    each = float(cells.counts[cells.counts > 0].mean())
    sigma2 = residual * f0 / rng.chisquare(f0, size) if f0 > 0 else np.full(size, residual)
    m1 = (residual + each * interaction) * f1 / rng.chisquare(f1, size)
    v_c = np.maximum((m1 - sigma2) / each, 0)
    person = rng.normal(0, 1, (size, a, h)) * np.sqrt(v_c)[:, None, None]
    scale = np.sqrt(m1 / (a * each))
    truth = fit.fits.means[0] + scale[:, None] * rng.normal(0, 1, (size, h))
    # The assessors are the same people: their own part is drawn given what each has scored so far.
    seen = np.divide(cells.sums[0], cells.counts[0], out=np.zeros((a, h)), where=cells.counts[0] > 0)
    level = (seen - fit.fits.means[0]).mean(1)
    shrink = v_c / (v_c + sigma2 / each)
    leaning = seen[None] - truth[:, None, :] - level[None, :, None]
    person = shrink[:, None, None] * leaning + person * np.sqrt(1 - shrink)[:, None, None]
    mean = truth[:, None, plan.pulls] + level[None, :, None] + person[:, :, plan.pulls]
    r = plan.replicates
    fresh = mean + rng.normal(0, 1, mean.shape) * np.sqrt(sigma2 / r)[:, None, None]
    within_new = sigma2 * rng.chisquare(max(a * len(plan.pulls) * (r - 1), 1), size) if r > 1 else np.zeros(size)
    return _joined(cells, plan, fresh, within_new, by_sitting)


def _joined(cells: Cells, plan: _Plan, fresh: Array, within_new: Array, by_sitting: bool) -> Cells:
    """Old and new scores as one set of cells."""
    size, a, _ = fresh.shape
    h, r = cells.sums.shape[2], plan.replicates
    added = np.zeros((1, a, h))
    added[:, :, plan.pulls] = r
    wide = np.zeros((size, a, h))
    wide[:, :, plan.pulls] = fresh
    counts = cells.counts + added
    old = np.divide(cells.sums, cells.counts, out=np.zeros(cells.sums.shape), where=cells.counts > 0)
    between = np.where(added > 0, cells.counts * added / np.maximum(counts, 1) * (wide - old) ** 2, 0.0)
    table = None
    if by_sitting:
        new = np.where(added > 0, wide, np.nan)[..., None]
        past = old[..., None] if cells.sittings is None else cells.sittings
        table = np.concatenate([np.broadcast_to(past, (size, *past.shape[1:])), new], axis=3)
    return Cells(counts, cells.sums + added * wide, cells.within + within_new + between.sum((1, 2)), table)
