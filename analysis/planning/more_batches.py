"""What more batches would probably bring a claim on recipe and machine: likely truths, new batches, the whole rule.

Mean squares of assessor x pull, batch x pull and what is left tell how far people and batches differ; variances are
drawn from scaled inverse chi-squares on them, means of the pulls and what each person finds of their own from what the
variances leave open. Shapes: D draws, a assessors, h pulls, b batches, n servings.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from math import floor
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.model.scores import Scores
from analysis.planning import several_batches
from analysis.planning.price import MOST, Offer, can_be_priced
from analysis.stopping import outcome, several
from analysis.stopping.panels import Panel
from analysis.stopping.rule import RECIPE, Rule, check_rule
from analysis.stopping.standard_errors import additive_filled
from analysis.stopping.verdicts import CANNOT, VERDICTS

Array = NDArray[np.float64]


def price_batches(
    scores: pd.DataFrame,
    rule: Rule,
    more: Iterable[int],
    anew: bool = False,
    draws: int = 1000,
    seed: int = 1,
    readings: pd.DataFrame | None = None,
) -> tuple[Offer, ...]:
    """The chance of an answer from so many `more` batches, one sitting each, tasted as often as those so far.

    Empty unless a claim on recipe and machine ended in `cannot tell` by its flavour and more scores can be drawn, and
    where the rule takes out places on the tray. New batches are taken to keep limits of instruments.

    Args:
        scores, rule, readings: as for `decide`.
        more: numbers of batches, each a way of its own.
        anew: whether the batches so far do not count again, as in a new study.
        draws, seed: simulated studies a way, and what they are drawn with.
    """
    level = check_rule(rule)
    if rule.claim != RECIPE or "position" in rule.adjust:
        return ()
    found = several.weighed(scores, rule, level, RECIPE, _nobody, readings)
    if found.reason is not None or not can_be_priced(found.told) or found.judged.verdict[0] != CANNOT:
        return ()
    if outcome.by_taste(found.judged, found.told).verdict[0] != CANNOT:
        return ()
    panel = found.panel
    tables = {name: _Table.of(panel, name) for name in sorted(rule.attributes)}
    judged = partial(several_batches.judged, rule=rule, level=level, control=panel.control, gating=None)
    return tuple(_offer(panel, tables, judged, count, anew, draws, seed) for count in more)


def _nobody(*_asked: object) -> Any:
    raise AssertionError("no batch is judged alone under a claim on the recipe")


# ---- what the scores tell --------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Table:
    """Means of one attribute (a, h, b), gaps filled, how many servings stand behind each, their variance within."""

    means: Array
    servings: int
    within: float

    @classmethod
    def of(cls, panel: Panel, name: str) -> _Table:
        """From the scores of a panel."""
        assert panel.batch_of is not None
        own = panel.scores[name]
        seen, values = own.seen[0], np.nan_to_num(own.values[0])
        days = [panel.batch_of == one for one in range(len(panel.batches))]
        count = np.stack([seen[:, :, some].sum((2, 3)) for some in days], 2).astype(float)
        sums = np.stack([values[:, :, some].sum((2, 3)) for some in days], 2)
        squares = np.stack([(values[:, :, some] ** 2).sum((2, 3)) for some in days], 2)
        means = np.divide(sums, count, out=np.full(count.shape, np.nan), where=count > 0)
        free = float(np.maximum(count - 1, 0).sum())
        within = float((squares - count * np.nan_to_num(means) ** 2)[count > 1].sum()) / free if free else 0.0
        people = np.isfinite(means).any((1, 2))
        filled = additive_filled(means[people][None])[0][0]
        return cls(filled, max(1, round(float(count[people].mean()))), max(within, 0.0))

    def drawn(self, batches: int, draws: int, rng: np.random.Generator) -> Array:
        """Means of new batches (D, a, h, batches)."""
        a, h, b = self.means.shape
        error, person, batch = (spread[:, None, None] for spread in self._variances(draws, rng))
        mean = self.means.mean((0, 2))
        spread = np.sqrt(person / a + batch / b + error / (a * b))
        true = mean + spread * rng.standard_normal((draws, 1, h))
        level = self.means.mean((1, 2), keepdims=True)[..., 0] - mean.mean()
        kept = np.divide(person, person + error / b, out=np.zeros_like(person), where=person > 0)
        lean = kept * (self.means.mean(2) - level - true)
        lean = lean + np.sqrt(person * (1 - kept)) * rng.standard_normal((draws, a, h))
        new = np.sqrt(batch)[..., None] * rng.standard_normal((draws, 1, h, batches))
        rest = np.sqrt(error)[..., None] * rng.standard_normal((draws, a, h, batches))
        return np.asarray((true + level + lean)[..., None] + new + rest)

    def _variances(self, draws: int, rng: np.random.Generator) -> tuple[Array, Array, Array]:
        """Draws (D,) of the variance of what is left, of assessor x pull, of batch x pull."""
        a, h, b = self.means.shape
        own, lots = _interaction(self.means.mean(2)), _interaction(self.means.mean(0).T)
        rest = self.means
        for axis in range(3):
            rest = rest - rest.mean(axis, keepdims=True)
        squares = (float((rest**2).sum()), b * own, a * lots)
        free = ((a - 1) * (h - 1) * (b - 1), (a - 1) * (h - 1), (b - 1) * (h - 1))
        error, person, batch = (ss / rng.chisquare(df, draws) for ss, df in zip(squares, free, strict=True))
        return error, np.maximum(person - error, 0) / b, np.maximum(batch - error, 0) / a


def _interaction(table: Array) -> float:
    """Sum of squares of a table (., h) less its rows and columns."""
    left = table - table.mean(0) - table.mean(1, keepdims=True) + table.mean()
    return float((left**2).sum())


# ---- drawn studies ---------------------------------------------------------------------------------------------------
def _offer(
    panel: Panel, tables: dict[str, _Table], judged: Any, count: int, anew: bool, draws: int, seed: int
) -> Offer:
    """Chances of each verdict with so many new batches."""
    rng = np.random.default_rng(seed)
    first = next(iter(tables.values()))
    assert panel.batch_of is not None
    old = np.empty(0, np.intp) if anew else panel.batch_of
    batch = np.append(old, len(set(old.tolist())) + np.arange(count)).astype(np.intp)
    every = {name: _scores(panel, name, own, count, anew, draws, rng) for name, own in tables.items()}
    chances = np.bincount(judged(every, batch)[0], minlength=len(VERDICTS)) / draws
    settles, (a, h, _b) = round(float(1 - chances[CANNOT]), 12), first.means.shape
    return Offer(
        name="new study" if anew else "more batches",
        pulls=tuple(panel.hours.tolist()),
        looks=1,
        sittings=count,
        mean_sittings=float(count),
        replicates=first.servings,
        pieces=h * first.servings,
        palates=count * a,
        servings=count * a * h * first.servings,
        chances=dict(zip(VERDICTS, chances.tolist(), strict=True)),
        settles=settles,
        monte_carlo_se=float(np.sqrt(settles * (1 - settles) / draws)),
        told=min(floor(round(settles * 10, 9)) / 10, MOST),
        people=a,
        of_a_pull=a * first.servings,
    )


def _scores(
    panel: Panel, name: str, own: _Table, count: int, anew: bool, draws: int, rng: np.random.Generator
) -> Scores:
    """The scores so far, unless `anew`, and those of new batches, a sitting each (D, a, h, S, n)."""
    cells = own.drawn(count, draws, rng)
    noise = rng.standard_normal((*cells.shape, own.servings))
    noise -= noise.mean(-1, keepdims=True)
    fresh = np.clip(cells[..., None] + np.sqrt(own.within) * noise, 0.0, panel.top)
    if anew:
        return Scores(fresh)
    kept = panel.scores[name].values
    kept = kept[:, np.isfinite(kept[0]).any((1, 2, 3))]
    wide = max(kept.shape[-1], own.servings)

    def widened(values: Array) -> Array:
        room = [(0, 0)] * 4 + [(0, wide - values.shape[-1])]
        return np.pad(values, room, constant_values=np.nan)

    before = np.broadcast_to(widened(kept), (draws, *kept.shape[1:-1], wide))
    return Scores(np.concatenate([before, widened(fresh)], 3))
