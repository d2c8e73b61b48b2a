"""One rule for values that stand far from their neighbours: the worst first, each beside the median of the others.

Used for readings of a coupon, for coupons beside their model, and for slips of the pen when readings are typed in.
Flagged values are never removed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from trials.infer.checks.levels import Levels

Array = NDArray[np.float64]
Labels = NDArray[np.object_]
Distance = Callable[[Array, Array], Array]
ROBUST = 1.4826  # a median absolute deviation times this is a standard deviation under the normal distribution
LIMIT = 5.0  # robust standard deviations beyond which a value is far: common practice, no source


def far_from_others(values: Array, distance: Distance, limit: float, fewest: int) -> dict[int, float]:
    """Values far from the median of the others, as {position: that median}, the worst first.

    values (n,); distance: of values (m,) from medians (m,), zero or more; fewest: others that a value needs. The worst
    one leaves before the next is looked at, so that one slip does not make its honest neighbours look like slips.
    """
    found: dict[int, float] = {}
    left = np.arange(len(values))
    while len(left) > fewest:
        here = values[left]
        others = medians_of_others(here)
        away = distance(here, others)
        worst = int(np.argmax(away))
        if not away[worst] > limit:
            break
        found[int(left[worst])] = float(others[worst])
        left = np.delete(left, worst)
    return found


def medians_of_others(values: Array) -> Array:
    """(n,) -> (n,): for each value the median of all the others, from one sorting; n of 2 or more."""
    found: Array = _others_of_each(values[None, :])[0]
    return found


def _others_of_each(rows: Array) -> Array:
    """The same for each row of (m, n)."""
    order = np.sort(rows, axis=1)
    rank = np.argsort(np.argsort(rows, axis=1, kind="stable"), axis=1, kind="stable")
    low, high = (rows.shape[1] - 2) // 2, (rows.shape[1] - 1) // 2
    below = np.take_along_axis(order, low + (rank <= low), axis=1)
    above = np.take_along_axis(order, high + (rank <= high), axis=1)
    return np.asarray((below + above) / 2.0)


def robust_sd(deviations: Array) -> float:
    """Standard deviation from the median of absolute deviations; zero where there are none."""
    return ROBUST * float(np.median(np.abs(deviations))) if len(deviations) else 0.0


def far_readings(values: Array, coupon: Labels | Levels) -> NDArray[np.bool_]:
    """Readings (n,) far from the others of their coupon, in robust standard deviations pooled over coupons.

    A coupon needs three readings, since of two that differ nobody knows which one slipped.
    """
    levels = Levels.of(coupon)
    order, counts = np.argsort(levels.place, kind="stable"), levels.counts
    ends = np.cumsum(counts)
    alike = [(ends[counts == n] - n)[:, None] + np.arange(n) for n in np.unique(counts[counts >= 3])]
    groups = [order[places] for places in alike]  # (coupons of n readings, n)
    away = [_gap(values[own], _others_of_each(values[own])) for own in groups]
    moved = np.concatenate([np.zeros(0), *(gaps.ravel() for gaps in away)])
    limit = LIMIT * robust_sd(moved[moved > 0])
    far = np.zeros(len(values), dtype=bool)
    for own in (row for each, gaps in zip(groups, away, strict=True) for row in each[gaps.max(axis=1) > limit]):
        far[own[list(far_from_others(values[own], _gap, limit, 2))]] = True
    return far


def far_pairs(values: Array, coupon: Labels | Levels) -> NDArray[np.bool_]:
    """Readings (n,) of coupons with two readings that lie far apart, in robust standard deviations of such gaps.

    Both are named, since nobody knows which one slipped.
    """
    levels = Levels.of(coupon)
    paired = np.flatnonzero(levels.counts[levels.place] == 2)
    pairs = paired[np.argsort(levels.place[paired], kind="stable")].reshape(-1, 2)
    gaps = np.abs(values[pairs[:, 0]] - values[pairs[:, 1]])
    far = np.zeros(len(values), dtype=bool)
    far[pairs[gaps > LIMIT * robust_sd(gaps[gaps > 0])]] = True
    return far


def _gap(here: Array, others: Array) -> Array:
    return np.abs(here - others)


def far_coupons(residuals: Array) -> NDArray[np.bool_]:
    """Coupons (n,) whose residual is far, in robust standard deviations of all residuals."""
    limit = LIMIT * robust_sd(residuals - np.median(residuals))
    return np.abs(residuals) > limit if limit > 0 else np.zeros(len(residuals), dtype=bool)
