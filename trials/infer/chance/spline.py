"""Cubic splines through even grids, without a knot next to either end: made once, read at many points.

De Boor (1978), A Practical Guide to Splines, chapters IV and XVII; the same curves as scipy.interpolate gives, which
takes long to start.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_PARTS = np.array([[1, 4, 1, 0], [-3, 0, 3, 0], [3, -6, 3, 0], [-1, 3, -3, 1]]) / 6.0
"""Weight of four coefficients in each power of the place between two grid points."""


@dataclass(frozen=True)
class Curve:
    """A spline over a grid from low in equal steps; parts (4, n - 1): power by power, of each stretch."""

    low: float
    step: float
    parts: Array

    def __call__(self, x: Array) -> Array:
        """Values at x (any shape) within the grid."""
        at, rest = _stretch(x, self.low, self.step, self.parts.shape[1])
        a, b, c, d = (part.take(at) for part in self.parts)
        return np.asarray(a + rest * (b + rest * (c + rest * d)))


@dataclass(frozen=True)
class Sheet:
    """A spline over two even grids; coefficients (n + 2, m + 2), flattened row by row in `flat`."""

    lows: tuple[float, float]
    steps: tuple[float, float]
    shape: tuple[int, int]
    flat: Array

    def __call__(self, x: Array, y: Array) -> Array:
        """Values at x, y (one shape) within the grids."""
        (i, u), (j, v) = (
            _stretch(z, low, step, count - 1)
            for z, low, step, count in zip((x, y), self.lows, self.steps, self.shape, strict=True)
        )
        start, wide = i * (self.shape[1] + 2) + j, self.shape[1] + 2
        across, along = _weights(u), _weights(v)
        total = np.zeros(np.shape(x))
        for a in range(4):
            row = sum((along[b] * self.flat.take(start + (a * wide + b)) for b in range(4)), np.zeros(()))
            total += across[a] * row
        return total


def curve(grid: Array, values: Array) -> Curve:
    """The spline through values (n,) over an even grid (n,)."""
    found = _inverse(len(grid)) @ values
    four = np.array([found[k : len(grid) - 1 + k] for k in range(4)])
    return Curve(float(grid[0]), float(grid[1] - grid[0]), _PARTS @ four)


def sheet(x: Array, y: Array, values: Array) -> Sheet:
    """The spline through values (n, m) over the even grids x (n,) and y (m,)."""
    found = _inverse(len(x)) @ values @ _inverse(len(y)).T
    steps = float(x[1] - x[0]), float(y[1] - y[0])
    return Sheet((float(x[0]), float(y[0])), steps, (len(x), len(y)), np.ascontiguousarray(found).ravel())


@lru_cache(maxsize=8)
def _inverse(count: int) -> Array:
    """From values (count,) to coefficients: (count + 2, count)."""
    matrix = np.zeros((count + 2, count + 2))
    for i in range(count):
        matrix[i, i : i + 3] = 1 / 6, 4 / 6, 1 / 6
    matrix[count, :5] = matrix[count + 1, -5:] = 1, -4, 6, -4, 1  # third derivatives on both sides of a knot are equal
    return np.asarray(np.linalg.inv(matrix)[:, :count], dtype=float)


def _stretch(x: Array, low: float, step: float, count: int) -> tuple[NDArray[np.intp], Array]:
    """In which of `count` stretches each point lies, and how far along it, 0 to 1."""
    place = (np.asarray(x, dtype=float) - low) / step
    at = np.clip(place.astype(np.intp), 0, count - 1)
    return at, place - at


def _weights(u: Array) -> tuple[Array, ...]:
    """Weights of the four coefficients around a point."""
    square, cube, other = u * u, u * u * u, (1 - u) ** 3
    return other / 6, (4 - 6 * square + 3 * cube) / 6, (1 + 3 * u + 3 * square - 3 * cube) / 6, cube / 6
