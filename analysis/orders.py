"""Serving orders: whether position and pull can be told apart.

The first serving tastes different and palates tire, so a pull that stands elsewhere in the order than the reference
gains or loses by its place.
"""

from __future__ import annotations

import pandas as pd

from analysis.panels import Panel
from analysis.rule import Rule

FARTHEST_POSITION = 2.0


def positions(panel: Panel) -> pd.DataFrame | None:
    """assessor, sitting, hours, position of every serving, None when positions are not recorded."""
    if "position" not in panel.recorded:
        return None
    found = panel.data[["assessor", "sitting", "hours", "position"]].dropna().drop_duplicates()
    return None if found.empty else found


def unbalanced(panel: Panel) -> str | None:
    """Why the orders cannot be trusted: "far from the reference", "one order for all", or None."""
    servings = positions(panel)
    if servings is None:
        return None
    place = servings["position"].astype(float).groupby(servings["hours"]).mean()
    if (place - place[panel.hours[-1]]).abs().max() > FARTHEST_POSITION:
        return "far from the reference"
    return "one order for all" if _one_order(servings) else None


def _one_order(servings: pd.DataFrame) -> bool:
    """Whether everybody who sat together got the same pull at every place."""
    if servings["assessor"].nunique() < 2:
        return False
    for place in (["sitting", "position"], ["position"]):
        shared = servings.groupby(place)[["assessor", "hours"]].nunique()
        together = shared[shared["assessor"] > 1]
        if len(together):
            return bool((together["hours"] == 1).all())
    return False


def can_adjust(panel: Panel) -> bool:
    """Whether a model can take the place out: two pulls or more at every position, and all of them connected."""
    servings = positions(panel)
    if servings is None:
        return False
    table = pd.crosstab(servings["position"], servings["hours"]).to_numpy() > 0
    if (table.sum(1) < 2).any():
        return False
    reached = table[0]
    for _ in range(len(table)):
        reached = table[(table & reached).any(1)].any(0)
    return bool(reached.all() and (table & reached).any(1).all())


def forbid(panel: Panel, rule: Rule) -> bool:
    """True when unbalanced orders forbid an answer: they are not adjusted for, or cannot be."""
    return unbalanced(panel) is not None and not ("position" in rule.adjust and can_adjust(panel))
