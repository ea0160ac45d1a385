"""One look at many simulated studies, each judged as `stopping.decide` judges its scores.

Studies that hold scores of the same people, pulls, sittings and places are judged together. Shapes: B studies, a
assessors, h pulls, S sittings, r replicates.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import Cells
from analysis.model.scores import Scores, cells_of
from analysis.planning import model_batches, several_batches
from analysis.planning.alike import alike
from analysis.planning.many_studies import answers
from analysis.stopping import orders
from analysis.stopping.confirming import asked_under
from analysis.stopping.gates import Gating
from analysis.stopping.rule import EACH, Rule
from analysis.stopping.several import claim_on
from analysis.stopping.verdicts import CANNOT

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]


def look_at(
    drawn: Mapping[str, Array],
    positions: Codes | None,
    rule: Rule,
    level: float,
    control: int,
    gating: Gating | None = None,
    batch: Codes | None = None,
) -> tuple[Codes, Codes]:
    """Verdict and pull (B,) of every study; `cannot tell` also where there is nothing to decide on.

    Args:
        drawn: the scores so far, attribute -> (B, a, h, S, r), NaN where missing.
        places: at which place of its sitting each was tasted, the same shape; None where that is not known.
        rule: as sealed.
        level: one-sided level of this look.
        control: index of the pull known to differ.
        gating: limits of instruments with what was read in every study.
        batch: the number of each sitting's batch (S,), where there are several.

    Raises:
        ValueError: the rule adjusts for positions that are not known.
    """
    if "position" in rule.adjust and positions is None:
        raise ValueError("adjust: 'position' needs the place of every serving")
    scores = {name: Scores(y, None if positions is None else positions - 1) for name, y in drawn.items()}
    apart = model_batches.all_told_apart(scores) if "position" in rule.adjust else None
    if batch is not None and batch.max() > 0:
        verdict, pull = several_batches.judged(scores, batch, rule, level, control, gating)
    elif apart is not None or "sitting" in rule.adjust:
        verdict, pull = _by_fuller_model(scores, apart, rule, level, control, gating)
    else:
        verdict, pull = look_at_cells(
            {name: cells_under(rule, own) for name, own in scores.items()}, rule, level, control, gating
        )
    if positions is not None:
        # As `outcome.worded`: an order that favours a pull makes a step look flat, or steep, that is not.
        answered = np.flatnonzero(verdict != CANNOT)
        trusted = apart[answered] if apart is not None else _trusted(scores, answered, rule, batch)
        verdict[answered[~trusted]], pull[answered[~trusted]] = CANNOT, -1
    return verdict, pull


def cells_suffice(rule: Rule, positions: Codes | None) -> bool:
    """Whether a look needs no more than the cells of each attribute."""
    return positions is None and not {"position", "sitting"} & set(rule.adjust)


def cells_under(rule: Rule, scores: Scores) -> Cells:
    """Cells by sitting where the rule asks for it."""
    return cells_of(scores, "sitting:hours" in rule.adjust)


def look_at_cells(
    cells: Mapping[str, Cells], rule: Rule, level: float, control: int, gating: Gating | None = None
) -> tuple[Codes, Codes]:
    """The same from cells alone, attribute -> B studies, orders apart."""
    studies = len(next(iter(cells.values())).sums)
    verdict, pull = np.full(studies, CANNOT), np.full(studies, -1)
    bars = asked_under(rule, next(iter(cells.values())).sums.shape[2])
    for rows, part in alike(cells):
        verdict[rows], pull[rows] = answers(
            part, rule.attributes, level, control, bars, None if gating is None else gating.rows(rows)
        )
    return verdict, pull


def _by_fuller_model(
    scores: Mapping[str, Scores],
    apart: Flags | None,
    rule: Rule,
    level: float,
    control: int,
    gating: Gating | None,
) -> tuple[Codes, Codes]:
    """Verdicts of studies whose places or sittings the model takes out."""
    studies = len(next(iter(scores.values())).values)
    verdict, pull = np.full(studies, CANNOT), np.full(studies, -1)
    for rows, own_verdict, own_pull in model_batches.judged(scores, apart, rule, level, control, gating):
        verdict[rows], pull[rows] = own_verdict, own_pull
    return verdict, pull


def _trusted(scores: Mapping[str, Scores], rows: Codes, rule: Rule, batch: Codes | None) -> Flags:
    """Whether the orders can be trusted: of all servings, or of each batch where each is judged alone."""
    if batch is None or claim_on(int(batch.max()) + 1, rule) != EACH:
        return _balanced(scores, rows)
    every = np.ones(next(iter(scores.values())).values.shape[2], bool)
    found = np.ones(len(rows), bool)
    for one in range(int(batch.max()) + 1):
        days = np.flatnonzero(batch == one)
        found &= _balanced({name: own.within(days, every) for name, own in scores.items()}, rows)
    return found


def _balanced(scores: Mapping[str, Scores], rows: Codes) -> Flags:
    """Whether the orders of each of these studies can be trusted."""
    first = next(iter(scores.values()))
    assert first.positions is not None
    position_labels = np.arange(1.0, first.positions.max() + 2)
    # The places of all attributes are the same, so a serving is there once, whatever was scored of it.
    any_scored = np.logical_or.reduce([own.seen[rows] for own in scores.values()])
    every = Scores(np.where(any_scored, 0.0, np.nan), first.positions[rows])
    found = np.ones(len(rows), bool)
    for row in range(len(rows)):
        served = orders.servings([every.rows(slice(row, row + 1))], position_labels)
        found[row] = served is None or orders.why_unbalanced(served) is None
    return found
