"""The one-sided level of each look, so that all sealed looks together keep alpha (Pocock 1977 type, equal sittings)."""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.special import ndtr, ndtri

MOST_LOOKS = 4
NODES = 200


@cache
def level(alpha: float, looks: int) -> float:
    """One-sided level of every look.

    Solves P(max over i of Z_i > z) = alpha for standard normals with corr(Z_i, Z_j) = sqrt(i / j), the looks being
    after equal shares of the data. Checks: alpha .05 gives .05, .0304, .0232, .0193 for 1 to 4 looks.

    Raises:
        ValueError: alpha outside (0, 0.5) or looks outside 1 to 4.
    """
    if not 0 < alpha < 0.5:
        raise ValueError(f"alpha must lie between 0 and 0.5, got {alpha}")
    if looks not in range(1, MOST_LOOKS + 1):
        raise ValueError(f"looks must be 1 to {MOST_LOOKS}, got {looks}")
    if looks == 1:
        return alpha
    from scipy.optimize import brentq

    z = brentq(lambda z: _crossing(z, looks) - alpha, ndtri(1 - alpha), ndtri(1 - alpha / looks) + 1e-9, xtol=1e-12)
    return float(1 - ndtr(z))


def _crossing(z: float, looks: int) -> float:
    """Chance that a random walk of standard normal steps exceeds z sqrt(k) at some k up to `looks`."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    low, high = -8.0, z
    x = low + (high - low) * (nodes + 1) / 2
    mass = weights * (high - low) / 2 * np.exp(-(x**2) / 2) / np.sqrt(2 * np.pi)
    for k in range(2, looks):
        low, high = -8 * np.sqrt(k), z * np.sqrt(k)
        y = low + (high - low) * (nodes + 1) / 2
        step = np.exp(-((y[:, None] - x[None, :]) ** 2) / 2) / np.sqrt(2 * np.pi)
        mass = weights * (high - low) / 2 * (step @ mass)
        x = y
    return float(1 - (mass * ndtr(z * np.sqrt(looks) - x)).sum())
