"""Chance that the largest of several correlated normal deviates stays below h in size, as a smooth curve in h.

One-factor correlations r_ij = l_i l_j (two contrasts always, several against one reference in a balanced trial) take
one normal integral: g(h) = E prod_i [Phi((h - l_i u) / s_i) - Phi((-h - l_i u) / s_i)], s_i^2 = 1 - l_i^2
(Dunnett 1955). Other correlations start from a one-factor curve nearby and add the integral of the slope along the
straight path to the true correlations (Plackett 1954), up to six contrasts; from seven on the difference of two
sequential-conditioning integrals (Genz 1992) over one fixed set of points. Nothing is drawn at random.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.polynomial import chebyshev
from scipy import special

TOP = 8.0  # beyond this h the chance to exceed is below 1e-14 a contrast
DEGREE = 47
STEPS = 256  # cells of the cubic table
SAME = 1e-10  # correlations this close to +-1 or to the one-factor form count as being there
COARSE = 28  # nodes in h of a correction
PATH_POINTS = ((0.02, 2), (0.1, 3), (0.3, 5), (2.0, 10))  # points by the largest change of a correlation
LARGEST_PATH = 6  # contrasts up to which the path integral is taken
GAUSS_POINTS = {1: 1, 2: 24, 3: 16, 4: 12}  # a deviate, by how many deviates are left beside the pair
EDGE = 6.5  # normal deviates beyond this are left out of a correction
LATTICE = 32749  # points from seven contrasts on


@dataclass(frozen=True)
class BoxCurve:
    """1 - g on a grid of step TOP / STEPS: value and slope at each knot, cubic in between."""

    value: np.ndarray
    slope: np.ndarray

    def exceed(self, h: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Chance that some deviate exceeds h in size, and its slope in h; zero beyond TOP."""
        width = TOP / STEPS
        place = np.minimum(h, TOP) / width
        cell = np.minimum(place.astype(np.intp), STEPS - 1)
        t = place - cell
        a, b = self.value[cell], self.value[cell + 1]
        da, db = width * self.slope[cell], width * self.slope[cell + 1]
        c2, c3 = 3.0 * (b - a) - 2.0 * da - db, 2.0 * (a - b) + da + db
        return a + t * (da + t * (c2 + t * c3)), (da + t * (2.0 * c2 + 3.0 * t * c3)) / width


def box_curve(correlation: np.ndarray) -> BoxCurve:
    """Curve for a correlation matrix (m, m) without repeated contrasts."""
    loadings, exact = one_factor(correlation)
    nodes, to_value, to_slope = _table()
    inside = _one_factor_curve(loadings, nodes)
    if not exact:
        inside = inside + _correction(correlation, loadings, nodes)
    return BoxCurve(1.0 - to_value @ inside, -(to_slope @ inside))


@cache
def range_curve(means: int) -> BoxCurve:
    """Curve of the largest difference of several independent normal deviates, divided by sqrt 2 as a pair's t is.

    P(range < r) = m E [Phi(z) - Phi(z - r)]^(m - 1) over the largest deviate z (Tukey 1953).
    """
    nodes, to_value, to_slope = _table()
    z = np.linspace(-9.0, 9.0, 241)
    weight = np.exp(-0.5 * z**2)
    gap = special.ndtr(z) - special.ndtr(z - np.sqrt(2.0) * nodes[:, None])
    inside = means * (gap ** (means - 1)) @ (weight / weight.sum())
    return BoxCurve(1.0 - to_value @ inside, -(to_slope @ inside))


