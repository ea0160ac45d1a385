"""Panels whose scores a fuller model adjusts, for serving position (fixed) or for sitting (random)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import TOP, Cells, within_sittings
from analysis.model.contrasts import contrast_of
from analysis.model.fuller import FullerFits, FullerModel
from analysis.model.scores import Scores, cells_of, positions_told_apart, without_positions
from analysis.stopping import orders
from analysis.stopping.panels import Panel
from analysis.stopping.rule import Rule
from analysis.stopping.standard_errors import (
    Contrasts,
    Error,
    Estimates,
    Fitted,
    WithinSittings,
    contrasts_of,
    fitted,
    rounding,
)

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class AdjustedFit:
    """Panels of one attribute. Estimate and panel error come from the fuller model, own and sitting error from `plain`,
    whose cells have lost the effect of position."""

    plain: Fitted
    fuller: FullerFits

    @property
    def cells(self) -> Cells:
        """See Contrasts."""
        return self.plain.cells

    def contrast(self, weights: Array, capped: bool = True) -> Estimates:
        """See Contrasts."""
        estimate, se, df = contrast_of(self.fuller.fits, weights)
        beside = self.plain.contrast(weights, capped)
        cap = np.minimum(df, self.fuller.fits.containment[:, None]) if capped else df
        found = Estimates(estimate, df, Error(se, cap), beside.own, beside.sitting)
        return found.at_least(rounding(self.cells, weights))


@dataclass(frozen=True, slots=True)
class InForce:
    """What a rule decides on: cells of each attribute, and the fits of those whose model holds more than pulls and
    assessors."""

    cells: dict[str, Cells]
    fits: dict[str, Contrasts]

    @classmethod
    def of_study(cls, panel: Panel, rule: Rule) -> InForce:
        """Of one study."""
        out = np.array(["position" in rule.adjust and orders.can_adjust(panel)])
        return cls.of_alike(panel.scores, models_under(rule, panel.scores, out), bool(out[0]), rule, panel.top)

    @classmethod
    def of_alike(
        cls, scores: Mapping[str, Scores], models: Mapping[str, FullerModel], out: bool, rule: Rule, top: float = TOP
    ) -> InForce:
        """Of studies that share people, pulls in each sitting, and their `models`; `out`: whether positions go out."""
        cells = {name: _cells(own, out, "sitting:hours" in rule.adjust, top) for name, own in scores.items()}
        asked = {name: model for name, model in models.items() if _is_asked(scores[name], model, out)}
        return cls(cells, {name: _fitted(scores[name], model, cells[name]) for name, model in asked.items()})


def contrasts_under(rule: Rule, scores: Scores, position: bool, top: float) -> Contrasts:
    """The contrasts of one attribute under a rule; `position`: whether places go out."""
    own = {"": scores}
    force = InForce.of_alike(own, models_under(rule, own, np.array([position])), position, rule, top)
    return force.fits.get("") or contrasts_of(force.cells[""])


def models_under(rule: Rule, scores: Mapping[str, Scores], position: Flags) -> dict[str, FullerModel]:
    """The model of every attribute, where the rule asks for more than pulls and assessors; `position` (B,)."""
    by_sitting = "sitting" in rule.adjust
    if not (by_sitting or position.any()):
        return {}
    return {name: FullerModel.of(own, position, by_sitting) for name, own in scores.items()}


def _cells(scores: Scores, position: bool, trays: bool, top: float) -> Cells:
    """Cells less who gave no score, perhaps without the effect of place."""
    own = cells_of(without_positions(scores) if position else scores, trays, top).present()
    # Places are taken out of scores, not of the steps in which these were recorded.
    return replace(own, step=scores.step) if position else own


def _is_asked(scores: Scores, model: FullerModel, position: bool) -> bool:
    """Whether a fuller model is asked for, and there is anything to fit."""
    return bool(position or model.asked[0]) and bool(scores.differ[0])


def _fitted(scores: Scores, model: FullerModel, cells: Cells) -> Contrasts:
    """The model of one attribute; where a pull was not served in every sitting, and the model does not take the shift
    of a sitting out by itself, for each difference fitted to the sittings that served its pulls."""
    if not model.enough[0]:
        count, h = int(scores.counts[0].sum()), scores.values.shape[2]
        raise ValueError(f"data: {count} scores of {h} levels, nothing is left to estimate the spread from")
    whole = AdjustedFit(fitted(cells), model.fit())
    if not cells.served_apart or model.asked[0]:
        return whole
    days = np.flatnonzero(scores.seen.any((0, 1, 2, 4)))

    def part(chosen: Flags) -> tuple[Contrasts, Flags] | None:
        some, pulls = within_sittings(cells, chosen)
        left = scores.within(days[chosen], pulls)
        if not positions_told_apart(left)[0]:
            return None
        return AdjustedFit(fitted(some), FullerModel.of(left, np.array([True]), False).fit()), pulls

    return WithinSittings(whole, part)
