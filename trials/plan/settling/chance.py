"""The chance that an answer comes out right, by the rule of four words, over everything the data could turn out as.

An estimate is normal about the truth; its variance is estimated from specimens and from coupons, each a chi-square.
The chance is the mean over both, by quadrature: the same plan always has the same chance, and a longer plan no lower
one by luck of draws.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from trials.infer.answer import Levels
from trials.infer.means.simultaneous import critical_values
from trials.plan.settling.request import Goal, If
from trials.plan.settling.strata import Precision

Array = np.ndarray
BETWEEN_POINTS, REST_POINTS, NORMAL_POINTS = 24, 8, 16
CORRELATIONS = np.linspace(0.05, 0.95, 10)
INVERSE_DFS = np.linspace(0.0, 1.0, 33) ** 1.5 * (1.0 - 1e-5) + 1e-5
EVEN_INVERSE_DFS = np.linspace(1e-5, 1.0, 200)


@dataclass(frozen=True)
class Right:
    """Chances (B, J) that each comparison ends right at the worthwhile difference and at none; (B,) that all do."""

    different: Array
    same: Array
    all_different: Array
    all_same: Array

    def reached(self, goal: Goal, named: Array | None = None) -> Array:
        """The chance (B,) that a goal is about, of the weakest comparison among those named (J,), or of all at once."""
        kept = np.ones(self.different.shape[1], dtype=bool) if named is None else named
        different = self.all_different if goal.all_of_them else self.different[:, kept].min(axis=1)
        same = self.all_same if goal.all_of_them else self.same[:, kept].min(axis=1)
        return np.asarray({If.DIFFERENT: different, If.SAME: same, If.BOTH: np.minimum(different, same)}[goal.truth])


@lru_cache(maxsize=32)
def critical_curve(comparisons: int, level: float) -> Callable[[Array, Array], Array]:
    """Critical value by correlation and 1 / df: multivariate t against today's, interpolated in its logarithm.

    Good to about 1e-3 where all correlations are equal, else their mean is taken; to 1e-9 for a single comparison.
    """
    from scipy import interpolate

    if comparisons == 1:
        exact = special.stdtrit(1.0 / EVEN_INVERSE_DFS, 0.5 + level / 2.0)
        alone = interpolate.CubicSpline(EVEN_INVERSE_DFS, np.log(exact))
        return lambda _, inverse: np.asarray(np.exp(alone(inverse)))
    dfs, eye = 1.0 / INVERSE_DFS, np.eye(comparisons)
    table = [critical_values(r + (1.0 - r) * eye, dfs, level) for r in CORRELATIONS]
    spline = interpolate.RectBivariateSpline(CORRELATIONS, INVERSE_DFS, np.log(table))
    return lambda correlation, inverse: np.asarray(np.exp(spline.ev(correlation, inverse)))


@lru_cache(maxsize=8)
def _legendre(points: int) -> tuple[Array, Array]:
    x, w = np.polynomial.legendre.leggauss(points)
    return (x + 1.0) / 2.0, w / 2.0


@lru_cache(maxsize=8)
def _hermite(points: int) -> tuple[Array, Array]:
    x, w = np.polynomial.hermite_e.hermegauss(points)
    return x, w / w.sum()


def _mean_squares(df: Array, points: int) -> Array:
    """Quantiles of chi-square / df at the Gauss-Legendre points, (*df.shape, points)."""
    x, _ = _legendre(points)
    return np.asarray(2.0 * special.gammaincinv(df[..., None] / 2.0, x) / df[..., None])


def chances_right(found: Precision, better: float, worse: float, levels: Levels, together: bool = False) -> Right:
    """Chances that comparisons end right: better (worse) at the worthwhile difference, same at none.

    better, worse: the worthwhile pair on the model's scale. At the worthwhile difference the lower of both sides
    counts; all: every other type at that difference. together: the chance of all too, else it is NaN.
    """
    between = _mean_squares(found.between_df, BETWEEN_POINTS)[:, None, :, None]
    rest = _mean_squares(found.rest_df, REST_POINTS)[:, :, None, :]
    weight = np.outer(_legendre(BETWEEN_POINTS)[1], _legendre(REST_POINTS)[1])
    variance = np.diagonal(found.covariance, axis1=1, axis2=2)
    part = np.stack([found.between, np.maximum(variance - found.between, 0.0)], axis=0)[..., None, None]
    estimated = part[0] * between, part[1] * rest
    total = estimated[0] + estimated[1]
    squares = (
        estimated[0] ** 2 / found.between_df[:, None, None, None] + estimated[1] ** 2 / found.rest_df[..., None, None]
    )
    inverse = np.clip(squares / total**2, 1e-5, 1.0)
    correlation, shared = _shared(found.covariance)
    across = np.broadcast_to(correlation[:, None, None, None], total.shape)
    count = variance.shape[1]
    half = np.sqrt(total)
    apart = critical_curve(count, levels.difference)(across, inverse) * half
    alike = critical_curve(count, levels.sameness)(across, inverse) * half
    window = _Window(np.maximum(apart, better - alike), np.maximum(apart, worse - alike), better - alike, worse - alike)
    right = _Sides(window, better, worse)
    one = [np.einsum("bjst,st->bj", p, weight) for p in right.chances(0.0, np.sqrt(variance)[..., None, None])]
    if not together:
        unknown = np.full(len(variance), np.nan)
        return Right(np.minimum(one[0], one[1]), one[2], unknown, unknown)
    every = _all_right(right, variance, shared, weight)
    return Right(np.minimum(one[0], one[1]), one[2], np.minimum(every[0], every[1]), every[2])


def _shared(covariance: Array) -> tuple[Array, Array]:
    """Mean correlation (B,) of the comparisons and the variance (B,) that they share, that of today's mean."""
    count = covariance.shape[1]
    if count == 1:
        return np.full(len(covariance), 0.5), np.zeros(len(covariance))
    sd = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    correlation = covariance / (sd[:, :, None] * sd[:, None, :])
    off = ~np.eye(count, dtype=bool)
    shared = np.minimum(covariance[:, off].mean(axis=1), 0.999 * sd.min(axis=1) ** 2)
    return np.clip(correlation[:, off].mean(axis=1), 0.05, 0.95), np.maximum(shared, 0.0)


