"""Panels whose scores a fuller model adjusts, for serving position (fixed) or for sitting (random)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.model import mixed
from analysis.model.cells import TOP, Cells, within_sittings
from analysis.model.contrasts import MeansFit, contrast_of
from analysis.model.scores import Scores, cells_of, places_told_apart, without_position
from analysis.stopping import orders, panels
from analysis.stopping.rule import Rule
from analysis.stopping.standard_errors import Contrasts, Error, Estimates, Fitted, WithinSittings, fitted, rounding

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AdjustedFit:
    """Panels of one attribute. Estimate and panel error come from the fuller model, own and sitting error from `plain`,
    whose cells have lost the effect of position."""

    plain: Fitted
    estimates: MeansFit

    @property
    def cells(self) -> Cells:
        """See Contrasts."""
        return self.plain.cells

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """See Contrasts."""
        estimate, se, df = contrast_of(self.estimates, weights)
        beside = self.plain.contrast(weights, capped)
        cap = np.minimum(df, self.estimates.containment[:, None]) if capped else df
        found = Estimates(estimate, df, Error(se, cap), beside.own, beside.sitting)
        return found.at_least(rounding(self.cells, weights))


@dataclass(frozen=True, slots=True)
class ReportedFit(AdjustedFit):
    """One panel, with the whole fit for its report."""

    model: mixed.MixedFit


def cells_in_force(panel: panels.Panel, rule: Rule) -> dict[str, Cells]:
    """What the rule decides on: without the effect of position, and with sittings, where the rule says so."""
    trays, by_position = "sitting:hours" in rule.adjust, _by_position(panel, rule)
    return {name: adjusted_cells(own, by_position, trays, panel.top) for name, own in panel.scores.items()}


def adjusted_cells(scores: Scores, by_position: bool, trays: bool, top: float = TOP) -> Cells:
    """Cells of panels scored by the same people, less who gave no score, perhaps without the effect of position."""
    own = cells_of(without_position(scores) if by_position else scores, trays, top).present()
    # Places are taken out of scores, not of the steps in which these were recorded.
    return replace(own, step=scores.step) if by_position else own


def adjusted(panel: panels.Panel, rule: Rule, cells: dict[str, Cells]) -> dict[str, Contrasts]:
    """Fits of the attributes whose model holds more than pulls and assessors; empty when the rule adjusts for none."""
    fixed = ["hours", *(["position"] if _by_position(panel, rule) else [])]
    by_sitting = "sitting" in rule.adjust
    found: dict[str, Contrasts] = {}
    if len(fixed) == 1 and (not by_sitting or panel.scope["sittings"] < 2):
        return found
    for name in rule.attributes:
        rows = panel.rows(name)
        random = _random(rows, by_sitting)
        if (len(fixed) > 1 or len(random) > 2) and rows["score"].nunique() > 1:
            model = mixed.fit(rows, "score", fixed, random)
            whole = ReportedFit(fitted(cells[name]), model.estimates, model)
            # A model that holds the sitting takes its shift out by itself.
            apart = cells[name].served_apart and len(random) == 2
            found[name] = _within_sittings(whole, rows, panel.scores[name], fixed) if apart else whole
    return found


def _random(rows: pd.DataFrame, by_sitting: bool) -> list[str]:
    """Random terms of the model of one attribute."""
    return ["assessor", "assessor:hours", *(["sitting"] if by_sitting and rows["sitting"].nunique() > 1 else [])]


def _within_sittings(whole: ReportedFit, rows: pd.DataFrame, scores: Scores, fixed: list[str]) -> WithinSittings:
    """The same model, for each difference fitted to the sittings that served its pulls."""
    days = np.unique(rows["day"])

    def part(chosen: NDArray[np.bool_]) -> tuple[Contrasts, NDArray[np.bool_]] | None:
        some, pulls = within_sittings(whole.cells, chosen)
        if not places_told_apart(scores.within(days[chosen], pulls))[0]:
            return None
        left = rows[rows["day"].isin(days[chosen])]
        return AdjustedFit(fitted(some), mixed.fit(left, "score", fixed, _random(left, False)).estimates), pulls

    return WithinSittings(whole, part)


def _by_position(panel: panels.Panel, rule: Rule) -> bool:
    return "position" in rule.adjust and orders.can_adjust(panel)
