"""Analysis of variance of balanced measurement studies: sums of squares and the components they stand for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Row:
    """One line of the analysis of variance."""

    source: str
    df: int
    sum_of_squares: float
    mean_square: float


@dataclass(frozen=True)
class Spread:
    """One variance component: `estimate` may be negative, `sd` then is zero; low and high bound the sd, or are None."""

    source: str
    estimate: float
    sd: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Anova:
    """Rows of the table, and for each component the coefficients (n_rows,) of the mean squares that estimate it."""

    rows: tuple[Row, ...]
    weights: Mapping[str, FloatArray]


def crossed(y: FloatArray, coupons: IntArray, inspectors: IntArray) -> Anova:
    """Each inspector measured each coupon equally often: inspectors (o), coupons (p), readings (n,)."""
    cube = _cube(y, coupons, inspectors)
    p, o, r = cube.shape
    mean, cell = cube.mean(), cube.mean(axis=2)
    by_coupon, by_inspector = cell.mean(axis=1), cell.mean(axis=0)
    both = cell - by_coupon[:, None] - by_inspector[None, :] + mean
    rows = (
        _row("coupon", p - 1, o * r * np.sum((by_coupon - mean) ** 2)),
        _row("inspector", o - 1, p * r * np.sum((by_inspector - mean) ** 2)),
        _row("coupon x inspector", (p - 1) * (o - 1), r * np.sum(both**2)),
        _row("repeat", p * o * (r - 1), np.sum((cube - cell[:, :, None]) ** 2)),
    )
    weights = {
        "coupon": np.array([1, 0, -1, 0]) / (o * r),
        "inspector": np.array([0, 1, -1, 0]) / (p * r),
        "coupon x inspector": np.array([0, 0, 1, -1]) / r,
        "repeat": np.array([0.0, 0, 0, 1]),
    }
    return Anova(rows, _with_totals(weights, ("inspector", "coupon x inspector")))


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
        _row("inspector", o - 1, c * r * np.sum((by_inspector - cube.mean()) ** 2)),
        _row("coupon", o * (c - 1), r * np.sum((cell - by_inspector[:, None]) ** 2)),
        _row("repeat", o * c * (r - 1), np.sum((cube - cell[:, :, None]) ** 2)),
    )
    weights = {
        "inspector": np.array([1, -1, 0]) / (c * r),
        "coupon": np.array([0, 1, -1]) / r,
        "repeat": np.array([0.0, 0, 1]),
    }
    return Anova(rows, _with_totals(weights, ("inspector",)))


def one_inspector(y: FloatArray, coupons: IntArray, inspectors: IntArray) -> Anova:
    """One inspector measured each coupon equally often."""
    cube = _cube(y, coupons, inspectors)[:, 0, :]
    p, r = cube.shape
    cell = cube.mean(axis=1)
    rows = (
        _row("coupon", p - 1, r * np.sum((cell - cube.mean()) ** 2)),
        _row("repeat", p * (r - 1), np.sum((cube - cell[:, None]) ** 2)),
    )
    weights = {"coupon": np.array([1, -1]) / r, "repeat": np.array([0.0, 1])}
    return Anova(rows, _with_totals(weights, ()))


def _row(source: str, df: int, sum_of_squares: float) -> Row:
    return Row(source, df, float(sum_of_squares), float(sum_of_squares / df))


def _cube(y: FloatArray, first: IntArray, second: IntArray) -> FloatArray:
    """Balanced readings as (first, second, repeat)."""
    shape = (int(first.max()) + 1, int(second.max()) + 1, -1)
    return y[np.lexsort((second, first))].reshape(shape)


def _with_totals(weights: dict[str, FloatArray], between: tuple[str, ...]) -> dict[str, FloatArray]:
    """The components, and the sums of them that are reported."""
    out = dict(weights)
    if between:
        out["reproducibility"] = np.sum([weights[name] for name in between], axis=0)
    out["bench"] = np.sum([weights[name] for name in (*between, "repeat")], axis=0)
    return out


def exact_interval(variance: float, df: int, confidence: float) -> tuple[float, float]:
    """Chi-square interval of a pooled variance with its degrees of freedom."""
    from scipy.stats import chi2

    return tuple(float(df * variance / chi2.ppf(q, df)) for q in (0.5 + confidence / 2, 0.5 - confidence / 2))
