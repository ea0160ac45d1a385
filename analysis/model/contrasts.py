"""Contrasts of means with Satterthwaite degrees of freedom, and F tests built of them, for a batch of fits.

Contrasts after Giesbrecht & Burns 1985; F after Fai & Cornelius 1996, as in Kuznetsova, Brockhoff & Christensen 2017.
Shapes: B batch, h pulls, k contrasts, P variance parameters.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

Array = NDArray[np.float64]
Triple = tuple[Array, Array, Array]


def differences(h: int, reference: int) -> Array:
    """Weights (h, h) of every pull minus the pull with index `reference`."""
    eye = np.eye(h)
    return np.asarray(eye - eye[reference])


def against(matrices: Array, reference: int) -> Array:
    """Variance of each pull minus the reference, from covariance matrices (..., h, h)."""
    own = np.einsum("...hh->...h", matrices)
    return np.asarray(own + own[..., reference, None] - 2 * matrices[..., :, reference])


def satterthwaite(variance: Array, slopes: Array, spread: Array, otherwise: Array) -> Array:
    """2 v^2 / g'Ag for variances (B, k), their slopes (B, P, k) and the parameters' covariance (B, P, P)."""
    bottom = ((spread @ slopes) * slopes).sum(1)
    df = np.repeat(np.asarray(otherwise, float)[:, None], variance.shape[1], 1)
    return np.asarray(np.divide(2 * variance**2, bottom, out=df, where=(bottom > 1e-300) & (variance > 0)))


class MeansFit(Protocol):
    """What contrasts need of any fit: means, their covariance, how it moves, the parameters' covariance, containment
    df."""

    @property
    def means(self) -> Array: ...
    @property
    def covariance(self) -> Array: ...
    @property
    def moves(self) -> Array: ...
    @property
    def parameter_covariance(self) -> Array: ...
    @property
    def containment(self) -> Array: ...


def contrast_of(fits: MeansFit, weights: Array) -> Triple:
    """Estimate, SE and df of contrasts (k, h), shared, or (B, k, h), one set for each fit."""
    if weights.ndim == 2:
        variance, slopes = (quadratic(matrices, weights) for matrices in (fits.covariance, fits.moves))
    else:
        variance = ((weights @ fits.covariance) * weights).sum(2)
        slopes = ((weights[:, None] @ fits.moves) * weights[:, None]).sum(3)
    df = satterthwaite(variance, slopes, fits.parameter_covariance, fits.containment)
    return (weights @ fits.means[..., None])[..., 0], np.sqrt(np.maximum(variance, 0)), df


def quadratic(matrices: Array, weights: Array) -> Array:
    """w'Mw of every row of weights (k, h) and every matrix (..., h, h): all at once as one product."""
    k, h = weights.shape
    squares = (weights[:, :, None] * weights[:, None, :]).reshape(k, h * h)
    return np.asarray((matrices.reshape(-1, h * h) @ squares.T).reshape(*matrices.shape[:-2], k))


def hypothesis(pull_counts: Array) -> Array:
    """Rows of the F test of one factor (B, h - 1, h), on the levels' means, from scores a level (B, h).

    Rows 2.. of the unit upper triangle of X'X = L D L' with X = (1, level 2, .., level h), as the reference software
    takes them; they matter for the denominator df only.
    """
    h = pull_counts.shape[1]
    treatment = np.eye(h)
    treatment[1:, 0] = -1
    XX = pull_counts[:, :, None] * np.eye(h)
    XX[:, 0, :] = XX[:, :, 0] = pull_counts
    XX[:, 0, 0] = pull_counts.sum(1)
    lower = np.linalg.cholesky(XX)
    upper = (lower / np.einsum("bhh->bh", lower)[:, None, :]).transpose(0, 2, 1)
    return np.asarray(upper[:, 1:] @ treatment)


def f_of(R: Array, fits: MeansFit) -> tuple[Array, float, Array, Array]:
    """F (B,), numerator df, denominator df (B,), p (B,) of the hypothesis rows R (B, q, h)."""
    _, vectors = np.linalg.eigh(R @ fits.covariance @ R.transpose(0, 2, 1))
    estimate, se, nu = contrast_of(fits, vectors.transpose(0, 2, 1) @ R)
    with np.errstate(divide="ignore", invalid="ignore"):
        F = ((estimate / se) ** 2).mean(1)
    q = R.shape[1]
    den = _denominator(nu)
    return F, float(q), den, fdtrc(q, den, F)


def _denominator(nu: Array) -> Array:
    """Denominator df (B,) from the df of q independent rows (B, q) (Fai & Cornelius 1996)."""
    q = nu.shape[1]
    few = np.asarray((nu <= 2).any(1))
    safe = np.where(few[:, None], 3.0, nu)
    e = (safe / (safe - 2)).sum(1)
    den = np.where(few, 2.0, 2 * e / (e - q))
    agree = np.abs(nu - nu[:, :1]).max(1) <= 1e-8 * nu[:, 0]
    return np.where(agree, nu.mean(1), den)
