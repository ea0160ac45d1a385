"""Specific surface of particles, from their sizes: a description beside fineness, never a limit.

Surface by mass of spheres: 6 / (density d), d the Sauter mean (surface by volume; Sauter 1928, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def sauter_mean(shares: ArrayLike, sizes: ArrayLike) -> float:
    """Sauter mean size, in the unit of `sizes`, from shares of the volume at each size.

    Raises:
        ValueError: a size or the sum of shares is not above 0, or a share below 0.
    """
    shares, sizes = np.asarray(shares, float), np.asarray(sizes, float)
    if not (sizes > 0).all() or (shares < 0).any() or not shares.sum() > 0:
        raise ValueError("sizes must be above 0, shares 0 or more")
    return float(shares.sum() / (shares / sizes).sum())


def surface(size_um: float, density: float) -> float:
    """Surface in m2/kg of particles of Sauter mean `size_um` (micrometres) and `density` (kg/m3).

    From the 90 % size alone only the ratio of two distributions of the same shape follows.

    Raises:
        ValueError: one of them is not above 0.
    """
    if not (size_um > 0 and density > 0):
        raise ValueError(f"size and density must be above 0, got {size_um} um and {density} kg/m3")
    return 6 / (density * size_um * 1e-6)