@dataclass(frozen=True)
class _Window:
    """Where an estimate must lie: above `over` for better, below -under for worse, between -low and high for same."""

    over: Array
    under: Array
    high: Array
    low: Array


@dataclass(frozen=True)
class _Sides:
    window: _Window
    better: float
    worse: float

    def chances(self, moved: Array | float, sd: Array) -> tuple[Array, Array, Array]:
        """Chances of a right word if better, worse, or the same, with `moved` added to the estimate."""
        w = self.window
        better = special.ndtr((self.better + moved - w.over) / sd)
        worse = special.ndtr((self.worse - moved - w.under) / sd)
        within = special.ndtr((w.high - moved) / sd) - special.ndtr((-w.low - moved) / sd)
        return better, worse, np.maximum(within, 0.0)


def _all_right(right: _Sides, variance: Array, shared: Array, weight: Array) -> list[Array]:
    """Chances (B,) that all comparisons are right at once: independent once today's mean and the spreads are given."""
    own = np.sqrt(variance - shared[:, None])[..., None, None]
    found = [np.zeros(len(variance)) for _ in range(3)]
    for z, w in zip(*_hermite(NORMAL_POINTS), strict=True):
        moved = (z * np.sqrt(shared))[:, None, None, None]
        for i, chance in enumerate(right.chances(moved, own)):
            found[i] += w * np.einsum("bst,st->b", chance.prod(axis=1), weight)
    return found
