"""The adjustment of Kenward and Roger (1997): covariance of the fixed part, scale and denominator of an F test.

All variances take part, those estimated as zero included. Symbols as in the paper: Phi covariance of the
coefficients, P_i, Q_ij, W covariance of the variances, A1, A2, B, g, c1..c3, rho, lambda.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.infer.mixed.pieces import Pieces
from trials.infer.mixed.reml import Solved, information


@dataclass(frozen=True)
class Adjustment:
    """phi, phi_adjusted (k, k); turned (t, k, k): Phi P_i Phi; w (t, t). One residual variance: exact_df = n - k.

    free (t,): the variances as ratios to the fitted residual variance by one step of Rao's (1971) quadratic estimation
    from the fit, without the bound at zero: unbiased at the weights of the fit, the analysis of variance in balanced
    data.
    """

    phi: np.ndarray
    phi_adjusted: np.ndarray
    turned: np.ndarray
    w: np.ndarray
    exact_df: int | None
    free: np.ndarray


def adjust(pieces: Pieces, solved: Solved, sigma2: float, nu: int) -> Adjustment:
    """Work out the adjustment from pieces that include the residual; sigma2 is the residual variance, nu its n - k.

    Ratios to the residual variance are used throughout, so the figures are those of the paper with Sigma = H and
    the covariances are multiplied by sigma2 at the end.
    """
    k = len(solved.beta)
    phi = solved.phi
    aga, agga = pieces.aga[:, :k, :k], pieces.agga[:, :, :k, :k]
    turned = -phi @ aga @ phi
    w = 2.0 * _inverse_scaled(information(pieces, solved))
    mixed = np.einsum("ij,iab->jab", w, aga)
    u = np.einsum("ij,ijab->ab", w, agga) - np.einsum("jab,jbc->ac", mixed @ phi, aga)
    adjusted = phi + 2.0 * phi @ u @ phi
    a = np.append(-solved.beta, 1.0)
    free = 0.5 * w @ (pieces.aga @ a @ a) * (nu / solved.rss)
    phi_adjusted = sigma2 * 0.5 * (adjusted + adjusted.T)
    return Adjustment(sigma2 * phi, phi_adjusted, sigma2 * turned, w, None if len(free) > 1 else nu, free)


def _inverse_scaled(matrix: np.ndarray) -> np.ndarray:
    """Inverse by eigenvalues of the matrix scaled to unit diagonal; directions without information are left out."""
    scale = 1.0 / np.sqrt(np.diagonal(matrix))
    values, vectors = np.linalg.eigh(matrix * np.outer(scale, scale))
    kept = values > 1e-10 * values[-1]
    half = scale[:, None] * vectors[:, kept]
    result: np.ndarray = half / values[kept] @ half.T
    return result


def a1_a2(adjustment: Adjustment, contrast: np.ndarray) -> tuple[float, float]:
    """A1 and A2 of the paper for full-rank contrast rows (q, k)."""
    inner = np.linalg.inv(contrast @ adjustment.phi @ contrast.T)
    m = inner @ (contrast @ adjustment.turned @ contrast.T)  # (t, q, q)
    single = np.trace(m, axis1=1, axis2=2)
    a1 = float(single @ adjustment.w @ single)
    pair = np.einsum("iab,jba->ij", m, m)
    return a1, float((adjustment.w * pair).sum())


def denominator(adjustment: Adjustment, contrast: np.ndarray) -> tuple[float, float]:
    """Denominator df and scale of the F statistic for full-rank contrast rows (q, k)."""
    if adjustment.exact_df is not None:
        return float(adjustment.exact_df), 1.0
    q = len(contrast)
    a1, a2 = a1_a2(adjustment, contrast)
    if q == 1:
        return 2.0 / a2, 1.0
    return _paper_df(q, a1, a2)


def _paper_df(q: int, a1: float, a2: float) -> tuple[float, float]:
    """Denominator df and scale from A1 and A2; v2 is zero at four degrees of freedom, so nothing is divided by it."""
    b = (a1 + 6.0 * a2) / (2.0 * q)
    g = ((q + 1.0) * a1 - (q + 4.0) * a2) / ((q + 2.0) * a2)
    below = 3.0 * q + 2.0 * (1.0 - g)
    c1, c2, c3 = g / below, (q - g) / below, (q + 2.0 - g) / below
    v0, v1, v2 = 1.0 + c1 * b, 1.0 - c2 * b, 1.0 - c3 * b
    v0 = 0.0 if abs(v0) < 1e-10 else v0
    ratio = 1.0 if abs(v1) < 1e-14 and abs(1.0 - a2 / q) < 1e-14 else (1.0 - a2 / q) / v1
    df = 4.0 + (q + 2.0) * v2 / (ratio**2 * v0 - v2)
    scale = 1.0 if abs(df - 2.0) < 1e-2 else df * (1.0 - a2 / q) / (df - 2.0)
    return df, scale
