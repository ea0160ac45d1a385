"""Minimum of a smooth function of a few parameters within bounds, by projected quasi-Newton steps (BFGS).

scipy's bounded minimisers were tried first on the same panels: L-BFGS-B wakes the threads of a linear algebra library
at every step, which is fifteen times slower for three parameters on two busy cores, and TNC stops early now and then.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.choice.psychometric import Array

Objective = Callable[[Array], tuple[float, Array]]

MOST_STEPS, SHORTEST = 200, 1e-10


@dataclass(frozen=True, slots=True)
class Place:
    """Parameters, the value there, and the gradient."""

    at: Array
    value: float
    gradient: Array


def descend(objective: Objective, start: Array, lower: Array, upper: Array, tolerance: float = 1e-6) -> Place:
    """A local minimum from `start`. `objective` returns value and gradient; bounds that are equal fix a parameter.

    Ends when the projected gradient or the gain of a step straight down it is negligible (Nocedal & Wright 2006,
    sections 6.1, 16.7).
    """
    here = _place(objective, np.clip(start, lower, upper))
    inverse = None
    for _step in range(MOST_STEPS):
        held = (
            ((here.at <= lower) & (here.gradient > 0)) | ((here.at >= upper) & (here.gradient < 0)) | (lower == upper)
        )
        slope = np.where(held, 0.0, here.gradient)
        size = float(np.abs(slope).max())
        if size < tolerance:
            break
        fresh = inverse is None
        if inverse is None:
            inverse = np.eye(len(start)) * 0.3 / max(size, 1.0)
        after = _search(objective, here, _towards(inverse, slope, held), lower, upper)
        if after is not None:
            inverse = _updated(inverse, after.at - here.at, after.gradient - here.gradient)
        gained, here = (0.0, here) if after is None else (here.value - after.value, after)
        if gained < 1e-12 * (1 + abs(here.value)):
            if fresh:
                break
            inverse = None  # what was learnt before a bound was met may point nowhere beyond it
    return here


def _place(objective: Objective, at: Array) -> Place:
    value, gradient = objective(at)
    return Place(at, value, gradient)


def _towards(inverse: Array, slope: Array, held: NDArray[np.bool_]) -> Array:
    """The quasi-Newton step of the parameters that are free to move, the others held where they are.

    Its matrix is the inverse of their block of the Hessian, not their block of the inverse: that one oversteps wherever
    a held parameter curves together with a free one, and then goes to and fro for ever.
    """
    step = np.zeros(len(slope))
    free = np.flatnonzero(~held)
    bound = np.flatnonzero(held)
    among, between = inverse[np.ix_(free, free)], inverse[np.ix_(free, bound)]
    if len(bound):
        among = among - between @ np.linalg.solve(inverse[np.ix_(bound, bound)], between.T)
    step[free] = -among @ slope[free]
    return step


def _search(objective: Objective, here: Place, step: Array, lower: Array, upper: Array) -> Place | None:
    """The first place along the step, bent at the bounds, that gains enough; None when there is none."""
    length = 1.0
    while length > SHORTEST:
        after = _place(objective, np.clip(here.at + length * step, lower, upper))
        if after.value <= here.value + 1e-4 * float(here.gradient @ (after.at - here.at)):
            return after
        length *= 0.3
    return None


def _updated(inverse: Array, moved: Array, turned: Array) -> Array:
    """BFGS update of the inverse Hessian; left alone where the function does not curve upwards."""
    curved = float(moved @ turned)
    if curved <= 1e-14:
        return inverse
    keep = np.eye(len(moved)) - np.outer(moved, turned) / curved
    return np.asarray(keep @ inverse @ keep.T + np.outer(moved, moved) / curved)
