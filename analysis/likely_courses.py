"""What the true pull means may be, given the observed ones: draws for predictions, never for the guarantee.

Truth = a first-order course + an own deviation of every pull. Time constant and size of the deviations are weighed by
how well they explain the observed means, so that noise in one pull is not taken for a course, and a course that is not
first order is believed when the means insist. Given both, level and change have a flat prior and all is normal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Deviations from the course in scale units; the largest leaves every pull to itself.
DEVIATIONS = (0.05, 0.15, 0.4, 1.0, 4.0)
TIME_CONSTANTS = 16


def draw_courses(hours: Array, observed: Array, variance: Array, rng: np.random.Generator) -> Array:
    """True means (size, h) that the observed means (h,) leave likely.

    Args:
        hours: of the pulls, ascending, (h,).
        observed: means of the pulls (h,).
        variance: of the error of each mean, one row a draw, (size, h).
        rng: source of chance.
    """
    grid = _Grid.over(hours)
    chosen = rng.choice(len(grid.deviation), len(variance), p=grid.weights(observed, variance.mean(0)))
    shape, deviation = grid.shape[chosen], grid.deviation[chosen][:, None] ** 2
    total = deviation + variance
    centre, root = _given(shape, observed, total)
    theta = centre + (root @ rng.standard_normal((len(variance), 2, 1)))[..., 0]
    course = theta[:, :1] + theta[:, 1:] * shape
    own = deviation / total
    return course + own * (observed - course) + np.sqrt(own * variance) * rng.standard_normal(variance.shape)


@dataclass(frozen=True, slots=True)
class _Grid:
    """Courses from 1 at the first pull to 0 at the last (g, h), each with a size of deviations (g,)."""

    shape: Array
    deviation: Array

    @classmethod
    def over(cls, hours: Array) -> _Grid:
        """Every time constant from half the shortest step to twice the whole span, with every size of deviations."""
        span = hours[-1] - hours[0]
        tau = np.geomspace(np.diff(hours).min() / 2, 2 * span, TIME_CONSTANTS)[:, None]
        left = np.exp(-(hours - hours[0]) / tau)
        shape = (left - left[:, -1:]) / (1 - left[:, -1:])
        return cls(np.repeat(shape, len(DEVIATIONS), 0), np.tile(DEVIATIONS, TIME_CONSTANTS))

    def weights(self, observed: Array, variance: Array) -> Array:
        """Chance of each entry: marginal likelihood with level and change integrated out."""
        total = self.deviation[:, None] ** 2 + variance
        centre, root = _given(self.shape, observed, total)
        rest = observed - centre[:, :1] - centre[:, 1:] * self.shape
        log = np.log(np.einsum("gkk->gk", root)).sum(1) - (np.log(total) + rest**2 / total).sum(1) / 2
        likely = np.exp(log - log.max())
        return np.asarray(likely / likely.sum())


def _given(shape: Array, observed: Array, total: Array) -> tuple[Array, Array]:
    """Level and change of each course by weighted least squares (g, 2), and a root of their covariance (g, 2, 2)."""
    columns = np.stack([np.ones_like(shape), shape], 1)
    weighted = columns / total[:, None, :]
    covariance = np.linalg.inv(weighted @ columns.transpose(0, 2, 1))
    return (covariance @ (weighted @ observed)[..., None])[..., 0], np.linalg.cholesky(covariance)
