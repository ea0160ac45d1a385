"""Less time as a sealed pair: the reference in the short time is worse than in the long, and a make better than that.

Each statement at the level of the look, all of them needed, so no penalty for their number (Berger 1982, from memory).
Shapes: B studies.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.comparing.claims import ClaimLimits
from analysis.stopping.evidence import pairs_of

Flags = NDArray[np.bool_]


def slower(one: ClaimLimits, level: float) -> Flags:
    """Whether the reference in the short time, the control, is shown worse than itself in the long one (B,)."""
    control = one.worse.of([0])
    return np.asarray((control.estimate - control.reach(level))[:, 0] > 0)


def beats_control(one: ClaimLimits, column: int, level: float) -> Flags:
    """Whether the make in a column is shown better than the reference in as little time (B,)."""
    pair = one.limits.pairs.of([pairs_of(one.worse.estimate.shape[1]).index((column, 0))])
    return np.asarray((pair.estimate + pair.reach(level))[:, 0] < 0)
