"""Errors of a difference in complete scores, by mean squares in plain numpy; nothing here is the project's.

Shapes: B studies, a assessors, h pulls or pieces, n scores of each by each. An error is (SE, df) over studies.
Sources: Thompson 1962 (variances by restricted likelihood where none may be below 0), Satterthwaite 1946; from memory.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Error = tuple[Array, Array]


def scores(
    rng: np.random.Generator, means: Sequence[float], shape: tuple[int, int, int, int], rho: float = 0.0, count: int = 1
) -> list[Array]:
    """Of `count` attributes (studies, people, len(means), sittings, servings): people lean with sd 1, differ about a
    pull with .5, err with 1, every part correlated by rho. Not cut off at the ends of any scale, as the tables were."""
    studies, people, sittings, servings = shape
    parts = ((1.0, (1, 1, 1)), (0.5, (len(means), 1, 1)), (1.0, (len(means), sittings, servings)))
    common = [rng.standard_normal((studies, people, *part)) for _sd, part in parts] if rho else [np.zeros(())] * 3
    found = []
    for _attribute in range(count):
        y = np.array(means)[:, None, None] + np.zeros((studies, people, len(means), sittings, servings))
        for (sd, part), shared in zip(parts, common, strict=True):
            own = rng.standard_normal((studies, people, *part))
            y += sd * (np.sqrt(rho) * shared + np.sqrt(1 - rho) * own)
        found.append(y)
    return found


def panel_error(y: Array) -> Error:
    """Of any difference of two pulls in (B, a, h, n): assessor, assessor x pull and the rest, each mean square held to
    be no smaller than the one below it; no more df than assessor x pull has."""
    _B, a, h, n = y.shape
    cell = y.mean(3)
    person, pull = cell.mean(2, keepdims=True), cell.mean(1, keepdims=True)
    squares = [
        ((y - cell[..., None]) ** 2).sum((1, 2, 3)),
        n * ((cell - person - pull + cell.mean((1, 2), keepdims=True)) ** 2).sum((1, 2)),
        n * h * ((person - person.mean(1, keepdims=True)) ** 2).sum((1, 2)),
    ]
    dfs = [a * h * (n - 1), (a - 1) * (h - 1), a - 1]
    # Isotonic: the largest of the averages that reach down, each the smaller of ending here and one above.
    reaching = [
        np.minimum(sum(squares[low:2]) / sum(dfs[low:2]), sum(squares[low:]) / sum(dfs[low:])) for low in (0, 1)
    ]
    se = np.sqrt(2 * np.maximum.reduce(reaching) / (a * n))
    return se, np.full(len(y), float(dfs[1]))


def unit_error(d: Array) -> Error:
    """Of the mean of (B, units): assessors, or batches."""
    units = d.shape[1]
    return d.std(1, ddof=1) / np.sqrt(units), np.full(len(d), units - 1.0)


def summed(*errors: Error) -> Error:
    """Of a sum of independent parts."""
    total = sum(se**2 for se, _df in errors)
    return np.sqrt(total), total**2 / sum(se**4 / df for se, df in errors)


def below(d: Array, bound: float, at: float, *errors: Error) -> Flags:
    """Whether a difference (B,) is shown to lie below a bound by every error."""
    return np.asarray(np.logical_and.reduce([d + stats.t.isf(at, df) * se < bound for se, df in errors]))
