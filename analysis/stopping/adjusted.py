"""Panels whose scores a fuller model adjusts, for serving position (fixed) or for sitting (random)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.model import mixed
from analysis.model.cells import Cells, within_sittings
from analysis.model.contrasts import Estimates as Fuller
from analysis.model.contrasts import contrast_of
from analysis.stopping import orders, panels
from analysis.stopping.rule import Rule
from analysis.stopping.standard_errors import Contrasts, Error, Estimates, Fitted, WithinSittings, fitted, rounding

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AdjustedFit:
    """Panels of one attribute. Estimate and panel error come from the fuller model, own and sitting error from `plain`,
    whose cells have lost the effect of position."""

    plain: Fitted
    estimates: Fuller

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
    found = {}
    for name, cells in panel.cells.items():
        own = panels.cells_of(_without_position(panel.rows(name)), panel.hours, cells) if by_position else cells
        found[name] = replace(own, trays=trays, sittings=own.sittings if trays or own.served_apart else None)
    return found


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
            found[name] = _within_sittings(whole, rows, fixed) if apart else whole
    return found


def _random(rows: pd.DataFrame, by_sitting: bool) -> list[str]:
    """Random terms of the model of one attribute."""
    return ["assessor", "assessor:hours", *(["sitting"] if by_sitting and rows["sitting"].nunique() > 1 else [])]


def _within_sittings(whole: ReportedFit, rows: pd.DataFrame, fixed: list[str]) -> WithinSittings:
    """The same model, for each difference fitted to the sittings that served its pulls."""
    days = np.unique(rows["day"])

    def part(chosen: NDArray[np.bool_]) -> tuple[Contrasts, NDArray[np.bool_]] | None:
        some, pulls = within_sittings(whole.cells, chosen)
        left = rows[rows["day"].isin(days[chosen])]
        if not orders.told_apart(left):
            return None
        return AdjustedFit(fitted(some), mixed.fit(left, "score", fixed, _random(left, False)).estimates), pulls

    return WithinSittings(whole, part)


def _by_position(panel: panels.Panel, rule: Rule) -> bool:
    return "position" in rule.adjust and orders.can_adjust(panel)


def _without_position(rows: pd.DataFrame) -> pd.DataFrame:
    """The scores less the effect of their position (least squares beside assessors and pulls, unbiased)."""
    blocks = [
        np.eye(codes.max() + 1)[codes]
        for codes, _ in (pd.factorize(rows[column], sort=True) for column in ("position", "assessor", "hours"))
    ]
    columns = np.hstack([blocks[0], blocks[1][:, 1:], blocks[2][:, 1:]])
    y = rows["score"].to_numpy(float)
    effects = np.linalg.lstsq(columns, y, rcond=None)[0][: blocks[0].shape[1]]
    return rows.assign(score=y - blocks[0] @ (effects - effects.mean()))
