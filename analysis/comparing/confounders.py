"""What else differed between makes: fat, fineness, moisture, whatever was read of both. It never blocks a verdict; it
says how far the verdict may be put down to the make.

A quantity is matched when its difference is shown to lie within a tolerance sealed before (two one-sided tests,
Schuirmann 1987), and differs only when the difference is shown not to be nothing, two-sided at 5 %.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
from scipy.special import stdtrit

Answer = Literal["matched", "differs", "not shown to match", "reported", "not recorded"]
# One-sided level of "matched", two-sided one of "differs".
LEVEL = 0.05
Readings = Sequence[float]


@dataclass(frozen=True, slots=True)
class Likeness:
    """One quantity of one make against the reference, in its own unit; `low` to `high` is the 90 % interval of the
    difference, None where nothing tells the spread."""

    answer: Answer
    difference: float | None = None
    low: float | None = None
    high: float | None = None


def likeness(readings: Mapping[str, Readings], reference: str, tolerance: float) -> dict[str, Likeness]:
    """Every other make against the reference.

    Args:
        readings: of each make that was read, each of a fresh portion by one method; of the mean of each batch where the
            claim is on the make.
        reference: the make that the others are held against.
        tolerance: the largest difference that still counts as alike, in the unit of the readings; 0 where none was
            sealed, and what is not shown to differ is only reported.

    Raises:
        ValueError: the tolerance is below 0.
    """
    if not tolerance >= 0:
        raise ValueError(f"tolerance must not be below 0, got {tolerance}")
    read = [np.array(values, float) for values in readings.values() if len(values)]
    df = sum(len(values) - 1 for values in read)
    squares = sum(float(((values - values.mean()) ** 2).sum()) for values in read)
    own = readings.get(reference, ())
    return {make: _alike(values, own, squares, df, tolerance) for make, values in readings.items() if make != reference}


def _alike(values: Readings, own: Readings, squares: float, df: int, tolerance: float) -> Likeness:
    if not len(values) or not len(own):
        return Likeness("not recorded")
    d = float(np.mean(values) - np.mean(own))
    if df < 1:
        return Likeness("not shown to match" if tolerance else "reported", d)
    se = sqrt(squares / df * (1 / len(values) + 1 / len(own)))
    reach, far = (float(stdtrit(df, 1 - level)) * se for level in (LEVEL, LEVEL / 2))
    answer: Answer = "not shown to match" if tolerance else "reported"
    if abs(d) + reach < tolerance:
        answer = "matched"
    elif abs(d) > far:
        answer = "differs"
    return Likeness(answer, d, d - reach, d + reach)