@cache
def _table() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Chebyshev nodes on [0, TOP], and the matrices that take values there to values and slopes at the knots."""
    x = np.cos(np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1))
    grid = np.linspace(-1.0, 1.0, STEPS + 1)
    fit = np.linalg.inv(chebyshev.chebvander(x, DEGREE))
    slope = chebyshev.chebvander(grid, DEGREE - 1) @ chebyshev.chebder(np.eye(DEGREE + 1), axis=0)
    return (x + 1.0) * TOP / 2.0, chebyshev.chebvander(grid, DEGREE) @ fit, slope @ fit * (2.0 / TOP)


def one_factor(correlation: np.ndarray) -> tuple[np.ndarray, bool]:
    """Signed loadings (m,) below 1 in size of a one-factor form near a correlation matrix; whether it is that form."""
    m = len(correlation)
    if m == 1:
        return np.zeros(1), True
    if m == 2:
        size = np.sqrt(abs(correlation[0, 1]))
        return np.array([size, np.copysign(size, correlation[0, 1])]), True
    off = ~np.eye(m, dtype=bool)
    strongest = np.argmax(np.abs(correlation).sum(axis=1))
    sign = np.where(correlation[strongest] < 0, -1.0, 1.0)
    loadings = sign * _triads(np.maximum(correlation * np.outer(sign, sign), 0.0), off)
    if np.abs(np.outer(loadings, loadings) - correlation)[off].max() < SAME:
        return loadings, True
    return np.clip(loadings, -0.95, 0.95), False


def _triads(r: np.ndarray, off: np.ndarray) -> np.ndarray:
    """Loadings from l_i^2 = sum r_ij r_ik / sum r_jk over pairs j, k other than i: exact for the one-factor form."""
    clean = np.where(off, r, 0.0)
    row = clean.sum(axis=1)
    above = row**2 - (clean**2).sum(axis=1)
    below = clean.sum() - 2.0 * row
    squared = np.divide(above, below, out=np.zeros_like(above), where=below > 1e-12)
    result: np.ndarray = np.sqrt(np.clip(squared, 0.0, 1.0 - 1e-9))
    return result


def _one_factor_curve(loadings: np.ndarray, h: np.ndarray) -> np.ndarray:
    rest = np.sqrt(1.0 - loadings**2)
    steepest = np.min(rest / np.maximum(np.abs(loadings), 1e-3))
    half = max(20, int(np.ceil(8.0 / min(0.4, 0.5 * steepest))))
    u = np.linspace(-8.0, 8.0, 2 * half + 1)[half:]  # even in u, half the line is enough
    weight = np.exp(-0.5 * u**2)
    weight[0] *= 0.5
    weight /= weight.sum()
    shift = loadings[:, None] * u
    high = special.ndtr((h[:, None, None] - shift) / rest[:, None])
    low = special.ndtr((-h[:, None, None] - shift) / rest[:, None])
    result: np.ndarray = np.prod(high - low, axis=1) @ weight
    return result


def _correction(correlation: np.ndarray, loadings: np.ndarray, h: np.ndarray) -> np.ndarray:
    """Difference of the true curve and the one-factor curve at h (nodes,)."""
    m = len(loadings)
    near = np.outer(loadings, loadings)
    np.fill_diagonal(near, 1.0)
    x = np.cos(np.pi * (np.arange(COARSE) + 0.5) / COARSE)
    coarse = (x + 1.0) * TOP / 2.0
    if m <= LARGEST_PATH:
        gap = _along_path(near, correlation, coarse)
    else:
        gap = _conditioned(correlation, coarse) - _conditioned(near, coarse)
    weights = np.linalg.solve(chebyshev.chebvander(x, COARSE - 1), gap)
    return chebyshev.chebval(2.0 * h / TOP - 1.0, weights)


def _along_path(start: np.ndarray, end: np.ndarray, h: np.ndarray) -> np.ndarray:
    """Integral of dg/dt over R(t) = start + t (end - start); dg/dr_ij by Plackett (1954), eq. 3.

    dg/dr_ij = 2 [phi2(h, h; r_ij) P(rest in the box | h, h) - phi2(h, -h; r_ij) P(rest in the box | h, -h)].
    """
    longest = np.abs(end - start).max()
    nodes, weights = _gauss(next(points for reach, points in PATH_POINTS if longest <= reach))
    total = np.zeros(len(h))
    for t, weight in zip((nodes + 1.0) / 2.0, weights / 2.0, strict=True):
        r = start + t * (end - start)
        for i, j in itertools.combinations(range(len(r)), 2):
            move = end[i, j] - start[i, j]
            if abs(move) > SAME / 100.0:
                total += weight * move * _corner_slope(r, i, j, h)
    return total


@cache
def _gauss(points: int) -> tuple[np.ndarray, np.ndarray]:
    return np.polynomial.legendre.leggauss(points)


def _corner_slope(r: np.ndarray, i: int, j: int, h: np.ndarray) -> np.ndarray:
    pair, rest = [i, j], [a for a in range(len(r)) if a not in (i, j)]
    rho = r[i, j]
    back = np.linalg.solve(r[np.ix_(pair, pair)], r[np.ix_(pair, rest)])
    covariance = r[np.ix_(rest, rest)] - r[np.ix_(rest, pair)] @ back
    slope = np.zeros(len(h))
    for side in (1.0, -1.0):
        density = np.exp(-(h**2) / (1.0 + side * rho)) / (2.0 * np.pi * np.sqrt(1.0 - rho**2))
        mean = h[:, None] * (back[0] + side * back[1])
        slope += 2.0 * side * density * _rectangle(covariance, -h[:, None] - mean, h[:, None] - mean)
    return slope


def _rectangle(covariance: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Normal chance of low < z < high, both (nodes, d), by Gauss-Legendre one deviate after the other."""
    d = len(covariance)
    factor = _safe_root(covariance)
    x, w = _gauss(GAUSS_POINTS[d])
    weight = np.ones((len(low), 1))
    taken: list[np.ndarray] = []
    for i in range(d):
        centre = sum((factor[i, j] * z for j, z in enumerate(taken)), np.zeros((1, 1)))
        a, b = (low[:, i, None] - centre) / factor[i, i], (high[:, i, None] - centre) / factor[i, i]
        if i == d - 1:
            weight = weight * (special.ndtr(b) - special.ndtr(a))
            break
        a, b = np.clip(a, -EDGE, EDGE), np.clip(b, -EDGE, EDGE)
        z = 0.5 * (a + b)[:, :, None] + 0.5 * (b - a)[:, :, None] * x
        density = np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi) * (0.5 * (b - a)[:, :, None] * w)
        weight = (weight[:, :, None] * density).reshape(len(low), -1)
        taken = [np.repeat(np.broadcast_to(t, a.shape), len(x), axis=1) for t in taken] + [z.reshape(len(low), -1)]
    result: np.ndarray = weight.sum(axis=1)
    return result


