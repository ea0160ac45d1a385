"""What hours in the conche save in cocoa butter: the conched mass is read beside a ladder of butter added to the mass
of a short time, on one occasion.

A ladder is taken as a curve of second degree of log viscosity on per cent added, always: a bend too slight to be seen
would move the answer. Every addition that the readings do not speak against belongs to the interval (Fieller 1954;
Williams 1959 on inverse estimation; from memory). Coverage by simulation in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

Array = NDArray[np.float64]
Why = Literal["too few readings", "not falling", "flat", "no spread"]
_STEPS, _DRAWN = 4001, 41


@dataclass(frozen=True, slots=True)
class ButterWorth:
    """Butter that the conched mass is worth, per cent of the mass. `low` and `high` end the two-sided interval; `low`
    alone is "at least" at half that error. None: beyond the ladder on that side. `why_not`: no claim is made."""

    estimate: float | None
    low: float | None
    high: float | None
    df: int
    why_not: Why | None = None


def butter_worth(
    added: ArrayLike, readings: ArrayLike, conched: ArrayLike, level: float = 0.05, degree: int = 2
) -> ButterWorth:
    """Butter that a mass conched longer is worth.

    Args:
        added: butter added to the mass of the short time, per cent, a value a portion (n,); 0 among them.
        readings: viscosity of these portions, one unit, above 0 (n,).
        conched: viscosity of fresh portions of the conched mass, read on the same occasion (k,).
        level: error of each end.
        degree: of the curve through the ladder; 1 is a straight line.

    Raises:
        ValueError: lengths differ or a reading is not above 0.
    """
    x, y, own = _logs(added, readings, conched)
    df = len(x) - degree - 1 + len(own) - 1
    if len(np.unique(x)) <= degree or df < 1:
        return ButterWorth(None, None, None, df, "too few readings")
    ladder = _Ladder.of(x, y, own, degree, df)
    reach = float(stdtrit(df, 1 - level))
    why = _why_not(x, y, ladder.sd, reach)
    return ButterWorth(None, None, None, df, why) if why else ladder.crossed(float(x.min()), float(x.max()), reach)


def ladder_curve(added: ArrayLike, readings: ArrayLike, conched: ArrayLike, level: float = 0.05) -> Array:
    """The curve that `butter_worth` takes through a ladder, to draw: rows of addition (per cent), reading on the curve,
    and the ends of its own interval at `level` each (41, 4); no row where too little was read.

    Raises:
        ValueError: as `butter_worth`.
    """
    x, y, own = _logs(added, readings, conched)
    df = len(x) - 3 + len(own) - 1
    if len(np.unique(x)) < 3 or df < 1:
        return np.empty((0, 4))
    ladder = _Ladder.of(x, y, own, 2, df)
    at = np.linspace(x.min(), x.max(), _DRAWN)
    curve, variance = ladder.at(at)
    left = float(stdtrit(df, 1 - level)) * ladder.sd * np.sqrt(variance)
    return np.column_stack([at, np.exp(curve), np.exp(curve - left), np.exp(curve + left)])


def _logs(added: ArrayLike, readings: ArrayLike, conched: ArrayLike) -> tuple[Array, Array, Array]:
    """Additions, and logs of both sets of readings. Raises ValueError."""
    x, y, own = (np.asarray(values, float) for values in (added, readings, conched))
    if len(x) != len(y) or not len(own) or not ([*y, *own] > np.float64(0)).all():
        raise ValueError("one viscosity above 0 for every addition, and of the conched mass one or more")
    return x, np.log(y), np.log(own)


def _why_not(x: Array, y: Array, sd: float, reach: float) -> Why | None:
    """A ladder that does not clearly fall carries no claim."""
    if sd == 0:
        return "no spread"
    across = float(((x - x.mean()) ** 2).sum())
    slope = float(((x - x.mean()) * y).sum()) / across
    if slope >= 0:
        return "not falling"
    return "flat" if (reach * sd / slope) ** 2 / across >= 1 else None


@dataclass(frozen=True, slots=True)
class _Ladder:
    """Coefficients, lowest first, their covariance over the variance, and the conched mass (log, portions)."""

    found: Array
    covariance: Array
    sd: float
    conched: float
    portions: int
    df: int

    @classmethod
    def of(cls, x: Array, y: Array, own: Array, degree: int, df: int) -> _Ladder:
        design = np.vander(x, degree + 1, increasing=True)
        found = np.linalg.lstsq(design, y, rcond=None)[0].astype(float)
        squares = ((y - design @ found) ** 2).sum() + ((own - own.mean()) ** 2).sum()
        inverse = np.linalg.inv(design.T @ design).astype(float)
        return cls(found, inverse, float(np.sqrt(squares / df)), float(own.mean()), len(own), df)

    def at(self, x: Array) -> tuple[Array, Array]:
        """The curve on logs, and its variance over that of a reading."""
        design = np.vander(x, len(self.found), increasing=True)
        return design @ self.found, np.einsum("ij,jk,ik->i", design, self.covariance, design)

    def crossed(self, first: float, last: float, reach: float) -> ButterWorth:
        """Where the curve meets the conched mass, and all additions that its readings leave."""
        x = np.linspace(first, last, _STEPS)
        curve, variance = self.at(x)
        off = curve - self.conched
        left = reach * self.sd * np.sqrt(1 / self.portions + variance)
        beyond = np.abs(off) - left
        if (beyond > 0).all():  # thinner than the whole ladder, or thicker
            low, high = (last, None) if off[-1] > 0 else (None, first)
        else:
            low, high = _ends(x, beyond)
        return ButterWorth(_zero(x, off), low, high, self.df)


def _ends(x: Array, beyond: Array) -> tuple[float | None, float | None]:
    """First and last addition that is left; None where the set reaches the end of the ladder."""
    first, last = np.flatnonzero(beyond <= 0)[[0, -1]]
    low = None if first == 0 else _between(x, beyond, first - 1)
    high = None if last == len(x) - 1 else _between(x, beyond, last)
    return low, high


def _zero(x: Array, off: Array) -> float | None:
    """Where the curve first meets the conched mass; None outside the ladder."""
    at = np.flatnonzero((off[:-1] > 0) & (off[1:] <= 0))
    return _between(x, off, at[0]) if len(at) else None


def _between(x: Array, values: Array, at: np.intp | int) -> float:
    """Where a line between two neighbours of opposite sign crosses 0."""
    share = values[at] / (values[at] - values[at + 1])
    return float(x[at] + share * (x[at + 1] - x[at]))
