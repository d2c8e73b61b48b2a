"""Draws that every chance shares: even points, and quantiles at them, made once and read many times.

The same points serve every nozzle type and requirement (common random numbers), so that chances differ for what they
say and not for the luck of a draw.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import betaincinv, gammainccinv, gammaincinv, ndtr, ndtri

from trials.infer.chance.sobol import MOST, scrambled
from trials.infer.chance.spline import Curve, curve

_GRID = np.linspace(-7.2, 7.2, 289)  # clipped points lie within -7.04 .. 7.04


@lru_cache(maxsize=16)
def even_normals(dimensions: int, count: int, seed: int) -> np.ndarray:
    """Evenly spread standard normals (at least count, dimensions), read-only: scrambled Sobol, a power of two.

    Their order is shuffled by the seed: a scramble keeps the order of the first digits, so that points of two seeds,
    set side by side as they come, would be correlated by up to 0.9.
    """
    points = _points(dimensions, int(np.ceil(np.log2(max(count, 2)))), seed)
    shuffled = np.random.default_rng([seed, dimensions]).permutation(points)
    return _fixed(ndtri(np.clip(shuffled, 1e-12, 1 - 1e-12)))


def _points(dimensions: int, power: int, seed: int) -> np.ndarray:
    if dimensions <= MOST:
        return scrambled(dimensions, power, seed)
    from scipy.stats import qmc  # the same points, at a long start-up

    return np.asarray(qmc.Sobol(dimensions, scramble=True, seed=seed).random_base2(power))


@lru_cache(maxsize=128)
def chi_square_draws(df: float, dimensions: int, count: int, seed: int, column: int) -> np.ndarray:
    """Chi-square quantiles at one column of `even_normals`, read-only."""
    return _fixed(chi_squares(df, even_normals(dimensions, count, seed)[:, column]))


def chi_squares(df: float, z: np.ndarray) -> np.ndarray:
    """Chi-square quantiles at the normal quantiles z (draws,), to a relative 1e-7 by a spline of their logarithm."""
    return np.asarray(np.exp(_log_chi_square(df)(np.clip(z, _GRID[0], _GRID[-1]))))


def beta_draws(above: float, below: float, z: np.ndarray) -> np.ndarray:
    """Beta(above, below) quantiles at the normal quantiles z (draws,), to 1e-7 by a spline."""
    return np.asarray(np.clip(_beta(above, below)(np.clip(z, _GRID[0], _GRID[-1])), 0.0, 1.0))


@lru_cache(maxsize=256)
def _log_chi_square(df: float) -> Curve:
    low, high = _GRID[_GRID < 0], _GRID[_GRID >= 0]
    halves = gammaincinv(df / 2, ndtr(low)), gammainccinv(df / 2, ndtr(-high))
    return curve(_GRID, np.log(2 * np.concatenate(halves)))


@lru_cache(maxsize=64)
def _beta(above: float, below: float) -> Curve:
    low, high = _GRID[_GRID < 0], _GRID[_GRID >= 0]
    halves = betaincinv(above, below, ndtr(low)), 1.0 - betaincinv(below, above, ndtr(-high))
    return curve(_GRID, np.concatenate(halves))


def _fixed(values: np.ndarray) -> np.ndarray:
    values.flags.writeable = False
    return values
