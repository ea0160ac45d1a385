"""What each batch did beside the others: its differences, the next batch, and a batch that departs. Never a verdict.

Shapes: a assessors, h pulls, b batches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from analysis.model.quantiles import upper_t
from analysis.stopping.standard_errors import additive_filled

Array = NDArray[np.float64]
Numbers = tuple[float | None, ...]
SIGNIFICANT = 0.05
FEWEST_PULLS, FEWEST = 3, 2


@dataclass(frozen=True, slots=True)
class Departure:
    """F test of batch x pull, after one slope of each batch's course on the mean course, against assessor x batch x
    pull; and the batch and pull (hours) whose mean lies farthest from what the others let expect, by `deviation` scale
    units. `departs`: significant at 5 % over all attributes."""

    f: float
    num_df: float
    den_df: float
    p: float
    departs: bool
    batch: str
    hours: float
    deviation: float


@dataclass(frozen=True, slots=True)
class Alone:
    """What one batch says by itself, within the claim on each of them: the verdict and, of a stop, its hours."""

    verdict: str
    hours: float | None


@dataclass(frozen=True, slots=True)
class BatchNumbers:
    """What the batches `names` did. `differences`: attribute, batch, then each pull of `hours` against the reference,
    positive = worse, scale units, None where that batch has none; `lower` and `upper`, its own limits, where each batch
    is judged alone. `batch_se`, `df`: attribute, then each pull, of the claim on the recipe; `next_upper`: the upper
    limit of the next batch. `flag`: attribute, None where too little was served to tell. `alone`: batch, where each is
    judged alone."""

    names: tuple[str, ...]
    hours: tuple[float, ...]
    differences: dict[str, dict[str, Numbers]] = field(default_factory=dict)
    flag: dict[str, Departure | None] = field(default_factory=dict)
    lower: dict[str, dict[str, Numbers]] = field(default_factory=dict)
    upper: dict[str, dict[str, Numbers]] = field(default_factory=dict)
    batch_se: dict[str, Numbers] = field(default_factory=dict)
    df: dict[str, Numbers] = field(default_factory=dict)
    next_upper: dict[str, Numbers] = field(default_factory=dict)
    alone: dict[str, Alone] = field(default_factory=dict)


def next_batch(by_batch: Array, level: float) -> Array:
    """Upper limit of the difference in the next batch (k,), from those of the batches so far (b, k), NaN where one has
    none."""
    b = np.isfinite(by_batch).sum(0).astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = (
            upper_t(level, np.maximum(b - 1, 1)) * np.nanstd(by_batch, 0) * np.sqrt(b / (b - 1)) * np.sqrt(1 + 1 / b)
        )
    return np.asarray(np.nanmean(by_batch, 0) + reach)


def departure(means: Array, names: Sequence[str], hours: Array, attributes: int) -> Departure | None:
    """Whether the batches differ at single pulls by more than their assessors disagree.

    A batch whose whole course is stretched, as at the ends of a scale, departs at no pull, so one slope of each course
    on the mean course goes out first.

    Args:
        means: of each assessor, pull and batch (a, h, b), scale units, NaN where missing; pulls that some batch lost
            are left out.
        names, hours: of the batches and of the pulls.
        attributes: how many are asked.
    """
    a, h, b = means.shape
    if h < FEWEST_PULLS or min(a, b) < FEWEST:
        return None
    filled, gaps = additive_filled(means[None])
    rest_df = (a - 1) * (h - 1) * (b - 1) - float(gaps[0])
    table = filled[0].mean(0)
    left, rest = off_the_mean_course(table), _rest(filled[0])
    if rest_df < 1 or rest <= 0:
        return None
    num_df = float((b - 1) * (h - 2))
    f = a * float((left**2).sum()) / num_df / (rest / rest_df)
    p = float(fdtrc(num_df, rest_df, f))
    pull, batch = np.unravel_index(np.abs(left).argmax(), left.shape)
    found = float(left[pull, batch])
    return Departure(f, num_df, rest_df, p, p < SIGNIFICANT / attributes, names[int(batch)], float(hours[pull]), found)


def off_the_mean_course(table: Array) -> Array:
    """Means (h, b) less their batch's mean and one slope on the mean course of all batches."""
    courses = table - table.mean(0)
    mean = courses.mean(1)
    size = float(mean @ mean)
    slopes = mean @ courses / size if size > 0 else np.zeros(table.shape[1])
    return np.asarray(courses - mean[:, None] * slopes)


def _rest(y: Array) -> float:
    """Sum of squares of assessor x batch x pull (a, h, b)."""
    for axis in range(3):
        y = y - y.mean(axis, keepdims=True)
    return float((y**2).sum())
