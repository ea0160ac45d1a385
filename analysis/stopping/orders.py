"""Serving orders: whether position and pull can be told apart.

The first serving tastes different and palates tire, so a pull that stands elsewhere in the order than the reference
gains or loses by its place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.model.scores import places_told_apart
from analysis.stopping.panels import Panel
from analysis.stopping.rule import Rule

Codes = NDArray[np.intp]
# How far apart the mean places of a pull and the reference may lie: as a share of the pieces on a tray, and in places
# where each was served seven times; and how far their shares of first servings.
OF_THE_TRAY, PLACES, FIRST_SHARE = 1 / 3, 2.6, 1 / 8
SLACK = 1e-9
MOST_LOST = 2


@dataclass(frozen=True, slots=True)
class Servings:
    """Every serving once, however many attributes it was scored on: codes of assessor, sitting, pull and position, and
    the positions themselves."""

    assessor: Codes
    sitting: Codes
    pull: Codes
    place: Codes
    position: NDArray[np.float64]


def servings(panel: Panel) -> Servings | None:
    """All servings with a position, None when positions are not recorded."""
    if "position" not in panel.recorded:
        return None
    position = panel.data["position"].to_numpy(float, na_value=np.nan)
    known = np.isfinite(position)
    if not known.any():
        return None
    names = ("assessor", "sitting", "hours")
    labels = [pd.factorize(panel.data[name].to_numpy()[known], sort=name == "hours")[0] for name in names]
    place = np.unique(position[known], return_inverse=True)[1]
    key = np.zeros(len(place), np.int64)
    for codes in (*labels, place):
        key = key * (int(codes.max()) + 1) + codes
    once = np.unique(key, return_index=True)[1]
    assessor, sitting, pull = (codes[once] for codes in labels)
    return Servings(assessor, sitting, pull, place[once], position[known][once])


def unbalanced(panel: Panel) -> str | None:
    """Why the orders cannot be trusted: "far from the reference", "first too often", "one order for all", or None."""
    every = servings(panel)
    return None if every is None else why_unbalanced(every)


def why_unbalanced(every: Servings) -> str | None:
    """As `unbalanced`, of all servings."""
    if _far_apart(every):
        return "far from the reference"
    if _first_too_often(every):
        return "first too often"
    return "one order for all" if _one_order(every) else None


def _far_apart(every: Servings) -> bool:
    """Whether the mean place of some pull lies far from that of the reference, and farther than dealing at random may
    bring with so many servings."""
    served = np.bincount(every.pull)
    mean = np.bincount(every.pull, every.position) / served
    trays = np.unique(every.assessor * (int(every.sitting.max()) + 1) + every.sitting, return_counts=True)[1]
    by_chance = PLACES * np.sqrt(7 / 2 * (1 / served + 1 / served[-1]))
    return bool((np.abs(mean - mean[-1]) > np.maximum(OF_THE_TRAY * trays.mean(), by_chance) + SLACK).any())


def _first_too_often(every: Servings) -> bool:
    """Whether the share of first servings of some pull is far from the reference's.

    By more than one serving a sitting, since that much is left over where people are no multiple of the pulls.
    """
    served = np.bincount(every.pull)
    first = np.bincount(every.pull, every.position == every.position.min())
    apart = np.abs(first / served - first[-1] / served[-1])
    # A serving that was lost takes its place along, so balanced orders may seem uneven by as many, one or two.
    lost = np.minimum(2 * served.max() - served - served[-1], MOST_LOST)
    left_over = (len(np.unique(every.sitting)) + lost) / np.minimum(served, served[-1])
    return bool((apart > np.maximum(FIRST_SHARE, left_over) + SLACK).any())


def _one_order(every: Servings) -> bool:
    """Whether everybody who sat together got the same pull at every place."""
    together = every.sitting * (int(every.place.max()) + 1) + every.place
    for place in (together, every.place):
        people, pulls = _distinct(place, every.assessor), _distinct(place, every.pull)
        shared = people > 1
        if shared.any():
            return bool((pulls[shared] == 1).all())
    return False


def _distinct(group: Codes, label: Codes) -> Codes:
    """How many different labels each group holds."""
    pairs = np.unique(group * (int(label.max()) + 1) + label)
    return np.bincount(pairs // (int(label.max()) + 1))


def can_adjust(panel: Panel) -> bool:
    """Whether a model can take the place out of every attribute."""
    every = panel.scores.values()
    return all(own.places is not None and bool(places_told_apart(own)[0]) for own in every)


def why_not_trusted(panel: Panel, rule: Rule) -> str | None:
    """As `unbalanced`, or "cannot adjust" when the rule takes the place out and these orders do not let it."""
    if "position" in rule.adjust and not can_adjust(panel):
        return unbalanced(panel) or "cannot adjust"
    return unbalanced(panel)


def forbid(panel: Panel, rule: Rule) -> bool:
    """True when orders forbid an answer: unbalanced and not adjusted for, or to be adjusted for and they cannot be."""
    if "position" in rule.adjust:
        return not can_adjust(panel)
    return unbalanced(panel) is not None
