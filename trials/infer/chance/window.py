"""A region of settings: which settings lie in what was cut, and a band of typical edges that holds all over it.

The band is the max-|t| band over the points of the region: every point has its own standard error and degrees of
freedom, and one tail share for all of them is found by seeded draws from their joint distribution, so that the interval
at a best that was picked afterwards holds too (Scheffe 1953, Biometrika 40, 87-104, for the principle; the share itself
is simulated, as in Liu 2010, Simultaneous Inference in Regression, ch. 2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError
from scipy.special import chdtri, stdtr, stdtrit

from trials.errors import NotIdentifiable, WrongArgument, WrongShape

Array = NDArray[np.float64]
DRAWS = 20_000
EDGE = 1e-9  # how far outside a hull of unit size still counts as on it


@dataclass(frozen=True)
class Band:
    """Limits (n,) that hold together over all points; alone_low, alone_high: those that hold at one point named before.

    tail: two-sided share outside at each point.
    """

    low: Array
    high: Array
    alone_low: Array
    alone_high: Array
    tail: float


def inside_hull(cut: Array, points: Array) -> NDArray[np.bool_]:
    """Which points (m, 2) lie in the convex hull of the settings that were cut (n, 2), its border counted in.

    Raises
    ------
    WrongShape
        If either array does not have two columns.
    NotIdentifiable
        If the settings that were cut lie on one line or at one point.
    """
    if cut.ndim != 2 or points.ndim != 2 or cut.shape[1] != 2 or points.shape[1] != 2:
        raise WrongShape("A region is spanned by two settings; give arrays with two columns.")
    low, size = cut.min(axis=0), np.ptp(cut, axis=0)
    try:
        hull = ConvexHull((np.unique(cut, axis=0) - low) / np.where(size > 0, size, 1.0))
    except (QhullError, ValueError):
        raise NotIdentifiable(
            "The settings that were cut do not span a region of the two factors; cut them at three settings or more "
            "that do not lie on one line."
        ) from None
    scaled = (points - low) / np.where(size > 0, size, 1.0)
    inside: NDArray[np.bool_] = np.all(scaled @ hull.equations[:, :2].T + hull.equations[:, 2] <= EDGE, axis=1)
    return inside


def region_band(
    values: Array, covariance: Array, dfs: Array, confidence: float = 0.95, draws: int = DRAWS, seed: int = 0
) -> Band:
    """Limits of several estimates that hold together.

    Args:
        values (n,), covariance (n, n), dfs (n,): the estimates, which may depend on each other exactly.
        confidence: of all of them together.
        draws, seed: of the simulation; the same seed gives the same band.

    Raises
    ------
    WrongShape
        If the arrays do not fit together.
    WrongArgument
        If a variance is not above zero, or confidence is no share.
    """
    n = len(values)
    if covariance.shape != (n, n) or dfs.shape != (n,) or not n:
        raise WrongShape("Values, covariance and degrees of freedom of a band must belong to the same points.")
    se = np.sqrt(np.diagonal(covariance))
    if not np.all(se > 0) or not 0 < confidence < 1:
        raise WrongArgument("Every point of the band needs a variance and the confidence lies between 0 and 1.")
    size, turn = np.linalg.eigh(covariance / np.outer(se, se))
    kept = size > 1e-12 * size[-1]
    root = turn[:, kept] * np.sqrt(size[kept])
    rng = np.random.default_rng(seed)
    known = np.round(np.minimum(dfs, 1e4), 1)
    different = np.unique(known)
    least = np.ones(draws)
    z, u = rng.standard_normal((draws, root.shape[1])), rng.random(draws)
    for df in different:
        own = np.abs(z @ root[known == df].T).max(axis=1) / np.sqrt(chdtri(df, u) / df)
        least = np.minimum(least, 2.0 * stdtr(df, -own))
    tail = float(np.quantile(least, 1.0 - confidence))
    wide, narrow = (-stdtrit(dfs, share / 2.0) * se for share in (tail, 1.0 - confidence))
    return Band(values - wide, values + wide, values - narrow, values + narrow, tail)
