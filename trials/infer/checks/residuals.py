"""Checks of data and model that go with every fit: arrays in, small frozen findings out; words are made elsewhere.

Every test of an added column runs through the same mixed model as the nozzle test, so it is judged by the same
yardstick (Kenward-Roger), not by repeated readings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from trials.errors import NotIdentifiable, WrongArgument
from trials.infer.checks.levels import Levels
from trials.infer.checks.normality import MOST, shapiro_wilk
from trials.infer.mixed import FTest, MixedDesign, fit_mixed
from trials.infer.mixed.groupings import finest_codes, read_groupings
from trials.infer.mixed.kernel import repeated

Array = NDArray[np.float64]
Labels = NDArray[Any]
Indices = NDArray[np.intp]
ADDS_NOTHING = 1e-7
"""Length of a unit column outside other columns that is rounding."""


@dataclass(frozen=True)
class Slope:
    """Trend of the response along something: change per unit on the model's scale, its interval and test."""

    value: float
    low: float
    high: float
    p: float


@dataclass(frozen=True)
class Shape:
    """Residual shape: skewness, excess kurtosis and the p-value of the Shapiro-Wilk test (Royston 1995)."""

    skewness: float
    excess: float
    p: float


@dataclass(frozen=True)
class BoxCox:
    """Power that fits best and the powers within the 95 % profile interval (Box and Cox 1964, equation 8)."""

    best: float
    low: float
    high: float
    powers: Array
    criterion: Array


def added_columns(response: Array, fixed: Array, groups: Mapping[str, Labels], extra: Array) -> FTest | None:
    """F test of columns added to the fixed part; None where they add nothing or the model cannot carry them."""
    try:
        codes = finest_codes(read_groupings(groups, len(response)))
        new = independent_of(fixed, extra, codes)
        if new.shape[1] == 0 or fixed.shape[1] + new.shape[1] >= len(response):
            return None
        fit = fit_mixed(response, np.hstack([fixed, new]), groups)
    except NotIdentifiable:
        return None
    contrast = np.eye(fixed.shape[1] + new.shape[1])[fixed.shape[1] :]
    return fit.test(contrast)


def slope(response: Array, fixed: Array, groups: Mapping[str, Labels], along: Array) -> Slope | None:
    """Slope of the response along a centred column, beside everything else in the model; None if it adds nothing."""
    column = np.asarray(along, dtype=float) - np.mean(along)
    try:
        design = MixedDesign.build(np.column_stack([fixed, column]), groups)
        if abs(design.fixed_part.r[-1, -1]) <= ADDS_NOTHING:
            return None
        fit = design.fit(response)
    except NotIdentifiable:
        return None
    found = fit.estimate(np.eye(fixed.shape[1] + 1)[-1])
    return Slope(found.value, found.low, found.high, found.p)


def independent_of(fixed: Array, extra: Array, codes: Indices | None = None) -> Array:
    """Orthonormal columns (n, r) that span what `extra` adds to `fixed`.

    codes (n,): levels in which rows may repeat, which saves time.
    """
    row, root = repeated(np.hstack([fixed, extra]), codes)
    if row is not None and codes is not None:
        return np.asarray((independent_of(root * fixed[row], root * extra[row]) / root)[codes])
    basis = np.linalg.qr(fixed)[0]
    rest = extra - basis @ (basis.T @ extra)
    rest -= basis @ (basis.T @ rest)
    left, sizes, _ = np.linalg.svd(rest, full_matrices=False)
    scale = np.linalg.norm(extra, axis=0).max() if extra.size else 0.0
    return left[:, sizes > ADDS_NOTHING * max(scale, 1e-300)]


def lack_of_fit(response: Array, fixed: Array, groups: Mapping[str, Labels], cells: Labels) -> FTest | None:
    """Do the settings differ by more than the model's curves say? Cells are nozzle-by-setting labels (n,).

    The pure error comes from coupons repeated at the same cell; None where no cell adds to the model.
    """
    place = Levels.of(cells).place
    return added_columns(response, fixed, groups, np.eye(place.max() + 1)[place])


