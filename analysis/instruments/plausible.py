"""Readings that an instrument can hardly have shown: asked about while somebody stands beside it, never altered.

Bounds are common practice of the trade, without a source; they decide nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

Code = Literal["impossible", "unusual", "falls"]


@dataclass(frozen=True, slots=True)
class Question:
    """Something odd about the reading number `at` (from 0): `value` against `other`, a bound it passes or, where a
    stress "falls", the stress at the slower rate `slower` (1/s)."""

    code: Code
    at: int
    value: float
    other: float
    slower: float | None = None


@dataclass(frozen=True, slots=True)
class _Bounds:
    """What a quantity can be, and between what it usually lies."""

    lowest: float
    highest: float
    usual: tuple[float, float]


_BY_QUANTITY = {
    "moisture": _Bounds(0, 100, (0.1, 5)),
    "fineness": _Bounds(0, 5000, (5, 300)),
    "ph": _Bounds(0, 14, (4, 8)),
    "temperature": _Bounds(-30, 250, (10, 100)),
    "viscosity": _Bounds(0, 1e5, (0.1, 50)),
    "stress": _Bounds(0, 1e6, (0.5, 1000)),
    "cup seconds": _Bounds(0, 1e5, (1, 3600)),
    "ring spread": _Bounds(0, 1e4, (10, 500)),
    "energy": _Bounds(0, 1e6, (0, 1e4)),
}
# Of these 0 is no reading.
_ABOVE_ZERO = ("fineness", "viscosity", "stress", "cup seconds", "ring spread")


def odd_values(quantity: str, values: ArrayLike) -> list[Question]:
    """Questions about readings (n,) of a quantity by its usual unit (%, um, pH, degrees C, Pa.s, Pa, s, mm, kWh); none
    of a quantity that is not known."""
    name = quantity.casefold().partition(" at ")[0].strip()
    bounds = _BY_QUANTITY.get(name)
    if bounds is None:
        return []
    asked = (_odd(name, bounds, at, float(value)) for at, value in enumerate(np.asarray(values, float)))
    return [question for question in asked if question is not None]


def _odd(name: str, bounds: _Bounds, at: int, value: float) -> Question | None:
    if value < bounds.lowest or (value == 0 and name in _ABOVE_ZERO):
        return Question("impossible", at, value, bounds.lowest)
    if value > bounds.highest:
        return Question("impossible", at, value, bounds.highest)
    low, high = bounds.usual
    return None if low <= value <= high else Question("unusual", at, value, low if value < low else high)


def odd_curve(rate: ArrayLike, stress: ArrayLike) -> list[Question]:
    """Questions about one branch of a flow curve, in the order typed: stress must not fall where the mass is moved
    faster, and neither may be below 0."""
    rate, stress = np.asarray(rate, float), np.asarray(stress, float)
    order = np.argsort(rate, kind="stable")
    falls = (
        Question("falls", fast, float(stress[fast]), float(stress[slow]), float(rate[slow]))
        for slow, fast in pairwise(order.tolist())
        if stress[fast] < stress[slow]
    )
    below = (Question("impossible", at, float(value), 0.0) for at, value in enumerate(stress) if value <= 0)
    return sorted([*falls, *below], key=lambda question: question.at)
