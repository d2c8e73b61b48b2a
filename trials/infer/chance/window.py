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
from scipy.special import stdtr, stdtrit

from trials.errors import NotIdentifiable, WrongArgument, WrongShape
from trials.infer.chance.draws import chi_squares, even_normals

Array = NDArray[np.float64]
DRAWS = 2_048
FAMILY = 30  # points whose pairs stand for all pairs of a smooth surface
STEP = 0.05  # of the logarithm of the degrees of freedom: points closer than that share their draws
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
    """Which points (m, d) lie in the convex hull of the settings that were cut (n, d), its border counted in.

    Raises
    ------
    WrongShape
        If the arrays do not have the same number of columns, two or more.
    NotIdentifiable
        If the settings that were cut do not fill a region: in two factors, if they lie on one line.
    """
    from scipy.spatial import ConvexHull, QhullError

    if cut.ndim != 2 or points.ndim != 2 or cut.shape[1] != points.shape[1] or cut.shape[1] < 2:
        raise WrongShape("A region is spanned by two settings or more; give arrays with as many columns.")
    low, size = cut.min(axis=0), np.ptp(cut, axis=0)
    try:
        hull = ConvexHull((np.unique(cut, axis=0) - low) / np.where(size > 0, size, 1.0))
    except (QhullError, ValueError):
        raise NotIdentifiable(
            "The settings that were cut do not span a region of the factors; cut them at more settings that do not all "
            "lie on one line."
        ) from None
    scaled = (points - low) / np.where(size > 0, size, 1.0)
    inside: NDArray[np.bool_] = np.all(scaled @ hull.equations[:, :-1].T + hull.equations[:, -1] <= EDGE, axis=1)
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
    root = _root(covariance / np.outer(se, se))
    points = even_normals(root.shape[1] + 1, draws, seed)
    known = np.exp(np.round(np.log(np.minimum(dfs, 1e4)) / STEP) * STEP)
    least = np.ones(len(points))
    for df in np.unique(known):
        own = np.abs(points[:, 1:] @ root[known == df].T).max(axis=1) / np.sqrt(chi_squares(df, points[:, 0]) / df)
        least = np.minimum(least, 2.0 * stdtr(df, -own))
    tail = float(np.quantile(least, 1.0 - confidence))
    wide, narrow = (-stdtrit(dfs, share / 2.0) * se for share in (tail, 1.0 - confidence))
    return Band(values - wide, values + wide, values - narrow, values + narrow, tail)


def alike_best(
    values: Array, covariance: Array, df: float, best: int, confidence: float = 0.95, draws: int = DRAWS, seed: int = 0
) -> NDArray[np.bool_]:
    """Which of n points are not shown to be worse than the best, where lower is better.

    values (n,), covariance (n, n): the points less any one reference (what they share is left out); df: degrees of
    freedom of their differences; best: the point that was picked. A point is alike where no interval of the family of
    all pairs (their largest one-sided t, drawn) shows the picked one to be lower: multiple comparisons with the best
    (Hsu 1984, Annals of Statistics 12, 1136-1144), the family taken from all pairs, which is a little wider.

    Raises:
        WrongShape: the arrays do not fit together, or confidence is no share.
    """
    n = len(values)
    if covariance.shape != (n, n) or not 0 < confidence < 1 or not df > 0:
        raise WrongShape("Differences, covariance and degrees of freedom must belong to the same points.")
    root = _root(covariance)
    points = even_normals(root.shape[1] + 1, draws, seed)
    errors = points[:, 1:] @ root.T
    own = np.diagonal(covariance)
    apart = np.sqrt(np.maximum(own[:, None] + own[None, :] - 2 * covariance, 0.0))
    worst = np.zeros(len(points))
    family = np.unique([best, *range(0, n, 1 + n // FAMILY)])
    for i in family:
        gaps = apart[i, family]
        others = gaps > 1e-9 * apart.max()
        if others.any():
            worst = np.maximum(worst, ((errors[:, [i]] - errors[:, family[others]]) / gaps[others]).max(axis=1))
    critical = np.quantile(worst / np.sqrt(chi_squares(df, points[:, 0]) / df), confidence)
    alike: NDArray[np.bool_] = values - values[best] <= critical * apart[best]
    return alike


def optimism(values: Array, covariance: Array, draws: int = DRAWS, seed: int = 0) -> float:
    """How much too low the lowest of n estimates comes out on average because it was picked; 0 or more.

    From draws around the estimates (values (n,), covariance (n, n)): the error of whichever comes out lowest.
    """
    root = _root(covariance)
    errors = even_normals(root.shape[1], draws, seed) @ root.T
    lowest = (values + errors).argmin(axis=1)
    return max(float(-errors[np.arange(len(errors)), lowest].mean()), 0.0)


def _root(covariance: Array) -> Array:
    """Columns (n, rank) whose products with themselves are the covariance."""
    size, turn = np.linalg.eigh(covariance)
    kept = size > 1e-12 * max(size[-1], 1e-300)
    found: Array = turn[:, kept] * np.sqrt(size[kept])
    return found
