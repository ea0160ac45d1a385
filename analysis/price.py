"""The price of an answer: what one more sitting would probably settle, by the whole rule at the next look's level.

Variances are drawn from what the scores say (scaled inverse chi-square on their mean squares), true means from the
courses that the observed ones leave likely, one new sitting from the model. Over many truths, of studies told "40 %"
about 40 % settle (`tests/benchmarks/bench_price.py`); for one truth it may err, so it is printed as "at least about".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis import orders, panels
from analysis.adjusted import adjusted, cells_in_force
from analysis.decision import Offer
from analysis.likely_courses import draw_courses
from analysis.limits import Cells, Fitted, fitted, sitting_squares
from analysis.rule import Rule, check_rule
from analysis.verdicts import CANNOT, VERDICTS, Judged, judge

Array = NDArray[np.float64]
Name = Literal["all pulls", "open pulls", "more replicates", "new study"]
CHUNK = 500
# The variance that recording in steps of 0.1 leaves even where everybody repeats themselves.
ROUNDING = 0.1**2 / 12


@dataclass(frozen=True, slots=True)
class _Plan:
    """What is offered: which pulls (indices), how many servings of each to an assessor in each of how many sittings."""

    name: Name
    pulls: NDArray[np.intp]
    replicates: int
    sittings: int = 1


def offers(scores: pd.DataFrame, rule: Rule, draws: int, seed: int) -> tuple[Offer, ...]:
    """All pulls once more, only the open ones, or more replicates. See `stopping.price`."""
    return _priced(scores, rule, draws, seed, _next_sittings) if rule.look < rule.looks else ()


def new_studies(scores: pd.DataFrame, rule: Rule, draws: int, seed: int) -> tuple[Offer, ...]:
    """The same study anew, and with twice the servings. See `stopping.price_new_study`."""
    return _priced(scores, rule, draws, seed, _new_studies)


def _priced(
    scores: pd.DataFrame,
    rule: Rule,
    draws: int,
    seed: int,
    plans: Callable[[panels.Panel, Judged], list[_Plan]],
) -> tuple[Offer, ...]:
    """Offers after `cannot tell`, none after an answer or where orders stand in the way of one.

    Raises:
        ValueError: draws below 1, or as `decide`.
    """
    if draws < 1:
        raise ValueError(f"draws must be 1 or more, got {draws}")
    level = check_rule(rule)
    panel = panels.read(scores, rule)
    cells = cells_in_force(panel, rule)
    now = judge(cells, rule.attributes, level, panel.control, adjusted(panel, rule, cells))
    if now.verdict[0] != CANNOT or orders.forbid(panel, rule):
        return ()
    fits = {name: fitted(_with_sittings(own, rule)) for name, own in cells.items()}
    rng = np.random.default_rng(seed)
    return tuple(_offer(panel, rule, level, plan, fits, draws, rng) for plan in plans(panel, now))


def _with_sittings(cells: Cells, rule: Rule) -> Cells:
    """A single sitting as a table, so that a second one can be set beside it."""
    if "sitting:hours" not in rule.adjust or cells.sittings is not None:
        return cells
    means = np.divide(cells.sums, cells.counts, out=np.full(cells.sums.shape, np.nan), where=cells.counts > 0)
    return Cells(cells.counts, cells.sums, cells.within, means[..., None])


def _next_sittings(panel: panels.Panel, now: Judged) -> list[_Plan]:
    """What could be served next; reference and control are served every time."""
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


def _new_studies(panel: panels.Panel, _now: Judged) -> list[_Plan]:
    """As many servings as so far, and twice as many; the old scores do not count again."""
    each = max(1, round(panel.servings_a_sitting))
    every, sittings = np.arange(len(panel.hours)), panel.scope["sittings"]
    return [_Plan("new study", every, replicates, sittings) for replicates in (each, 2 * each)]


def _offer(
    panel: panels.Panel,
    rule: Rule,
    level: float,
    plan: _Plan,
    fits: Mapping[str, Fitted],
    draws: int,
    rng: np.random.Generator,
) -> Offer:
    """Chances of each verdict when `plan` is served."""
    counts = np.zeros(len(VERDICTS))
    for start in range(0, draws, CHUNK):
        size = min(CHUNK, draws - start)
        futures = {name: _future(fit, panel.hours, plan, size, rng) for name, fit in fits.items()}
        judged = judge(futures, rule.attributes, level, panel.control)
        counts += np.bincount(judged.verdict, minlength=len(VERDICTS))
    chances = counts / draws
    settles = round(float(1 - chances[CANNOT]), 12)
    return Offer(
        name=plan.name,
        pulls=tuple(panel.hours[plan.pulls].tolist()),
        sittings=plan.sittings,
        replicates=plan.replicates,
        servings=panel.scope["assessors"] * len(plan.pulls) * plan.replicates * plan.sittings,
        chances=dict(zip(VERDICTS, chances.tolist(), strict=True)),
        settles=settles,
        monte_carlo_se=float(np.sqrt(settles * (1 - settles) / draws)),
    )


# ---- what may be true, given the scores ------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Truth:
    """Draws of what the scores leave open: cell means of each assessor (size, a, h), residual variance and variance of
    pull x sitting (size,)."""

    cells: Array
    residual: Array
    daily: Array


def _future(fit: Fitted, hours: Array, plan: _Plan, size: int, rng: np.random.Generator) -> Cells:
    """The scores so far, or none for a new study, with the drawn sittings added, `size` times."""
    truth = _truth(fit, hours, size, rng)
    cells = _empty(fit.cells) if plan.name == "new study" else fit.cells
    for _ in range(plan.sittings):
        cells = _joined(cells, plan, *_sitting(truth, plan, rng))
    return cells


def _empty(cells: Cells) -> Cells:
    """The same people and pulls before any score."""
    nothing = np.zeros((1, *cells.sums.shape[1:]))
    return Cells(nothing, nothing, np.zeros(1), None if cells.sittings is None else cells.sittings[..., :0])


def _sitting(truth: _Truth, plan: _Plan, rng: np.random.Generator) -> tuple[Array, Array]:
    """Cell means (size, a, pulls of the plan) and squares within cells (size,) of one drawn sitting."""
    r = plan.replicates
    mean = truth.cells[:, :, plan.pulls]
    size, a, k = mean.shape
    tray = rng.standard_normal((size, 1, k)) * np.sqrt(truth.daily)[:, None, None]
    fresh = mean + tray + rng.standard_normal((size, a, k)) * np.sqrt(truth.residual / r)[:, None, None]
    within = truth.residual * rng.chisquare(a * k * (r - 1), size) if r > 1 else np.zeros(size)
    return fresh, within


def _truth(fit: Fitted, hours: Array, size: int, rng: np.random.Generator) -> _Truth:
    """Variances, pull means given these, then each assessor's own part given both.

    The assessors are the same people, so what each of them scored so far stays with the draw.
    """
    counts, sums = fit.cells.counts[0], fit.cells.sums[0]
    a, h = counts.shape
    seen = counts > 0
    each = float(counts[seen].mean())
    residual, interaction = _variances(fit, each, size, rng)
    error = (residual + each * interaction)[:, None] / counts.sum(0)
    means = draw_courses(hours, fit.fits.means[0], error, rng)
    observed = sums / np.maximum(counts, 1)
    person = np.where(seen, observed - fit.fits.means[0], 0.0).sum(1) / seen.sum(1)
    v_c, v_e = interaction[:, None, None], residual[:, None, None]
    kept = np.divide(counts * v_c, counts * v_c + v_e, out=np.zeros((size, a, h)), where=v_e > 0)
    leaning = observed - person[:, None] - means[:, None, :]
    own = kept * leaning + np.sqrt(v_c * (1 - kept)) * rng.standard_normal((size, a, h))
    return _Truth(means[:, None, :] + person[:, None] + own, residual, _daily(fit.cells, size, rng))


def _variances(fit: Fitted, each: float, size: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """Draws of residual and interaction variance (size,); both lie in one mean square when no cell was scored twice."""
    counts = fit.cells.counts[0]
    f0, f1 = float(counts.sum() - (counts > 0).sum()), max(float(fit.fits.containment[0]), 1.0)
    residual = max(float(fit.fits.residual[0]), ROUNDING)
    interaction = float(np.nan_to_num(fit.fits.interaction[0]))
    middle = (residual + each * interaction) * f1 / rng.chisquare(f1, size)
    if f0 == 0:
        return middle, np.zeros(size)
    low = residual * f0 / rng.chisquare(f0, size)
    return low, np.maximum((middle - low) / each, 0)


def _daily(cells: Cells, size: int, rng: np.random.Generator) -> Array:
    """Draws of the variance of pull x sitting, zero where the rule does not ask for it or one sitting cannot tell."""
    squares = None if cells.sittings is None else sitting_squares(cells.sittings)
    if squares is None:
        return np.zeros(size)
    drawn = squares.daily[0] * squares.daily_df / rng.chisquare(squares.daily_df, size)
    return np.asarray(np.maximum(drawn - squares.rest[0], 0) / cells.sums.shape[1])


def _joined(cells: Cells, plan: _Plan, fresh: Array, within_new: Array) -> Cells:
    """Old and new scores as one set of cells."""
    size, a, _ = fresh.shape
    h, r = cells.sums.shape[2], plan.replicates
    added, wide = np.zeros((1, a, h)), np.zeros((size, a, h))
    added[:, :, plan.pulls], wide[:, :, plan.pulls] = r, fresh
    counts = cells.counts + added
    old = cells.sums / np.maximum(cells.counts, 1)
    between = cells.counts * added / np.maximum(counts, 1) * (wide - old) ** 2
    table = None
    if cells.sittings is not None:
        new = np.where(added > 0, wide, np.nan)[..., None]
        table = np.concatenate([np.broadcast_to(cells.sittings, (size, *cells.sittings.shape[1:])), new], axis=3)
    return Cells(counts, cells.sums + added * wide, cells.within + within_new + between.sum((1, 2)), table)