def residual_shape(residuals: Array) -> Shape | None:
    """Shape of residuals; None with fewer than eight or without any spread."""
    if len(residuals) < 8 or np.ptp(residuals) == 0:
        return None
    centred = residuals - residuals.mean()
    second, third, fourth = (float(np.mean(centred**power)) for power in (2, 3, 4))
    return Shape(third / second**1.5, fourth / second**2 - 3.0, shapiro_wilk(residuals[:MOST]))


def coupon_means(values: Array, coupon: Labels | Levels) -> tuple[Indices, Array, Indices]:
    """(index of the first row of each coupon, mean per coupon, coupon number per row)."""
    levels = Levels.of(coupon)
    return levels.first, np.bincount(levels.place, values) / levels.counts, levels.place


def coupon_residuals(
    values: Array, fixed: Array, coupon: Labels | Levels, specimen: Labels | None
) -> tuple[Indices, Array]:
    """Residuals of coupon means after the fixed part and each specimen's (or mount's) own level.

    The levels are taken off means and fixed part alike, never one column a specimen (Frisch and Waugh 1933). Returns
    the index of the first row of each coupon and the residuals, both (coupons,).
    """
    first, means, _ = coupon_means(values, coupon)
    design = fixed[first]
    if specimen is not None:
        place = Levels.of(np.asarray(specimen)[first]).place
        means, design = means - _level_means(means, place), design - _level_means(design, place)
    solution = np.linalg.lstsq(design, means, rcond=None)[0]
    return first, means - design @ solution


def _level_means(values: Array, place: Indices) -> Array:
    """The mean of its level for each row of values (n,) or (n, k)."""
    columns = values.reshape(len(values), -1).T
    means = [np.bincount(place, column) / np.bincount(place) for column in columns]
    return np.stack(means, axis=1)[place].reshape(values.shape)


def log_variance_within(values: Array, coupon: Labels | Levels, resolution: float) -> tuple[Indices, Array]:
    """Log of the within-coupon variance, floored by the resolution and corrected for bias.

    The floor is resolution^2 / 12 (a uniform step); the correction takes off the mean of log chi-square,
    digamma(v/2) - log(v/2) (Bartlett and Kendall 1946). Returns first rows and values for coupons with two readings
    or more.
    """
    first, means, place = coupon_means(values, coupon)
    counts = np.bincount(place)
    squares = np.bincount(place, (values - means[place]) ** 2)
    keep = counts >= 2
    free = counts[keep] - 1.0
    variance = np.maximum(squares[keep] / free, resolution**2 / 12.0)
    return first[keep], np.log(variance) - (special.digamma(free / 2) - np.log(free / 2))


def box_cox(values: Array, fixed: Array, groups: Mapping[str, Labels], powers: Array | None = None) -> BoxCox:
    """Profile of the restricted likelihood over powers of the response; a check, never a choice after the fact.

    Raises
    ------
    WrongArgument
        If a value is not above zero.
    """
    if np.any(values <= 0):
        raise WrongArgument("A power profile needs values above zero; measure again or leave this check out.")
    powers = np.round(np.linspace(-2.0, 2.0, 17), 10) if powers is None else powers
    middle = np.exp(np.mean(np.log(values)))
    design = MixedDesign.build(fixed, groups)
    criterion = design.criteria(_power(values, p, middle) for p in powers)
    inside = powers[criterion <= criterion.min() + special.chdtri(1, 0.05)]
    return BoxCox(float(powers[criterion.argmin()]), float(inside.min()), float(inside.max()), powers, criterion)


def _power(values: Array, power: float, middle: float) -> Array:
    """Scaled power transform z(lambda) of Box and Cox (1964), whose likelihoods compare across powers."""
    if abs(power) < 1e-9:
        return middle * np.log(values)
    result: Array = (values**power - 1.0) / (power * middle ** (power - 1.0))
    return result