def _safe_root(covariance: np.ndarray) -> np.ndarray:
    """Cholesky factor of a covariance that may have lost rank."""
    return np.linalg.cholesky(covariance + 1e-11 * np.eye(len(covariance)))


@cache
def _lattice(dimensions: int) -> np.ndarray:
    """Fixed points (N, d) of an additive recurrence, folded to be even about the middle."""
    from scipy.optimize import brentq

    ratio = brentq(lambda v: v ** (dimensions + 1) - v - 1.0, 1.0, 2.0)
    steps = ratio ** -np.arange(1.0, dimensions + 1.0)
    return np.abs(2.0 * (np.outer(np.arange(1, LATTICE + 1), steps) % 1.0) - 1.0)


def _conditioned(correlation: np.ndarray, h: np.ndarray) -> np.ndarray:
    """Chance of the box at each h (nodes,) by taking the deviates one after the other (Genz 1992)."""
    factor = _safe_root(correlation)
    points = _lattice(len(factor) - 1)
    chance = np.ones((len(h), len(points)))
    taken: list[np.ndarray] = []
    for i, row in enumerate(factor):
        centre = sum((row[j] * z for j, z in enumerate(taken)), np.zeros((1, 1)))
        low = special.ndtr((-h[:, None] - centre) / row[i])
        span = special.ndtr((h[:, None] - centre) / row[i]) - low
        chance = chance * span
        if i < len(factor) - 1:
            taken.append(special.ndtri(np.clip(low + span * points[:, i], 1e-300, 1.0 - 1e-16)))
    result: np.ndarray = chance.mean(axis=1)
    return result
