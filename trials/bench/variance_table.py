"""Analysis of variance of balanced measurement studies: sums of squares and the components they stand for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trials.bench.kinds import Source

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Row:
    """One line of the analysis of variance."""

    source: Source
    df: int
    sum_of_squares: float
    mean_square: float


@dataclass(frozen=True)
class Spread:
    """One variance component: `estimate` may be negative, `sd` then is zero; low and high bound the sd, or are None."""

    source: Source
    estimate: float
    sd: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Anova:
    """Rows of the table, and for each component the coefficients (n_rows,) of the mean squares that estimate it."""

    rows: tuple[Row, ...]
    weights: Mapping[Source, FloatArray]


def crossed(y: FloatArray, coupons: IntArray, inspectors: IntArray) -> Anova:
    """Each inspector measured each coupon equally often: inspectors (o), coupons (p), readings (n,)."""
    cube = _cube(y, coupons, inspectors)
    p, o, r = cube.shape
    mean, cell = cube.mean(), cube.mean(axis=2)
    by_coupon, by_inspector = cell.mean(axis=1), cell.mean(axis=0)
    both = cell - by_coupon[:, None] - by_inspector[None, :] + mean
    rows = (
        _row(Source.COUPON, p - 1, o * r * np.sum((by_coupon - mean) ** 2)),
        _row(Source.INSPECTOR, o - 1, p * r * np.sum((by_inspector - mean) ** 2)),
        _row(Source.COUPON_BY_INSPECTOR, (p - 1) * (o - 1), r * np.sum(both**2)),
        _row(Source.REPEAT, p * o * (r - 1), np.sum((cube - cell[:, :, None]) ** 2)),
    )
    weights = {
        Source.COUPON: np.array([1, 0, -1, 0]) / (o * r),
        Source.INSPECTOR: np.array([0, 1, -1, 0]) / (p * r),
        Source.COUPON_BY_INSPECTOR: np.array([0, 0, 1, -1]) / r,
        Source.REPEAT: np.array([0.0, 0, 0, 1]),
    }
    return Anova(rows, _with_totals(weights, (Source.INSPECTOR, Source.COUPON_BY_INSPECTOR)))


def nested(y: FloatArray, coupons: IntArray, inspectors: IntArray) -> Anova:
    """Each inspector measured coupons of his own, equally many and equally often."""
    within = np.zeros_like(coupons)
    for who in range(int(inspectors.max()) + 1):
        mine = inspectors == who
        within[mine] = np.unique(coupons[mine], return_inverse=True)[1]
    cube = _cube(y, inspectors, within)
    o, c, r = cube.shape
    cell = cube.mean(axis=2)
    by_inspector = cell.mean(axis=1)
    rows = (
        _row(Source.INSPECTOR, o - 1, c * r * np.sum((by_inspector - cube.mean()) ** 2)),
        _row(Source.COUPON, o * (c - 1), r * np.sum((cell - by_inspector[:, None]) ** 2)),
        _row(Source.REPEAT, o * c * (r - 1), np.sum((cube - cell[:, :, None]) ** 2)),
    )
    weights = {
        Source.INSPECTOR: np.array([1, -1, 0]) / (c * r),
        Source.COUPON: np.array([0, 1, -1]) / r,
        Source.REPEAT: np.array([0.0, 0, 1]),
    }
    return Anova(rows, _with_totals(weights, (Source.INSPECTOR,)))


def one_inspector(y: FloatArray, coupons: IntArray, inspectors: IntArray) -> Anova:
    """One inspector measured each coupon equally often."""
    cube = _cube(y, coupons, inspectors)[:, 0, :]
    p, r = cube.shape
    cell = cube.mean(axis=1)
    rows = (
        _row(Source.COUPON, p - 1, r * np.sum((cell - cube.mean()) ** 2)),
        _row(Source.REPEAT, p * (r - 1), np.sum((cube - cell[:, None]) ** 2)),
    )
    weights = {Source.COUPON: np.array([1, -1]) / r, Source.REPEAT: np.array([0.0, 1])}
    return Anova(rows, _with_totals(weights, ()))


def _row(source: Source, df: int, sum_of_squares: float) -> Row:
    return Row(source, df, float(sum_of_squares), float(sum_of_squares / df))


def _cube(y: FloatArray, first: IntArray, second: IntArray) -> FloatArray:
    """Balanced readings as (first, second, repeat)."""
    shape = (int(first.max()) + 1, int(second.max()) + 1, -1)
    return y[np.lexsort((second, first))].reshape(shape)


def _with_totals(weights: dict[Source, FloatArray], between: tuple[Source, ...]) -> dict[Source, FloatArray]:
    """The components, and the sums of them that are reported."""
    out = dict(weights)
    if between:
        out[Source.REPRODUCIBILITY] = np.sum([weights[name] for name in between], axis=0)
    out[Source.BENCH] = np.sum([weights[name] for name in (*between, Source.REPEAT)], axis=0)
    return out


def exact_interval(variance: float, df: int, confidence: float) -> tuple[float, float]:
    """Chi-square interval of a pooled variance with its degrees of freedom."""
    from scipy.stats import chi2

    high, low = (float(chi2.ppf(share, df)) for share in (0.5 + confidence / 2, 0.5 - confidence / 2))
    return df * variance / high, df * variance / low
