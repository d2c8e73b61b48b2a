"""Chance that the largest of several correlated normal deviates stays below h in size, as a smooth curve in h.

One-factor correlations r_ij = l_i l_j (two contrasts always, several against one reference in a balanced trial) take
one normal integral: g(h) = E prod_i [Phi((h - l_i u) / s_i) - Phi((-h - l_i u) / s_i)], s_i^2 = 1 - l_i^2
(Dunnett 1955). For other correlations the nearest one-factor curve is corrected by the difference of two
sequential-conditioning integrals (Genz 1992) over one fixed set of points, so that most of their error cancels.
Nothing is drawn at random.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.polynomial import chebyshev
from scipy import optimize, special

TOP = 8.0  # beyond this h the chance to exceed is below 1e-14 a contrast
DEGREE = 47
STEPS = 256  # cells of the cubic table
SAME = 1e-10  # correlations this close to +-1 or to the one-factor form count as being there
PLAIN_POINTS = 14  # Gauss points a dimension for three or four contrasts
LATTICE = 8191  # lattice points for five or more


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
def _table() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Chebyshev nodes on [0, TOP], and the matrices that take values there to values and slopes at the knots."""
    x = np.cos(np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1))
    grid = np.linspace(-1.0, 1.0, STEPS + 1)
    fit = np.linalg.inv(chebyshev.chebvander(x, DEGREE))
    slope = chebyshev.chebvander(grid, DEGREE - 1) @ chebyshev.chebder(np.eye(DEGREE + 1), axis=0)
    return (x + 1.0) * TOP / 2.0, chebyshev.chebvander(grid, DEGREE) @ fit, slope @ fit * (2.0 / TOP)


def one_factor(correlation: np.ndarray) -> tuple[np.ndarray, bool]:
    """Loadings (m,) in [0, 1) of the one-factor form nearest to a correlation matrix, and whether it is that form.

    Turning the sign of a contrast does not move the box, so signs are free.
    """
    m = len(correlation)
    if m == 1:
        return np.zeros(1), True
    if m == 2:
        return np.full(2, np.sqrt(abs(correlation[0, 1]))), True
    off = ~np.eye(m, dtype=bool)
    sign = np.where(correlation[np.argmax(np.abs(correlation - np.eye(m)).sum(axis=1))] < 0, -1.0, 1.0)
    turned = correlation * np.outer(sign, sign)
    start = _triads(np.maximum(turned, 0.0), off)
    if np.abs(np.outer(start, start) - turned)[off].max() < SAME:
        return start, True
    upper = np.triu_indices(m, 1)
    found = optimize.least_squares(
        lambda v: (np.outer(v, v) - turned)[upper],
        np.clip(start, 0.01, 0.98),
        bounds=(0.0, 0.99),
        xtol=1e-12,
        ftol=1e-12,
    ).x
    return found, bool(np.abs(np.outer(found, found) - turned)[off].max() < SAME)


def _triads(r: np.ndarray, off: np.ndarray) -> np.ndarray:
    """Loadings from l_i^2 = sum r_ij r_ik / sum r_jk over pairs j, k other than i: exact for the one-factor form."""
    clean = np.where(off, r, 0.0)
    row = clean.sum(axis=1)
    above = row**2 - (clean**2).sum(axis=1)
    below = clean.sum() - 2.0 * row
    squared = np.divide(above, below, out=np.zeros_like(above), where=below > 1e-12)
    return np.sqrt(np.clip(squared, 0.0, 1.0 - 1e-9))


def _one_factor_curve(loadings: np.ndarray, h: np.ndarray) -> np.ndarray:
    rest = np.sqrt(1.0 - loadings**2)
    steepest = np.min(rest / np.maximum(loadings, 1e-3))
    half = max(20, int(np.ceil(8.0 / min(0.4, 0.5 * steepest))))
    u = np.linspace(-8.0, 8.0, 2 * half + 1)[half:]  # even in u, half the line is enough
    weight = np.exp(-0.5 * u**2)
    weight[0] *= 0.5
    weight /= weight.sum()
    shift = loadings[:, None] * u
    high = special.ndtr((h[:, None, None] - shift) / rest[:, None])
    low = special.ndtr((-h[:, None, None] - shift) / rest[:, None])
    return np.prod(high - low, axis=1) @ weight


def _correction(correlation: np.ndarray, loadings: np.ndarray, h: np.ndarray) -> np.ndarray:
    """Difference of the true curve and the one-factor curve at h (nodes,)."""
    near = np.outer(loadings, loadings)
    np.fill_diagonal(near, 1.0)
    points, weight = _points(len(loadings) - 1)
    coarse = np.linspace(0.0, 1.0, 13)[1:] * 6.0
    gap = _conditioned(correlation, coarse, points, weight) - _conditioned(near, coarse, points, weight)
    knots = np.concatenate([[0.0], coarse, [7.0, TOP]])
    return _smooth(knots, np.concatenate([[0.0], gap, [0.0, 0.0]]), h)


def _smooth(knots: np.ndarray, values: np.ndarray, at: np.ndarray) -> np.ndarray:
    from scipy.interpolate import CubicSpline

    return CubicSpline(knots, values, bc_type="clamped")(at)


@cache
def _points(dimensions: int) -> tuple[np.ndarray, np.ndarray]:
    """Fixed points (N, d) in the unit cube with weights (N,): Gauss products up to 3 dimensions, a lattice beyond."""
    if dimensions <= 3:
        x, w = np.polynomial.legendre.leggauss(PLAIN_POINTS)
        grid = np.stack(np.meshgrid(*[(x + 1.0) / 2.0] * dimensions, indexing="ij"), axis=-1).reshape(-1, dimensions)
        weight = np.stack(np.meshgrid(*[w / 2.0] * dimensions, indexing="ij"), axis=-1).reshape(-1, dimensions)
        return grid, weight.prod(axis=1)
    steps = np.sqrt(np.array([2.0, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71]))[
        :dimensions
    ]
    raw = np.outer(np.arange(1, LATTICE + 1), steps) % 1.0
    return np.abs(2.0 * raw - 1.0), np.full(LATTICE, 1.0 / LATTICE)


def _conditioned(correlation: np.ndarray, h: np.ndarray, points: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Chance of the box at each h (nodes,) by taking the deviates one after the other (Genz 1992)."""
    factor = np.linalg.cholesky(correlation + 1e-12 * np.eye(len(correlation)))
    chance = np.ones((len(h), len(points)))
    taken: list[np.ndarray] = []
    for i, row in enumerate(factor):
        centre = sum((row[j] * z for j, z in enumerate(taken)), np.zeros((1, 1)))
        low = special.ndtr((-h[:, None] - centre) / row[i])
        span = special.ndtr((h[:, None] - centre) / row[i]) - low
        chance = chance * span
        if i < len(factor) - 1:
            taken.append(special.ndtri(np.clip(low + span * points[:, i], 1e-300, 1.0 - 1e-16)))
    return chance @ weight
