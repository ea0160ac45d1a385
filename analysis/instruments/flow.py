"""Flow curves: stress of a mass against the rate at which it is sheared, at 40 degrees C.

sqrt(stress) = a + b sqrt(rate) (Casson 1959, from memory), least squares over 5 to 50 1/s as the ICA's method 46 has it
(2000, from memory): yield a^2 Pa, plastic viscosity b^2 Pa.s. Between laboratories these differ up to sevenfold
(Aeschlimann & Beckett 2000), so what is compared with a limit is read off the curve: stress at 5, viscosity at 40 1/s.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import exp, sqrt
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

Array = NDArray[np.float64]
Branch = Literal["up", "down"]
SLOW, FAST = 5.0, 40.0
LOWEST, HIGHEST = 5.0, 50.0
FEWEST_POINTS = 5
_QUANTITY = re.compile(r"(stress|viscosity)(?: at ([0-9.]+)(?: ?1/s)?)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Casson:
    """Casson's line through one curve: `intercept` and `slope` on the roots, `yield_pa` (0 where the line meets 0
    at a rate above 0), `plastic_pa_s`, `residual_sd` on the roots. `bend_p`: two-sided p of a square term, small where
    the curve does not fit a line; None with too few points to tell."""

    intercept: float
    slope: float
    yield_pa: float
    plastic_pa_s: float
    residual_sd: float
    points: int
    bend_p: float | None


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate over fresh portions with its interval, in the unit of the values."""

    estimate: float
    low: float | None
    high: float | None
    portions: int


def casson(rate: ArrayLike, stress: ArrayLike) -> Casson:
    """Casson's line through the points (n,) of one branch between 5 and 50 1/s; rate in 1/s, stress in Pa.

    Raises:
        ValueError: fewer than five such points, or a stress below 0.
    """
    rate, stress = np.asarray(rate, float), np.asarray(stress, float)
    inside = (rate >= LOWEST) & (rate <= HIGHEST)
    x, y = np.sqrt(rate[inside]), stress[inside]
    if len(x) < FEWEST_POINTS:
        raise ValueError(f"shear_rate: {len(x)} points lie between 5 and 50 1/s, and five are needed")
    if (y < 0).any():
        raise ValueError(f"stress: {y.min():g} Pa is below 0")
    line, squares, _p = _fitted(x, np.sqrt(y), 1)
    a, b = line.tolist()
    bend = _fitted(x, np.sqrt(y), 2)[2] if len(x) > FEWEST_POINTS else None
    return Casson(a, b, max(a, 0.0) ** 2, b**2, sqrt(squares / (len(x) - 2)), len(x), bend)


def _fitted(x: Array, y: Array, degree: int) -> tuple[Array, float, float | None]:
    """Coefficients, lowest first, sum of squares, and the two-sided p of the last one, None where nothing is left."""
    design = np.vander(x, degree + 1, increasing=True)
    found: Array = np.linalg.lstsq(design, y, rcond=None)[0].astype(float)
    squares, df = float(((y - design @ found) ** 2).sum()), len(x) - degree - 1
    variance = squares / df * np.linalg.inv(design.T @ design)[-1, -1]
    p = 2 * float(stdtr(df, -abs(found[-1]) / sqrt(variance))) if variance > 0 else None
    return found, squares, p


def over_portions(values: ArrayLike, level: float = 0.9) -> Interval:
    """Geometric mean of one value (above 0) a fresh portion, with its two-sided interval: t on logs.

    The residuals of a single curve know nothing of the portion, so one curve has no interval.

    Raises:
        ValueError: no value, or one that is not above 0.
    """
    values = np.asarray(values, float)
    if not len(values) or not (values > 0).all():
        raise ValueError("values: each must be above 0")
    logs, n = np.log(values), len(values)
    middle = float(logs.mean())
    if n < 2:
        return Interval(exp(middle), None, None, n)
    reach = float(stdtrit(n - 1, (1 + level) / 2)) * float(logs.std(ddof=1)) / sqrt(n)
    return Interval(exp(middle), exp(middle - reach), exp(middle + reach), n)


# ---- read off the curve ----------------------------------------------------------------------------------------------
def stress_at(rate: ArrayLike, stress: ArrayLike, at: float = SLOW) -> float | None:
    """Stress (Pa) at a rate, as measured or read between its neighbours on the scale of roots; None outside the rates
    measured."""
    order = np.argsort(np.asarray(rate, float))
    x, y = np.asarray(rate, float)[order], np.asarray(stress, float)[order]
    if not len(x) or not x[0] <= at <= x[-1]:
        return None
    return float(np.interp(sqrt(at), np.sqrt(x), np.sqrt(y)) ** 2)


def viscosity_at(rate: ArrayLike, stress: ArrayLike, at: float = FAST) -> float | None:
    """Viscosity (Pa.s), stress by rate, at a rate (1/s); read as `stress_at`."""
    found = stress_at(rate, stress, at)
    return None if found is None else found / at


def gap(curve: pd.DataFrame, at: float) -> float | None:
    """By how many per cent of the stress going down the stress going up lies above it at a rate (1/s); None where a
    branch is missing there. The more, the more the mass builds up at rest.

    Args:
        curve: columns shear_rate, stress, branch ("up", "down").
    """
    up, down = (
        stress_at(own["shear_rate"], own["stress"], at) for own in (branch_of(curve, "up"), branch_of(curve, "down"))
    )
    return None if up is None or not down else 100 * (up - down) / down


def branch_of(curve: pd.DataFrame, branch: Branch) -> pd.DataFrame:
    """The points of one branch; all of them where branches are not told apart."""
    if "branch" not in curve or curve["branch"].isna().all() or (curve["branch"] == "").all():
        return curve
    return curve[curve["branch"] == branch]


def named(quantity: str) -> str:
    """One name for a quantity however it is written: "Viscosity" is "viscosity at 40 1/s"."""
    asked = _QUANTITY.fullmatch(quantity.strip())
    if asked is None:
        return quantity.strip().casefold()
    kind = asked[1].casefold()
    return f"{kind} at {float(asked[2] or (SLOW if kind == 'stress' else FAST)):g} 1/s"


def read_off(curve: pd.DataFrame, quantity: str, branch: Branch = "down") -> float | None:
    """A quantity off one curve: "stress" (at 5 1/s, Pa), "viscosity" (at 40 1/s, Pa.s), or either "at" another rate.
    None where the quantity is none of a curve, or lies outside the rates measured."""
    asked = _QUANTITY.fullmatch(quantity.strip())
    if asked is None:
        return None
    own = branch_of(curve, branch)
    kind = asked[1].casefold()
    at = float(asked[2] or (SLOW if kind == "stress" else FAST))
    return (stress_at if kind == "stress" else viscosity_at)(own["shear_rate"], own["stress"], at)
