"""One look at many simulated studies of several batches, each judged as `stopping.decide` judges its scores.

Shapes: B studies, a assessors, h pulls, S sittings, r replicates.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import TOP
from analysis.model.scores import Scores, cells_of
from analysis.planning.alike import alike_rows, can_decide
from analysis.stopping.adjusted import contrasts_under
from analysis.stopping.confirming import asked_under
from analysis.stopping.evidence import FEWEST_ASSESSORS
from analysis.stopping.gates import Gating
from analysis.stopping.over_batches import OverBatches
from analysis.stopping.rule import RECIPE, Rule
from analysis.stopping.several import claim_on, held_in_each, judged_over
from analysis.stopping.standard_errors import Contrasts
from analysis.stopping.verdicts import CANNOT, Judged, judge

Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]


def judged(
    scores: Mapping[str, Scores], batch: Codes, rule: Rule, level: float, control: int, gating: Gating | None
) -> tuple[Codes, Codes]:
    """Verdict and pull (B,) of every study, orders apart; `cannot tell` also where there is nothing to decide on.

    `batch` (S,): the number of each sitting's batch. Other arguments as in `look_batches.look_at`.
    """
    studies = len(next(iter(scores.values())).values)
    verdict, pull = np.full(studies, CANNOT), np.full(studies, -1)
    claim = claim_on(int(batch.max()) + 1, rule)
    for rows in alike_rows(np.hstack([_held(own, batch) for own in scores.values()])):
        part = {name: own.rows(rows) for name, own in scores.items()}
        if not all(_can_decide(own, batch) for own in part.values()):
            continue
        gates = None if gating is None else gating.rows(rows)
        if claim != RECIPE:
            found = _each(part, batch, rule, level, control, gates)
        elif all(_in_common(own, batch) for own in part.values()):
            fit = partial(_fit, rule)
            fits = {name: OverBatches.of(own, batch, TOP, fit) for name, own in part.items()}
            bars = asked_under(rule, next(iter(part.values())).values.shape[2])
            found = judged_over(fits, rule, level, control, bars, gates)
        else:
            continue
        verdict[rows], pull[rows] = found.verdict, found.pull
    return verdict, pull


def _each(
    part: Mapping[str, Scores], batch: Codes, rule: Rule, level: float, control: int, gating: Gating | None
) -> Judged:
    """Every batch judged alone, and all of them together."""
    numbers = range(int(batch.max()) + 1)
    hours = next(iter(part.values())).values.shape[2]
    every, alone = np.ones(hours, bool), []
    for one in numbers:
        own = {name: scores.within(np.flatnonzero(batch == one), every) for name, scores in part.items()}
        cells = {name: cells_of(scores, "sitting:hours" in rule.adjust).present() for name, scores in own.items()}
        plain = not {"position", "sitting"} & set(rule.adjust)
        fits = {} if plain else {name: _fit(rule, scores) for name, scores in own.items()}
        gates = None if gating is None else gating.of_batch(str(one), gating.hours)
        alone.append(judge(cells, rule.attributes, level, control, fits, None, len(numbers), gates))
    return held_in_each(alone, {str(one): every for one in numbers}, rule, level, None, gating)


def _fit(rule: Rule, scores: Scores) -> Contrasts:
    return contrasts_under(rule, scores, "position" in rule.adjust, TOP)


# ---- which studies are alike -----------------------------------------------------------------------------------------
def _held(own: Scores, batch: Codes) -> Flags:
    """Which people and pulls hold scores in which sitting (B, any)."""
    seen = own.seen
    return np.hstack([seen.any((2, 4)).reshape(len(seen), -1), seen.any((1, 4)).reshape(len(seen), -1)])


def _can_decide(own: Scores, batch: Codes) -> bool:
    """Whether every batch holds scores of every pull, by two people in all."""
    return all(can_decide(own.counts_in(batch == one)) for one in range(int(batch.max()) + 1))


def _in_common(own: Scores, batch: Codes) -> bool:
    """Whether enough people tasted every batch."""
    there = own.seen[0].any((1, 3))
    by_batch = [there[:, batch == one].any(1) for one in range(int(batch.max()) + 1)]
    return bool(np.logical_and.reduce(by_batch).sum() >= FEWEST_ASSESSORS)
