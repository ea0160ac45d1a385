"""What the true pull means may be, given the observed ones: draws for predictions, never for the guarantee.

Truth = a course + an own deviation of every pull. A course is first order, linear and then flat, a wave about one hour,
which may be as steep as a step, or first order and on its way back from some pull on: what fades or comes again.
Course and size of the deviations are weighed by how well they explain the observed means, so that noise in one pull is
not taken for a course, and a course that is none of these is believed when the means insist. Given both, level and
change have a flat prior and all is normal.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Deviations from the course in scale units, with the share of a half-Cauchy prior (scale 0.1) about each; the largest
# leaves every pull to itself.
DEVIATIONS = np.array([0.05, 0.15, 0.4, 1.0, 4.0])
DEVIATION_SHARES = np.array([0.47, 0.29, 0.14, 0.07, 0.03])
# Shares of the kinds of course: most changes in a conche slow down as what causes them runs out.
KINDS = (0.5, 0.15, 0.15, 0.2)
COURSES = 16
# Of what has come about by the first pull, what is lost again by the last.
BACK = (0.15, 0.3, 0.5)


def draw_courses(hours: Array, observed: Array, variance: Array, rng: np.random.Generator) -> Array:
    """True means (size, h) that the observed means (h,) leave likely.

    Args:
        hours: of the pulls, ascending, (h,).
        observed: means of the pulls (h,).
        variance: of the error of each mean, one row a draw, (size, h).
        rng: source of chance.
    """
    grid = _Grid.over(tuple(hours.tolist()))
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
    """Courses from 1 at the first pull to 0 at the last (g, h), each with a size of deviations (g,), and log shares."""

    shape: Array
    deviation: Array
    prior: Array

    @classmethod
    @lru_cache(maxsize=8)
    def over(cls, pulls: tuple[float, ...]) -> _Grid:
        """Every kind of course with every size of deviations."""
        hours = np.array(pulls)
        kinds = (_first_order(hours), _linear(hours), _waves(hours), _turning(hours))
        shape = np.concatenate(kinds)
        share = np.concatenate([np.full(len(kind), of / len(kind)) for kind, of in zip(kinds, KINDS, strict=True)])
        prior = np.log(share[:, None] * DEVIATION_SHARES).ravel()
        return cls(np.repeat(shape, len(DEVIATIONS), 0), np.tile(DEVIATIONS, len(shape)), prior)

    def weights(self, observed: Array, variance: Array) -> Array:
        """Chance of each entry: marginal likelihood with level and change integrated out."""
        total = self.deviation[:, None] ** 2 + variance
        centre, root = _given(self.shape, observed, total)
        rest = observed - centre[:, :1] - centre[:, 1:] * self.shape
        log = self.prior + np.log(np.einsum("gkk->gk", root)).sum(1) - (np.log(total) + rest**2 / total).sum(1) / 2
        likely = np.exp(log - log.max())
        return np.asarray(likely / likely.sum())


def _given(shape: Array, observed: Array, total: Array) -> tuple[Array, Array]:
    """Level and change of each course by weighted least squares (g, 2), and a root of their covariance (g, 2, 2)."""
    columns = np.stack([np.ones_like(shape), shape], 1)
    weighted = columns / total[:, None, :]
    covariance = np.linalg.inv(weighted @ columns.transpose(0, 2, 1))
    return (covariance @ (weighted @ observed)[..., None])[..., 0], np.linalg.cholesky(covariance)


# ---- courses from 1 at the first pull to 0 at the last (g, h) -------------------------------------------------------
def _first_order(hours: Array) -> Array:
    """Time constants from half the shortest step to three quarters of the span: most change is over by the end."""
    tau = np.geomspace(np.diff(hours).min() / 2, (hours[-1] - hours[0]) * 0.75, COURSES)[:, None]
    return _scaled(np.exp(-(hours - hours[0]) / tau))


def _linear(hours: Array) -> Array:
    """A straight change that ends anywhere between the second pull and the last."""
    end = np.linspace(hours[1], hours[-1], COURSES)[:, None]
    return _scaled(-np.minimum(hours, end))


def _waves(hours: Array) -> Array:
    """A change about one hour between two pulls, sudden, or as wide as a quarter of their distance or all of it."""
    middle, step = np.repeat((hours[1:] + hours[:-1]) / 2, 3), np.repeat(np.diff(hours), 3)
    width = step * np.tile([0.02, 0.25, 1.0], len(hours) - 1)
    return _scaled(-np.tanh((hours - middle[:, None]) / width[:, None]))


def _turning(hours: Array) -> Array:
    """First order, fast to middling, and back on a straight line from a pull between the first and the last."""
    tau = np.geomspace(np.diff(hours).min() / 2, (hours[-1] - hours[0]) / 3, 4)
    away = [
        np.exp(-(hours - hours[0]) / one) + back * np.maximum(hours - turn, 0) / (hours[-1] - turn)
        for one in tau
        for turn in hours[1:-1]
        for back in BACK
    ]
    return _scaled(np.array(away).reshape(-1, len(hours)))


def _scaled(course: Array) -> Array:
    return np.asarray((course - course[:, -1:]) / (course[:, :1] - course[:, -1:]))
