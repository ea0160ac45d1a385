"""Serving orders: whether position and pull can be told apart.

The first serving tastes different and palates tire, so a pull that stands elsewhere in the order than the reference
gains or loses by its place.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.model.scores import Scores, positions_told_apart
from analysis.stopping.panels import Panel
from analysis.stopping.rule import Rule

Array = NDArray[np.float64]
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
    position: Codes
    number: Array


def servings(scores: Iterable[Scores], position_labels: Array) -> Servings | None:
    """All servings of one study whose place is known, None where none is; `position_labels` of the places by number."""
    parts = []
    for own in scores:
        seen = own.seen[0]
        if own.positions is not None:
            parts.append(np.stack([*np.nonzero(seen)[:3], own.positions[0][seen]]))
    if not parts:
        return None
    every = parts[0] if len(parts) == 1 else np.concatenate(parts, axis=1)
    if every[3].min() < 0:
        every = every[:, every[3] >= 0]
    size = tuple(every.max(1) + 1)
    assessor, pull, sitting, position = np.unravel_index(_once(np.ravel_multi_index(tuple(every), size)), size)
    # A pull whose every place is unknown is none of these.
    pull = np.searchsorted(np.flatnonzero(np.bincount(pull)), pull)
    return Servings(assessor, sitting, pull, position, position_labels[position])


def unbalanced(panel: Panel) -> str | None:
    """Why the orders cannot be trusted: "far from the reference", "first too often", "one order for all", or None."""
    every = servings(panel.scores.values(), panel.position_labels)
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
    mean = np.bincount(every.pull, every.number) / served
    trays = np.unique(every.assessor * (int(every.sitting.max()) + 1) + every.sitting, return_counts=True)[1]
    by_chance = PLACES * np.sqrt(7 / 2 * (1 / served + 1 / served[-1]))
    return bool((np.abs(mean - mean[-1]) > np.maximum(OF_THE_TRAY * trays.mean(), by_chance) + SLACK).any())


def _first_too_often(every: Servings) -> bool:
    """Whether the share of first servings of some pull is far from the reference's.

    By more than one serving a sitting, since that much is left over where people are no multiple of the pulls.
    """
    served = np.bincount(every.pull)
    first = np.bincount(every.pull, every.number == every.number.min())
    apart = np.abs(first / served - first[-1] / served[-1])
    # A serving that was lost takes its place along, so balanced orders may seem uneven by as many, one or two.
    lost = np.minimum(2 * served.max() - served - served[-1], MOST_LOST)
    left_over = (len(np.unique(every.sitting)) + lost) / np.minimum(served, served[-1])
    return bool((apart > np.maximum(FIRST_SHARE, left_over) + SLACK).any())


def _one_order(every: Servings) -> bool:
    """Whether everybody who sat together got the same pull at every place."""
    together = every.sitting * (int(every.position.max()) + 1) + every.position
    for position in (together, every.position):
        people, pulls = _distinct(position, every.assessor), _distinct(position, every.pull)
        shared = people > 1
        if shared.any():
            return bool((pulls[shared] == 1).all())
    return False


def _distinct(group: Codes, label: Codes) -> Codes:
    """How many different labels each group holds."""
    pairs = _once(group * (int(label.max()) + 1) + label)
    return np.bincount(pairs // (int(label.max()) + 1))


def _once(keys: Codes) -> Codes:
    """Sorted, each once; for so few, several times faster than numpy's own way."""
    keys = np.sort(keys)
    return keys[np.diff(keys, prepend=-1) > 0]


def can_adjust(panel: Panel) -> bool:
    """Whether a model can take the place out of every attribute."""
    return all(
        own.positions is not None and bool((own.positions[own.seen] >= 0).all() and positions_told_apart(own)[0])
        for own in panel.scores.values()
    )


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
